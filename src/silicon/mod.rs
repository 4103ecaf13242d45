//! Laws of silicon: one file per family, each law with its paper and its derivatives.
//! Pure functions of a state at a point; no mesh here.

mod ambient;
mod arora;
mod avalanche;
mod dual;
mod fermi;
mod heat;
mod intrinsic;
mod ionization;
mod klaassen;
pub mod lanes;
mod masetti;
mod mobility;
mod narrowing;
mod okuto_crowell;
mod range;
mod recombination;
mod saturation;
mod surface;

use crate::case::{Case, Constants, Dopants, Laws, Statistics};

pub use ambient::{AmbientKlaassen, AmbientSaturation};
pub use avalanche::{AvalancheLaw, AvalancheValue};
pub use fermi::FermiIntegrals;
pub use heat::HeatLaw;
pub use intrinsic::{IntrinsicLaw, gap, intrinsic_density};
pub use ionization::{IonizationLaw, IonizedShare};
pub use mobility::{MobilityLaw, MobilityPoint, MobilityValue};
pub use narrowing::NarrowingLaw;
pub use range::{LocalState, PublishedRange, Quantity, RangeWatch, published_ranges};
pub use recombination::{RecombinationLaw, RecombinationPoint, RecombinationRate};
pub use saturation::{SaturationLaw, SaturationValue};
pub use surface::SurfaceLaw;

/// Elementary charge \[C\], SI 2019 (exact).
pub const Q: f64 = 1.602176634e-19;
/// Boltzmann constant [J/K], SI 2019 (exact).
pub const K_B: f64 = 1.380649e-23;
/// Vacuum permittivity [F/cm], CODATA 2018.
pub const EPS_0: f64 = 8.8541878128e-14;

/// kT/q \[V\].
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

impl Slope {
    /// A value that does not change.
    pub fn constant(value: f64) -> Slope {
        Slope { value, derivative: 0.0 }
    }
}

/// All laws in force. Each takes the lattice temperature as an argument and returns
/// derivatives by it; what they need at the ambient temperature is computed once, so that
/// a run without heat does not pay for that.
#[derive(Debug, Clone)]
pub struct Silicon {
    /// Which laws these are.
    pub laws: Laws,
    /// Ambient \[K\].
    pub temperature: f64,
    /// kT/q at ambient \[V\].
    pub vt: f64,
    /// Intrinsic density without narrowing, at ambient [cm⁻³].
    pub ni: f64,
    /// Band gap without narrowing, at ambient \[eV\].
    pub gap: f64,
    /// Permittivities [F/cm].
    pub eps_silicon: f64,
    pub eps_oxide: f64,
    /// Electron affinity \[eV\].
    pub affinity: f64,
    pub intrinsic: IntrinsicLaw,
    ambient_ni: Slope,
    pub narrowing: NarrowingLaw,
    pub mobility: MobilityLaw,
    pub saturation: SaturationLaw,
    pub recombination: RecombinationLaw,
    pub surface: SurfaceLaw,
    pub avalanche: AvalancheLaw,
    pub ionization: IonizationLaw,
    pub heat: HeatLaw,
    /// Where the laws in force were measured.
    pub ranges: Vec<PublishedRange>,
}

impl Silicon {
    /// The laws of a case with the ambient at `temperature` \[K\].
    pub fn new(laws: &Laws, constants: &Constants, temperature: f64) -> Silicon {
        let intrinsic = IntrinsicLaw::new(constants);
        Silicon {
            laws: *laws,
            temperature,
            vt: thermal_voltage(temperature),
            ni: intrinsic.density(temperature).value,
            gap: intrinsic.gap(temperature).value,
            eps_silicon: EPS_0 * constants.get("dielectric", "silicon"),
            eps_oxide: EPS_0 * constants.get("dielectric", "oxide"),
            affinity: constants.get("affinity", "silicon"),
            ambient_ni: intrinsic.density(temperature),
            intrinsic,
            narrowing: NarrowingLaw::new(laws.narrowing, constants),
            mobility: MobilityLaw::new(laws.mobility, constants, temperature),
            saturation: SaturationLaw::new(laws.saturation, constants, temperature),
            recombination: RecombinationLaw::new(laws, constants),
            surface: SurfaceLaw::new(laws, constants),
            avalanche: AvalancheLaw::new(laws.avalanche, constants, temperature),
            ionization: IonizationLaw::new(constants),
            heat: HeatLaw::new(constants),
            ranges: published_ranges(laws),
        }
    }

    /// The laws of a case at its ambient temperature.
    pub fn of_case(case: &Case) -> Silicon {
        Silicon::new(&case.laws, &case.constants, case.temperature)
    }

    /// Carriers obey Fermi-Dirac statistics.
    pub fn degenerate(&self) -> bool {
        self.laws.statistics == Statistics::FermiDirac
    }

    /// Dopants are not all ionized.
    pub fn incomplete(&self) -> bool {
        self.laws.dopants == Dopants::Incomplete
    }

    /// Effective intrinsic density [cm⁻³] where the total doping is `total` [cm⁻³], and its
    /// derivative by the lattice temperature \[K\]: n_i exp(ΔE_g/2kT), half of the narrowing
    /// on each band.
    pub fn effective_intrinsic(&self, total: f64, temperature: f64) -> Slope {
        self.narrowed(self.narrowing.at(total), temperature)
    }

    /// The same for a narrowing ΔE_g \[eV\].
    pub fn narrowed(&self, narrowing: f64, temperature: f64) -> Slope {
        let ni = if temperature == self.temperature {
            self.ambient_ni
        } else {
            self.intrinsic.density(temperature)
        };
        let vt = thermal_voltage(temperature);
        let factor = (0.5 * narrowing / vt).exp();
        let value = ni.value * factor;
        let derivative = ni.derivative * factor - value * 0.5 * narrowing / (vt * temperature);
        Slope { value, derivative }
    }
}
