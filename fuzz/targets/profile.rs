//! A profile table: refused, or depths that grow and densities above zero.
#![no_main]

use holdpoint::case::parse_profile;

libfuzzer_sys::fuzz_target!(|text: &str| {
    match parse_profile(text) {
        Err(problem) => assert!(!problem.text.is_empty() && problem.text.len() < 600),
        Ok(table) => {
            assert!(table.depth.len() >= 2 && table.depth.len() == table.density.len());
            assert!(table.depth.windows(2).all(|w| w[0] < w[1]));
            assert!(table.density.iter().all(|n| *n > 0.0 && n.is_finite()));
        }
    }
});
