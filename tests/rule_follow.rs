//! A point followed along a number is the point of full curves there.

mod rule_support;

use holdpoint::rule::{Followed, Ground, Spent, follow};
use rule_support::{Traced, read, text};

fn followed(traced: &Traced) -> Vec<Followed> {
    let mut spent = Spent::default();
    let all = traced.case.follows.iter().map(|f| {
        let which = (f.fold, f.experiment);
        let ground = Ground::new(
            &traced.case,
            &traced.mesh,
            &traced.device,
            &traced.outcomes,
            which,
            &mut spent,
        )
        .expect("the point is taken up");
        follow(&ground, f)
    });
    all.collect()
}

#[test]
fn points_of_the_bar_follow_like_full_curves() {
    let bar = text("four-layer-bar", 200);
    let asked = r#"
[[follow]]
fold = "holding"
along = "temperature"
from = "-40 degC"
to = "150 degC"

[[follow]]
fold = "trigger"
along = "well.n base.donors"
from = 1e16
to = 6e16

[[follow]]
fold = "holding"
along = "well.p base.acceptors"
from = 1e17
to = 5e17
"#;
    let traced = Traced::new(&format!("{bar}{asked}"));
    println!("curve {} factorizations", traced.factorizations());
    for (f, asked) in followed(&traced).iter().zip(&traced.case.follows) {
        println!("{} {:?} {:?} {:?}", asked.along.path, f.spent, f.halts, f.cusps);
        for s in &f.samples {
            println!("  {:.5e} {:.5} {:.4e} {:.3e}", s.value, s.voltage, s.current, s.bend);
        }
        assert!(f.halts.is_empty() && f.samples.len() > 4);
        // Every few samples against a curve of its own.
        for s in f.samples.iter().step_by(f.samples.len().div_ceil(5)) {
            let moved = holdpoint::experiment::with_value(&traced.case, &asked.along.path, s.value)
                .expect("a case");
            let full = Traced::new(&moved.text);
            let (v, i) = full.point(asked.fold.word()).expect("the point");
            println!("  at {:.4e}: {v:.5} {i:.4e}", s.value);
            assert!((s.voltage / v - 1.0).abs() < 5e-3, "{} {v}", s.voltage);
            assert!((s.current / i - 1.0).abs() < 5e-3, "{} {i}", s.current);
        }
    }
    let _ = read;
}
