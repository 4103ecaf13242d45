//! Gummel plots read from a traced curve: base and collector current over the emitter-base
//! voltage, the gain, and the product of two gains.

use crate::trace::Curve;

use super::gains::Asked;
use super::outcome::Found;
use super::roles::Ends;
use super::sheet::Sheet;

/// Currents count once they are this many times those at zero emitter-base voltage.
const ABOVE_LEAKAGE: f64 = 10.0;
/// The other bipolar is on once its emitter carries this share of the emitter current.
const TURNED_ON: f64 = 0.05;
/// Emitter-base voltage [V] at which a curve ends at the latest.
pub(super) const FARTHEST: f64 = 5.0;
/// Points per decade of the product's collector currents.
const PER_DECADE: f64 = 4.0;

/// Sum of the contacts' currents at point `k` [A/µm].
pub(super) fn total(curve: &Curve, k: usize, contacts: &[usize]) -> f64 {
    let Some(values) = curve.at_terminals.get(k) else { return f64::NAN };
    contacts.iter().filter_map(|&c| values.current.get(c)).sum()
}

/// A Gummel plot as it is read from a curve.
pub(super) struct View<'r> {
    pub(super) ends: Ends<'r>,
    pub(super) sign: f64,
    /// Emitter voltage at zero emitter-base voltage [V].
    pub(super) start: f64,
    pub(super) asked: Asked,
}

/// Why a curve ends, and whether its last point belongs to it.
pub(super) struct Ending {
    why: String,
    spoilt: bool,
}

/// One row; currents count positive where the bipolar is on.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    forward: f64,
    emitter: f64,
    base: f64,
    collector: f64,
    idle: f64,
}

impl View<'_> {
    fn row(&self, curve: &Curve, k: usize) -> Row {
        let of = |contacts: &[usize]| self.sign * total(curve, k, contacts);
        Row {
            forward: self.sign * (curve.voltage.get(k).copied().unwrap_or(f64::NAN) - self.start),
            emitter: of(self.ends.emitter),
            base: -of(self.ends.base),
            collector: -of(&self.ends.collector),
            idle: -of(self.ends.idle),
        }
    }

    /// Why the curve ends at its last point, if it does.
    pub(super) fn ended(&self, curve: &Curve, folds: usize) -> Option<Ending> {
        let last = curve.len().checked_sub(1)?;
        let (first, row) = (self.row(curve, 0), self.row(curve, last));
        let stop = self.asked.stop;
        let farthest = stop.voltage.unwrap_or(FARTHEST);
        if stop.current.is_some_and(|s| row.collector >= s) {
            let why = "the collector current of `stop` was reached".to_string();
            return Some(Ending { why, spoilt: false });
        }
        if row.forward >= farthest {
            let why = format!("{farthest} V between emitter and base tap were reached");
            return Some(Ending { why, spoilt: false });
        }
        if row.emitter > ABOVE_LEAKAGE * first.emitter.abs() {
            if row.idle - ABOVE_LEAKAGE * first.idle.abs() > TURNED_ON * row.emitter {
                let why = format!(
                    "the other bipolar turned on: at {:.3e} A/um of emitter current its emitter carries {:.3e} A/um",
                    row.emitter, row.idle
                );
                return Some(Ending { why, spoilt: true });
            }
            if folds > 0 {
                let why = format!(
                    "the path latches: the emitter current turned at {:.3e} A/um",
                    row.emitter
                );
                return Some(Ending { why, spoilt: true });
            }
        }
        None
    }

    /// Rows above leakage and before the curve's end, and why it ended.
    pub(super) fn rows(&self, curve: &Curve, folds: usize) -> (Vec<Row>, String) {
        let ended = self.ended(curve, folds);
        let spoilt = ended.as_ref().is_some_and(|e| e.spoilt);
        let count = curve.len().saturating_sub(usize::from(spoilt));
        let mut rows: Vec<Row> = Vec::new();
        if curve.is_empty() {
            return (rows, "nothing was solved".to_string());
        }
        let first = self.row(curve, 0);
        for k in 1..count {
            let row = self.row(curve, k);
            let counts = row.collector > ABOVE_LEAKAGE * first.collector.abs()
                && row.base > ABOVE_LEAKAGE * first.base.abs();
            // Past a fold the columns would not be functions of the current any more.
            let grows = rows.last().is_none_or(|l| row.collector > l.collector);
            if counts && grows {
                rows.push(row);
            } else if !rows.is_empty() {
                let why =
                    "the base current turned around: avalanche or the other bipolar feed the base";
                return (rows, why.to_string());
            }
        }
        (rows, ended.map_or_else(|| "the trace ended".to_string(), |e| e.why))
    }
}

pub(super) struct Gummel {
    pub(super) rows: Vec<Row>,
    pub(super) ended: String,
    pub(super) failed: Option<String>,
}

impl Gummel {
    fn column(&self, of: impl Fn(&Row) -> f64) -> Vec<f64> {
        self.rows.iter().map(of).collect()
    }

    fn beta(&self) -> Vec<f64> {
        self.column(|r| r.collector / r.base)
    }

    pub(super) fn sheet(&self) -> Sheet {
        let largest = self.beta().into_iter().fold(f64::NAN, f64::max);
        let largest: Found<f64> = match largest.is_finite() {
            true => Ok(largest),
            false => Err(format!("no current rose above ten times the leakage: {}", self.ended)),
        };
        let per = "A/um";
        Sheet::new()
            .number("largest_beta", "1", "largest gain", largest)
            .column("collector_A_per_um", per, "collector current", self.column(|r| r.collector))
            .column("beta", "1", "gain: collector over base current", self.beta())
            .column("base_A_per_um", per, "base current", self.column(|r| r.base))
            .column("emitter_A_per_um", per, "emitter current", self.column(|r| r.emitter))
            .column(
                "emitter_base_V",
                "V",
                "emitter-base voltage at the terminals",
                self.column(|r| r.forward),
            )
            .column(
                "elsewhere_A_per_um",
                per,
                "emitter current that other terminals take",
                self.column(|r| r.emitter - r.base - r.collector),
            )
            .text("ended", "the curve ended because", &self.ended)
    }
}

/// Both gains at equal collector currents, and where their product passes one.
pub(super) fn product(npn: &Gummel, pnp: &Gummel) -> Sheet {
    let range = |g: &Gummel| Some((g.rows.first()?.collector, g.rows.last()?.collector));
    let mut at = Vec::new();
    if let (Some(a), Some(b)) = (range(npn), range(pnp)) {
        let (low, high) = (a.0.max(b.0), a.1.min(b.1));
        let steps = (PER_DECADE * (high / low).log10()).floor();
        if steps >= 0.0 {
            at = (0..=steps as usize).map(|k| low * 10f64.powf(k as f64 / PER_DECADE)).collect();
        }
    }
    let values: Vec<f64> = at.iter().map(|&i| (ln_beta(npn, i) + ln_beta(pnp, i)).exp()).collect();
    let none = || "the two gains share no range of collector current".to_string();
    let largest = values.iter().copied().fold(f64::NAN, f64::max);
    let crossing = at.iter().zip(&values).find(|(_, v)| **v >= 1.0).map(|(i, _)| *i);
    Sheet::new()
        .number(
            "largest",
            "1",
            "largest product",
            if largest.is_finite() { Ok(largest) } else { Err(none()) },
        )
        .number(
            "above_one_from_A_per_um",
            "A/um",
            "lowest listed collector current with a product of at least one",
            crossing.ok_or_else(|| match at.is_empty() {
                true => none(),
                false => "the product stays below one".to_string(),
            }),
        )
        .column("collector_A_per_um", "A/um", "collector current of both", at)
        .column("beta_product", "1", "gain of the npn times gain of the pnp", values)
}

/// ln β at a collector current, linear in ln I between rows.
fn ln_beta(g: &Gummel, current: f64) -> f64 {
    let k = g.rows.partition_point(|r| r.collector < current).clamp(1, g.rows.len().max(2) - 1);
    let of = |r: &Row| [r.collector.ln(), (r.collector / r.base).ln()];
    match (g.rows.get(k - 1).map(of), g.rows.get(k).map(of)) {
        (Some(a), Some(b)) => {
            let share = ((current.ln() - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0);
            a[1] + share * (b[1] - a[1])
        }
        (Some(a), None) => a[1],
        _ => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::{Gummel, Row, ln_beta, product};

    fn plot(low: f64, high: f64, beta: f64) -> Gummel {
        let row = |i: f64| Row {
            forward: 0.5,
            emitter: i + i / beta,
            base: i / beta,
            collector: i,
            idle: 0.0,
        };
        Gummel { rows: vec![row(low), row(high)], ended: String::new(), failed: None }
    }

    #[test]
    fn a_product_needs_a_common_range() {
        let (npn, pnp) = (plot(1e-9, 1e-4, 4.0), plot(1e-8, 1e-3, 0.5));
        assert!((ln_beta(&npn, 3e-7) - 4f64.ln()).abs() < 1e-12);
        let sheet = product(&npn, &pnp);
        let at = sheet.numbers_at("collector_A_per_um");
        assert!((at[0] / 1e-8 - 1.0).abs() < 1e-12 && *at.last().unwrap() <= 1e-4 * (1.0 + 1e-9));
        assert!(sheet.numbers_at("beta_product").iter().all(|p| (p - 2.0).abs() < 1e-9));
        assert_eq!(sheet.number_at("above_one_from_A_per_um"), Some(at[0]));
        let apart = product(&plot(1e-9, 1e-8, 4.0), &plot(1e-6, 1e-5, 4.0));
        assert!(apart.number_at("largest").is_none());
    }
}
