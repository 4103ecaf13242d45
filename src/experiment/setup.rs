//! From an experiment's words to sources at the device's terminals.

use crate::case::{Case, Experiment};
use crate::discretize::{Circuit, Device, Tying};
use crate::trace::Load;

/// An experiment that the device cannot carry out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SetupError {
    #[error("{experiment}: no terminal is called '{name}'; the device has {known}")]
    NoTerminal { experiment: &'static str, name: String, known: String },
    #[error("{experiment}: not available in this version")]
    NotAvailable { experiment: &'static str },
    #[error(
        "{experiment}: no terminal with the role \"{role}\" carries current: give one the role, or leave it out of `open`"
    )]
    NoRole { experiment: &'static str, role: &'static str },
    #[error("{experiment}: no terminal is driven")]
    NoDrive { experiment: &'static str },
    #[error("{experiment}: `bias` holds no terminal above 0 V: there is no supply to latch at")]
    NoSupply { experiment: &'static str },
}

/// How each terminal is held while the experiment runs.
pub struct Setup<'a> {
    case: &'a Case,
    device: &'a Device,
    experiment: &'a Experiment,
    /// Contacts that are driven.
    pub drive: Vec<usize>,
}

impl<'a> Setup<'a> {
    /// Resolve names; `drive` are the driven terminals.
    pub fn new(
        case: &'a Case,
        device: &'a Device,
        experiment: &'a Experiment,
        drive: &[String],
    ) -> Result<Setup<'a>, SetupError> {
        let setup = Setup::resolved(case, device, experiment, drive)?;
        if setup.drive.is_empty() {
            return Err(SetupError::NoDrive { experiment: experiment.kind.word() });
        }
        Ok(setup)
    }

    /// Without any driven terminal: `bias` says it all.
    pub fn held(
        case: &'a Case,
        device: &'a Device,
        experiment: &'a Experiment,
    ) -> Result<Setup<'a>, SetupError> {
        Setup::resolved(case, device, experiment, &[])
    }

    fn resolved(
        case: &'a Case,
        device: &'a Device,
        experiment: &'a Experiment,
        drive: &[String],
    ) -> Result<Setup<'a>, SetupError> {
        let word = experiment.kind.word();
        let find = |name: &String| {
            device.contact(name).ok_or_else(|| SetupError::NoTerminal {
                experiment: word,
                name: name.clone(),
                known: device
                    .contacts
                    .iter()
                    .map(|c| c.name.as_str())
                    .collect::<Vec<_>>()
                    .join(", "),
            })
        };
        let drive = drive.iter().map(find).collect::<Result<Vec<_>, _>>()?;
        for name in experiment.open.iter().chain(experiment.bias.iter().map(|b| &b.terminal)) {
            find(name)?;
        }
        Ok(Setup { case, device, experiment, drive })
    }

    /// Voltage that the experiment holds contact `name` at \[V\].
    pub fn held_at(&self, name: &str) -> f64 {
        self.experiment.bias.iter().find(|b| b.terminal == name).map_or(0.0, |b| b.voltage)
    }

    /// True if the experiment names a voltage for the contact.
    pub fn is_held(&self, name: &str) -> bool {
        self.experiment.bias.iter().any(|b| b.terminal == name)
    }

    /// In series with the contact `name` [Ω·µm].
    pub(super) fn resistance(&self, name: &str) -> f64 {
        self.case.terminals.iter().find(|t| t.name == name).map_or(0.0, |t| t.resistance)
    }

    /// What wiring adds to each contact in a transient.
    pub(super) fn loads(&self) -> Vec<Load> {
        let of = |name: &str| self.case.terminals.iter().find(|t| t.name == name);
        let each = self.device.contacts.iter().map(|c| {
            of(&c.name).map_or_else(Load::default, |t| Load {
                inductance: t.inductance,
                capacitance: t.capacitance,
            })
        });
        each.collect()
    }

    fn ties(&self, source: impl Fn(usize, &str) -> Tying) -> Vec<Tying> {
        let contacts = &self.device.contacts;
        contacts
            .iter()
            .enumerate()
            .map(|(k, c)| {
                let leader = self
                    .case
                    .gates
                    .iter()
                    .find(|g| g.name == c.name)
                    .and_then(|g| g.follows.as_ref())
                    .and_then(|f| self.device.contact(f));
                match leader {
                    Some(l) => Tying::Follows(l),
                    None if self.experiment.open.contains(&c.name) => Tying::Open,
                    None => source(k, &c.name),
                }
            })
            .collect()
    }

    /// Ramp from equilibrium: λ = 1 is the full bias. `drive_at` is what the driven
    /// terminals are brought to; `None` leaves them open (the injector before injection).
    pub fn ramp(&self, drive_at: Option<f64>) -> Circuit {
        let ties = self.ties(|k, name| {
            let slope = match (self.drive.contains(&k), drive_at) {
                (true, None) => return Tying::Open,
                (true, Some(v)) => v,
                (false, _) => self.held_at(name),
            };
            Tying::Source { base: 0.0, slope, resistance: self.resistance(name) }
        });
        Circuit { ties, drive: self.drive.clone() }
    }

    /// The experiment itself: λ is the voltage of the driven terminals.
    pub fn driven(&self) -> Circuit {
        let ties = self.ties(|k, name| {
            let (base, slope) =
                if self.drive.contains(&k) { (0.0, 1.0) } else { (self.held_at(name), 0.0) };
            Tying::Source { base, slope, resistance: self.resistance(name) }
        });
        Circuit { ties, drive: self.drive.clone() }
    }

    /// Largest voltage that the ramp brings a terminal to \[V\].
    pub fn largest_bias(&self, drive_at: Option<f64>) -> f64 {
        self.experiment
            .bias
            .iter()
            .map(|b| b.voltage.abs())
            .chain(drive_at.map(f64::abs))
            .fold(0.0, f64::max)
    }
}
