//! A run over temperatures that is interrupted: those that are done are kept, and the run
//! that goes on from there ends with the same verdict.

mod shipped_support;

use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};

use shipped_support::{Desk, Ran, shipped, with};

fn case() -> String {
    let text = with(&shipped("tern180-core.toml"), "nodes = 5000", "nodes = 1500");
    let one = "temperature = \"125 degC\"";
    with(&text, one, &format!("{one}\ntemperatures = [\"25 degC\", \"75 degC\", \"125 degC\"]"))
}

/// The lines that say which temperature is begun.
fn begun(said: &str) -> Vec<&str> {
    said.lines().filter(|l| l.contains("verdict at") && !l.contains('%')).collect()
}

#[test]
#[ignore = "a minute: DEVELOPERS.md"]
fn temperatures_that_are_done_survive_an_interruption() {
    let desk = Desk::new();
    desk.write("core.toml", &case());
    let run = |output: &str, more: &[&str]| -> Ran {
        let mut args = vec!["run", "core.toml", "-o", output, "--json"];
        args.extend(more);
        desk.run(&args)
    };
    let whole = run("whole.h5", &[]);
    assert_eq!(whole.code, Some(0), "{}", whole.err);
    assert_eq!(begun(&whole.err).len(), 2, "{}", whole.err);

    let mut child = desk
        .command(&["run", "core.toml", "-o", "cut.h5", "--json"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stderr.take().unwrap());
    let mut line = String::new();
    // The first of the two is done once the second is begun.
    while !line.contains("verdict at 75 degC") {
        line.clear();
        assert!(said.read_line(&mut line).unwrap() > 0, "it ended before the second temperature");
    }
    Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    let mut rest = String::new();
    said.read_to_string(&mut rest).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(130), "{rest}");
    assert!(!desk.path("cut.h5").exists());

    let resumed = run("cut.h5", &["--resume"]);
    assert_eq!(resumed.code, Some(0), "{}", resumed.err);
    let again = begun(&resumed.err);
    assert!(again.len() == 1 && again[0].contains("75 degC"), "{}", resumed.err);
    assert_eq!(resumed.json()["verdict"], whole.json()["verdict"]);
    // What was kept for the resumption is not part of the result.
    let shown = desk.run(&["show", "cut.h5", "--json"]).json();
    assert_eq!(shown["verdict"], whole.json()["verdict"]);
}
