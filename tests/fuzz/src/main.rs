//! Case, sweep and profile texts as a fuzzer finds them: read or refused with a reason that
//! lies in the text, never a panic. The first byte says which of the three.

#![no_main]

use std::path::Path;

use holdpoint::case::{self, Problem};
use holdpoint::sweep::Sweep;
use libfuzzer_sys::fuzz_target;

const BASE: &str = include_str!("../../../meshes/four-layer-bar.toml");

/// Every problem has words and a place in the text; drawing them works.
fn told(problems: &[Problem], text: &str) {
    for p in problems {
        assert!(!p.text.is_empty(), "{p:?}");
        if let Some(at) = &p.at {
            assert!(at.start <= at.end && at.end <= text.len(), "{p:?}");
        }
    }
    let listed = case::problem_json(problems, text);
    assert_eq!(listed.as_array().map(Vec::len), Some(problems.len()));
    let drawn = case::render(problems, text, "x.toml", true);
    assert!(problems.is_empty() || !drawn.is_empty());
}

fn case_text(text: &str) {
    match case::read_str(text, "x.toml") {
        Ok((_, warnings)) => told(&warnings, text),
        Err(problems) => {
            assert!(!problems.is_empty(), "refused without a reason");
            told(&problems, text);
        }
    }
}

fn sweep_text(text: &str) {
    let load = |_: &str| Ok((BASE.to_string(), "four-layer-bar.toml".into()));
    match Sweep::of_text(text, Path::new("x.sweep.toml"), &load) {
        Err(problems) => {
            assert!(!problems.is_empty(), "refused without a reason");
            told(&problems, text);
        }
        Ok(sweep) => {
            for index in [0, sweep.count / 2, sweep.count.saturating_sub(1)] {
                if index < sweep.count {
                    assert!(!sweep.case_name(index).is_empty());
                    if let Ok(text) = sweep.case_text(index) {
                        case_text(&text);
                    }
                }
            }
        }
    }
}

fn profile_text(text: &str) {
    if let Ok(table) = case::parse_profile(text) {
        let finite = |v: &[f64]| v.iter().all(|x| x.is_finite());
        assert_eq!(table.depth.len(), table.density.len());
        assert!(finite(&table.depth) && finite(&table.density));
    }
}

fuzz_target!(|data: &[u8]| {
    let Some((kind, rest)) = data.split_first() else { return };
    let Ok(text) = std::str::from_utf8(rest) else { return };
    match kind {
        b's' => sweep_text(text),
        b'p' => profile_text(text),
        _ => case_text(text),
    }
});
