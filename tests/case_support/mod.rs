//! A good case spoilt in one place: exactly one problem, with this code, at this text, with
//! this help.

use holdpoint::case::{Problem, read_str};

/// What reading a text gives: warnings, or the problems that refuse it.
pub fn problems(text: &str) -> Vec<Problem> {
    match read_str(text, "case.toml") {
        Ok((_, warnings)) => warnings,
        Err(problems) => problems,
    }
}

/// `good` with `old`, which must stand in it once, replaced by `new`.
#[track_caller]
pub fn spoil(good: &str, old: &str, new: &str) -> String {
    assert_eq!(good.matches(old).count(), 1, "{old:?} must stand once in the good case");
    good.replace(old, new)
}

/// The only problem of a text.
#[track_caller]
pub fn one(text: &str, code: &str, marked: &str, help: &str) -> Problem {
    let all = problems(text);
    assert_eq!(all.len(), 1, "{code}: {all:#?}");
    let problem = all.into_iter().next().expect("one");
    assert_eq!(problem.code, code, "{problem:#?}");
    let at = problem.at.clone();
    let there = at.as_ref().map_or("", |at| text.get(at.clone()).expect("a span within the text"));
    assert_eq!(there, marked, "{problem:#?}");
    let said = problem.help.clone().unwrap_or_default();
    assert!(said.contains(help), "help {said:?} lacks {help:?}");
    assert!(
        !problem.text.is_empty() && (at.is_none() || !problem.label.is_empty()),
        "{problem:#?}"
    );
    problem
}
