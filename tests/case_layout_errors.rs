//! Bad layouts and experiments: one test per kind, as in `case_errors`.

mod case_support;

use case_support::{one, problems, spoil};
use holdpoint::case::{Problem, Severity};

const GOOD: &str = r#"[wafer]
span = 20
thickness = 10
acceptors = 1e15

[[well]]
name = "n-well"
donors = 1e17
from = 10
to = 20
falloff = 1.2

[[trench]]
from = 9
to = 11
depth = 0.35

[[gate]]
name = "n-gate"
from = 4.5
to = 4.9
oxide = "7 nm"
plate = "n+ poly"

[[gate]]
name = "p-gate"
from = 15
to = 15.4
oxide = "7 nm"
plate = "p+ poly"
follows = "anode"

[[terminal]]
name = "cathode"
touches = [{ from = 5.5, to = 6.5 }]

[[terminal]]
name = "anode"
touches = [{ from = 13, to = 14 }]

[[experiment]]
kind = "snapback"
drive = ["anode"]
open = []
"#;

/// One replacement in the good case: its only problem.
#[track_caller]
fn spoilt(old: &str, new: &str, code: &str, marked: &str, help: &str) -> Problem {
    one(&spoil(GOOD, old, new), code, marked, help)
}

fn with(more: &str) -> String {
    format!("{GOOD}\n{more}\n")
}

#[test]
fn the_good_case_is_good() {
    assert_eq!(problems(GOOD), []);
}

#[test]
fn from_is_left_of_to() {
    let p = spoilt("to = 4.9", "to = 4.5", "from-not-before-to", "4.5", "left end");
    assert!(p.text.contains("gate \"n-gate\""), "{}", p.text);
    spoilt("to = 6.5 }", "to = 5 }", "from-not-before-to", "5", "left end");
}

#[test]
fn everything_lies_within_the_span() {
    spoilt("to = 20\n", "to = 20.5\n", "outside-span", "20.5", "between 0 and 20 um");
    spoilt("from = 4.5", "from = -1", "outside-span", "-1", "between 0 and 20 um");
    spoilt("to = 15.4", "to = \"21 um\"", "outside-span", "\"21 um\"", "span larger");
    let p = spoilt("from = 13, to = 14", "from = 19, to = 21", "outside-span", "21", "span");
    assert!(p.text.contains("terminal \"anode\""), "{}", p.text);
}

#[test]
fn depths_lie_within_the_silicon_and_in_order() {
    spoilt("depth = 0.35", "depth = 10", "too-deep", "10", "thickness larger");
    spoilt("falloff = 1.2", "falloff = 1.2\ncrest = 11", "too-deep", "11", "thickness");
    let box_ = "shape = \"box\"\nbottom = 12";
    spoilt("falloff = 1.2", box_, "too-deep", "12", "thickness");
    let box_ = "shape = \"box\"\ntop = 3\nbottom = 2";
    spoilt("falloff = 1.2", box_, "depth-order", "2", "into the silicon");
    let junction = "junction_depth = 1\ncrest = 2";
    spoilt("falloff = 1.2", junction, "depth-order", "1", "into the silicon");
    let whole = GOOD.replace("falloff = 1.2", "shape = \"box\"\nbottom = 10");
    assert_eq!(problems(&whole), []);
}

#[test]
fn terminals_keep_apart() {
    let twin =
        |touches: &str| with(&format!("[[terminal]]\nname = \"tap\"\ntouches = [{touches}]"));
    for piece in ["from = 6, to = 7", "from = 6.5, to = 7", "from = 5, to = 8"] {
        let text = twin(&format!("{{ {piece} }}"));
        let from_to = piece.trim_start_matches("from = ");
        let p = one(&text, "overlapping-terminals", from_to, "gap");
        let (other, label) = p.other.expect("the other piece");
        assert_eq!(
            (&text[other], label.as_str()),
            ("5.5, to = 6.5", "terminal \"cathode\" is here")
        );
    }
    assert_eq!(problems(&twin("{ from = 6.6, to = 7 }")), []);
    // Pieces of one terminal may touch.
    let own = GOOD.replace("to = 6.5 }", "to = 6.5 }, { from = 6.5, to = 7 }");
    assert_eq!(problems(&own), []);
    let two_backs = format!(
        "{}\n[[terminal]]\nname = \"b\"\ntouches = [{{ side = \"back\" }}]",
        twin("{ side = \"back\" }")
    );
    one(&two_backs, "overlapping-terminals", "\"back\"", "one terminal");
    let corner = format!(
        "{}\n[[terminal]]\nname = \"b\"\ntouches = [{{ side = \"left\" }}]",
        twin("{ side = \"back\" }")
    );
    one(&corner, "overlapping-terminals", "\"left\"", "one terminal");
    let edge = format!(
        "{}\n[[terminal]]\nname = \"b\"\ntouches = [{{ side = \"left\" }}]",
        twin("{ from = 0, to = 1 }")
    );
    one(&edge, "overlapping-terminals", "0, to = 1", "before the side");
}

#[test]
fn trenches_and_gates_keep_apart() {
    let text = with("[[trench]]\nfrom = 10.5\nto = 12\ndepth = 0.3");
    one(&text, "overlapping-trenches", "[[trench]]", "gap");
    assert_eq!(problems(&with("[[trench]]\nfrom = 11\nto = 12\ndepth = 0.3")), []);
    let text =
        with("[[gate]]\nname = \"g\"\nfrom = 4.9\nto = 5.2\noxide = 0.007\nplate = \"n+ poly\"");
    one(&text, "overlapping-gates", "\"g\"", "gap");
    let p = spoilt("to = 4.9", "to = 5.6", "gate-over-terminal", "\"n-gate\"", "gap");
    assert!(p.text.contains("terminal \"cathode\""), "{}", p.text);
    // A gate may end where a contact begins.
    assert_eq!(problems(&GOOD.replace("to = 4.9", "to = 5.5")), []);
}

#[test]
fn a_terminal_on_oxide_only_is_refused() {
    let old = "from = 13, to = 14";
    let p = spoilt(old, "from = 9.5, to = 10.5", "touches-oxide-only", "9.5, to = 10.5", "silicon");
    assert!(p.other.expect("the trench").1.contains("9 to 11 um"));
    // Two trenches side by side cover it together.
    let text =
        with("[[trench]]\nfrom = 11\nto = 12\ndepth = 0.3").replace(old, "from = 10, to = 12");
    one(&text, "touches-oxide-only", "10, to = 12", "silicon");
    let p = spoilt(old, "from = 10, to = 13", "touches-oxide-partly", "10, to = 13", "silicon");
    assert_eq!(p.severity, Severity::Warning);
    assert!(p.text.contains("2 um of it"), "{}", p.text);
}

#[test]
fn a_gate_over_trenches_only_is_refused() {
    let text = GOOD.replace("from = 4.5", "from = 9").replace("to = 4.9", "to = 9.4");
    one(&text, "gate-over-no-silicon", "\"n-gate\"", "over silicon");
    let partly = GOOD.replace("from = 4.5", "from = 8.8").replace("to = 4.9", "to = 9.4");
    assert_eq!(problems(&partly), []);
}

#[test]
fn a_case_without_terminals_is_told_once() {
    let text = "[wafer]\nspan = 1\nthickness = 1\n[[experiment]]\nkind = \"bias\"\ndrive = [\"a\"]\nat = [1]\n";
    let all = problems(text);
    let codes: Vec<&str> = all.iter().map(|p| p.code).collect();
    assert_eq!(codes, ["missing-terminal"], "{all:#?}");
    assert!(all[0].help.as_deref().unwrap_or("").contains("[[terminal]]"));
    let empty = GOOD.replace("touches = [{ from = 13, to = 14 }]", "touches = []");
    one(&empty, "empty-list", "[]", "touches = ");
}

#[test]
fn mesh_lines_grow_and_cover_the_silicon() {
    let lines = |l: &str| with(&format!("[grid]\n{l}"));
    one(&lines("x = [0, 5, 5, 20]"), "not-growing", "5", "sort");
    one(&lines("x = [0, 5, 19]"), "lines-do-not-cover", "19", "end");
    one(&lines("x = [1, 5, 20]"), "lines-do-not-cover", "1", "end");
    one(&lines("y = [-0.007, 0.1, 10]"), "lines-do-not-cover", "-0.007", "below 0");
    assert_eq!(problems(&lines("x = [0, 5, 20]\ny = [-0.007, 0, 1, 10]")), []);
    let text = lines("x = [0, 5, 20]\ny = [0, 10]\nnodes = 100");
    let p = one(&text, "nodes-not-used", "100", "leave out");
    assert_eq!(p.severity, Severity::Warning);
}

#[test]
fn experiments_name_terminals_that_exist() {
    let p = spoilt("[\"anode\"]", "[\"annode\"]", "unknown-terminal", "\"annode\"", "\"cathode\"");
    assert_eq!(p.replacement.as_deref(), Some("\"anode\""));
    let p = spoilt("open = []", "bias = { cathod = 0 }", "unknown-terminal", "cathod", "\"anode\"");
    assert_eq!(p.replacement.as_deref(), Some("cathode"));
    spoilt("open = []", "open = [\"tap\"]", "unknown-terminal", "\"tap\"", "\"n-gate\"");
    let p = spoilt(
        "follows = \"anode\"",
        "follows = \"anod\"",
        "unknown-terminal",
        "\"anod\"",
        "\"anode\"",
    );
    assert_eq!(p.label, "did you mean \"anode\"?");
}

#[test]
fn a_terminal_is_used_once() {
    let p = spoilt("open = []", "bias = { anode = 1 }", "conflicting-terminal", "anode", "leave");
    assert!(p.text.contains("driven and biased"), "{}", p.text);
    assert_eq!(p.other.expect("drive").1, "driven here");
    let p = spoilt("open = []", "open = [\"anode\"]", "conflicting-terminal", "\"anode\"", "leave");
    assert!(p.text.contains("driven and open"), "{}", p.text);
    let both = "[\"anode\", \"anode\"]";
    let p = spoilt("[\"anode\"]", both, "conflicting-terminal", "\"anode\"", "leave");
    assert!(p.text.contains("twice"), "{}", p.text);
    let follower = "bias = { p-gate = 1 }";
    let p = spoilt("open = []", follower, "conflicting-terminal", "p-gate", "`follows`");
    assert!(p.text.contains("follows another terminal"), "{}", p.text);
    // An injector's bias is the supply that it is reconnected to.
    let text =
        with("[[experiment]]\nkind = \"injection\"\ninto = \"anode\"\nbias = { anode = 3.3 }");
    assert_eq!(problems(&text), []);
}

#[test]
fn current_must_be_able_to_flow() {
    spoilt("drive = [\"anode\"]", "drive = []", "empty-drive", "[]", "[\"anode\"]");
    spoilt("[\"anode\"]", "[\"n-gate\"]", "drive-gate-alone", "[\"n-gate\"]", "anode");
    spoilt("open = []", "open = [\"n-gate\"]", "open-gate", "\"n-gate\"", "`bias`");
    spoilt("open = []", "open = [\"cathode\"]", "no-return-path", "\"snapback\"", "`open`");
    let text =
        with("[[experiment]]\nkind = \"injection\"\ninto = \"n-gate\"\nbias = { anode = 3.3 }");
    one(&text, "into-gate", "\"n-gate\"", "touches silicon");
    // A bias experiment may sweep a gate.
    assert_eq!(
        problems(&with("[[experiment]]\nkind = \"bias\"\ndrive = [\"n-gate\"]\nat = [1]")),
        []
    );
}

#[test]
fn gates_do_not_follow_in_chains() {
    let own = "follows = \"p-gate\"";
    spoilt("follows = \"anode\"", own, "follows-chain", "\"p-gate\"", "in the end");
    let text = GOOD.replace("plate = \"n+ poly\"", "plate = \"n+ poly\"\nfollows = \"p-gate\"");
    let p = one(&text, "follows-chain", "\"p-gate\"", "in the end");
    assert_eq!(p.other.map(|o| text[o.0].to_string()).as_deref(), Some("\"anode\""));
    // Following a gate that follows nothing is no chain: an inverter's input.
    assert_eq!(problems(&GOOD.replace("follows = \"anode\"", "follows = \"n-gate\"")), []);
}

#[test]
fn what_has_no_effect_is_a_warning() {
    let text = with("[laws]\nnarrowing = \"none\"\n[constants]\nslotboom-1977 = { v_1 = 8e-3 }");
    let p = one(&text, "constant-not-used", "slotboom-1977", "[laws]");
    assert_eq!(p.severity, Severity::Warning);
    let text = with("[laws]\nnarrowing = \"none\"\n[constants]\nslotboom-1977 = { v_1 = 9e-3 }");
    assert_eq!(problems(&text), [], "the default is no news");
    let bare = &GOOD[..GOOD.find("[[experiment]]").expect("there")];
    assert_eq!(one(bare, "no-experiment", "", "[[experiment]]").severity, Severity::Warning);
    let text = format!(
        "{bare}[[experiment]]\nkind = \"bias\"\ndrive = [\"anode\"]\nat = [1]\n[verdict]\nsupply = 1\n"
    );
    let p = one(&text, "verdict-without-snapback", "[verdict]", "snapback");
    assert_eq!(p.severity, Severity::Warning);
    let text = GOOD
        .replace("acceptors = 1e15", "epi = { thickness = 12, acceptors = 1e15, handle = 1e18 }");
    assert_eq!(one(&text, "handle-not-simulated", "12", "thickness").severity, Severity::Warning);
    let epi = "acceptors = 1e15\nepi = { thickness = 5, acceptors = 2e15, handle = 1e18 }";
    let p = spoilt("acceptors = 1e15", epi, "wafer-doping-not-used", "1e15", "`epi`");
    assert_eq!(p.severity, Severity::Warning);
    let same = epi.replace("2e15", "1e15");
    assert_eq!(problems(&GOOD.replace("acceptors = 1e15", &same)), []);
}
