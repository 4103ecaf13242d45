//! Band-gap narrowing by doping.

use crate::case::{Constants, Narrowing};

/// Apparent narrowing \[eV\] as a function of the total doping.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NarrowingLaw {
    None,
    /// v_1 (ln(N/n_0) + √(ln²(N/n_0) + c)): Slotboom and de Graaff,
    /// Solid-State Electron. 19, 857 (1976).
    Slotboom1977 {
        v_1: f64,
        n_0: f64,
        c: f64,
    },
    /// v_1 ln(N/n_0) above n_0, zero below: del Alamo, Swirhun, Swanson, IEDM 1985, 290.
    /// Measured on n-type; taken for both types.
    DelAlamo1985 {
        v_1: f64,
        n_0: f64,
    },
    /// Slotboom's form with one set of constants for both types, refitted to go with
    /// Klaassen's mobility: Klaassen, Slotboom, de Graaff, Solid-State Electron. 35, 125
    /// (1992).
    Klaassen1992 {
        v_1: f64,
        n_0: f64,
        c: f64,
    },
}

impl NarrowingLaw {
    /// The law in force.
    pub fn new(law: Narrowing, constants: &Constants) -> NarrowingLaw {
        let get = |key| constants.get(law.word(), key);
        match law {
            Narrowing::None => NarrowingLaw::None,
            Narrowing::Slotboom1977 => {
                NarrowingLaw::Slotboom1977 { v_1: get("v_1"), n_0: get("n_0"), c: get("c") }
            }
            Narrowing::DelAlamo1985 => {
                NarrowingLaw::DelAlamo1985 { v_1: get("v_1"), n_0: get("n_0") }
            }
            Narrowing::Klaassen1992 => {
                NarrowingLaw::Klaassen1992 { v_1: get("v_1"), n_0: get("n_0"), c: get("c") }
            }
        }
    }

    /// ΔE_g \[eV\] at a total doping [cm⁻³].
    pub fn at(&self, total: f64) -> f64 {
        match *self {
            NarrowingLaw::None => 0.0,
            NarrowingLaw::DelAlamo1985 { v_1, n_0 } => v_1 * (total / n_0).max(1.0).ln(),
            NarrowingLaw::Slotboom1977 { v_1, n_0, c }
            | NarrowingLaw::Klaassen1992 { v_1, n_0, c } => {
                if total <= 0.0 {
                    return 0.0;
                }
                let l = (total / n_0).ln();
                let root = (l * l + c).sqrt();
                // For N far below n_0 the sum cancels; c/(root − l) is the same number.
                if l < 0.0 { v_1 * c / (root - l) } else { v_1 * (l + root) }
            }
        }
    }
}
