//! What an experiment answers.

use crate::trace::{Curve, Fields, Fold, Snapshot, TerminalValues, Work};

use super::bars::Bars;
use super::sheet::Sheet;

/// How an experiment ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Status {
    Complete,
    /// Ended early, with the reason; everything so far is kept.
    Stopped(String),
    /// Ctrl-C; `run --resume` goes on.
    Interrupted,
    /// Not started yet (only in a checkpoint).
    Waiting,
}

impl Status {
    /// The word in JSON and HDF5.
    pub fn word(&self) -> &'static str {
        match self {
            Status::Complete => "complete",
            Status::Stopped(_) => "stopped",
            Status::Interrupted => "interrupted",
            Status::Waiting => "waiting",
        }
    }

    /// Why it stopped; empty otherwise.
    pub fn reason(&self) -> &str {
        match self {
            Status::Stopped(r) => r,
            _ => "",
        }
    }
}

/// A figure that may not exist; then the reason why.
pub type Found<T> = Result<T, String>;

/// The on-branch as a straight line beside the holding point: V = V_on0 + R_on·I.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnBranch {
    /// \[V\]
    pub voltage_at_zero: f64,
    /// [Ω·µm]
    pub resistance: f64,
}

/// How the critical injection was decided (DESIGN section 1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Criterion {
    Fold,
    Reconnect,
}

impl Criterion {
    /// The word in JSON and HDF5.
    pub fn word(self) -> &'static str {
        match self {
            Criterion::Fold => "fold",
            Criterion::Reconnect => "reconnect",
        }
    }
}

/// The figures of one kind of experiment.
#[derive(Debug, Clone, PartialEq)]
pub enum Figures {
    Snapback {
        trigger: Found<Fold>,
        holding: Found<Fold>,
        on_branch: Found<OnBranch>,
    },
    Injection {
        criterion: Criterion,
        critical: Found<Fold>,
        /// What a latch-up test adds: class, test level, confirmation.
        beside: Sheet,
    },
    Bias {
        points: Vec<BiasPoint>,
    },
    /// Of every other kind: gains, resistances, overvoltage and the transients.
    Named(Sheet),
}

/// One point of a `bias` experiment.
#[derive(Debug, Clone, PartialEq)]
pub struct BiasPoint {
    /// Applied to the driven terminals \[V\].
    pub applied: f64,
    pub at_terminals: TerminalValues,
}

/// One experiment's answer. `bias` experiments also fill `curve` (voltage = applied).
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The word of the case file, e.g. snapback, injection.
    pub kind: String,
    /// Driven terminals (or the injector).
    pub drive: Vec<String>,
    pub status: Status,
    pub curve: Curve,
    /// All folds met, in order.
    pub folds: Vec<Fold>,
    pub figures: Figures,
    /// Error bars, if they were asked for.
    pub bars: Option<Bars>,
    /// Stored fields: the folds and the end, and those asked for.
    pub fields: Vec<Fields>,
    /// Who carries what at the stored points; empty where there is nothing to say.
    pub flow: Sheet,
    pub warnings: Vec<String>,
    pub work: Work,
    /// \[s\]
    pub wall: f64,
    /// Where to go on, if interrupted.
    pub snapshot: Option<Snapshot>,
}
