//! The two parasitic bipolars from the terminals' roles: npn = n+ source (cathode), p base
//! with the substrate tap, n-well; pnp = p+ source (anode), n-well, substrate.

use crate::case::{Case, Experiment, Role};
use crate::discretize::Device;

use super::setup::SetupError;

/// Contacts by role, as indices into the device's contacts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Roles {
    pub cathodes: Vec<usize>,
    pub anodes: Vec<usize>,
    pub well_taps: Vec<usize>,
    pub substrate_taps: Vec<usize>,
}

/// Which of the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bipolar {
    /// Lateral: cathode, substrate, well.
    Npn,
    /// Vertical: anode, well, substrate.
    Pnp,
}

impl Bipolar {
    /// The word in figures.
    pub fn word(self) -> &'static str {
        match self {
            Bipolar::Npn => "npn",
            Bipolar::Pnp => "pnp",
        }
    }

    /// +1 if a rising emitter voltage turns it on, −1 if a falling one does.
    pub fn sign(self) -> f64 {
        match self {
            Bipolar::Npn => -1.0,
            Bipolar::Pnp => 1.0,
        }
    }
}

/// The contacts of one bipolar.
pub struct Ends<'r> {
    pub emitter: &'r [usize],
    pub base: &'r [usize],
    /// Taps of the collector and the other bipolar's emitter, which lies in it.
    pub collector: Vec<usize>,
    /// The other bipolar's emitter.
    pub idle: &'r [usize],
}

impl Roles {
    /// All four roles; a terminal that the experiment leaves open plays none.
    ///
    /// # Errors
    /// [`SetupError::NoRole`] with the first role that no terminal has.
    pub fn of(case: &Case, device: &Device, experiment: &Experiment) -> Result<Roles, SetupError> {
        let with = |role: Role, word: &'static str| -> Result<Vec<usize>, SetupError> {
            let found: Vec<usize> = case
                .terminals
                .iter()
                .filter(|t| t.role == role && !experiment.open.contains(&t.name))
                .filter_map(|t| device.contact(&t.name))
                .collect();
            match found.is_empty() {
                true => Err(SetupError::NoRole { experiment: experiment.kind.word(), role: word }),
                false => Ok(found),
            }
        };
        Ok(Roles {
            cathodes: with(Role::Cathode, "cathode")?,
            anodes: with(Role::Anode, "anode")?,
            well_taps: with(Role::WellTap, "well-tap")?,
            substrate_taps: with(Role::SubstrateTap, "substrate-tap")?,
        })
    }

    /// The contacts of one of the bipolars.
    pub fn ends(&self, bipolar: Bipolar) -> Ends<'_> {
        let joined = |a: &[usize], b: &[usize]| a.iter().chain(b).copied().collect();
        match bipolar {
            Bipolar::Npn => Ends {
                emitter: &self.cathodes,
                base: &self.substrate_taps,
                collector: joined(&self.well_taps, &self.anodes),
                idle: &self.anodes,
            },
            Bipolar::Pnp => Ends {
                emitter: &self.anodes,
                base: &self.well_taps,
                collector: joined(&self.substrate_taps, &self.cathodes),
                idle: &self.cathodes,
            },
        }
    }
}
