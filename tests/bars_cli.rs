//! `run --error-bars` through the built binary: the same values as without, the same bits
//! for any threads, added to a finished result, and after an interruption.

mod shipped_support;

use std::io::Read;
use std::process::Stdio;

use serde_json::Value;
use shipped_support::{Desk, number, shipped, with};

fn bar(nodes: usize) -> String {
    with(&shipped("four-layer-bar.toml"), "nodes = 3200", &format!("nodes = {nodes}"))
}

/// The document without times and threads.
fn timeless(mut d: Value) -> Value {
    for key in ["wall_s", "threads", "case"] {
        d[key] = Value::Null;
    }
    for e in d["experiments"].as_array_mut().unwrap() {
        e["wall_s"] = Value::Null;
    }
    d
}

/// The same without what error bars add.
fn barless(d: &Value) -> Value {
    let mut d = timeless(d.clone());
    for e in d["experiments"].as_array_mut().unwrap() {
        e.as_object_mut().unwrap().remove("error_bars");
        for figure in ["trigger", "holding"] {
            if let Some(figure) = e[figure].as_object_mut() {
                figure.retain(|k, _| !k.starts_with("error"));
            }
        }
    }
    d
}

#[test]
fn bars_change_no_value_and_no_thread_changes_a_bar() {
    let desk = Desk::new();
    let text = bar(200);
    let plain = desk.case("plain", &text, &[]).json();
    assert!(plain["experiments"][0]["trigger"].get("error_V").is_none());
    let one = desk.case("one", &text, &["--error-bars=cut", "--threads", "1"]);
    assert_eq!(one.code, Some(0), "{}", one.err);
    let one = one.json();
    let two = desk.case("two", &text, &["--error-bars=cut", "--threads", "2"]).json();
    assert_eq!(timeless(one.clone()), timeless(two), "one and two threads differ");
    assert_eq!(barless(&one), timeless(plain), "a value changed");
    // From the file as well.
    let shown = desk.run(&["show", "one.h5", "--json"]).json();
    assert_eq!(timeless(shown), timeless(one.clone()));

    let e = &one["experiments"][0];
    for figure in ["trigger", "holding"] {
        let parts = |q: &str, p: &str| number(e, &format!("/{figure}/error_parts/{q}/{p}"));
        for (key, part) in [("error_V", "voltage_V"), ("error_A_per_um", "current_A_per_um")] {
            let error = number(e, &format!("/{figure}/{key}"));
            assert!(error > 0.0, "{figure} {key}: {error}");
            assert_eq!(error, parts(part, "mesh") + parts(part, "cut"));
            // Nothing of a bar lies beyond its cut.
            assert!(parts(part, "cut") < 1e-6 * error, "{figure} {part}");
        }
    }
    let changes: Vec<&str> = e["error_bars"]["reruns"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|r| r["change"].as_str())
        .collect();
    assert_eq!(changes, ["coarser", "finer", "wider"]);
    // The table says it.
    let table = desk.run(&["show", "one.h5"]).out;
    let line = table.lines().find(|l| l.contains("trigger")).unwrap();
    assert!(line.contains(" V ± ") && line.contains("A/µm ± "), "{line}");

    // Bars are added to a result that is there; asking for less later changes nothing.
    let added = ["run", "plain.toml", "-o", "plain.h5", "--resume", "--error-bars", "--json"];
    let added = desk.run(&added);
    assert_eq!(added.code, Some(0), "{}", added.err);
    let added = added.json();
    assert_eq!(added["complete"], true);
    assert_eq!(added["experiments"][0]["error_bars"]["cover"], "mesh");
    let mesh = number(e, "/trigger/error_parts/voltage_V/mesh");
    assert_eq!(number(&added, "/experiments/0/trigger/error_V"), mesh);
    assert_eq!(barless(&added), barless(&one));
    let again =
        desk.run(&["run", "one.toml", "-o", "one.h5", "--resume", "--error-bars", "--json"]);
    assert!(again.err.contains("is complete already"), "{}", again.err);
}

#[test]
fn an_interruption_keeps_the_result_and_says_what_is_missing() {
    let desk = Desk::new();
    desk.write("cut.toml", &bar(600));
    let mut child = desk
        .command(&["run", "cut.toml", "-o", "cut.h5", "--json", "--error-bars"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stderr = child.stderr.take().unwrap();
    let (mut said, mut buffer) = (String::new(), [0u8; 256]);
    while !said.contains("finer mesh: snapback (1 of 1)") {
        let n = stderr.read(&mut buffer).unwrap();
        assert!(n > 0, "the run ended before it was interrupted: {said}");
        said.push_str(&String::from_utf8_lossy(&buffer[..n]));
    }
    let sent = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(sent.unwrap().success());
    stderr.read_to_string(&mut said).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(130), "{said}");
    assert!(said.contains("--resume goes on from there"), "{said}");

    let part = desk.run(&["show", "cut.h5.partial", "--json"]).json();
    let trigger = &part["experiments"][0]["trigger"];
    assert!(number(trigger, "/voltage_V") > 20.0);
    assert!(trigger["error_V"].is_null());
    let reason = trigger["error_reason"].as_str().unwrap_or_default();
    assert!(reason.contains("finer mesh") && reason.contains("interrupted"), "{reason:?}");
    assert_eq!(part["experiments"][0]["error_bars"]["missing"], serde_json::json!(["finer"]));
    let table = desk.run(&["show", "cut.h5.partial"]).out;
    assert!(table.contains("no error bar: "), "{table}");

    // What was asked for is remembered.
    let ran = desk.run(&["run", "cut.toml", "-o", "cut.h5", "--resume", "--json", "--quiet"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert!(!desk.path("cut.h5.partial").exists());
    let straight = desk.case("straight", &bar(600), &["--error-bars"]).json();
    assert_eq!(timeless(ran.json()), timeless(straight), "the resumed run differs");
}

#[test]
fn grading_by_the_solution_is_the_same_whatever_the_threads_or_a_resume() {
    let desk = Desk::new();
    let text = with(&bar(200), "nodes = 200", "nodes = 200\ngrading = \"solution\"");
    let one = desk.case("one", &text, &["--threads", "1"]);
    assert_eq!(one.code, Some(0), "{}", one.err);
    let one = one.json();
    assert!(number(&one, "/nodes") <= 200.0);
    assert_eq!(
        timeless(one.clone()),
        timeless(desk.case("two", &text, &["--threads", "2"]).json())
    );
    let structure = desk.case("structure", &bar(200), &[]).json();
    assert_ne!(
        structure["experiments"][0]["trigger"], one["experiments"][0]["trigger"],
        "the mesh was not graded"
    );
    // Error bars added later are those of the graded mesh.
    let resumed = ["run", "one.toml", "-o", "one.h5", "--resume", "--error-bars", "--json"];
    let resumed = desk.run(&resumed).json();
    let straight = desk.case("bars", &text, &["--error-bars"]).json();
    assert_eq!(timeless(resumed), timeless(straight));

    // Without a fold there is nothing to grade for: said, and run on the structure's mesh.
    let diode =
        with(&shipped("diode-strip.toml"), "nodes = 1000", "nodes = 200\ngrading = \"solution\"");
    let ran = desk.case("diode", &diode, &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let warnings = ran.json()["warnings"].to_string();
    assert!(warnings.contains("not graded by the solution: no fold"), "{warnings}");
    // Given lines leave nothing to grade.
    let given = with(&diode, "nodes = 200", "x = [0, 1, 2, 3, 4, 5, 6, 7]\ny = [0, 1]");
    desk.write("given.toml", &given);
    let checked = desk.run(&["check", "given.toml"]);
    let said = checked.out + &checked.err;
    assert!(said.contains("grading-not-used"), "{said}");
}
