//! How far a sweep is, read from its files alone.

use serde_json::{Value, json};

use super::folder::{Folder, Standing};
use super::plan::Sweep;

/// Cases by how far they are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    pub done: usize,
    pub running: usize,
    pub interrupted: usize,
    pub failed: usize,
    pub outdated: usize,
    pub missing: usize,
}

/// How far a sweep is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Status {
    pub cases: usize,
    pub counts: Counts,
    /// Name and reason.
    pub failed: Vec<(String, String)>,
    /// Name, machine and process.
    pub running: Vec<(String, String, u32)>,
    pub outdated: Vec<(String, String)>,
}

/// Looks at every case of a sweep.
pub fn status(sweep: &Sweep, folder: &Folder) -> Status {
    let listed = folder.list();
    let mut all = Status { cases: sweep.count, ..Status::default() };
    for index in 0..sweep.count {
        let name = sweep.case_name(index);
        let standing = match sweep.case_text(index) {
            Ok(text) => folder.standing(&name, &text, &listed),
            Err(problem) => Standing::Failed(problem.text),
        };
        let counts = &mut all.counts;
        match standing {
            Standing::Done => counts.done += 1,
            Standing::Missing => counts.missing += 1,
            Standing::Partial => counts.interrupted += 1,
            Standing::Running(holder) => {
                counts.running += 1;
                all.running.push((name, holder.host, holder.pid));
            }
            Standing::Failed(why) => {
                counts.failed += 1;
                all.failed.push((name, why));
            }
            Standing::Outdated(why) => {
                counts.outdated += 1;
                all.outdated.push((name, why));
            }
        }
    }
    all
}

impl Status {
    /// For programs.
    pub fn json(&self) -> Value {
        let pairs = |list: &[(String, String)]| -> Vec<Value> {
            list.iter().map(|(name, why)| json!({ "case": name, "reason": why })).collect()
        };
        let running = self
            .running
            .iter()
            .map(|(name, host, pid)| json!({ "case": name, "host": host, "process": pid }));
        json!({
            "cases": self.cases,
            "done": self.counts.done,
            "running": running.collect::<Vec<_>>(),
            "interrupted": self.counts.interrupted,
            "failed": pairs(&self.failed),
            "outdated": pairs(&self.outdated),
            "missing": self.counts.missing,
        })
    }
}
