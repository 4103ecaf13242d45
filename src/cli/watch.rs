//! Stands between a run and the user: shows progress, saves checkpoints, passes Ctrl-C
//! on.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use super::progress::Progress;
use super::{INTERRUPTED, Io};
use crate::experiment::{Outcome, Rerun, Sheet};
use crate::record::{Checkpointer, RecordError, RunRecord};
use crate::trace::{Keeper, Next, Snapshot, Standing};

/// Set when the run is to end at the next point.
#[derive(Debug, Clone, Default)]
pub struct Interrupt(Arc<AtomicBool>);

impl Interrupt {
    /// Catches Ctrl-C, TERM and HUP: the first ends the run at the next point and saves,
    /// the second ends the program at once (exit code 130). Files are safe: they appear
    /// under their names only when whole.
    pub(super) fn on_signals() -> Interrupt {
        Interrupt::caught(true)
    }

    /// The same without a word: for workers, whose parent says it.
    pub(super) fn on_signals_silently() -> Interrupt {
        Interrupt::caught(false)
    }

    fn caught(say: bool) -> Interrupt {
        let interrupt = Interrupt::default();
        let flag = interrupt.clone();
        let caught = ctrlc::set_handler(move || {
            if flag.0.swap(true, Ordering::SeqCst) {
                std::process::exit(i32::from(INTERRUPTED));
            }
            // Straight to stderr: the main thread may be in the middle of a long step.
            if say {
                eprintln!("\ninterrupted: saving at the next point; once more ends at once");
            }
        });
        // Without a handler Ctrl-C ends the program as usual; the last checkpoint stays.
        drop(caught);
        interrupt
    }

    /// Ends the run at the next point, as Ctrl-C does.
    pub fn set(&self) {
        self.0.store(true, Ordering::SeqCst);
    }

    /// True once the run is to end.
    pub fn is_set(&self) -> bool {
        self.0.load(Ordering::SeqCst)
    }
}

/// Passed to [`super::Rooms::run`].
pub struct Watch<'a> {
    io: &'a mut Io,
    progress: Progress,
    interrupt: Interrupt,
    path: &'a Path,
    checkpoint: Option<Checkpointer>,
    /// Experiment that the watch keeps points of; `None` in a rerun.
    current: Option<usize>,
    /// Spent on writing checkpoints, and on the last one.
    writing: Duration,
    last: Duration,
    /// When there was last nothing unsaved.
    saved: Instant,
}

/// Between two writes of the partial file at least this, and so many times what the last one
/// took: writing costs a two-hundredth of a run, a kill what was found since.
const SOONEST: Duration = Duration::from_secs(2);
const RARITY: u32 = 200;

impl<'a> Watch<'a> {
    pub(super) fn new(
        path: &'a Path,
        name: &str,
        quiet: bool,
        interrupt: Interrupt,
        io: &'a mut Io,
    ) -> Watch<'a> {
        let progress = Progress::new(name, io.err_terminal, quiet);
        Watch {
            io,
            progress,
            interrupt,
            path,
            checkpoint: None,
            current: None,
            writing: Duration::ZERO,
            last: Duration::ZERO,
            saved: Instant::now(),
        }
    }

    /// Shows what is done next, e.g. "mesh", "equilibrium".
    pub fn phase(&mut self, phase: &str) {
        self.progress.phase(phase);
        self.say();
    }

    /// Shows a line, e.g. the size of the mesh.
    pub fn line(&mut self, text: &str) {
        self.progress.line(text.to_string());
        self.say();
    }

    /// Shows how much of a phase without points is done, 0 to 1; false once the run is to
    /// end.
    pub fn share(&mut self, done: f64) -> bool {
        self.progress.share(done);
        self.say();
        !self.interrupt.is_set()
    }

    fn say(&mut self) {
        let lines = self.progress.take_lines();
        if !lines.is_empty() {
            self.io.say(&lines);
        }
    }

    /// A copy of the wish to end.
    pub(super) fn interrupt(&self) -> Interrupt {
        self.interrupt.clone()
    }

    /// True once the run is to end: ask between long steps outside a trace.
    pub fn interrupted(&self) -> bool {
        self.interrupt.is_set()
    }

    /// Takes over the record once it has its mesh and one (waiting or resumed) outcome
    /// per experiment.
    pub fn start(&mut self, record: RunRecord) {
        self.checkpoint = Some(Checkpointer::new(self.path, record));
        self.saved = Instant::now();
    }

    /// Experiment `k` (from 0) of `count` begins; the watch is its keeper.
    pub fn experiment(&mut self, k: usize, count: usize, kind: &str) {
        self.current = Some(k);
        self.phase(&format!("{kind} ({} of {count})", k + 1));
    }

    /// A trace begins of which nothing but its figures is kept.
    pub fn rerun(&mut self, what: &str) {
        self.current = None;
        self.phase(what);
    }

    /// A rerun for the error bars of experiment `k` has ended: it is kept.
    ///
    /// # Errors
    /// Those of [`Checkpointer::bar`] and [`Checkpointer::save`].
    pub fn bar(&mut self, k: usize, rerun: Rerun) -> Result<(), RecordError> {
        self.take(|c| c.bar(k, rerun))
    }

    /// Experiment `k` has ended, one way or another: its outcome is kept.
    ///
    /// # Errors
    /// Those of [`Checkpointer::put`] and [`Checkpointer::save`].
    pub fn outcome(&mut self, k: usize, outcome: Outcome) -> Result<(), RecordError> {
        self.take(|c| c.put(k, outcome))
    }

    /// Another temperature's answer is known: it is kept for a run that goes on from here.
    pub fn temperature(&mut self, answer: Sheet) {
        let Some(record) = self.record_mut() else { return };
        record.temperatures.push(answer);
        if let Err(e) = self.take(|_| Ok(())) {
            self.line(&format!("not saved: {e}"));
        }
    }

    /// Puts something in the record, and writes the partial file if it is time to.
    fn take(
        &mut self,
        put: impl FnOnce(&mut Checkpointer) -> Result<(), RecordError>,
    ) -> Result<(), RecordError> {
        let Some(checkpoint) = self.checkpoint.as_mut() else { return Err(not_started()) };
        let started = Instant::now();
        put(checkpoint)?;
        if self.saved.elapsed() < SOONEST.max(RARITY * self.last) {
            self.writing += started.elapsed();
            return Ok(());
        }
        let done = checkpoint.save();
        self.last = started.elapsed();
        self.writing += self.last;
        self.saved = Instant::now();
        done
    }

    /// Spent on writing so far.
    pub(super) fn writing(&self) -> Duration {
        self.writing
    }

    /// The record as it stands; `None` before [`Watch::start`].
    pub fn record(&self) -> Option<&RunRecord> {
        self.checkpoint.as_ref().map(Checkpointer::record)
    }

    /// The record, to fill in equilibrium, warnings, verdict, wall time.
    pub fn record_mut(&mut self) -> Option<&mut RunRecord> {
        self.checkpoint.as_mut().map(Checkpointer::record_mut)
    }

    /// Takes the bar away and gives up what was recorded.
    pub(super) fn end(mut self) -> Option<Checkpointer> {
        self.progress.clear();
        self.checkpoint
    }
}

fn not_started() -> RecordError {
    RecordError::Unfit {
        at: "/experiment".into(),
        detail: "an outcome came before the record was started".into(),
    }
}

impl Keeper for Watch<'_> {
    fn point(&mut self, standing: &Standing) -> Next {
        let curve = standing.curve;
        if let (Some(v), Some(i)) = (curve.voltage.last(), curve.current.last()) {
            self.progress.point(curve.len(), *v, *i, standing.done);
            self.say();
        }
        if self.interrupt.is_set() { Next::Interrupt } else { Next::GoOn }
    }

    fn checkpoint(&mut self, standing: &Standing, snapshot: &Snapshot) -> Result<(), String> {
        let kept = match self.current {
            None => Ok(()),
            Some(k) => self.take(|c| c.keep(k, standing, snapshot)),
        };
        kept.map_err(|e| e.to_string())
    }
}
