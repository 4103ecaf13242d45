//! The folder of a sweep: one result per case, what is under way, what failed.
//!
//! ```text
//! DIR/sweep.json             sweep file and base case, verbatim, and who wrote them
//! DIR/cases/NAME.h5          result of a case, whole or not there
//! DIR/cases/NAME.h5.partial  checkpoint of a case under way or interrupted
//! DIR/cases/NAME.claim       a process is at work on the case
//! DIR/cases/NAME.failed      why the last attempt failed
//! DIR/slurm/                 batch script, job number, what the tasks said
//! ```

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde_json::{Value, json};

use super::claim;
use super::plan::Sweep;
use crate::case::Problem;
use crate::record::{self, RecordError, partial_path, version};

/// Where the files of a sweep lie.
#[derive(Debug, Clone)]
pub struct Folder(PathBuf);

/// How far a case is.
#[derive(Debug, Clone, PartialEq)]
pub enum Standing {
    /// The result is there, from this case text and this version of the program.
    Done,
    /// A result is there, but from another case text or version: why.
    Outdated(String),
    /// A process is at work on it.
    Running(claim::Holder),
    /// Interrupted, with a checkpoint to go on from.
    Partial,
    /// The last attempt failed: why.
    Failed(String),
    Missing,
}

/// Wall times of results \[s\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    pub count: usize,
    pub mean: f64,
    pub least: f64,
    pub most: f64,
}

impl Standing {
    /// The word in JSON and in gathered files.
    pub fn word(&self) -> &'static str {
        match self {
            Standing::Done => "done",
            Standing::Outdated(_) => "outdated",
            Standing::Running(_) => "running",
            Standing::Partial => "interrupted",
            Standing::Failed(_) => "failed",
            Standing::Missing => "missing",
        }
    }
}

impl Folder {
    pub fn new(path: &Path) -> Folder {
        Folder(path.to_path_buf())
    }

    /// Where a sweep goes if nothing is said: `results/NAME`.
    pub fn of(sweep: &Sweep) -> Folder {
        Folder(Path::new("results").join(&sweep.name))
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    pub fn cases(&self) -> PathBuf {
        self.0.join("cases")
    }

    pub fn slurm(&self) -> PathBuf {
        self.0.join("slurm")
    }

    /// The result of a case, by its name.
    pub fn result(&self, name: &str) -> PathBuf {
        self.cases().join(format!("{name}.h5"))
    }

    pub fn claim(&self, name: &str) -> PathBuf {
        self.cases().join(format!("{name}.claim"))
    }

    fn failed(&self, name: &str) -> PathBuf {
        self.cases().join(format!("{name}.failed"))
    }

    /// Makes the folder and writes down what the sweep is.
    ///
    /// # Errors
    /// What the operating system says.
    pub fn begin(&self, sweep: &Sweep) -> Result<(), RecordError> {
        let folder = self.cases();
        fs::create_dir_all(&folder).map_err(|e| record_io(&folder, "making the folder", e))?;
        let base_path = sweep.base_path.canonicalize().unwrap_or(sweep.base_path.clone());
        let about = json!({
            "schema": "holdpoint-sweep-plan",
            "version": version(),
            "name": sweep.name,
            "sweep": sweep.text,
            "base_path": base_path.to_string_lossy(),
            "base": sweep.base,
            "cases": sweep.count,
        });
        let path = self.0.join("sweep.json");
        let text = format!("{about:#}\n");
        // Unchanged: nothing to write, and another process may be reading it.
        if fs::read_to_string(&path).is_ok_and(|t| t == text) {
            return Ok(());
        }
        record::put(&path, text.as_bytes())
    }

    /// The sweep that was written down here.
    ///
    /// # Errors
    /// No such file, or not one of ours.
    pub fn sweep(&self) -> Result<Sweep, Vec<Problem>> {
        let path = self.0.join("sweep.json");
        let bad = |text: String| {
            vec![
                Problem::error("not-a-sweep", None, format!("{}: {text}", path.display()))
                    .help("name a sweep file, or the folder that `sweep run` made"),
            ]
        };
        let text = fs::read_to_string(&path).map_err(|e| bad(e.to_string()))?;
        let about: Value = serde_json::from_str(&text).map_err(|e| bad(e.to_string()))?;
        let get = |key: &str| {
            about.get(key).and_then(Value::as_str).ok_or_else(|| bad(format!("no text `{key}`")))
        };
        let name = format!("{}.toml", get("name")?);
        let base = (get("base")?.to_string(), PathBuf::from(get("base_path")?));
        Sweep::of_text(get("sweep")?, Path::new(&name), &|_| Ok(base.clone()))
    }

    /// How far the case `name` is, whose text is `text`; only what is in `listed` (see
    /// [`Folder::list`]) is looked for.
    pub fn standing(&self, name: &str, text: &str, listed: &BTreeSet<String>) -> Standing {
        let there = |end: &str| listed.contains(&format!("{name}{end}"));
        if there(".claim")
            && let Some(holder) = claim::holder(&self.claim(name))
        {
            return Standing::Running(holder);
        }
        let mut outdated = None;
        if there(".h5") {
            match self.fit(&self.result(name), text) {
                Ok(()) => return Standing::Done,
                Err(why) => outdated = Some(why),
            }
        }
        if there(".h5.partial") && self.fit(&partial_path(&self.result(name)), text).is_ok() {
            return Standing::Partial;
        }
        if there(".failed") {
            let why = fs::read_to_string(self.failed(name)).unwrap_or_default();
            return Standing::Failed(why.trim().to_string());
        }
        outdated.map_or(Standing::Missing, Standing::Outdated)
    }

    /// Whether a result or checkpoint comes from this text and this program; else why not.
    pub fn fit(&self, path: &Path, text: &str) -> Result<(), String> {
        let head = record::head(path).map_err(|e| e.to_string())?;
        if head.case_text != text {
            return Err("made from another case text".to_string());
        }
        if head.version != version() {
            return Err(format!("made by version {}, this is {}", head.version, version()));
        }
        Ok(())
    }

    /// Names of the files in `cases/`; none if the folder is not there.
    pub fn list(&self) -> BTreeSet<String> {
        let entries = fs::read_dir(self.cases());
        entries
            .into_iter()
            .flatten()
            .filter_map(|e| e.ok()?.file_name().into_string().ok())
            .collect()
    }

    /// Removes what killed processes left: half-written files of cases that nobody is at
    /// work on, and claims' own files that are older than anyone takes to use them.
    pub fn tidy(&self) {
        const OLD: Duration = Duration::from_secs(120);
        for entry in fs::read_dir(self.cases()).into_iter().flatten().flatten() {
            let Ok(file) = entry.file_name().into_string() else { continue };
            let left = match (file.split_once(".h5"), file.split_once(".claim.")) {
                (Some((name, end)), _) if end.contains(".tmp-") => {
                    claim::holder(&self.claim(name)).is_none()
                }
                (_, Some(_)) => {
                    let stamp = entry.metadata().and_then(|m| m.modified()).ok();
                    stamp.and_then(|s| s.elapsed().ok()).is_some_and(|age| age > OLD)
                }
                _ => false,
            };
            if left {
                let _ = fs::remove_file(entry.path());
            }
        }
    }

    /// Wall times of some results of the sweep as it is now: of its case texts, made by this
    /// version, spread over those that are there.
    pub fn measured(&self, sweep: &Sweep) -> Option<Measured> {
        const SOME: usize = 25;
        let listed = self.list();
        if listed.is_empty() {
            return None;
        }
        let there: Vec<usize> = (0..sweep.count)
            .filter(|k| listed.contains(&format!("{}.h5", sweep.case_name(*k))))
            .collect();
        let walls: Vec<f64> = there
            .iter()
            .step_by(there.len().div_ceil(SOME).max(1))
            .filter_map(|k| {
                let head = record::head(&self.result(&sweep.case_name(*k))).ok()?;
                let present = head.version == version()
                    && sweep.case_text(*k).is_ok_and(|text| text == head.case_text);
                present.then_some(head.wall)
            })
            .collect();
        (!walls.is_empty()).then(|| Measured {
            count: walls.len(),
            mean: walls.iter().sum::<f64>() / walls.len() as f64,
            least: walls.iter().copied().fold(f64::INFINITY, f64::min),
            most: walls.iter().copied().fold(0.0, f64::max),
        })
    }

    /// Notes why a case failed; the reason itself is reported by the caller.
    pub fn note_failure(&self, name: &str, why: &str) {
        // On a full disk this fails too; the report has been made.
        let _ = fs::write(self.failed(name), why);
    }

    /// The failure of an earlier attempt is past.
    pub fn forget_failure(&self, name: &str) {
        let _ = fs::remove_file(self.failed(name));
    }
}

fn record_io(path: &Path, doing: &'static str, source: std::io::Error) -> RecordError {
    RecordError::Io { path: path.to_path_buf(), doing, source }
}
