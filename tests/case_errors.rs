//! One test per kind of bad input: which code, which place in the text, what help, and
//! that nothing else is reported beside it.

mod case_support;

use case_support::{one, problems, spoil};
use holdpoint::case::{Problem, Severity, problem_json, read_str, render};

/// A good case that each test spoils in one place.
const GOOD: &str = r#"title = "good"
temperature = "125 degC"
width = "100 um"

[wafer]
span = 20
thickness = 10
acceptors = 1e15

[[well]]
name = "n-well"
donors = 1e17
from = 10
to = 20
falloff = 1.2

[[well]]
name = "p-well"
acceptors = 1e17
from = 0
to = 10
falloff = 1.2

[[diffusion]]
name = "n+ source"
donors = 1e20
from = 5
to = 7
falloff = 0.12

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

[[terminal]]
name = "cathode"
role = "cathode"
touches = [{ from = 5.5, to = 6.5 }]

[[terminal]]
name = "anode"
role = "anode"
touches = [{ from = 13, to = 14 }]

[[experiment]]
kind = "snapback"
drive = ["anode"]
stop = { current = 1e-2 }

[[experiment]]
kind = "bias"
drive = ["n-gate"]
at = [0.1, 0.2]
bias = { anode = 1 }

[[experiment]]
kind = "injection"
into = "anode"
sign = "+"
bias = { anode = 3.3 }

[verdict]
supply = 3.3
"#;

/// One replacement in the good case: its only problem.
#[track_caller]
fn spoilt(old: &str, new: &str, code: &str, marked: &str, help: &str) -> Problem {
    one(&spoil(GOOD, old, new), code, marked, help)
}

#[test]
fn the_good_case_is_good() {
    assert_eq!(problems(GOOD), []);
}

#[test]
fn unknown_keys_name_the_nearest() {
    let p = spoilt("width =", "widht =", "unknown-key", "widht", "`width`");
    assert_eq!(p.replacement.as_deref(), Some("width"));
    // The misspelt key is not reported missing as well.
    let p = spoilt("span =", "spam =", "unknown-key", "spam", "`span`");
    assert_eq!(p.label, "did you mean `span`?");
    spoilt("donors = 1e20", "donnors = 1e20", "unknown-key", "donnors", "`donors`");
    let p = spoilt("title =", "subject =", "unknown-key", "subject", "title, temperature");
    assert_eq!(p.replacement, None);
    spoilt("kind = \"snapback\"", "kindd = \"snapback\"", "unknown-key", "kindd", "`kind`");
    spoilt("{ current =", "{ curent =", "unknown-key", "curent", "`current`");
}

#[test]
fn missing_keys_are_told_at_their_table() {
    spoilt("span = 20\n", "", "missing-key", "[wafer]", "span = \"12 um\"");
    spoilt("name = \"p-well\"\n", "", "missing-key", "[[well]]", "name = ");
    spoilt("oxide = \"7 nm\"\n", "", "missing-key", "[[gate]]", "oxide");
    spoilt("plate = \"n+ poly\"\n", "", "missing-key", "[[gate]]", "\"p+ poly\"");
    spoilt("kind = \"bias\"\n", "", "missing-key", "[[experiment]]", "\"snapback\"");
    spoilt("at = [0.1, 0.2]\n", "", "missing-key", "[[experiment]]", "at = ");
    spoilt("supply = 3.3\n", "", "missing-key", "[verdict]", "supply");
    spoilt("{ current = 1e-2 }", "{}", "missing-key", "{}", "`current`");
    spoilt("donors = 1e20\n", "", "missing-key", "[[diffusion]]", "`acceptors`");
    spoilt("falloff = 0.12\n", "", "missing-key", "[[diffusion]]", "`junction_depth`");
    spoilt("from = 5.5, to = 6.5", "from = 5.5", "missing-key", "{ from = 5.5 }", "to = ");
    let all = problems("title = 'x'\n[[terminal]]\nname = 't'\ntouches = [{ side = 'back' }]\n");
    assert!(all.iter().any(|p| p.code == "missing-key" && p.text.contains("`wafer`")), "{all:#?}");
}

#[test]
fn wrong_units_name_the_dimension_and_an_example() {
    let p = spoilt("span = 20", "span = \"20 V\"", "wrong-unit", "V", "a length, e.g. \"12 um\"");
    assert!(p.text.contains("unit of voltage"), "{}", p.text);
    let p = spoilt("\"7 nm\"", "\"7 nanometers\"", "wrong-unit", "nanometers", "um, nm");
    assert!(p.text.contains("not a unit of length"), "{}", p.text);
    spoilt("donors = 1e20", "donors = \"1e20 um\"", "wrong-unit", "um", "1e17 cm^-3");
    spoilt("supply = 3.3", "supply = \"3.3 A\"", "wrong-unit", "A", "3.3 V");
    spoilt("\"125 degC\"", "\"125 C\"", "wrong-unit", "C", "125 degC");
    spoilt("at = [0.1, 0.2]", "at = [0.1, \"0.2 um\"]", "wrong-unit", "um", "3.3 V");
    spoilt("{ current = 1e-2 }", "{ current = \"1 A\" }", "wrong-unit", "A", "10 mA/um");
    // In a string with escapes the whole value is meant.
    spoilt("span = 20", "span = \"20\\u0020V\"", "wrong-unit", "\"20\\u0020V\"", "12 um");
}

#[test]
fn numbers_in_text_need_a_unit_and_must_be_finite() {
    spoilt("span = 20", "span = \"20\"", "missing-unit", "20", "write 20 without quotes (um)");
    spoilt("span = 20", "span = \"wide\"", "bad-number", "wide", "12 um");
    spoilt("span = 20", "span = \"20,5 um\"", "bad-number", "20,5 um", "12 um");
    spoilt("span = 20", "span = nan", "bad-number", "nan", "12 um");
    spoilt("span = 20", "span = 1e400", "bad-number", "1e400", "12 um");
    spoilt("span = 20", "span = \"1e400 um\"", "bad-number", "1e400", "12 um");
    spoilt("at = [0.1, 0.2]", "at = [0.1, inf]", "bad-number", "inf", "3.3 V");
    spoilt(
        "supply = 3.3",
        "supply = 3.3\nmargin = \"0.1\"",
        "wrong-type",
        "\"0.1\"",
        "0.1 without",
    );
}

#[test]
fn values_of_another_type_say_what_is_wanted() {
    spoilt("span = 20", "span = true", "wrong-type", "true", "a length");
    spoilt("title = \"good\"", "title = 3", "wrong-type", "3", "text in quotes");
    spoilt("drive = [\"anode\"]", "drive = \"anode\"", "wrong-type", "\"anode\"", "[\"anode\"]");
    spoilt("{ current = 1e-2 }", "1e-2", "wrong-type", "1e-2", "a table");
    spoilt("at = [0.1, 0.2]", "at = 0.1", "wrong-type", "0.1", "a list");
    spoilt("at = [0.1, 0.2]", "at = []", "empty-list", "[]", "at least one");
    spoilt("bias = { anode = 1 }", "bias = 1", "wrong-type", "1", "{ terminal = 3.3 }");
    let text = spoil(GOOD, "[[trench]]", "[trench]");
    one(&text, "wrong-type", "[trench]", "[[trench]]");
}

#[test]
fn bounds_are_named() {
    spoilt("donors = 1e20", "donors = 0", "out-of-bounds", "0", "above 0");
    spoilt("donors = 1e20", "donors = -1e20", "out-of-bounds", "-1e20", "5e22");
    spoilt("supply = 3.3", "supply = 0", "out-of-bounds", "0", "above 0 V");
    spoilt("falloff = 0.12", "falloff = 0", "out-of-bounds", "0", "above 0 um");
    spoilt("\"125 degC\"", "125", "out-of-bounds", "125", "\"125 degC\"");
    spoilt("\"125 degC\"", "\"200 degC\"", "out-of-bounds", "\"200 degC\"", "448 K");
    spoilt("\"125 degC\"", "\"-60 degC\"", "out-of-bounds", "\"-60 degC\"", "233 K");
    let with = |grid: &str| format!("{GOOD}[grid]\n{grid}\n");
    one(&with("nodes = 19"), "out-of-bounds", "19", "from 20");
    one(&with("nodes = 99999999999999999999"), "out-of-bounds", "99999999999999999999", "from 20");
    one(&with("nodes = 8000.5"), "wrong-type", "8000.5", "a whole number");
    one(&with("growth = 1"), "out-of-bounds", "1", "above 1");
    assert_eq!(problems(&with("nodes = 0x14")), []);
}

#[test]
fn words_are_listed_and_the_nearest_named() {
    let p = spoilt("\"snapback\"", "\"snap-back\"", "bad-word", "\"snap-back\"", "\"injection\"");
    assert_eq!(p.replacement.as_deref(), Some("\"snapback\""));
    spoilt("role = \"anode\"", "role = \"annode\"", "bad-word", "\"annode\"", "\"well-tap\"");
    spoilt("\"n+ poly\"", "\"metal\"", "bad-word", "\"metal\"", "\"p+ poly\"");
    spoilt("sign = \"+\"", "sign = \"plus\"", "bad-word", "\"plus\"", "\"-\"");
    let laws = |l: &str| format!("{GOOD}[laws]\n{l}\n");
    one(&laws("avalanche = \"yes\""), "bad-word", "\"yes\"", "\"van-overstraeten-1970\"");
    let text = laws("recombination = [\"auger\", \"srh\"]");
    one(&text, "bad-word", "\"srh\"", "\"shockley-read-hall\"");
}

#[test]
fn heat_needs_a_way_out() {
    let with = |heat: &str| format!("{GOOD}[laws]\nheat = \"self-heating\"\n{heat}");
    let p = one(&with(""), "no-heat-path", "\"self-heating\"", "1e-9 to 1e9 K*cm^2/W");
    assert!(p.text.contains("self-heating"), "{}", p.text);
    one(&with("[heat]\n"), "no-heat-path", "\"self-heating\"", "back = ");
    // With a way out beside them, so that only the wrong one is told of.
    let wrong = |line: &str| with(&format!("[heat]\nterminals = 1\n{line}\n"));
    one(&wrong("back = 0"), "out-of-bounds", "0", "1e-9");
    one(&wrong("back = -2"), "out-of-bounds", "-2", "1e-9");
    one(&wrong("back = \"5 K/W\""), "wrong-unit", "K/W", "K*cm^2/W");
    one(&wrong("bottom = 1"), "unknown-key", "bottom", "");
    let good = with("[heat]\nback = \"5 K*mm^2/W\"\nterminals = 1e-3\n");
    let (case, warnings) = read_str(&good, "").unwrap_or_else(|p| panic!("{p:?}"));
    assert_eq!(case.heat.back, Some(0.05));
    assert_eq!(case.heat.terminals, Some(1e-3));
    assert_eq!(case.heat.surface, None);
    assert!(warnings.iter().all(|w| w.code != "unused-heat"));
    let (_, warnings) = read_str(&format!("{GOOD}[heat]\nback = 0.1\n"), "").unwrap();
    assert!(warnings.iter().any(|w| w.code == "unused-heat"));
}

#[test]
fn keys_of_another_kind_or_shape_are_told() {
    spoilt("falloff = 0.12", "falloff = 0.12\nbottom = 1", "key-not-of-kind", "bottom", "crest");
    let p = spoilt("sign = \"+\"", "at = [1]", "key-not-of-kind", "at", "into");
    assert!(p.label.contains("\"bias\""), "{}", p.label);
    spoilt("sign = \"+\"", "factor = 1.5", "key-not-of-kind", "factor", "sign");
}

#[test]
fn keys_that_exclude_each_other() {
    let p = spoilt(
        "donors = 1e20",
        "donors = 1e20\nacceptors = 1e20",
        "exclusive-keys",
        "acceptors",
        "donor",
    );
    assert_eq!(p.other.expect("the first").1, "already given here");
    let both = "falloff = 0.12\njunction_depth = 0.3";
    spoilt("falloff = 0.12", both, "exclusive-keys", "junction_depth", "falloff");
    let wafer = "acceptors = 1e15\ndonors = 1e15";
    spoilt("acceptors = 1e15", wafer, "exclusive-keys", "donors", "donor");
    let side = "side = \"left\", to = 6.5";
    spoilt("from = 5.5, to = 6.5", side, "exclusive-keys", "to", "{ side = ");
}

#[test]
fn constants_are_checked_against_the_table() {
    let with = |c: &str| format!("{GOOD}[constants]\n{c}\n");
    let text = with("aguer = { c_n = 1e-31 }");
    let p = one(&text, "unknown-key", "aguer", "shockley-read-hall");
    assert_eq!(p.replacement.as_deref(), Some("auger"));
    let p = one(&with("auger = { c_m = 1e-31 }"), "unknown-key", "c_m", "c_n, c_p");
    assert_eq!(p.replacement.as_deref(), Some("c_n"));
    let text = with("shockley-read-hall = { tau_n0 = -1e-6 }");
    one(&text, "out-of-bounds", "-1e-6", "electron lifetime");
    one(&with("intrinsic = { ni_300 = 0 }"), "out-of-bounds", "0", "Altermatt");
    let text = with("shockley-read-hall = { tau_n0 = \"1 um\" }");
    one(&text, "wrong-unit", "um", "a time, e.g. \"10 ns\"");
    let text = with("van-overstraeten-1970 = { temperature_factor = 0.5 }");
    assert_eq!(one(&text, "out-of-bounds", "0.5", "").label, "a switch: 0 or 1");
    one(&with("masetti-1983 = { electrons = \"boron\" }"), "bad-word", "\"boron\"", "\"arsenic\"");
    one(&with("auger = 1"), "wrong-type", "1", "a table");
}

#[test]
fn names_are_short_plain_and_given_once() {
    spoilt("\"n-well\"", "\"p-well\"", "duplicate-name", "\"p-well\"", "addressed");
    let text = spoil(GOOD, "name = \"n-gate\"", "name = \"anode\"")
        .replace("[\"n-gate\"]", "[\"cathode\"]");
    let all = problems(&text);
    assert!(all.iter().any(|p| p.code == "duplicate-name" && p.other.is_some()), "{all:#?}");
    spoilt("\"n+ source\"", "\"a/b\"", "bad-name", "\"a/b\"", "no `/`");
    spoilt("\"n+ source\"", "\"\"", "bad-name", "\"\"", "1 to 64");
}

#[test]
fn syntax_errors_come_with_their_line_and_without_a_tail() {
    let text = spoil(GOOD, "thickness = 10", "thickness 10");
    let all = problems(&text);
    assert!(all.iter().all(|p| p.code == "syntax"), "{all:#?}");
    let at = all[0].at.clone().expect("a place");
    let line = text[..at.start].matches('\n').count();
    assert_eq!(text.lines().nth(line), Some("thickness 10"));
    // What is surely wrong elsewhere is told in the same go.
    let text = text.replace("width =", "widht =");
    let codes: Vec<&str> = problems(&text).iter().map(|p| p.code).collect();
    assert!(codes.contains(&"syntax") && codes.contains(&"unknown-key"), "{codes:?}");
    let twice = spoil(GOOD, "span = 20", "span = 20\nspan = 21");
    assert!(problems(&twice).iter().any(|p| p.code == "syntax" && p.text.contains("duplicate")));
}

#[test]
fn all_problems_come_at_once_in_the_order_of_the_file() {
    let text =
        spoil(GOOD, "width =", "widht =").replace("\"7 nm\"", "\"7 V\"").replace("3.3\n", "-1\n");
    let all = problems(&text);
    let codes: Vec<&str> = all.iter().map(|p| p.code).collect();
    assert_eq!(codes, ["unknown-key", "wrong-unit", "out-of-bounds"]);
}

#[test]
fn json_and_drawing_show_the_place() {
    let text =
        spoil(GOOD, "title = \"good\"", "title = \"µµ\"").replace("span = 20", "spam = \"20 µm\"");
    let all = problems(&text);
    let json = problem_json(&all, &text);
    assert_eq!(json[0]["line"], 6);
    assert_eq!(json[0]["column"], 1);
    assert_eq!(json[0]["code"], "unknown-key");
    assert_eq!(json[0]["severity"], "error");
    let plain = render(&all, &text, "case.toml", false);
    assert!(plain.contains("case.toml:6:1") && plain.contains("spam = \"20 µm\""), "{plain}");
    assert!(plain.contains("span = \"20 µm\""), "the corrected line is shown: {plain}");
    assert!(!plain.contains('\u{1b}'), "no colour asked for");
    assert!(render(&all, &text, "case.toml", true).contains('\u{1b}'));
    // Columns count characters, not bytes.
    let text = spoil(GOOD, "width = \"100 um\"", "width = \"100 µm/µm\"");
    let json = problem_json(&problems(&text), &text);
    assert_eq!((&json[0]["line"], &json[0]["column"]), (&3.into(), &14.into()));
    // A problem of the whole file has no place.
    let all = [Problem::error("missing-terminal", None, "none").help("add one")];
    assert!(problem_json(&all, GOOD)[0]["line"].is_null());
    assert!(render(&all, GOOD, "", false).contains("add one"));
    assert_eq!(all[0].severity, Severity::Error);
}
