//! Bad input, one test each, through the built binary: the exit code, a message that
//! names what is wrong and where, and no file left or lost.

mod disk_support;
mod shipped_support;

use disk_support::{SmallDisk, limited};
use shipped_support::{Desk, PROGRAM, number, shipped, with, with_experiment};

fn diode() -> String {
    shipped("diode-strip.toml")
}

/// A trench in the middle of the diode's surface.
const TRENCH: &str = "\n[[trench]]\nfrom = 2\nto = 4\ndepth = 0.4\n";

/// `text` is refused with code 2 before anything runs, and says all of `words`.
fn refused(text: &str, words: &[&str]) {
    let desk = Desk::new();
    refused_at(&desk, text, words);
    assert_eq!(desk.names(), ["bad.toml"], "a refused run left a file");
}

fn refused_at(desk: &Desk, text: &str, words: &[&str]) {
    desk.write("bad.toml", text);
    let ran = desk.run(&["run", "bad.toml", "-o", "bad.h5"]);
    assert_eq!(ran.code, Some(2), "{}", ran.err);
    assert_eq!(ran.out, "", "something was printed as if it were a result");
    for word in words {
        assert!(ran.err.contains(word), "{word:?} is not in\n{}", ran.err);
    }
}

#[test]
fn unknown_key() {
    let text = with(&diode(), "thickness = \"1 um\"", "thicknes = \"1 um\"");
    refused(&text, &["[wafer] has no key `thicknes`", "bad.toml:11:1", "did you mean `thickness`"]);
}

#[test]
fn wrong_unit() {
    let text = with(&diode(), "donors    = \"1e16 cm^-3\"", "donors    = \"1e16 um\"");
    refused(&text, &["`um` is a unit of length", "density is wanted", "bad.toml:12:19", "cm^-3"]);
}

#[test]
fn missing_terminal() {
    let text = with(&diode(), "drive = [\"anode\"]", "drive = [\"anodde\"]");
    refused(&text, &["no terminal or gate \"anodde\"", "bad.toml:41:10", "did you mean \"anode\""]);
    // None at all.
    let text = diode();
    let head = text.split("[[terminal]]").next().unwrap();
    let tail = text.split("[grid]").nth(1).unwrap();
    refused(&format!("{head}[grid]{tail}"), &["the case has no terminal", "[[terminal]]"]);
}

#[test]
fn overlapping_terminals() {
    let on_surface = "touches = [{ from = 0, to = 0.8 }]\n";
    let text = with(&diode(), "touches = [{ side = \"left\" }]\n", on_surface)
        + "\n[[terminal]]\nname = \"second\"\ntouches = [{ from = 0.5, to = 0.9 }]\n";
    refused(&text, &["\"second\" (0.5 to 0.9 um)", "\"anode\" (0 to 0.8 um) overlap"]);
}

#[test]
fn diffusion_outside_the_span() {
    let text = with(&diode(), "to     = 7\n", "to     = 9\n");
    refused(&text, &["\"n+ cathode\" reaches x = 9 um", "0 to 7 um", "bad.toml:25"]);
}

#[test]
fn terminal_that_touches_oxide_only() {
    let terminal = "\n[[terminal]]\nname = \"lost\"\ntouches = [{ from = 2.5, to = 3.5 }]\n";
    refused(
        &format!("{}{TRENCH}{terminal}", diode()),
        &["\"lost\" (2.5 to 3.5 um) touches oxide only", "move the terminal onto silicon"],
    );
}

#[test]
fn gate_over_no_silicon() {
    let gate = "\n[[gate]]\nname = \"gate\"\nfrom = 2.5\nto = 3.5\noxide = \"7 nm\"\n\
                plate = \"n+ poly\"\n";
    refused(
        &format!("{}{TRENCH}{gate}", diode()),
        &["\"gate\" (2.5 to 3.5 um) lies over no silicon", "move the gate over silicon"],
    );
}

#[test]
fn table_with_non_monotonic_depth() {
    let desk = Desk::new();
    let rows = "depth_um,concentration_cm3\n0,1e19\n0.2,1e18\n0.1,1e17\n0.5,1e15\n";
    desk.write("profile.csv", rows);
    let text = with(
        &diode(),
        "shape     = \"box\"                     #",
        "shape     = \"table\"\nfile = \"profile.csv\" #",
    );
    refused_at(&desk, &text, &["profile.csv: line 4: depth 0.1 um does not grow beyond 0.2 um"]);
    assert_eq!(desk.names(), ["bad.toml", "profile.csv"]);
    assert_eq!(std::fs::read_to_string(desk.path("profile.csv")).unwrap(), rows);
}

#[test]
fn node_budget_too_small() {
    let text = with(&diode(), "nodes = 1000", "nodes = 20");
    refused(&text, &["20 nodes cannot put 4 intervals around every junction", "nodes = "]);
}

#[test]
fn output_folder_that_does_not_exist() {
    let desk = Desk::new();
    desk.write("diode.toml", &diode());
    let ran = desk.run(&["run", "diode.toml", "-o", "nowhere/r.h5"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{}", ran.err);
    assert!(ran.err.contains("nowhere does not exist") && ran.err.contains("-o"), "{}", ran.err);
    assert!(!ran.err.contains("mesh"), "it is found only after something ran: {}", ran.err);
    assert_eq!(desk.names(), ["diode.toml"]);
}

#[test]
fn existing_result_is_refused_without_force() {
    let desk = Desk::new();
    desk.write("diode.toml", &diode());
    desk.write("r.h5", "an older result");
    let ran = desk.run(&["run", "diode.toml", "-o", "r.h5"]);
    assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{}", ran.err);
    assert!(ran.err.contains("a result is there already; --force replaces it"), "{}", ran.err);
    assert_eq!(std::fs::read_to_string(desk.path("r.h5")).unwrap(), "an older result");
    let ran = desk.run(&["run", "diode.toml", "-o", "r.h5", "--force", "--quiet"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    assert_eq!(desk.run(&["show", "r.h5"]).code, Some(0));
    assert_eq!(desk.names(), ["diode.toml", "r.h5"]);
}

#[test]
fn full_disk() {
    let Some(disk) = SmallDisk::new() else { return };
    let desk = Desk::new();
    desk.write("diode.toml", &diode());
    let result = disk.path().join("r.h5");
    std::fs::write(&result, "an older result").unwrap();
    let ran = desk.run(&["run", "diode.toml", "-o", result.to_str().unwrap(), "--force"]);
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    for word in ["No space left", "free some space", "-o"] {
        assert!(ran.err.contains(word), "{word:?} is not in {}", ran.err);
    }
    assert_eq!(std::fs::read_to_string(&result).unwrap(), "an older result");
    // The last checkpoint that still found room may stay: a whole file, for --resume.
    for entry in std::fs::read_dir(disk.path()).unwrap() {
        let path = entry.unwrap().path();
        if path != result {
            assert!(path.ends_with("r.h5.partial"), "left over: {}", path.display());
            let shown = desk.run(&["show", path.to_str().unwrap()]);
            assert_eq!(shown.code, Some(0), "half a file is left: {}", shown.err);
        }
    }
}

/// The same where nothing may be mounted: a limit on the size of files.
#[test]
fn file_size_limit() {
    let desk = Desk::new();
    desk.write("diode.toml", &diode());
    desk.write("r.h5", "an older result");
    let ran: shipped_support::Ran =
        limited(PROGRAM, &["run", "diode.toml", "-o", "r.h5", "--force"])
            .current_dir(desk.path(""))
            .output()
            .unwrap()
            .into();
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    assert!(ran.err.contains("limit on file sizes"), "{}", ran.err);
    assert_eq!(std::fs::read_to_string(desk.path("r.h5")).unwrap(), "an older result");
    assert_eq!(desk.names(), ["diode.toml", "r.h5"], "half a file is left");
}

#[test]
fn stop_that_is_never_reached() {
    let desk = Desk::new();
    let text = with(&diode(), "nodes = 1000", "nodes = 300");
    let snapback = "[[experiment]]\nkind = \"snapback\"\ndrive = [\"anode\"]\n\
                    stop = { current = 1000 }\n";
    let ran = desk.case("diode", &with_experiment(&text, snapback), &[]);
    assert_eq!(ran.code, Some(1), "{}", ran.err);
    assert!(ran.err.contains("the stop at 1.000e3 A/µm was not reached"), "{}", ran.err);
    // Nothing traced is lost.
    let document = ran.json();
    let e = &document["experiments"][0];
    assert_eq!(e["status"], "stopped");
    assert!(e["reason"].as_str().unwrap().contains("was not reached within"), "{}", e["reason"]);
    let points = number(e, "/points");
    assert!(points > 100.0 && e["trigger"].is_null());
    assert_eq!(desk.names(), ["diode.h5", "diode.toml"]);
    let shown = desk.run(&["show", "diode.h5", "--json"]).json();
    assert_eq!(shown["experiments"][0]["points"], e["points"]);
    assert_eq!(desk.curves("diode.h5").lines().count(), points as usize + 2);
}
