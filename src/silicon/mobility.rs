//! Low-field mobility.

use crate::case::{Constants, Mobility};

use super::Carrier;

/// Low-field mobility as a function of the total doping.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MobilityLaw {
    /// The same everywhere and at every temperature [cm²/(V·s)].
    Constant { n: f64, p: f64 },
    /// Masetti, Severi, Solmi, IEEE Trans. Electron Devices 30, 764 (1983), eqs. 1 and 4.
    Masetti1983 { n: Masetti, p: Masetti },
}

/// One row of Masetti's Table I, scaled to the temperature in force.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Masetti {
    pub mu_max: f64,
    pub mu_1: f64,
    pub mu_2: f64,
    pub mu_3: f64,
    pub p_c: f64,
    pub c_r: f64,
    pub c_s: f64,
    pub alpha: f64,
    pub beta: f64,
}

impl Masetti {
    /// The row of one carrier at temperature `t` [K]. The paper holds at 300 K; the
    /// lattice part follows Klaassen 1992 (T^−θ), the impurity part Arora 1982
    /// (µ^−0.57, C_r^2.4, α^−0.146).
    fn new(constants: &Constants, suffix: &str, t: f64) -> Masetti {
        let get = |key: &str| constants.get("masetti-1983", &format!("{key}_{suffix}"));
        let exponent = |key: &str| constants.get("masetti-1983", key);
        let tn = t / 300.0;
        let ionized = tn.powf(exponent("mu_exponent"));
        Masetti {
            mu_max: get("mu_max") * tn.powf(-get("theta")),
            mu_1: get("mu_1") * ionized,
            mu_2: get("mu_2") * ionized,
            mu_3: get("mu_3") * ionized,
            p_c: get("p_c"),
            c_r: get("c_r") * tn.powf(exponent("c_r_exponent")),
            c_s: get("c_s"),
            alpha: get("alpha") * tn.powf(exponent("alpha_exponent")),
            beta: get("beta"),
        }
    }

    /// Mobility [cm²/(V·s)] at a total doping [cm⁻³].
    pub fn at(&self, total: f64) -> f64 {
        let n = total.max(1.0);
        self.mu_1 * (-self.p_c / n).exp()
            + (self.mu_max - self.mu_2) / (1.0 + (n / self.c_r).powf(self.alpha))
            - self.mu_3 / (1.0 + (self.c_s / n).powf(self.beta))
    }
}

impl MobilityLaw {
    /// The law in force at temperature `t` [K].
    pub fn new(law: Mobility, constants: &Constants, t: f64) -> MobilityLaw {
        match law {
            Mobility::Constant => MobilityLaw::Constant {
                n: constants.get("mobility", "mu_n"),
                p: constants.get("mobility", "mu_p"),
            },
            _ => MobilityLaw::Masetti1983 {
                n: Masetti::new(constants, "n", t),
                p: Masetti::new(constants, "p", t),
            },
        }
    }

    /// Mobility [cm²/(V·s)] at a total doping [cm⁻³].
    pub fn at(&self, carrier: Carrier, total: f64) -> f64 {
        match (self, carrier) {
            (MobilityLaw::Constant { n, .. }, Carrier::Electron) => *n,
            (MobilityLaw::Constant { p, .. }, Carrier::Hole) => *p,
            (MobilityLaw::Masetti1983 { n, .. }, Carrier::Electron) => n.at(total),
            (MobilityLaw::Masetti1983 { p, .. }, Carrier::Hole) => p.at(total),
        }
    }
}
