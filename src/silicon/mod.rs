//! Laws of silicon: one file per family, each law with its paper and its derivatives.
//! Pure functions of a state at a point; no mesh here.

mod avalanche;
mod intrinsic;
mod mobility;
mod narrowing;
mod recombination;
mod saturation;

use crate::case::{Case, Constants, Laws};

pub use avalanche::AvalancheLaw;
pub use intrinsic::{gap, intrinsic_density};
pub use mobility::MobilityLaw;
pub use narrowing::NarrowingLaw;
pub use recombination::{RecombinationLaw, RecombinationRate};
pub use saturation::SaturationLaw;

/// Elementary charge [C], SI 2019 (exact).
pub const Q: f64 = 1.602176634e-19;
/// Boltzmann constant [J/K], SI 2019 (exact).
pub const K_B: f64 = 1.380649e-23;
/// Vacuum permittivity [F/cm], CODATA 2018.
pub const EPS_0: f64 = 8.8541878128e-14;

/// kT/q [V].
pub fn thermal_voltage(temperature: f64) -> f64 {
    K_B * temperature / Q
}

/// Which carrier a law is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Carrier {
    Electron,
    Hole,
}

/// A value and its derivative with respect to the law's argument.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Slope {
    pub value: f64,
    pub derivative: f64,
}

/// All laws in force at one lattice temperature.
#[derive(Debug, Clone)]
pub struct Silicon {
    /// [K]
    pub temperature: f64,
    /// kT/q [V]
    pub vt: f64,
    /// Intrinsic density without narrowing [cm⁻³].
    pub ni: f64,
    /// Band gap without narrowing [eV].
    pub gap: f64,
    /// Permittivities [F/cm].
    pub eps_silicon: f64,
    pub eps_oxide: f64,
    /// Electron affinity [eV].
    pub affinity: f64,
    pub narrowing: NarrowingLaw,
    pub mobility: MobilityLaw,
    pub saturation: SaturationLaw,
    pub recombination: RecombinationLaw,
    pub avalanche: AvalancheLaw,
}

impl Silicon {
    /// The laws of a case at `temperature` [K].
    pub fn new(laws: &Laws, constants: &Constants, temperature: f64) -> Silicon {
        Silicon {
            temperature,
            vt: thermal_voltage(temperature),
            ni: intrinsic_density(constants, temperature),
            gap: gap(constants, temperature),
            eps_silicon: EPS_0 * constants.get("dielectric", "silicon"),
            eps_oxide: EPS_0 * constants.get("dielectric", "oxide"),
            affinity: constants.get("affinity", "silicon"),
            narrowing: NarrowingLaw::new(laws.narrowing, constants),
            mobility: MobilityLaw::new(laws.mobility, constants, temperature),
            saturation: SaturationLaw::new(laws.saturation, constants, temperature),
            recombination: RecombinationLaw::new(laws, constants),
            avalanche: AvalancheLaw::new(laws.avalanche, constants, temperature),
        }
    }

    /// The laws of a case at its ambient temperature.
    pub fn of_case(case: &Case) -> Silicon {
        Silicon::new(&case.laws, &case.constants, case.temperature)
    }

    /// Effective intrinsic density [cm⁻³] where the total doping is `total` [cm⁻³]:
    /// n_i exp(ΔE_g/2kT), half of the narrowing on each band.
    pub fn effective_intrinsic(&self, total: f64) -> f64 {
        self.ni * (0.5 * self.narrowing.at(total) / self.vt).exp()
    }
}
