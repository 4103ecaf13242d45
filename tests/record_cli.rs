//! The verbs, with invented rooms behind them: codes, streams, files, resume.

mod record_support;

use std::path::{Path, PathBuf};

use holdpoint::cli::{Io, run_with};
use holdpoint::extract::Answer;
use holdpoint::record;
use record_support::invented::{Desk, Invented, POINTS};
use record_support::rich;
use serde_json::{Value, json};

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
    for said in ["pad: mesh", "50 %, point 20", "snapback (2 of 2)", "result in"] {
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
fn several_cases_give_a_list() {
    let desk = Desk::new();
    let (a, b) = (desk.case("a.toml", "title = 1"), desk.case("b.toml", "title = 1"));
    let ran = holdpoint(&Invented::default(), &["check", &a, &b, "--json"]);
    assert_eq!(serde_json::from_str::<Value>(&ran.out).unwrap().as_array().unwrap().len(), 2);
    // The same name twice would be written to one file.
    std::fs::create_dir(desk.file("sub")).unwrap();
    let twin = desk.case("sub/a.toml", "title = 1");
    let ran = holdpoint(&Invented::default(), &["run", &a, &twin]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("would both be written to"), "{}", ran.err);
    assert!(!Path::new("results/a.h5").exists(), "the first one was run");
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
    assert_eq!(
        run_with(&Invented::default(), ["holdpoint", "show", &name, "--details"], &mut io),
        0
    );
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
    // The summary: no rows, the curve in Braille (or, without UTF-8, in characters), the
    // verdict last.
    let (mut io, text) = Io::captured(Some(90));
    assert_eq!(run_with(&Invented::default(), ["holdpoint", "show", &name], &mut io), 0);
    let summary = text().0;
    assert!(!summary.contains("512 Newton steps") && summary.contains("folds"), "{summary}");
    let verdict = summary.find("verdict: latches").unwrap();
    for said in ["trigger ", "none: no fold before", "criterion  reconnect", "stopped: Newton did"]
    {
        let at = summary.find(said).unwrap_or_else(|| panic!("{said:?} is not in\n{summary}"));
        assert!(at < verdict, "{said:?} comes after the verdict");
    }
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
