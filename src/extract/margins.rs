//! What stands beside a verdict: margins in volts and amperes, the two conditions to stay
//! on, and what the answer is uncertain by.

use crate::case::VerdictSpec;
use crate::experiment::{Figures, Found, Outcome, Sheet};
use crate::trace::Fold;

/// Margins of a case: positive on the safe side.
pub(super) fn margins(
    spec: VerdictSpec,
    width: f64,
    outcomes: &[Outcome],
    lowest: Option<&Fold>,
) -> Sheet {
    let limit = spec.supply * (1.0 + spec.margin);
    let none = |what: &str| format!("no {what} is known");
    let holding = lowest.map(|h| h.voltage - limit).ok_or_else(|| none("holding point"));
    let trigger = outcomes
        .iter()
        .filter_map(|o| match &o.figures {
            Figures::Snapback { trigger: Ok(t), .. } => Some(t.voltage - spec.supply),
            _ => None,
        })
        .min_by(f64::total_cmp)
        .ok_or_else(|| none("trigger point"));
    let mut injected = Sheet::new();
    for o in outcomes {
        let Figures::Injection { critical, beside, .. } = &o.figures else { continue };
        let here: Found<f64> = match (beside.number_at("level/margin_A"), critical) {
            (Some(margin), _) => Ok(margin),
            (None, Ok(c)) => Ok(c.current.abs() * width),
            (None, Err(why)) => Err(why.clone()),
        };
        let meaning = "critical injection at the width, less the level if one is tested";
        injected = injected.number(&o.drive.join(" "), "A", meaning, here);
    }
    let supplied = match (spec.supply_current, lowest) {
        (None, _) => Err("`supply_current` is not given: the supply is unlimited".to_string()),
        (Some(_), None) => Err(none("holding point")),
        (Some(available), Some(h)) => Ok(h.current * width - available),
    };
    Sheet::new()
        .number("holding_V", "V", "holding voltage less the supply with its margin", holding)
        .number("trigger_V", "V", "trigger voltage less the supply", trigger)
        .group("injection_A", "by injector", injected)
        .number("supply_A", "A", "holding current less what the supply delivers", supplied)
}

/// A supply keeps the path on only above V_h and with I_h.
pub(super) fn conditions(spec: VerdictSpec, width: f64, lowest: Option<&Fold>) -> Sheet {
    let none = || "no holding point is known".to_string();
    let limit = spec.supply * (1.0 + spec.margin);
    let voltage = lowest.map(|h| h.voltage < limit).ok_or_else(none);
    let current = match (lowest, spec.supply_current) {
        (None, _) => Err(none()),
        (Some(h), Some(available)) => Ok(available >= h.current * width),
        (Some(_), None) => Ok(true),
    };
    let needs = lowest.map(|h| h.current * width).ok_or_else(none);
    Sheet::new()
        .yes_no("voltage", "the supply with its margin is above the holding voltage", voltage)
        .yes_no("current", "it delivers the holding current (unlimited if not given)", current)
        .number("holding_A", "A", "holding current at the width", needs)
}

/// A level that a pin stands, in words.
pub(super) fn stands(into: &str, beside: &Sheet) -> String {
    let at = |path: &str| 1e3 * beside.number_at(path).unwrap_or(f64::NAN);
    format!(
        "injection into {into}: the level of {:.1} mA does not latch, {:.1} mA would",
        at("level/current_A"),
        at("level/critical_A")
    )
}

/// A stimulus with its limit, in words.
pub(super) fn stimulus(o: &Outcome, sheet: &Sheet, latches: bool) -> String {
    const LIMITS: [(&str, &str); 5] = [
        ("critical/voltage_V", "V"),
        ("critical/rise_s", "s"),
        ("critical/charge_C_per_um", "C/µm"),
        ("critical/current_A_per_um", "A/µm"),
        ("shortest_latching_s", "s"),
    ];
    let limit = LIMITS.iter().find_map(|(path, unit)| {
        sheet.number_at(path).map(|v| format!(", the limit is {v:.3e} {unit}"))
    });
    format!(
        "the {} on {} {}{}",
        o.kind,
        o.drive.join(", "),
        if latches { "makes it latch" } else { "does not latch it" },
        limit.unwrap_or_default()
    )
}

/// What the answer is uncertain by: mesh, laws out of range, lifetimes.
pub(super) fn uncertain(outcomes: &[Outcome]) -> Vec<String> {
    let mut out = Vec::new();
    let mut unmeasured = false;
    for (k, o) in outcomes.iter().enumerate() {
        for (name, found) in o.points() {
            let Ok(fold) = found else { continue };
            match o.error_bars(name) {
                Some(Ok(bars)) => out.push(format!(
                    "mesh: {name} point of experiment {k}: {:.4} ± {:.4} V, {:.3e} ± {:.1e} A/µm",
                    fold.voltage, bars.voltage.error, fold.current, bars.current.error
                )),
                Some(Err(why)) => {
                    out.push(format!("mesh: {name} point of experiment {k}: no bar: {why}"));
                }
                None => unmeasured = true,
            }
        }
    }
    if unmeasured {
        out.push("mesh: not measured; `run --error-bars` gives every figure its bar".to_string());
    }
    for (k, o) in outcomes.iter().enumerate() {
        out.extend(o.warnings.iter().map(|w| format!("laws: experiment {k}: {w}")));
    }
    out.push(
        "lifetimes: tau_n0 and tau_p0 set the gains, and with them the holding point and every critical stimulus; the defaults are common practice, calibrate them"
            .to_string(),
    );
    out
}
