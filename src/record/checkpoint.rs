//! Keeps a run on disk while it is under way.

use std::fs;
use std::path::{Path, PathBuf};

use super::{RecordError, RunRecord, disk, partial_path, write};
use crate::experiment::{Outcome, Rerun, Status};
use crate::trace::{Snapshot, Standing};

/// Holds the record of a run under way and on [`Checkpointer::save`] writes it, in the format
/// of a result, to [`partial_path`] of the result's path. When the run is done the result is
/// written and the partial file removed.
///
/// The `complete` flag of a partial file is false; an experiment that it interrupts has
/// the status `interrupted` and a snapshot to go on from, later ones are `waiting`.
#[derive(Debug)]
pub struct Checkpointer {
    path: PathBuf,
    record: RunRecord,
}

impl Checkpointer {
    /// Takes over a record whose result will lie at `path`. Writes nothing yet.
    pub fn new(path: &Path, mut record: RunRecord) -> Checkpointer {
        record.complete = false;
        Checkpointer { path: path.to_path_buf(), record }
    }

    /// Where the partial file lies.
    pub fn partial(&self) -> PathBuf {
        partial_path(&self.path)
    }

    /// The record as it stands.
    pub fn record(&self) -> &RunRecord {
        &self.record
    }

    /// The record, to fill in what does not come from a trace (mesh, equilibrium, …).
    pub fn record_mut(&mut self) -> &mut RunRecord {
        &mut self.record
    }

    /// Takes what experiment number `k` (from 0) has traced so far. Saves nothing.
    ///
    /// # Errors
    /// [`RecordError::Unfit`] if the record has no experiment `k`.
    pub fn keep(
        &mut self,
        k: usize,
        standing: &Standing,
        snapshot: &Snapshot,
    ) -> Result<(), RecordError> {
        let outcome = self.at(k)?;
        outcome.status = Status::Interrupted;
        outcome.curve = standing.curve.clone();
        outcome.folds = standing.folds.to_vec();
        outcome.fields = standing.fields.to_vec();
        outcome.work = standing.work;
        outcome.snapshot = Some(snapshot.clone());
        Ok(())
    }

    /// Puts the outcome of experiment number `k` (from 0) in its place. Saves nothing.
    ///
    /// # Errors
    /// Those of [`Checkpointer::keep`].
    pub fn put(&mut self, k: usize, outcome: Outcome) -> Result<(), RecordError> {
        *self.at(k)? = outcome;
        Ok(())
    }

    /// Adds a rerun to the error bars of experiment number `k` (from 0). Saves nothing.
    ///
    /// # Errors
    /// [`RecordError::Unfit`] if no error bars were asked for; those of
    /// [`Checkpointer::keep`].
    pub fn bar(&mut self, k: usize, rerun: Rerun) -> Result<(), RecordError> {
        match &mut self.at(k)?.bars {
            Some(bars) => {
                bars.reruns.push(rerun);
                Ok(())
            }
            None => {
                let detail = "no error bars were asked for";
                Err(RecordError::unfit(format!("/experiment/{k}"), detail))
            }
        }
    }

    fn at(&mut self, k: usize) -> Result<&mut Outcome, RecordError> {
        let count = self.record.experiments.len();
        let fail =
            || RecordError::unfit(format!("/experiment/{k}"), format!("there are only {count}"));
        self.record.experiments.get_mut(k).ok_or_else(fail)
    }

    /// Writes the partial file, in one step as seen by others.
    ///
    /// # Errors
    /// Those of [`super::write`].
    pub fn save(&self) -> Result<(), RecordError> {
        write(&self.partial(), &self.record)
    }

    /// Writes the result with `complete` set and removes the partial file.
    ///
    /// # Errors
    /// Those of [`super::write`]; the partial file is then still there.
    pub fn finish(mut self) -> Result<RunRecord, RecordError> {
        self.record.complete = true;
        write(&self.path, &self.record)?;
        let partial = self.partial();
        match fs::remove_file(&partial) {
            Ok(()) => disk::sync_folder(&self.path)?,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
            Err(e) => return Err(RecordError::io(&partial, "removing the partial file", e)),
        }
        Ok(self.record)
    }
}
