//! Fluxes along one edge, written as n·B(Δ)·expm1(Δφ): exactly zero in equilibrium, never
//! a difference of large numbers.
//! Sources: Scharfetter, Gummel, IEEE Trans. Electron Devices 16, 64 (1969); with
//! Fermi-Dirac statistics the mean diffusion enhancement of Bessemoulin-Chatard, Numer.
//! Math. 121, 637 (2012), in the form of Koprucki, Rotundo, Farrell, Doan, Fuhrmann, Opt.
//! Quantum Electron. 47, 1327 (2015).

use crate::silicon::{Carrier, Q, SaturationLaw, thermal_voltage};

use super::bernoulli::bernoulli_pair;

/// One carrier at the two ends of an edge from a to b.
#[derive(Debug, Clone, Copy)]
pub struct Ends {
    /// ψ_b − ψ_a \[V\].
    pub drop: f64,
    /// (ψ_b − ψ_a)/V_T plus (electrons) or minus (holes) the difference of ln n_ie.
    pub drift: f64,
    /// (φ_b − φ_a)/V_T.
    pub quasi_fermi: f64,
    /// Densities [cm⁻³].
    pub at_a: f64,
    pub at_b: f64,
    /// Mean diffusion enhancement g = Δη/Δ ln F(η) between the ends; 1 with Boltzmann
    /// statistics.
    pub enhancement: f64,
}

/// A current density along an edge, positive from a to b, with its derivatives.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Flux {
    /// [A/cm²]
    pub current: f64,
    /// By ψ_b [A/cm²/V]; by ψ_a it is the negative.
    pub by_potential: f64,
    /// By the density at a and at b [A·cm].
    pub by_a: f64,
    pub by_b: f64,
    /// By `drift` alone [A/cm²].
    pub by_drift: f64,
    /// By `enhancement` [A/cm²].
    pub by_enhancement: f64,
    /// By the low-field mobility.
    pub by_mu_0: f64,
    /// By the temperature [A/cm²/K], densities and `drift` held: through the diffusion
    /// coefficient and velocity saturation.
    pub by_temperature: f64,
}

/// Electron or hole current density on an edge of length `h` \[cm\], low-field mobility
/// `mu_0` [cm²/(V·s)], lattice temperature \[K\]. The field that saturates the velocity is
/// |ψ_b − ψ_a|/h: with |Δφ|/h instead, the current of a depleted edge would fall as its
/// driving force grows, and the equations would have several solutions.
pub fn flux(
    carrier: Carrier,
    saturation: &SaturationLaw,
    ends: Ends,
    mu_0: f64,
    h: f64,
    temperature: f64,
) -> Flux {
    let vt = thermal_voltage(temperature);
    let Ends { drop, drift, quasi_fermi: d, at_a, at_b, enhancement: g } = ends;
    let mu = saturation.at(carrier, mu_0, drop.abs() / h, temperature);
    let k = Q * mu.value * vt / h * g;
    // Holes see the mirrored drift: swap the sign and the current's sign.
    let sign = if carrier == Carrier::Electron { 1.0 } else { -1.0 };
    let x = sign * drift / g;
    let [forward, backward] = bernoulli_pair(x);
    let e = sign * d / g;
    // e is the drop that drives from a to b for electrons; always expm1 of a negative.
    let drive = if e > 0.0 {
        at_a * backward.value * (-e).exp_m1()
    } else {
        -at_b * forward.value * e.exp_m1()
    };
    let current = sign * k * drive;
    // As K (c_b B(Δ) − c_a B(−Δ)): derivatives by c and Δ at fixed mobility.
    let by_b = sign * k * forward.value;
    let by_a = -sign * k * backward.value;
    let by_x = k * (at_b * forward.derivative + at_a * backward.derivative);
    let by_drift = by_x / g;
    // ∂J/∂(drop) through the mobility: J·(F ∂µ/∂F)/(µ·drop).
    let by_mobility = if drop == 0.0 { 0.0 } else { current * mu.by_log_field / (mu.value * drop) };
    let per_mobility = current / mu.value;
    Flux {
        current,
        by_potential: by_drift / vt + by_mobility,
        by_a,
        by_b,
        by_drift,
        by_enhancement: current / g - by_drift * sign * x,
        by_mu_0: per_mobility * mu.by_mu_0,
        by_temperature: current / temperature + per_mobility * mu.by_temperature,
    }
}
