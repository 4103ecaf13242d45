//! The verbs, with invented rooms behind them: codes, streams, files, resume.

mod record_support;

use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use holdpoint::case::{
    Case, Constants, Experiment, ExperimentKind, Grid, Laws, Problem, Stop, Wafer,
};
use holdpoint::cli::{Io, Job, Meshed, Rooms, RunError, Watch, run_with};
use holdpoint::experiment::{Outcome, Status};
use holdpoint::extract::{Answer, Verdict};
use holdpoint::record::{self, RunRecord};
use holdpoint::trace::{Curve, Keeper, Next, Snapshot, Standing, StateWords};
use record_support::{Numbers, curve, mesh, rich};
use serde_json::{Value, json};

/// Traces an invented curve of 40 points in two experiments.
#[derive(Default)]
struct Invented {
    /// Pretend that Ctrl-C came at this point of the second experiment.
    interrupt_at: Option<usize>,
    /// The second experiment stops early.
    stops: bool,
    fails: bool,
    /// Time that a point takes.
    pause: Duration,
    answer: Option<Answer>,
}

const POINTS: usize = 40;

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
        laws: Laws::default(),
        constants: Constants::default(),
        grid: Grid::default(),
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
                ..rich()
            }
        });
        watch.start(record.clone()).map_err(|e| RunError::Failed(e.to_string()))?;
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
            record.verdict = Some(Verdict { answer, supply: 3.3, margin: 0.1, reasons });
        }
        Ok(())
    }
}

struct Ran {
    code: u8,
    out: String,
    err: String,
}

fn holdpoint(rooms: &Invented, args: &[&str]) -> Ran {
    let (mut io, text) = Io::captured(None);
    let all = std::iter::once("holdpoint").chain(args.iter().copied());
    let code = run_with(rooms, all, &mut io);
    let (out, err) = text();
    Ran { code, out, err }
}

struct Desk {
    folder: tempfile::TempDir,
}

impl Desk {
    fn new() -> Desk {
        Desk { folder: tempfile::tempdir().unwrap() }
    }

    fn file(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    fn case(&self, name: &str, text: &str) -> String {
        let path = self.file(name);
        std::fs::write(&path, text).unwrap();
        path
    }
}

fn count(desk: &Desk) -> usize {
    std::fs::read_dir(desk.folder.path()).unwrap().count()
}

#[test]
fn run_prints_the_table_and_writes_the_result() {
    let desk = Desk::new();
    let (case, output) = (desk.case("pad.toml", "title = 1"), desk.file("r.h5"));
    let rooms = Invented { answer: Some(Answer::Latches), ..Invented::default() };
    let ran = holdpoint(&rooms, &["run", &case, "-o", &output]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("verdict: latches at a supply of 3.300 V"), "{}", ran.out);
    assert!(ran.out.contains("a guide, not a qualification"), "{}", ran.out);
    assert!(!ran.out.contains('\x1b'));
    for said in ["pad: mesh", "50 %, point 20", "snapback (experiment 2 of 2)", "result in"] {
        assert!(ran.err.contains(said), "{said} is not in {}", ran.err);
    }
    assert_eq!(count(&desk), 2, "no partial file is left");
    let record = record::read(Path::new(&output)).unwrap();
    assert!(record.complete && record.experiments.len() == 2);
    // Show prints the same; quiet says nothing.
    assert_eq!(holdpoint(&rooms, &["show", &output]).out, ran.out);
    let quiet = holdpoint(&rooms, &["run", &case, "-o", &output, "--force", "--quiet"]);
    assert_eq!((quiet.code, quiet.err.as_str()), (0, ""));
}

#[test]
fn run_json_is_one_document_on_stdout() {
    let desk = Desk::new();
    let (case, output) = (desk.case("pad.toml", "title = 1"), desk.file("r.h5"));
    let rooms = Invented::default();
    let ran = holdpoint(&rooms, &["run", &case, "-o", &output, "--json", "--threads", "1"]);
    let document: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(document["case"], "pad");
    assert_eq!(document["experiments"][0]["points"], POINTS);
    let shown = holdpoint(&rooms, &["show", &output, "--json"]);
    assert_eq!(serde_json::from_str::<Value>(&shown.out).unwrap(), document);
}

#[test]
fn exit_codes_follow_the_verdict_only_when_asked() {
    let desk = Desk::new();
    let (case, output) = (desk.case("pad.toml", "title = 1"), desk.file("r.h5"));
    let run = |rooms: &Invented, more: &[&str]| {
        let mut args = vec!["run", &case, "-o", &output, "--force"];
        args.extend(more);
        holdpoint(rooms, &args).code
    };
    let rooms = Invented { answer: Some(Answer::Latches), ..Invented::default() };
    assert_eq!(run(&rooms, &[]), 0);
    assert_eq!(run(&rooms, &["--fail-on", "latches"]), 3);
    assert_eq!(run(&rooms, &["--fail-on", "undecided"]), 0);
    assert_eq!(run(&rooms, &["--fail-on", "undecided", "--fail-on", "latches"]), 3);
    assert_eq!(run(&rooms, &["--fail-on", "maybe"]), 2);
    let rooms = Invented { answer: Some(Answer::Undecided), stops: true, ..Invented::default() };
    assert_eq!(run(&rooms, &[]), 1);
    assert_eq!(run(&rooms, &["--fail-on", "undecided"]), 3);
}

#[test]
fn a_stopped_experiment_is_saved_and_said() {
    let desk = Desk::new();
    let (case, output) = (desk.case("pad.toml", "title = 1"), desk.file("r.h5"));
    let rooms = Invented { stops: true, ..Invented::default() };
    let ran = holdpoint(&rooms, &["run", &case, "-o", &output]);
    assert_eq!(ran.code, 1);
    assert!(ran.err.contains("stopped: Newton gave up"), "{}", ran.err);
    let record = record::read(Path::new(&output)).unwrap();
    assert_eq!(record.experiments[1].curve.len(), 15);
    let rooms = Invented { fails: true, ..Invented::default() };
    let ran = holdpoint(&rooms, &["run", &case, "-o", &output, "--force"]);
    assert_eq!(ran.code, 1);
    assert!(ran.err.contains("singular") && ran.err.contains("--resume"), "{}", ran.err);
    let partial = record::read(&record::partial_path(Path::new(&output))).unwrap();
    assert_eq!(partial.experiments[0].curve.len(), POINTS);
}

#[test]
fn an_interrupted_run_is_resumed_to_the_same_result() {
    let desk = Desk::new();
    let (case, output) = (desk.case("pad.toml", "title = 1"), desk.file("r.h5"));
    let partial = record::partial_path(Path::new(&output));
    let broken = Invented { interrupt_at: Some(17), ..Invented::default() };
    let ran = holdpoint(&broken, &["run", &case, "-o", &output, "--json"]);
    // The invented interruption is not a signal: the run counts as not finished.
    assert_eq!(ran.code, 1);
    let document: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(document["complete"], false);
    assert_eq!(document["experiments"][1]["status"], "interrupted");
    assert_eq!(document["experiments"][1]["points"], 17);
    assert!(partial.exists() && !Path::new(&output).exists());

    // Neither lost by starting again nor by another case text.
    let rooms = Invented::default();
    let again = holdpoint(&rooms, &["run", &case, "-o", &output]);
    assert_eq!(again.code, 2);
    assert!(again.err.contains("--resume goes on"), "{}", again.err);
    std::fs::write(&case, "title = 2").unwrap();
    let other = holdpoint(&rooms, &["run", &case, "-o", &output, "--resume"]);
    assert_eq!(other.code, 2);
    assert!(other.err.contains("another text of this case"), "{}", other.err);
    std::fs::write(&case, "title = 1").unwrap();

    let resumed = holdpoint(&rooms, &["run", &case, "-o", &output, "--resume"]);
    assert_eq!(resumed.code, 0, "{}", resumed.err);
    assert!(!partial.exists());
    let straight = desk.file("s.h5");
    assert_eq!(holdpoint(&rooms, &["run", &case, "-o", &straight]).code, 0);
    let same = std::fs::read(&output).unwrap() == std::fs::read(&straight).unwrap();
    assert!(same, "the resumed result differs from the uninterrupted one");
    // Resuming what is complete runs nothing and shows it.
    let done = holdpoint(&rooms, &["run", &case, "-o", &output, "--resume"]);
    assert_eq!(done.code, 0);
    assert!(done.err.contains("complete already") && !done.err.contains("mesh"), "{}", done.err);
}

#[test]
fn outputs_that_cannot_be_are_refused_before_anything_runs() {
    let desk = Desk::new();
    let case = desk.case("pad.toml", "title = 1");
    let rooms = Invented::default();
    let refuse = |args: &[&str], said: &str| {
        let ran = holdpoint(&rooms, args);
        assert_eq!(ran.code, 2, "{args:?}: {}", ran.err);
        assert!(ran.err.contains(said), "{said:?} is not in {:?}", ran.err);
        assert!(ran.out.is_empty() && !ran.err.contains("mesh"), "{}", ran.err);
    };
    refuse(&["run", &case, "-o", &desk.file("none/r.h5")], "does not exist");
    let there = desk.case("there.h5", "old");
    refuse(&["run", &case, "-o", &there], "--force");
    refuse(&["run", &case, &case, "-o", &there], "several cases");
    refuse(&["run", &case, "-o", &desk.file("r.h5"), "--threads", "0"], "--threads");
    refuse(&["run", &case, "--force", "--resume"], "cannot be used with");
    let bad = desk.case("bad.toml", "bad = 1");
    refuse(&["run", &bad, "-o", &desk.file("r.h5")], "unknown key `bad`");
    refuse(&["run", &desk.file("none.toml"), "-o", &desk.file("r.h5")], "cannot be read");
    assert_eq!(std::fs::read_to_string(&there).unwrap(), "old");
}

#[test]
fn check_lists_problems_and_mesh_prints_lines() {
    let desk = Desk::new();
    let good = desk.case("good.toml", "title = 1");
    let bad = desk.case("bad.toml", "bad = 1");
    let rooms = Invented::default();
    let ran = holdpoint(&rooms, &["check", &good]);
    assert_eq!(ran.code, 0);
    assert!(ran.out.contains("good") && ran.out.contains("61 nodes"), "{}", ran.out);
    let ran = holdpoint(&rooms, &["check", &good, &bad, "--json"]);
    assert_eq!(ran.code, 2);
    let documents: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(documents[0]["problems"], json!([]));
    assert_eq!(documents[1]["problems"][0]["code"], "unknown-key");
    let ran = holdpoint(&rooms, &["mesh", &good, "--lines"]);
    assert_eq!(ran.code, 0);
    assert!(ran.out.starts_with("[grid]\nx = [0.0, 0.31,"), "{}", ran.out);
    assert!(ran.out.contains("\ny = [-0.007, 0.0, 0.1,"), "{}", ran.out);
    assert_eq!(holdpoint(&rooms, &["mesh", &bad]).code, 2);
}

#[test]
fn show_refuses_what_is_no_result() {
    let desk = Desk::new();
    let rooms = Invented::default();
    for (file, said) in [
        (desk.case("a.h5", "not HDF5 at all"), "not a result file"),
        (desk.file("none.h5"), "is the name right"),
        (desk.case("b.h5", ""), "not a result file"),
    ] {
        let ran = holdpoint(&rooms, &["show", &file]);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""));
        assert!(ran.err.contains(said), "{}", ran.err);
    }
}

#[test]
fn show_prints_every_figure_and_the_curve() {
    let desk = Desk::new();
    let file = PathBuf::from(desk.file("rich.h5"));
    record::write(&file, &rich()).unwrap();
    let name = file.display().to_string();
    let (mut io, text) = Io::captured(Some(90));
    assert_eq!(run_with(&Invented::default(), ["holdpoint", "show", &name], &mut io), 0);
    let shown = text().0;
    for said in [
        "verdict: latches",
        "Two-dimensional model",
        "398.15 K (125.0 °C)",
        "trigger ",
        "none: no fold before the stop at 30 V",
        "voltage minimum",
        "stopped: Newton did not converge",
        "criterion  reconnect",
        "512 Newton steps",
        "warning: field in the gate oxide",
        "digits are the folds",
        "fold 4",
    ] {
        assert!(shown.contains(said), "{said:?} is not in\n{shown}");
    }
    // About 30 rows of 120 points, the folds not counted.
    let rows = shown.lines().filter(|l| l.ends_with(|c: char| c.is_ascii_digit())).count();
    assert!(rows < 120, "the curve is not thinned: {rows} rows");
    let ran = holdpoint(&Invented::default(), &["show", &name, "--curve"]);
    let first: Vec<&str> = ran.out.lines().take(3).collect();
    assert!(first[1].starts_with("voltage_V\tcurrent_A_per_um\tcathode voltage_V\t"));
    let value: f64 = first[2].split('\t').nth(1).unwrap().parse().unwrap();
    assert_eq!(value, rich().experiments[0].curve.current[0], "digits are lost");
}

#[test]
fn help_completions_man_and_schema_go_to_stdout() {
    let rooms = Invented::default();
    for (args, said) in [
        (&["--help"][..], "Exit codes: 0 done"),
        (&["--version"], "holdpoint 0.1.0"),
        (&["run", "--help"], "--fail-on <ANSWER>"),
        (&["completions", "bash"], "_holdpoint()"),
        (&["man"], ".TH"),
        (&["man", "run"], "holdpoint"),
        (&["schema"], "\"type\": \"object\""),
    ] {
        let ran = holdpoint(&rooms, args);
        assert_eq!(ran.code, 0, "{args:?}: {}", ran.err);
        assert!(ran.out.contains(said) && ran.err.is_empty(), "{args:?}: {}", ran.out);
    }
    let ran = holdpoint(&rooms, &["chek"]);
    assert_eq!(ran.code, 2);
    assert!(ran.out.is_empty() && ran.err.contains("'check'"), "{}", ran.err);
}

/// Runs only as the child of the next test: a run slow enough to be interrupted.
#[test]
fn child_that_runs_slowly() {
    let Ok(args) = std::env::var("HOLDPOINT_TEST_SLOW_RUN") else { return };
    let rooms = Invented { pause: Duration::from_millis(50), ..Invented::default() };
    let args = std::iter::once("holdpoint").chain(args.split('\n'));
    std::process::exit(i32::from(run_with(&rooms, args, &mut Io::real())));
}

#[test]
fn ctrl_c_saves_and_ends_with_130() {
    let desk = Desk::new();
    let (case, output) = (desk.case("pad.toml", "title = 1"), desk.file("r.h5"));
    let partial = record::partial_path(Path::new(&output));
    let start = || {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command
            .args(["--exact", "child_that_runs_slowly", "--nocapture"])
            .env("HOLDPOINT_TEST_SLOW_RUN", format!("run\n{case}\n-o\n{output}\n--force"))
            .stdout(Stdio::null())
            .stderr(Stdio::piped());
        let child = command.spawn().unwrap();
        // A trace is under way once its first partial file is there.
        for _ in 0..400 {
            if partial.exists() {
                break;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        child
    };
    let signal = |pid: u32, name: &str| {
        Command::new("kill").args([name, &pid.to_string()]).status().unwrap();
    };
    for name in ["-INT", "-TERM"] {
        let mut child = start();
        signal(child.id(), name);
        let mut said = String::new();
        child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        assert_eq!(child.wait().unwrap().code(), Some(130), "{name}: {said}");
        assert!(said.contains("--resume goes on from there"), "{said}");
        let saved = record::read(&partial).unwrap();
        assert!(!saved.complete);
        assert!(saved.experiments.iter().any(|e| e.status == Status::Interrupted));
        assert!(!Path::new(&output).exists());
        std::fs::remove_file(&partial).unwrap();
    }
}

#[test]
fn closed_pipes_end_quietly_and_full_disks_do_not() {
    let desk = Desk::new();
    let file = desk.file("rich.h5");
    record::write(Path::new(&file), &rich()).unwrap();
    let show = |out: Stdio| {
        Command::new(env!("CARGO_BIN_EXE_holdpoint"))
            .args(["show", &file, "--curve"])
            .stdout(out)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    };
    let mut child = show(Stdio::piped());
    drop(child.stdout.take());
    let done = child.wait_with_output().unwrap();
    assert_eq!((done.status.code(), done.stderr.len()), (Some(0), 0));
    if let Ok(full) = std::fs::OpenOptions::new().write(true).open("/dev/full") {
        let done = show(Stdio::from(full)).wait_with_output().unwrap();
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert_eq!(done.status.code(), Some(1), "{said}");
        assert!(said.contains("could not be printed"), "{said}");
    }
}
