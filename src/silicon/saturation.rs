//! Velocity saturation.

use crate::case::{Constants, Saturation};

use super::Carrier;
use super::ambient::AmbientSaturation;
use super::dual::OfT;

/// Mobility as a function of the driving field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SaturationLaw {
    None,
    /// µ = µ₀/(1 + (µ₀F/v)^β)^(1/β): Canali et al., IEEE Trans. Electron Devices 22,
    /// 1045 (1975), v and β with the paper's powers of T.
    Canali1975 {
        n: Canali,
        p: Canali,
    },
}

/// One carrier's saturated velocity [cm/s] and exponent at 300 K, and their powers of T.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Canali {
    v: f64,
    v_exponent: f64,
    beta: f64,
    beta_exponent: f64,
    ambient: Row,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    temperature: f64,
    v: OfT,
    beta: OfT,
}

/// µ(µ₀, F, T) [cm²/(V·s)] and its derivatives.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SaturationValue {
    pub value: f64,
    /// ∂µ/∂µ₀ at fixed field.
    pub by_mu_0: f64,
    /// F·∂µ/∂F, which stays finite at F = 0 for every β > 0 (∂µ/∂F does not if β < 1).
    pub by_log_field: f64,
    /// ∂µ/∂T at fixed µ₀ and field.
    pub by_temperature: f64,
}

impl Canali {
    fn new(constants: &Constants, suffix: &str, ambient: f64) -> Canali {
        let get = |key: String| constants.get("canali-1975", &key);
        let mut law = Canali {
            v: get(format!("v_{suffix}")),
            v_exponent: get(format!("v_{suffix}_exponent")),
            beta: get(format!("beta_{suffix}")),
            beta_exponent: get(format!("beta_{suffix}_exponent")),
            ambient: Row { temperature: ambient, v: OfT::constant(0.0), beta: OfT::constant(0.0) },
        };
        law.ambient = law.row(ambient);
        law
    }

    fn row(&self, temperature: f64) -> Row {
        let tn = OfT::temperature(temperature) / 300.0;
        Row {
            temperature,
            v: self.v * tn.powf(self.v_exponent),
            beta: self.beta * tn.powf(self.beta_exponent),
        }
    }

    fn row_at(&self, temperature: f64) -> Row {
        if temperature == self.ambient.temperature { self.ambient } else { self.row(temperature) }
    }

    /// Saturated velocity [cm/s] at `temperature` [K].
    pub fn velocity(&self, temperature: f64) -> f64 {
        self.row_at(temperature).v.value
    }

    /// Exponent β at `temperature` [K].
    pub fn exponent(&self, temperature: f64) -> f64 {
        self.row_at(temperature).beta.value
    }

    fn at(&self, mu_0: f64, field: f64, temperature: f64) -> SaturationValue {
        let Row { v, beta, .. } = self.row_at(temperature);
        let ln = (mu_0 * field / v.value).ln();
        let power = (beta.value * ln).exp();
        let log_1p = power.ln_1p();
        let value = mu_0 * (-log_1p / beta.value).exp();
        let share = power / (1.0 + power);
        // ln µ = ln µ₀ − ln(1 + (µ₀F/v)^β)/β.
        let by_ln_v = share;
        let by_beta = (log_1p / beta.value - share * ln) / beta.value;
        SaturationValue {
            value,
            by_mu_0: value / (mu_0 * (1.0 + power)),
            by_log_field: -value * power / (1.0 + power),
            by_temperature: value * (by_ln_v * v.by[0] / v.value + by_beta * beta.by[0]),
        }
    }
}

impl SaturationLaw {
    /// The law in force; what it needs at `ambient` \[K\] is computed here, once.
    pub fn new(law: Saturation, constants: &Constants, ambient: f64) -> SaturationLaw {
        match law {
            Saturation::None => SaturationLaw::None,
            Saturation::Canali1975 => SaturationLaw::Canali1975 {
                n: Canali::new(constants, "n", ambient),
                p: Canali::new(constants, "p", ambient),
            },
        }
    }

    /// One carrier's law at the ambient temperature; `None` if there is none in force.
    pub fn ambient(&self, carrier: Carrier) -> Option<AmbientSaturation> {
        let law = match (self, carrier) {
            (SaturationLaw::None, _) => return None,
            (SaturationLaw::Canali1975 { n, .. }, Carrier::Electron) => n,
            (SaturationLaw::Canali1975 { p, .. }, Carrier::Hole) => p,
        };
        let Row { v, beta, .. } = law.ambient;
        Some(AmbientSaturation {
            per_velocity: 1.0 / v.value,
            beta: beta.value,
            per_beta: 1.0 / beta.value,
        })
    }

    /// µ(µ₀, F, T) for µ₀ > 0 [cm²/(V·s)], F ≥ 0 [V/cm], T \[K\].
    pub fn at(&self, carrier: Carrier, mu_0: f64, field: f64, temperature: f64) -> SaturationValue {
        let law = match (self, carrier) {
            (SaturationLaw::None, _) => None,
            (SaturationLaw::Canali1975 { n, .. }, Carrier::Electron) => Some(n),
            (SaturationLaw::Canali1975 { p, .. }, Carrier::Hole) => Some(p),
        };
        match law {
            Some(law) if field > 0.0 => law.at(mu_0, field, temperature),
            _ => SaturationValue { value: mu_0, by_mu_0: 1.0, ..SaturationValue::default() },
        }
    }
}
