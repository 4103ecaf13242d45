//! Impact ionization with its own temperature coefficients: Okuto, Crowell, Solid-State
//! Electron. 18, 161 (1975).

use crate::case::Constants;

use super::{AvalancheValue, Carrier};

/// α = a (1 + c ΔT) E exp(−(b (1 + d ΔT)/E)²), ΔT = T − 300 K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OkutoCrowell {
    n: Branch,
    p: Branch,
}

/// a [V⁻¹], b [V/cm], c and d [K⁻¹] of one carrier.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Branch {
    a: f64,
    b: f64,
    c: f64,
    d: f64,
}

impl OkutoCrowell {
    pub fn new(constants: &Constants) -> OkutoCrowell {
        let branch = |suffix: &str| {
            let get = |key: &str| constants.get("okuto-crowell-1975", &format!("{key}_{suffix}"));
            Branch { a: get("a"), b: get("b"), c: get("c"), d: get("d") }
        };
        OkutoCrowell { n: branch("n"), p: branch("p") }
    }

    /// α and its derivatives at `field` > 0 [V/cm], `temperature` [K].
    pub fn at(&self, carrier: Carrier, field: f64, temperature: f64) -> AvalancheValue {
        let Branch { a, b, c, d } = if carrier == Carrier::Electron { self.n } else { self.p };
        let dt = temperature - 300.0;
        let (front, ratio) = (1.0 + c * dt, b * (1.0 + d * dt) / field);
        let power = ratio * ratio;
        // With overridden coefficients the front factor may fall to zero: no negative rate.
        if front <= 0.0 {
            return AvalancheValue::default();
        }
        let shape = a * field * (-power).exp();
        AvalancheValue {
            value: front * shape,
            by_field: front * shape * (1.0 + 2.0 * power) / field,
            by_temperature: shape * (c - front * 2.0 * ratio * b * d / field),
        }
    }
}
