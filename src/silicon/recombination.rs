//! Shockley-Read-Hall and Auger recombination.

use crate::case::{Constants, Laws, Lifetime};

/// Which mechanisms are on, with their constants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecombinationLaw {
    srh: bool,
    tau_n0: f64,
    tau_p0: f64,
    /// `None`: lifetimes do not depend on doping.
    n_half: Option<f64>,
    /// [cm⁶/s]; zero if off.
    c_n: f64,
    c_p: f64,
}

/// Net rate [cm⁻³ s⁻¹] and its derivatives by the densities [s⁻¹].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RecombinationRate {
    pub rate: f64,
    pub by_n: f64,
    pub by_p: f64,
}

impl RecombinationLaw {
    /// The mechanisms in force.
    pub fn new(laws: &Laws, constants: &Constants) -> RecombinationLaw {
        let srh = |key| constants.get("shockley-read-hall", key);
        let auger = |key| if laws.auger { constants.get("auger", key) } else { 0.0 };
        RecombinationLaw {
            srh: laws.shockley_read_hall,
            tau_n0: srh("tau_n0"),
            tau_p0: srh("tau_p0"),
            n_half: (laws.lifetime == Lifetime::FallsWithDoping).then(|| srh("n_half")),
            c_n: auger("c_n"),
            c_p: auger("c_p"),
        }
    }

    /// Electron and hole lifetime [s] at a total doping [cm⁻³]: τ₀/(1 + N/n_half).
    pub fn lifetimes(&self, total: f64) -> [f64; 2] {
        let factor = self.n_half.map_or(1.0, |h| 1.0 + total / h);
        [self.tau_n0 / factor, self.tau_p0 / factor]
    }

    /// Net recombination for densities `n`, `p`, effective intrinsic density `nie`
    /// [cm⁻³], lifetimes [s], and `excess` = np/nie² − 1 (given, so that it keeps its
    /// digits near equilibrium). Mid-gap trap: n₁ = p₁ = nie.
    /// SRH: Shockley, Read, Phys. Rev. 87, 835 (1952); Hall, Phys. Rev. 87, 387 (1952).
    /// Auger: (c_n n + c_p p)(np − nie²): Dziewior, Schmid, Appl. Phys. Lett. 31, 346 (1977).
    pub fn rate(&self, n: f64, p: f64, nie: f64, tau: [f64; 2], excess: f64) -> RecombinationRate {
        let over = nie * nie * excess;
        let mut out = RecombinationRate::default();
        if self.srh {
            let [tau_n, tau_p] = tau;
            let below = tau_p * (n + nie) + tau_n * (p + nie);
            let rate = over / below;
            out.rate += rate;
            out.by_n += (p - rate * tau_p) / below;
            out.by_p += (n - rate * tau_n) / below;
        }
        let c = self.c_n * n + self.c_p * p;
        out.rate += c * over;
        out.by_n += self.c_n * over + c * p;
        out.by_p += self.c_p * over + c * n;
        out
    }
}
