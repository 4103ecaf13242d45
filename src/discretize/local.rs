//! What the laws say at one node at its lattice temperature, and how full its bands are.

use crate::silicon::{FermiIntegrals, Silicon, Slope, thermal_voltage};

/// The laws of the doping and the lattice temperature at one node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Local {
    /// Lattice temperature \[K\].
    pub temperature: f64,
    /// kT/q \[V\].
    pub vt: f64,
    /// Effective intrinsic density [cm⁻³] with its derivative by T.
    pub nie: Slope,
    /// Electron and hole lifetime \[s\] with their derivatives by T.
    pub tau: [Slope; 2],
    /// With Fermi-Dirac statistics the conduction and valence bands; `None`: Boltzmann.
    pub bands: Option<[Band; 2]>,
}

/// A band's density of states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// ln of it, relative to n_ie: η = ζ − offset.
    pub offset: f64,
    /// N [cm⁻³] and its derivative by T.
    pub states: Slope,
}

/// A carrier's density where its quasi-Fermi potential stands ζ = ±(ψ − φ)/V_T from the
/// potential, and how the two hang together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Filling {
    /// Reduced distance to the band edge, η = F⁻¹(n/N); ζ itself with Boltzmann statistics.
    pub eta: f64,
    /// dη/d ln n, at least 1: the enhancement of diffusion over D = µkT/q.
    pub slope: f64,
    /// d slope/d ln n.
    pub curve: f64,
}

impl Filling {
    /// Far below the band edge: Boltzmann statistics.
    pub const DILUTE: Filling = Filling { eta: 0.0, slope: 1.0, curve: 0.0 };

    fn of(eta: f64, f: FermiIntegrals) -> Filling {
        let slope = f.half / f.minus_half;
        let curve = slope * (1.0 - slope * f.minus_three_halves / f.minus_half);
        Filling { eta, slope, curve }
    }
}

impl Local {
    /// The laws where the total doping is `total` [cm⁻³] and the band gap narrower by
    /// `narrowing` \[eV\], at `temperature` \[K\].
    pub fn new(silicon: &Silicon, total: f64, narrowing: f64, temperature: f64) -> Local {
        let nie = silicon.narrowed(narrowing, temperature);
        let bands = silicon.degenerate().then(|| {
            let law = &silicon.intrinsic;
            [law.conduction_states(temperature), law.valence_states(temperature)]
                .map(|states| Band { offset: (states.value / nie.value).ln(), states })
        });
        Local {
            temperature,
            vt: thermal_voltage(temperature),
            nie,
            tau: silicon.recombination.lifetimes(total, temperature),
            bands,
        }
    }

    /// d ln n_ie/dT [K⁻¹].
    pub fn ln_nie_by_t(&self) -> f64 {
        self.nie.derivative / self.nie.value
    }

    /// d ln N/dT [K⁻¹] of carrier `c`'s band; 0 with Boltzmann statistics.
    pub fn ln_states_by_t(&self, c: usize) -> f64 {
        self.bands.map_or(0.0, |b| b[c].states.derivative / b[c].states.value)
    }

    /// Density [cm⁻³] of carrier `c` (0 electrons, 1 holes) at ζ.
    pub fn density(&self, c: usize, zeta: f64) -> (f64, Filling) {
        match self.bands {
            None => (self.nie.value * zeta.exp(), Filling { eta: zeta, ..Filling::DILUTE }),
            Some(bands) => {
                let eta = zeta - bands[c].offset;
                let f = FermiIntegrals::at(eta);
                (bands[c].states.value * f.half, Filling::of(eta, f))
            }
        }
    }

    /// ζ at which carrier `c` has a density [cm⁻³].
    pub fn zeta(&self, c: usize, density: f64) -> f64 {
        match self.bands {
            None => (density / self.nie.value).ln(),
            Some(bands) => {
                FermiIntegrals::inverse(density / bands[c].states.value).0 + bands[c].offset
            }
        }
    }

    /// dζ/dT [K⁻¹] of carrier `c` at fixed density.
    pub fn zeta_by_t(&self, c: usize, slope: f64) -> f64 {
        (1.0 - slope) * self.ln_states_by_t(c) - self.ln_nie_by_t()
    }
}
