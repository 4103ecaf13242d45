//! Band gap, intrinsic density, densities of states.

use crate::case::Constants;

use super::dual::OfT;
use super::{K_B, Q, Slope};

/// E_g(T) and n_i(T), without narrowing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntrinsicLaw {
    ni_300: f64,
    t_exponent: f64,
    gap_0: f64,
    alpha: f64,
    beta: f64,
    n_c: f64,
    n_c_exponent: f64,
}

impl IntrinsicLaw {
    /// With the constants in force.
    pub fn new(constants: &Constants) -> IntrinsicLaw {
        let get = |key| constants.get("intrinsic", key);
        let states = |key| constants.get("density-of-states", key);
        IntrinsicLaw {
            ni_300: get("ni_300"),
            t_exponent: get("t_exponent"),
            gap_0: get("gap_0"),
            alpha: get("alpha"),
            beta: get("beta"),
            n_c: states("n_c"),
            n_c_exponent: states("n_c_exponent"),
        }
    }

    fn gap_of(&self, t: OfT) -> OfT {
        self.gap_0 - self.alpha * t * t / (t + self.beta)
    }

    /// E_g/kT.
    fn reduced_gap(&self, t: OfT) -> OfT {
        self.gap_of(t) / (t * (K_B / Q))
    }

    fn density_of(&self, t: OfT) -> OfT {
        let at_300 = self.reduced_gap(OfT::constant(300.0));
        let rise = 0.5 * (at_300 - self.reduced_gap(t));
        self.ni_300 * (t / 300.0).powf(self.t_exponent) * rise.exp()
    }

    fn conduction_states_of(&self, t: OfT) -> OfT {
        self.n_c * (t / 300.0).powf(self.n_c_exponent)
    }

    /// Band gap \[eV\] and its derivative by T \[K\], Varshni form: gap_0 − α T²/(T + β).
    /// Source: Thurmond, J. Electrochem. Soc. 122, 1133 (1975).
    pub fn gap(&self, t: f64) -> Slope {
        self.gap_of(OfT::temperature(t)).slope()
    }

    /// n_i [cm⁻³] and its derivative by T \[K\]:
    /// ni_300 (T/300)^t_exponent exp(gap(300)/2kT₃₀₀ − gap(T)/2kT), so that the measured
    /// value at 300 K (Altermatt et al. 2003) is met exactly. The exponent is that of
    /// Couderc, Amara, Lemiti, J. Appl. Phys. 115, 093705 (2014).
    pub fn density(&self, t: f64) -> Slope {
        self.density_of(OfT::temperature(t)).slope()
    }

    /// N_c [cm⁻³] and its derivative by T \[K\]: Green, J. Appl. Phys. 67, 2944 (1990).
    pub fn conduction_states(&self, t: f64) -> Slope {
        self.conduction_states_of(OfT::temperature(t)).slope()
    }

    /// N_v [cm⁻³] and its derivative by T \[K\], from N_c N_v exp(−E_g/kT) = n_i²: n_i is
    /// known better than either density of states, so it leads, and N_v follows.
    pub fn valence_states(&self, t: f64) -> Slope {
        let t = OfT::temperature(t);
        let ni = self.density_of(t);
        (ni * ni * self.reduced_gap(t).exp() / self.conduction_states_of(t)).slope()
    }
}

/// Band gap \[eV\] at `t` \[K\]: [`IntrinsicLaw::gap`] by the constants.
pub fn gap(constants: &Constants, t: f64) -> f64 {
    IntrinsicLaw::new(constants).gap(t).value
}

/// Intrinsic density [cm⁻³] at `t` \[K\]: [`IntrinsicLaw::density`] by the constants.
pub fn intrinsic_density(constants: &Constants, t: f64) -> f64 {
    IntrinsicLaw::new(constants).density(t).value
}
