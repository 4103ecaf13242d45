//! Rooms that solve nothing: they trace an invented curve through the real watch.
#![allow(dead_code)] // each test file uses some of it

use std::path::Path;
use std::time::Duration;

use holdpoint::case::{
    Case, Constants, Experiment, ExperimentKind, Grid, Laws, Problem, Stop, Wafer,
};
use holdpoint::cli::{Job, Meshed, Rooms, RunError, Watch};
use holdpoint::experiment::{Outcome, Sheet, Status};
use holdpoint::extract::{Answer, Verdict};
use holdpoint::record::RunRecord;
use holdpoint::trace::{Curve, Keeper, Next, Snapshot, Standing, StateWords};
use serde_json::{Value, json};

use super::{Numbers, curve, mesh, rich};

/// Traces an invented curve of 40 points in two experiments.
#[derive(Default)]
pub struct Invented {
    /// Pretend that Ctrl-C came at this point of the second experiment.
    pub interrupt_at: Option<usize>,
    /// The second experiment stops early.
    pub stops: bool,
    pub fails: bool,
    /// Time that a point takes.
    pub pause: Duration,
    pub answer: Option<Answer>,
}

pub const POINTS: usize = 40;

fn case_of(text: &str, path: &Path) -> Case {
    Case {
        title: "Invented".into(),
        temperature: 300.0,
        temperatures: Vec::new(),
        width: 10.0,
        wafer: Wafer { span: 1.0, thickness: 1.0, doping: None, epi: None, at: 0..0 },
        wells: Vec::new(),
        diffusions: Vec::new(),
        trenches: Vec::new(),
        gates: Vec::new(),
        terminals: Vec::new(),
        heat: Default::default(),
        laws: Laws::default(),
        constants: Constants::default(),
        grid: Grid::default(),
        slides: Vec::new(),
        follows: Vec::new(),
        rules: Vec::new(),
        spreads: Vec::new(),
        experiments: vec![Experiment {
            bias: Vec::new(),
            open: Vec::new(),
            kind: ExperimentKind::Snapback { drive: Vec::new(), stop: Stop::default() },
            at: 0..0,
        }],
        verdict: None,
        text: text.into(),
        path: path.display().to_string(),
    }
}

fn head(curve: &Curve, n: usize) -> Curve {
    Curve {
        terminals: curve.terminals.clone(),
        voltage: curve.voltage[..n].to_vec(),
        current: curve.current[..n].to_vec(),
        at_terminals: curve.at_terminals[..n].to_vec(),
        imbalance: curve.imbalance[..n].to_vec(),
        largest: curve.largest[..n].to_vec(),
        newton: curve.newton[..n].to_vec(),
    }
}

impl Invented {
    fn trace(&self, k: usize, from: Option<&Outcome>, watch: &mut Watch) -> Outcome {
        let whole = curve(&mut Numbers::new(k as u64), POINTS);
        let mut outcome = rich().experiments.swap_remove(if k == 0 { 0 } else { 1 });
        outcome.folds.clear();
        outcome.fields.clear();
        outcome.status = Status::Complete;
        outcome.snapshot = None;
        let begin = from.and_then(|o| o.snapshot.as_ref()).map_or(0, |s| s.control[0] as usize);
        for n in begin + 1..=POINTS {
            outcome.curve = head(&whole, n);
            let standing = Standing {
                curve: &outcome.curve,
                folds: &outcome.folds,
                fields: &outcome.fields,
                work: outcome.work,
                done: n as f64 / POINTS as f64,
            };
            let snapshot = Snapshot {
                control: vec![n as f64],
                state: StateWords::default(),
                ..Snapshot::default()
            };
            if n % 10 == 0 {
                watch.checkpoint(&standing, &snapshot).unwrap();
            }
            std::thread::sleep(self.pause);
            let asked = watch.point(&standing) == Next::Interrupt;
            if asked || (k == 1 && self.interrupt_at == Some(n)) {
                outcome.status = Status::Interrupted;
                outcome.snapshot = Some(snapshot);
                return outcome;
            }
            if k == 1 && self.stops && n == 15 {
                outcome.status = Status::Stopped("Newton gave up".into());
                return outcome;
            }
        }
        outcome
    }
}

impl Rooms for Invented {
    fn read_case(&self, path: &Path) -> Result<(Case, Vec<Problem>), Vec<Problem>> {
        let Ok(text) = std::fs::read_to_string(path) else {
            return Err(vec![Problem::error("no-file", None, "cannot be read")]);
        };
        match text.contains("bad") {
            true => Err(vec![Problem::error("unknown-key", Some(0..3), "unknown key `bad`")]),
            false => Ok((case_of(&text, path), Vec::new())),
        }
    }

    fn render(&self, problems: &[Problem], _: &str, path: &str, _: bool) -> String {
        problems.iter().map(|p| format!("{path}: {}\n", p.text)).collect()
    }

    fn problem_json(&self, problems: &[Problem], _: &str) -> Value {
        problems.iter().map(|p| json!({"code": p.code, "text": p.text})).collect()
    }

    fn schema(&self) -> Value {
        json!({"type": "object"})
    }

    fn mesh(&self, _: &Case) -> Result<Meshed, Vec<Problem>> {
        Ok(Meshed {
            mesh: mesh(),
            warnings: Vec::new(),
            report: "61 nodes".into(),
            report_json: json!({"nodes": 61}),
        })
    }

    fn run(&self, job: &Job, watch: &mut Watch) -> Result<(), RunError> {
        watch.phase("mesh");
        let record = job.resume.clone().unwrap_or_else(|| {
            let mut waiting = rich().experiments.swap_remove(5);
            waiting.status = Status::Waiting;
            RunRecord {
                case_name: job.name.into(),
                case_text: job.case.text.clone(),
                experiments: vec![waiting.clone(), waiting],
                verdict: None,
                extract: Sheet::new(),
                ..rich()
            }
        });
        watch.start(record.clone());
        for k in 0..2 {
            if record.experiments[k].status == Status::Complete {
                continue;
            }
            watch.experiment(k, 2, "snapback");
            if k == 1 && self.fails {
                return Err(RunError::Failed("the matrix is singular".into()));
            }
            let outcome = self.trace(k, Some(&record.experiments[k]), watch);
            let interrupted = outcome.status == Status::Interrupted;
            watch.outcome(k, outcome).map_err(|e| RunError::Failed(e.to_string()))?;
            if interrupted {
                return Ok(());
            }
        }
        if let (Some(answer), Some(record)) = (self.answer, watch.record_mut()) {
            let reasons = vec!["because".into()];
            record.verdict = Some(Verdict {
                answer,
                supply: 3.3,
                margin: 0.1,
                reasons,
                more: Default::default(),
            });
        }
        Ok(())
    }
}

/// A folder for one test.
pub struct Desk {
    pub folder: tempfile::TempDir,
}

impl Desk {
    pub fn new() -> Desk {
        Desk { folder: tempfile::tempdir().unwrap() }
    }

    pub fn file(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    pub fn case(&self, name: &str, text: &str) -> String {
        let path = self.file(name);
        std::fs::write(&path, text).unwrap();
        path
    }
}
