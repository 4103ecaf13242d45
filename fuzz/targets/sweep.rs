//! A sweep file over the shipped diode: read or refused; its cases have names that are file
//! names, and are good or refused.
#![no_main]

use std::path::Path;

use holdpoint::sweep::Sweep;

const BASE: &str = include_str!("../../meshes/diode-strip.toml");

libfuzzer_sys::fuzz_target!(|text: &str| {
    let load = |base: &str| Ok((BASE.to_string(), base.into()));
    match Sweep::of_text(text, Path::new("s.sweep.toml"), &load) {
        Err(problems) => assert!(!problems.is_empty(), "refused without a reason"),
        Ok(sweep) => {
            assert!(sweep.count > 0);
            for index in [0, sweep.count - 1] {
                assert!(!sweep.case_name(index).contains(['/', '\\', '\0']));
                if let Err(problems) = sweep.case(index) {
                    assert!(!problems.is_empty());
                }
            }
        }
    }
});
