//! Impact ionization coefficients.

use crate::case::{Avalanche, Constants};

use super::dual::OfT;
use super::okuto_crowell::OkutoCrowell;
use super::{Carrier, K_B, Q};

/// α(E, T) [cm⁻¹] of the field component along the current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AvalancheLaw {
    None,
    /// α = γ a exp(−γ b/E): van Overstraeten, de Man, Solid-State Electron. 13, 583 (1970);
    /// γ by optical-phonon energy: Crowell, Sze, Appl. Phys. Lett. 9, 242 (1966).
    VanOverstraeten1970(VanOverstraeten),
    /// Okuto, Crowell, Solid-State Electron. 18, 161 (1975).
    OkutoCrowell1975(OkutoCrowell),
}

/// α [cm⁻¹] and its derivatives by the field [V⁻¹] and T [cm⁻¹ K⁻¹].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AvalancheValue {
    pub value: f64,
    pub by_field: f64,
    pub by_temperature: f64,
}

/// a [cm⁻¹] and b [V/cm] at 300 K of each branch, and the temperature factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VanOverstraeten {
    n: Branch,
    p_low: Branch,
    p_high: Branch,
    /// ln of the low branch's a over the high one's.
    ln_ratio: f64,
    /// E_ph/2k [K]; `None`: the 300 K law at every temperature.
    half_phonon: Option<f64>,
    ambient: f64,
    factor: OfT,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Branch {
    a: f64,
    b: f64,
}

impl Branch {
    fn at(&self, g: OfT, field: f64) -> AvalancheValue {
        let b = g.value * self.b;
        // Below 1e-130 of its front factor: nothing, and not worth an exponential.
        if b > 300.0 * field {
            return AvalancheValue::default();
        }
        let value = g.value * self.a * (-b / field).exp();
        AvalancheValue {
            value,
            by_field: value * b / (field * field),
            by_temperature: value * g.by[0] * (1.0 / g.value - self.b / field),
        }
    }
}

impl VanOverstraeten {
    fn new(constants: &Constants, ambient: f64) -> VanOverstraeten {
        let get = |key: &str| constants.get("van-overstraeten-1970", key);
        let branch = |a: &str, b: &str| Branch { a: get(a), b: get(b) };
        let scaled = get("temperature_factor") > 0.5;
        let mut law = VanOverstraeten {
            n: branch("a_n", "b_n"),
            p_low: branch("a_p_low", "b_p_low"),
            p_high: branch("a_p_high", "b_p_high"),
            ln_ratio: (get("a_p_low") / get("a_p_high")).ln(),
            half_phonon: scaled.then(|| get("phonon_energy") * Q / (2.0 * K_B)),
            ambient,
            factor: OfT::constant(1.0),
        };
        law.factor = law.factor_at(ambient);
        law
    }

    /// γ(T) = tanh(E_ph/2k·300 K)/tanh(E_ph/2kT).
    fn factor_at(&self, temperature: f64) -> OfT {
        match self.half_phonon {
            None => OfT::constant(1.0),
            Some(half) => (half / 300.0).tanh() / (half / OfT::temperature(temperature)).tanh(),
        }
    }

    /// The two hole branches meet near 4e5 V/cm; taking the smaller one switches exactly
    /// where they cross, so that α is continuous also when constants are overridden.
    fn at(&self, carrier: Carrier, field: f64, temperature: f64) -> AvalancheValue {
        let g = if temperature == self.ambient { self.factor } else { self.factor_at(temperature) };
        match carrier {
            Carrier::Electron => self.n.at(g, field),
            Carrier::Hole => {
                let (low, high) = (&self.p_low, &self.p_high);
                // a exp(−γ b/E) of one at most that of the other.
                let lower = self.ln_ratio * field <= g.value * (low.b - high.b);
                if lower { low } else { high }.at(g, field)
            }
        }
    }
}

impl AvalancheLaw {
    /// The law in force; what it needs at `ambient` \[K\] is computed here, once.
    pub fn new(law: Avalanche, constants: &Constants, ambient: f64) -> AvalancheLaw {
        match law {
            Avalanche::None => AvalancheLaw::None,
            Avalanche::VanOverstraeten1970 => {
                AvalancheLaw::VanOverstraeten1970(VanOverstraeten::new(constants, ambient))
            }
            Avalanche::OkutoCrowell1975 => {
                AvalancheLaw::OkutoCrowell1975(OkutoCrowell::new(constants))
            }
        }
    }

    /// No generation at all.
    pub fn is_off(&self) -> bool {
        *self == AvalancheLaw::None
    }

    /// α and its derivatives at `field` ≥ 0 [V/cm] and `temperature` \[K\].
    pub fn at(&self, carrier: Carrier, field: f64, temperature: f64) -> AvalancheValue {
        // exp(−b/E) underflows long before this; avoids 0/0 in the derivative.
        if field < 1e3 {
            return AvalancheValue::default();
        }
        match self {
            AvalancheLaw::None => AvalancheValue::default(),
            AvalancheLaw::VanOverstraeten1970(law) => law.at(carrier, field, temperature),
            AvalancheLaw::OkutoCrowell1975(law) => law.at(carrier, field, temperature),
        }
    }
}
