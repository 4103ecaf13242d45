//! Mobility by total doping: Masetti, Severi, Solmi, IEEE Trans. Electron Devices 30, 764
//! (1983).

use crate::case::Constants;

use super::MobilityValue;
use super::dual::OfT;

/// One carrier's row of the paper's Table I, and the powers of T that were joined to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Masetti {
    mu_max: f64,
    mu_1: f64,
    mu_2: f64,
    mu_3: f64,
    p_c: f64,
    c_r: f64,
    c_s: f64,
    alpha: f64,
    beta: f64,
    theta: f64,
    mu_exponent: f64,
    c_r_exponent: f64,
    alpha_exponent: f64,
    ambient: Row,
}

/// What depends on the temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    temperature: f64,
    mu_max: OfT,
    mu_1: OfT,
    mu_2: OfT,
    mu_3: OfT,
    c_r: OfT,
    alpha: OfT,
}

impl Masetti {
    /// The row of one carrier (`suffix` n or p). The paper holds at 300 K; the lattice
    /// part follows Klaassen 1992 (T^−θ), the impurity part Arora 1982 (µ^−0.57, C_r^2.4,
    /// α^−0.146).
    pub fn new(constants: &Constants, suffix: &str, ambient: f64) -> Masetti {
        let get = |key: &str| constants.get("masetti-1983", &format!("{key}_{suffix}"));
        let exponent = |key: &str| constants.get("masetti-1983", key);
        let zero = OfT::constant(0.0);
        let mut law = Masetti {
            mu_max: get("mu_max"),
            mu_1: get("mu_1"),
            mu_2: get("mu_2"),
            mu_3: get("mu_3"),
            p_c: get("p_c"),
            c_r: get("c_r"),
            c_s: get("c_s"),
            alpha: get("alpha"),
            beta: get("beta"),
            theta: get("theta"),
            mu_exponent: exponent("mu_exponent"),
            c_r_exponent: exponent("c_r_exponent"),
            alpha_exponent: exponent("alpha_exponent"),
            ambient: Row {
                temperature: ambient,
                mu_max: zero,
                mu_1: zero,
                mu_2: zero,
                mu_3: zero,
                c_r: zero,
                alpha: zero,
            },
        };
        law.ambient = law.row(ambient);
        law
    }

    fn row(&self, temperature: f64) -> Row {
        let tn = OfT::temperature(temperature) / 300.0;
        let ionized = tn.powf(self.mu_exponent);
        Row {
            temperature,
            mu_max: self.mu_max * tn.powf(-self.theta),
            mu_1: self.mu_1 * ionized,
            mu_2: self.mu_2 * ionized,
            mu_3: self.mu_3 * ionized,
            c_r: self.c_r * tn.powf(self.c_r_exponent),
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
        let n = total.max(1.0);
        let mu = r.mu_1 * (-self.p_c / n).exp()
            + (r.mu_max - r.mu_2) / (1.0 + (n / r.c_r).pow(r.alpha))
            - r.mu_3 / (1.0 + (self.c_s / n).powf(self.beta));
        mu.among_three().into()
    }
}
