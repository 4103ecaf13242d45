//! One row per figure, and the assertion that goes with it. Rows are printed and, in a run of
//! all outside checks, kept for `docs/trust.md`: `tests/trust_page.rs` renders them.

use std::fs::File;
use std::io::Write;
use std::panic::Location;
use std::sync::{Mutex, OnceLock};

/// How a difference is allowed to be.
#[derive(Clone, Copy, Debug)]
pub enum Within {
    /// |ours − published| ≤ tolerance·|published|.
    Relative(f64),
    /// |ours − published| ≤ tolerance.
    Absolute(f64),
    /// ours ≥ bound: an order of convergence may be better than the scheme promises.
    AtLeast(f64),
    /// 1/factor ≤ ours/published ≤ factor, both positive.
    Factor(f64),
}

/// Where rows are kept; the page's test reads the same place.
const ROWS: &str = concat!(env!("CARGO_TARGET_TMPDIR"), "/trust_rows.tsv");

/// The file, if all outside checks run: a filtered run must not pass for the whole.
fn kept() -> Option<&'static Mutex<File>> {
    static KEPT: OnceLock<Option<Mutex<File>>> = OnceLock::new();
    let open = || {
        let harmless = ["--nocapture", "--no-capture", "--show-output", "-q", "--quiet"];
        let all = std::env::args()
            .skip(1)
            .all(|a| harmless.contains(&a.as_str()) || a.starts_with("--test-threads="));
        all.then(|| Mutex::new(File::create(ROWS).expect("the target's folder")))
    };
    KEPT.get_or_init(open).as_ref()
}

fn keep(place: &Location, source: &str, quantity: &str, numbers: [f64; 2], allowed: &str) {
    let [published, ours] = numbers;
    assert!(!format!("{source}{quantity}").contains(['\t', '\n']), "{quantity:?}");
    if let Some(file) = kept() {
        let file = file.lock();
        // A failed check elsewhere poisons nothing of a line already written.
        let mut file = file.unwrap_or_else(|e| e.into_inner());
        writeln!(
            file,
            "{}\t{}\t{source}\t{quantity}\t{published:e}\t{ours:e}\t{allowed}",
            place.file(),
            place.line()
        )
        .expect("a row");
    }
}

fn print(source: &str, quantity: &str, published: f64, ours: f64) {
    if published == 0.0 {
        println!("{source} | {quantity} | {published} | {ours:.6e} | {:.2e}", ours - published);
    } else {
        println!(
            "{source} | {quantity} | {published:.6e} | {ours:.6e} | {:+.3e} ({:+.4} %)",
            ours - published,
            100.0 * (ours - published) / published
        );
    }
}

/// Print and keep one row that is only reported.
#[track_caller]
pub fn line(source: &str, quantity: &str, published: f64, ours: f64) {
    print(source, quantity, published, ours);
    keep(Location::caller(), source, quantity, [published, ours], "reported");
}

/// Print and keep the row and require the difference to be within the tolerance.
#[track_caller]
pub fn check(source: &str, quantity: &str, published: f64, ours: f64, within: Within) {
    print(source, quantity, published, ours);
    let (difference, tolerance, allowed) = match within {
        Within::Relative(t) => {
            ((ours - published).abs() / published.abs(), t, format!("{} %", short(100.0 * t)))
        }
        Within::Absolute(t) => ((ours - published).abs(), t, short(t)),
        Within::AtLeast(b) => (b - ours, 0.0, format!("at least {b}")),
        Within::Factor(f) => {
            let ratio = ours / published;
            (ratio.max(1.0 / ratio), f, format!("factor {f}"))
        }
    };
    keep(Location::caller(), source, quantity, [published, ours], &allowed);
    assert!(
        difference <= tolerance,
        "{source}: {quantity}: published {published:e}, ours {ours:e}, off by {difference:e}, allowed {within:?}"
    );
}

/// Two digits, plain where that is readable.
fn short(v: f64) -> String {
    if (1e-3..1e3).contains(&v) {
        // Through the exponent form, so that 100·0.02 is 2 and not 2.0000000000000004.
        format!("{}", format!("{v:.1e}").parse::<f64>().expect("a number"))
    } else {
        format!("{v:.0e}")
    }
}
