//! The case printed in README.md is real, and so are its commands.

mod shipped_support;

use shipped_support::{Desk, number};

const README: &str = include_str!("../README.md");

/// Contents of all fenced blocks of a language.
fn blocks(language: &str) -> Vec<&'static str> {
    let open = format!("```{language}\n");
    README.split(&open).skip(1).filter_map(|rest| rest.split("```").next()).collect()
}

#[test]
fn the_printed_case_runs() {
    let cases = blocks("toml");
    assert_eq!(cases.len(), 1);
    let desk = Desk::new();
    let ran = desk.case("my-bar", cases[0], &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let document = ran.json();
    let snapback = &document["experiments"][0];
    let (trigger, holding) =
        (number(snapback, "/trigger/voltage_V"), number(snapback, "/holding/voltage_V"));
    assert!(trigger > 10.0 && holding < 1.98, "{trigger} V, {holding} V");
    assert_eq!(document["verdict"]["answer"], "not-reached");
}

#[test]
fn verbs_and_options_of_the_commands_exist() {
    let desk = Desk::new();
    let mut seen = 0;
    for line in blocks("sh").into_iter().flat_map(str::lines) {
        let Some((_, command)) = line.split_once("cargo run --release -- ") else { continue };
        let words: Vec<&str> = command.split_whitespace().collect();
        let help = desk.run(&[words[0], "--help"]);
        assert_eq!(help.code, Some(0), "no verb {}: {}", words[0], help.err);
        for option in words.iter().filter(|w| w.starts_with("--")) {
            assert!(help.out.contains(option), "{} has no {option}", words[0]);
        }
        seen += 1;
    }
    assert!(seen >= 4, "{seen} commands");
}
