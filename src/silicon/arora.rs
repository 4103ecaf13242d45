//! Mobility by total doping and temperature: Arora, Hauser, Roulston, IEEE Trans. Electron
//! Devices 29, 292 (1982), eqs. 8 and 13.

use crate::case::Constants;

use super::MobilityValue;
use super::dual::OfT;

/// One carrier's constants at 300 K and their powers of T.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arora {
    mu_min: f64,
    mu_min_exponent: f64,
    mu_0: f64,
    mu_0_exponent: f64,
    n_ref: f64,
    n_ref_exponent: f64,
    alpha: f64,
    alpha_exponent: f64,
    ambient: Row,
}

/// What depends on the temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    temperature: f64,
    mu_min: OfT,
    mu_0: OfT,
    n_ref: OfT,
    alpha: OfT,
}

impl Arora {
    /// The constants of one carrier (`suffix` n or p).
    pub fn new(constants: &Constants, suffix: &str, ambient: f64) -> Arora {
        let both = |key: &str| constants.get("arora-1982", key);
        let own = |key: &str| both(&format!("{key}_{suffix}"));
        let zero = OfT::constant(0.0);
        let mut law = Arora {
            mu_min: own("mu_min"),
            mu_min_exponent: both("mu_min_exponent"),
            mu_0: own("mu_0"),
            mu_0_exponent: own("mu_0_exponent"),
            n_ref: own("n_ref"),
            n_ref_exponent: both("n_ref_exponent"),
            alpha: both("alpha"),
            alpha_exponent: both("alpha_exponent"),
            ambient: Row {
                temperature: ambient,
                mu_min: zero,
                mu_0: zero,
                n_ref: zero,
                alpha: zero,
            },
        };
        law.ambient = law.row(ambient);
        law
    }

    fn row(&self, temperature: f64) -> Row {
        let tn = OfT::temperature(temperature) / 300.0;
        Row {
            temperature,
            mu_min: self.mu_min * tn.powf(self.mu_min_exponent),
            mu_0: self.mu_0 * tn.powf(self.mu_0_exponent),
            n_ref: self.n_ref * tn.powf(self.n_ref_exponent),
            alpha: self.alpha * tn.powf(self.alpha_exponent),
        }
    }

    /// Mobility at a total doping [cm⁻³] and lattice temperature [K].
    pub fn at(&self, total: f64, temperature: f64) -> MobilityValue {
        let r = if temperature == self.ambient.temperature {
            self.ambient
        } else {
            self.row(temperature)
        };
        let fall = 1.0 + (total.max(1.0) / r.n_ref).pow(r.alpha);
        (r.mu_min + r.mu_0 / fall).among_three().into()
    }
}
