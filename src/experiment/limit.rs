//! The limit between latching and not, by bisection.

use super::outcome::Found;
use super::poise::{Ended, Halt};

/// Ratio of the two ends at which a search is done.
const CLOSE: f64 = 1.02;
/// Trials at most.
const TRIALS: u32 = 40;

/// Both sides of the limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Limit {
    /// The last value tried that does not latch, and the first that does.
    pub safe: Found<f64>,
    pub latching: Found<f64>,
}

/// Search between `mild` and `harsh` (of one sign, not zero) by halving their logarithm;
/// `latches` tries one value. A trial whose end is open ends the search with its reason.
pub fn limit(
    mild: f64,
    harsh: f64,
    latches: &mut dyn FnMut(f64) -> Result<Ended, Halt>,
) -> Result<Limit, Halt> {
    let open = |at: f64, why: &str| format!("at {at:.4e} the answer is open: {why}");
    match latches(harsh)? {
        Ended::Latched => {}
        Ended::Safe => {
            let none = Err(format!("nothing latches up to the end of the search, {harsh:.4e}"));
            return Ok(Limit { safe: Ok(harsh), latching: none });
        }
        Ended::Open(why) => {
            let none = open(harsh, &why);
            return Ok(Limit { safe: Err(none.clone()), latching: Err(none) });
        }
    }
    match latches(mild)? {
        Ended::Safe => {}
        Ended::Latched => {
            let none = Err(format!("the end of the search, {mild:.4e}, latches too"));
            return Ok(Limit { safe: none, latching: Ok(mild) });
        }
        Ended::Open(why) => {
            return Ok(Limit { safe: Err(open(mild, &why)), latching: Ok(harsh) });
        }
    }
    halved(mild, harsh, latches)
}

/// Halve between a value that does not latch and one that does.
fn halved(
    mut safe: f64,
    mut latching: f64,
    latches: &mut dyn FnMut(f64) -> Result<Ended, Halt>,
) -> Result<Limit, Halt> {
    for _ in 0..TRIALS {
        let ratio = (latching / safe).max(safe / latching);
        if ratio <= CLOSE {
            break;
        }
        let middle = (safe * latching).sqrt().copysign(safe);
        match latches(middle)? {
            Ended::Latched => latching = middle,
            Ended::Safe => safe = middle,
            Ended::Open(_) => break,
        }
    }
    Ok(Limit { safe: Ok(safe), latching: Ok(latching) })
}

/// The first ratio of two values tried about a guess; it is squared until both sides of the
/// limit are known.
const ABOUT: f64 = 1.1;

/// The same with a guess of where the limit lies: fewer trials if it is good.
pub fn limit_about(
    guess: f64,
    mild: f64,
    harsh: f64,
    latches: &mut dyn FnMut(f64) -> Result<Ended, Halt>,
) -> Result<Limit, Halt> {
    let (mut safe, mut latching): (Option<f64>, Option<f64>) = (None, None);
    // In units of the whole search, from the mild end.
    let whole = (harsh / mild).ln();
    let mut at = ((guess / mild).ln() / whole).clamp(0.0, 1.0);
    let mut step = ABOUT.ln() / whole.abs();
    for _ in 0..TRIALS {
        let value = mild * (whole * at).exp();
        match latches(value)? {
            Ended::Latched => latching = Some(value),
            Ended::Safe => safe = Some(value),
            Ended::Open(_) => break,
        }
        match (safe, latching) {
            (Some(safe), Some(latching)) => return halved(safe, latching, latches),
            (None, Some(_)) if at > 0.0 => at = (at - step).max(0.0),
            (Some(_), None) if at < 1.0 => at = (at + step).min(1.0),
            _ => break,
        }
        step *= 2.0;
    }
    // An open answer, or one side all along: the full search says which.
    limit(mild, harsh, latches)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wherever the guess lies, both ways find the limit; a good guess in fewer trials.
    #[test]
    fn a_guess_changes_no_answer() {
        for (mild, harsh) in [(1e-10, 1e-6), (1e-6, 1e-10), (-1e-10, -1e-6)] {
            let at: f64 = 3.3e-9;
            let beyond = |v: f64| (v.abs() > at) == (f64::abs(harsh) > f64::abs(mild));
            let mut count = 0;
            let mut latches = |v: f64| {
                count += 1;
                Ok(if beyond(v) { Ended::Latched } else { Ended::Safe })
            };
            for guess in [3e-9, 1e-10, 1e-6, 1e-3] {
                let sign = f64::signum(mild);
                let found = limit_about(sign * guess, mild, harsh, &mut latches).unwrap();
                let (safe, latching) = (found.safe.unwrap(), found.latching.unwrap());
                assert!(!beyond(safe) && beyond(latching), "{safe} {latching}");
                assert!((safe / latching).max(latching / safe) <= CLOSE);
            }
            let before = count;
            let mut counted = 0;
            let mut latches = |v: f64| {
                counted += 1;
                Ok(if beyond(v) { Ended::Latched } else { Ended::Safe })
            };
            limit_about(f64::signum(mild) * 3e-9, mild, harsh, &mut latches).unwrap();
            assert!(counted <= 8, "{counted} trials");
            assert!(before > counted);
        }
    }

    #[test]
    fn one_side_all_along_is_said() {
        let mut never = |_| Ok(Ended::Safe);
        let found = limit_about(1e-9, 1e-10, 1e-6, &mut never).unwrap();
        assert!(found.latching.is_err() && found.safe == Ok(1e-6));
        let mut always = |_| Ok(Ended::Latched);
        let found = limit_about(1e-9, 1e-10, 1e-6, &mut always).unwrap();
        assert!(found.safe.is_err() && found.latching == Ok(1e-10));
    }
}
