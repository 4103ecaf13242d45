//! Points outside the range a law was published for are named, once each; end to end.

use holdpoint::case::{Laws, Mobility, Narrowing};
use holdpoint::silicon::{LocalState, RangeWatch, published_ranges};

use super::bar::{Bar, lines};

fn point(donors: f64, acceptors: f64, field: f64, temperature: f64) -> LocalState {
    LocalState { donors, acceptors, field, temperature }
}

#[test]
fn each_range_is_told_once_at_its_worst_point() {
    let laws = Laws {
        mobility: Mobility::Arora1982,
        narrowing: Narrowing::Slotboom1977,
        ..Laws::default()
    };
    let mut watch = RangeWatch::new(&published_ranges(&laws));
    watch.see(&point(1e17, 0.0, 5e4, 300.0), "trigger point");
    assert!(watch.warnings().is_empty(), "{:?}", watch.warnings());
    watch.see(&point(3e20, 1e15, 7e5, 440.0), "trigger point");
    watch.see(&point(1e19, 0.0, 8e5, 240.0), "holding point");
    let warnings = watch.warnings();
    let of = |law: &str| warnings.iter().filter(|w| w.starts_with(law)).collect::<Vec<_>>();
    assert_eq!(of("arora-1982").len(), 2, "doping and temperature: {warnings:?}");
    assert!(of("arora-1982")[1].contains("240 K"));
    assert!(of("van-overstraeten-1970")[0].contains("8.00e5 V/cm (holding point)"));
    assert_eq!(of("canali-1975").len(), 2);
    assert_eq!(of("slotboom-1977").len(), 1);
    assert_eq!(of("auger").len(), 1);
    assert_eq!(warnings.len(), 7, "{warnings:?}");
}

/// del Alamo measured n-type: p-type beyond its onset is named, n-type of the same doping not.
#[test]
fn n_type_narrowing_in_p_type() {
    let laws = Laws { narrowing: Narrowing::DelAlamo1985, ..Laws::default() };
    let told = |donors, acceptors| {
        let mut watch = RangeWatch::new(&published_ranges(&laws));
        watch.see(&point(donors, acceptors, 0.0, 300.0), "here");
        watch.warnings()
    };
    assert!(told(5e19, 1e16).is_empty());
    let p_type = told(1e16, 5e19);
    assert_eq!(p_type.len(), 1);
    assert!(p_type[0].contains("del-alamo-1985") && p_type[0].contains("n-type"), "{p_type:?}");
}

/// The words that were newly enabled run from the case file on; the warnings come from the run.
#[test]
fn new_words_from_case_to_curve() {
    let rest = r#"
[laws]
mobility = "arora-1982"
narrowing = "NARROWING"
avalanche = "okuto-crowell-1975"
[constants]
shockley-read-hall = { level = "0.2 eV", tau_exponent = 1.5 }
[[experiment]]
kind = "bias"
drive = ["left"]
at = [-1.0, 0.6]
"#;
    let mut currents = Vec::new();
    for narrowing in ["del-alamo-1985", "klaassen-1992"] {
        let rest = rest.replace("NARROWING", narrowing);
        let x = lines(&[0.0, 1.0, 4.0], 5e-3, 1.2, 0.2);
        let layers = [(-2e20, 1.0), (1e16, 3.0)];
        let bench = Bar { layers: &layers, x, temperature: 240.0, rest: &rest }.bench();
        let outcome = bench.run(0);
        let got = bench.currents(&outcome, "left");
        assert!(got[0].1 < 0.0 && got[1].1 > 0.0);
        currents.push(got[1].1);
        let told = |law: &str| outcome.warnings.iter().filter(|w| w.starts_with(law)).count();
        // 2e20 lies beyond 1e20, 240 K below 250 K.
        assert_eq!(told("arora-1982"), 2, "{:?}", outcome.warnings);
        assert!(told(narrowing) >= 1, "{:?}", outcome.warnings);
        assert_eq!(told("okuto-crowell-1975"), 0, "{:?}", outcome.warnings);
    }
    assert!((currents[0] / currents[1] - 1.0).abs() > 1e-3, "the narrowing law has no effect");
}
