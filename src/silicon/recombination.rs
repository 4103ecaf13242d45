//! Shockley-Read-Hall and Auger recombination.

use crate::case::{Constants, Laws, Lifetime};

use super::dual::OfT;
use super::{K_B, Q, Slope};

/// Which mechanisms are on, with their constants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecombinationLaw {
    srh: bool,
    tau_n0: f64,
    tau_p0: f64,
    /// Lifetimes go as (T/300)^this.
    tau_exponent: f64,
    /// `None`: lifetimes do not depend on doping.
    n_half: Option<f64>,
    /// E_t − E_i [eV].
    level: f64,
    /// [cm⁶/s]; zero if off.
    c_n: f64,
    c_p: f64,
}

/// Where a recombination rate is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecombinationPoint {
    /// Densities [cm⁻³].
    pub n: f64,
    pub p: f64,
    /// np/nie² − 1, given so that it keeps its digits near equilibrium.
    pub excess: f64,
    /// Effective intrinsic density [cm⁻³] with its derivative by T.
    pub nie: Slope,
    /// Electron and hole lifetime \[s\] with their derivatives by T.
    pub tau: [Slope; 2],
    /// Lattice temperature \[K\].
    pub temperature: f64,
}

/// Net rate [cm⁻³ s⁻¹] and its derivatives.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RecombinationRate {
    pub rate: f64,
    /// By the densities [s⁻¹], the others held.
    pub by_n: f64,
    pub by_p: f64,
    /// By nie alone [s⁻¹] (n, p, T held): for statistics that make it depend on more.
    pub by_nie: f64,
    /// By the lattice temperature [cm⁻³ s⁻¹ K⁻¹] at fixed n and p, through nie, the
    /// lifetimes and the trap.
    pub by_temperature: f64,
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
            tau_exponent: srh("tau_exponent"),
            n_half: (laws.lifetime == Lifetime::FallsWithDoping).then(|| srh("n_half")),
            level: srh("level"),
            c_n: auger("c_n"),
            c_p: auger("c_p"),
        }
    }

    /// Electron and hole lifetime \[s\] at a total doping [cm⁻³] and T \[K\], with their
    /// derivatives by T: τ₀ (T/300)^tau_exponent/(1 + N/n_half).
    pub fn lifetimes(&self, total: f64, temperature: f64) -> [Slope; 2] {
        let factor = self.n_half.map_or(1.0, |h| 1.0 + total / h);
        let scale = (OfT::temperature(temperature) / 300.0).powf(self.tau_exponent);
        [self.tau_n0, self.tau_p0].map(|tau| (tau / factor * scale).slope())
    }

    /// Net recombination. n₁, p₁ = nie exp(±level/kT).
    /// SRH: Shockley, Read, Phys. Rev. 87, 835 (1952); Hall, Phys. Rev. 87, 387 (1952).
    /// Auger: (c_n n + c_p p)(np − nie²): Dziewior, Schmid, Appl. Phys. Lett. 31, 346 (1977).
    pub fn rate(&self, at: &RecombinationPoint) -> RecombinationRate {
        let RecombinationPoint {
            n, p, excess, nie: Slope { value: nie, derivative: d_nie }, ..
        } = *at;
        let over = nie * nie * excess;
        let mut out = RecombinationRate::default();
        if self.srh {
            let [tau_n, tau_p] = at.tau;
            let (up, down, by_t) = self.trap(at.temperature);
            let (n_1, p_1) = (nie * up, nie * down);
            let below = tau_p.value * (n + n_1) + tau_n.value * (p + p_1);
            let rate = over / below;
            out.rate += rate;
            out.by_n += (p - rate * tau_p.value) / below;
            out.by_p += (n - rate * tau_n.value) / below;
            // `over` = np − nie² at fixed n and p.
            let below_by_nie = tau_p.value * up + tau_n.value * down;
            out.by_nie += (-2.0 * nie - rate * below_by_nie) / below;
            let below_by_t = tau_p.derivative * (n + n_1)
                + tau_n.derivative * (p + p_1)
                + by_t * (tau_p.value * n_1 - tau_n.value * p_1);
            out.by_temperature -= rate * below_by_t / below;
        }
        let c = self.c_n * n + self.c_p * p;
        out.rate += c * over;
        out.by_n += self.c_n * over + c * p;
        out.by_p += self.c_p * over + c * n;
        out.by_nie -= 2.0 * c * nie;
        out.by_temperature += out.by_nie * d_nie;
        out
    }

    /// n₁/nie, p₁/nie and d ln(n₁/nie)/dT.
    fn trap(&self, temperature: f64) -> (f64, f64, f64) {
        if self.level == 0.0 {
            return (1.0, 1.0, 0.0);
        }
        let x = self.level * Q / (K_B * temperature);
        (x.exp(), (-x).exp(), -x / temperature)
    }
}
