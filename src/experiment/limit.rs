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
    let (mut safe, mut latching) = (mild, harsh);
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
