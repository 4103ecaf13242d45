//! A case file: read or refused, and what is said of it can be drawn.
#![no_main]

use holdpoint::case::{problem_json, read_str, render};

libfuzzer_sys::fuzz_target!(|text: &str| {
    let problems = match read_str(text, "case.toml") {
        Ok((_, warnings)) => warnings,
        Err(problems) => {
            assert!(!problems.is_empty(), "refused without a reason");
            problems
        }
    };
    for p in &problems {
        assert!(!p.text.is_empty());
        assert!(p.at.as_ref().is_none_or(|at| at.start <= at.end && at.end <= text.len()));
    }
    let listed = problem_json(&problems, text);
    assert_eq!(listed.as_array().map(Vec::len), Some(problems.len()));
    let drawn = render(&problems, text, "case.toml", false);
    assert!(!drawn.contains('\u{1b}'));
});
