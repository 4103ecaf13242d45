//! Recombination at silicon-oxide interfaces.

use crate::case::{Constants, Laws};

use super::{RecombinationPoint, RecombinationRate};

/// Shockley-Read-Hall statistics of interface states, all at one level in mid-gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceLaw {
    on: bool,
    s_n: f64,
    s_p: f64,
}

impl SurfaceLaw {
    /// The law in force.
    pub fn new(laws: &Laws, constants: &Constants) -> SurfaceLaw {
        let get = |key| constants.get("surface-recombination", key);
        SurfaceLaw { on: laws.surface, s_n: get("s_n"), s_p: get("s_p") }
    }

    /// No interface recombines.
    pub fn is_off(&self) -> bool {
        !self.on || self.s_n == 0.0 || self.s_p == 0.0
    }

    /// Net rate per area [cm⁻² s⁻¹] and its derivatives (units of [`RecombinationRate`]
    /// times cm): (np − n_ie²)/((n + n_ie)/s_p + (p + n_ie)/s_n), the volume's formula with
    /// 1/s in place of the lifetime (`at.tau` is not looked at).
    /// Source: Shockley-Read-Hall for a surface, any textbook (Sze; Neamen).
    pub fn rate(&self, at: &RecombinationPoint) -> RecombinationRate {
        if self.is_off() {
            return RecombinationRate::default();
        }
        let (n, p, nie) = (at.n, at.p, at.nie.value);
        let over = nie * nie * at.excess;
        let (per_p, per_n) = (1.0 / self.s_p, 1.0 / self.s_n);
        let below = per_p * (n + nie) + per_n * (p + nie);
        let rate = over / below;
        let by_nie = (-2.0 * nie - rate * (per_p + per_n)) / below;
        RecombinationRate {
            rate,
            by_n: (p - rate * per_p) / below,
            by_p: (n - rate * per_n) / below,
            by_nie,
            by_temperature: by_nie * at.nie.derivative,
        }
    }
}
