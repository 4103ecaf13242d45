//! One line per figure, and the assertion that goes with it.

/// How a difference is allowed to be.
#[derive(Clone, Copy, Debug)]
pub enum Within {
    /// |ours − published| ≤ tolerance·|published|.
    Relative(f64),
    /// |ours − published| ≤ tolerance.
    Absolute(f64),
}

/// Print one line of the ledger; returns the difference in the tolerance's own measure.
pub fn line(source: &str, quantity: &str, published: f64, ours: f64) -> f64 {
    let relative = if published == 0.0 { f64::NAN } else { (ours - published) / published };
    if published == 0.0 {
        println!("{source} | {quantity} | {published} | {ours:.6e} | {:.2e}", ours - published);
    } else {
        println!(
            "{source} | {quantity} | {published:.6e} | {ours:.6e} | {:+.3e} ({:+.4} %)",
            ours - published,
            100.0 * relative
        );
    }
    relative
}

/// Print the line and require the difference to be within the tolerance.
#[track_caller]
pub fn check(source: &str, quantity: &str, published: f64, ours: f64, within: Within) {
    line(source, quantity, published, ours);
    let (difference, tolerance) = match within {
        Within::Relative(t) => ((ours - published).abs() / published.abs(), t),
        Within::Absolute(t) => ((ours - published).abs(), t),
    };
    assert!(
        difference <= tolerance,
        "{source}: {quantity}: published {published:e}, ours {ours:e}, off by {difference:e}, allowed {within:?}"
    );
}
