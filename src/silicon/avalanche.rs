//! Impact ionization coefficients.

use crate::case::{Avalanche, Constants};

use super::{Carrier, K_B, Q, Slope};

/// α(E) [cm⁻¹] of the field component along the current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AvalancheLaw {
    None,
    /// α = γ a exp(−γ b/E): van Overstraeten, de Man, Solid-State Electron. 13, 583 (1970);
    /// γ by optical-phonon energy: Crowell, Sze, Appl. Phys. Lett. 9, 242 (1966).
    VanOverstraeten1970 {
        n: Branch,
        p_low: Branch,
        p_high: Branch,
    },
}

/// a [cm⁻¹] and b [V/cm], temperature factor included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Branch {
    pub a: f64,
    pub b: f64,
}

impl Branch {
    fn at(&self, field: f64) -> Slope {
        let value = self.a * (-self.b / field).exp();
        Slope { value, derivative: value * self.b / (field * field) }
    }
}

impl AvalancheLaw {
    /// The law in force at temperature `t` [K].
    pub fn new(law: Avalanche, constants: &Constants, t: f64) -> AvalancheLaw {
        match law {
            Avalanche::None => AvalancheLaw::None,
            _ => {
                let get = |key: &str| constants.get("van-overstraeten-1970", key);
                let half = get("phonon_energy") * Q / (2.0 * K_B);
                let g = if get("temperature_factor") > 0.5 {
                    (half / 300.0).tanh() / (half / t).tanh()
                } else {
                    1.0
                };
                let branch = |a: &str, b: &str| Branch { a: g * get(a), b: g * get(b) };
                AvalancheLaw::VanOverstraeten1970 {
                    n: branch("a_n", "b_n"),
                    p_low: branch("a_p_low", "b_p_low"),
                    p_high: branch("a_p_high", "b_p_high"),
                }
            }
        }
    }

    /// No generation at all.
    pub fn is_off(&self) -> bool {
        *self == AvalancheLaw::None
    }

    /// α [cm⁻¹] and dα/dE at `field` ≥ 0 [V/cm]. The two hole branches meet near
    /// 4e5 V/cm; taking the smaller one switches exactly where they cross, so that α is
    /// continuous also when constants are overridden.
    pub fn at(&self, carrier: Carrier, field: f64) -> Slope {
        // exp(−b/E) underflows long before this; avoids 0/0 in the derivative.
        if field < 1e3 {
            return Slope::default();
        }
        match (self, carrier) {
            (AvalancheLaw::None, _) => Slope::default(),
            (AvalancheLaw::VanOverstraeten1970 { n, .. }, Carrier::Electron) => n.at(field),
            (AvalancheLaw::VanOverstraeten1970 { p_low, p_high, .. }, Carrier::Hole) => {
                let (low, high) = (p_low.at(field), p_high.at(field));
                if low.value <= high.value { low } else { high }
            }
        }
    }

    /// Field range the paper measured [V/cm], for warnings.
    pub fn range(&self) -> Option<[f64; 2]> {
        match self {
            AvalancheLaw::None => None,
            AvalancheLaw::VanOverstraeten1970 { .. } => Some([1.75e5, 6e5]),
        }
    }
}
