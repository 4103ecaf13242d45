//! The trait through which points are kept while a trace runs.

use super::model::{Curve, Fields, Fold, Snapshot, Work};

/// What to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Next {
    GoOn,
    /// Ctrl-C or a signal: stop cleanly at this point.
    Interrupt,
}

/// Where a trace stands when it tells its keeper.
pub struct Standing<'a> {
    pub curve: &'a Curve,
    pub folds: &'a [Fold],
    pub fields: &'a [Fields],
    pub work: Work,
    /// Fraction of the way to `stop`, 0 to 1, a rough guess for the progress line.
    pub done: f64,
}

/// Keeps points: `record` writes checkpoints, `cli` shows progress, tests do neither.
pub trait Keeper {
    /// After every accepted point.
    fn point(&mut self, standing: &Standing) -> Next;

    /// On a fixed number of points. An error ends the trace; what was traced is kept.
    fn checkpoint(&mut self, standing: &Standing, snapshot: &Snapshot) -> Result<(), String>;
}

/// Keeps nothing.
#[derive(Debug, Default)]
pub struct KeepNothing;

impl Keeper for KeepNothing {
    fn point(&mut self, _: &Standing) -> Next {
        Next::GoOn
    }

    fn checkpoint(&mut self, _: &Standing, _: &Snapshot) -> Result<(), String> {
        Ok(())
    }
}
