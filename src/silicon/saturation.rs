//! Velocity saturation.

use crate::case::{Constants, Saturation};

use super::{Carrier, Slope};

/// Mobility as a function of the driving field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SaturationLaw {
    None,
    /// µ = µ₀/(1 + (µ₀F/v)^β)^(1/β): Canali et al., IEEE Trans. Electron Devices 22,
    /// 1045 (1975), v and β with the paper's powers of T.
    Canali1975 {
        v_n: f64,
        beta_n: f64,
        v_p: f64,
        beta_p: f64,
    },
}

impl SaturationLaw {
    /// The law in force at temperature `t` [K].
    pub fn new(law: Saturation, constants: &Constants, t: f64) -> SaturationLaw {
        let scaled = |key: &str| {
            constants.get("canali-1975", key)
                * (t / 300.0).powf(constants.get("canali-1975", &format!("{key}_exponent")))
        };
        match law {
            Saturation::None => SaturationLaw::None,
            Saturation::Canali1975 => SaturationLaw::Canali1975 {
                v_n: scaled("v_n"),
                beta_n: scaled("beta_n"),
                v_p: scaled("v_p"),
                beta_p: scaled("beta_p"),
            },
        }
    }

    /// µ(µ₀, F) [cm²/(V·s)] for F ≥ 0 [V/cm]; `derivative` is F·∂µ/∂F, which stays
    /// finite at F = 0 for every β > 0.
    pub fn at(&self, carrier: Carrier, mu_0: f64, field: f64) -> Slope {
        let (v, beta) = match (*self, carrier) {
            (SaturationLaw::None, _) => return Slope { value: mu_0, derivative: 0.0 },
            (SaturationLaw::Canali1975 { v_n, beta_n, .. }, Carrier::Electron) => (v_n, beta_n),
            (SaturationLaw::Canali1975 { v_p, beta_p, .. }, Carrier::Hole) => (v_p, beta_p),
        };
        if field <= 0.0 {
            return Slope { value: mu_0, derivative: 0.0 };
        }
        let power = (beta * (mu_0 * field / v).ln()).exp();
        let value = mu_0 * (-power.ln_1p() / beta).exp();
        Slope { value, derivative: -value * power / (1.0 + power) }
    }
}
