//! Trigger, holding, on-branch and critical injection, read from folds solved exactly.

use crate::trace::{Curve, Fields, Fold, FoldKind};

use super::outcome::{Criterion, Figures, Found, OnBranch, Status};
use super::sheet::Sheet;

/// On-branch line: through the curve at these multiples of the holding current.
const LINE: [f64; 2] = [3.0, 10.0];

/// Figures of a snapback; the fields of trigger and holding point are named so.
pub fn snapback_figures(
    curve: &Curve,
    folds: &[Fold],
    status: &Status,
    fields: &mut [Fields],
) -> Figures {
    let trigger = folds.iter().position(|f| f.kind == FoldKind::VoltageMaximum);
    let holding = trigger.and_then(|t| {
        folds
            .iter()
            .enumerate()
            .skip(t + 1)
            .filter(|(_, f)| f.kind == FoldKind::VoltageMinimum)
            .min_by(|a, b| a.1.voltage.total_cmp(&b.1.voltage))
            .map(|(k, _)| k)
    });
    name_fields(fields, trigger, "trigger");
    name_fields(fields, holding, "holding");
    let end = match status {
        Status::Complete => "before the trace reached its stop".to_string(),
        Status::Stopped(reason) => format!("before the trace stopped: {reason}"),
        Status::Interrupted => "before the trace was interrupted".to_string(),
        Status::Waiting => "because the trace has not started".to_string(),
    };
    let found = |k: Option<usize>, what: &str| {
        k.and_then(|k| folds.get(k).cloned()).ok_or_else(|| format!("{what} {end}"))
    };
    let holding_point = found(
        holding,
        if trigger.is_some() {
            "no voltage minimum was met"
        } else {
            "no trigger point, so no holding point: the voltage had no maximum"
        },
    );
    Figures::Snapback {
        trigger: found(trigger, "no trigger point: the voltage had no maximum"),
        on_branch: on_branch(curve, &holding_point),
        holding: holding_point,
    }
}

fn name_fields(fields: &mut [Fields], fold: Option<usize>, name: &str) {
    if let Some(k) = fold
        && let Some(f) = fields.iter_mut().find(|f| f.label == format!("fold {k}"))
    {
        f.label = name.to_string();
    }
}

fn on_branch(curve: &Curve, holding: &Found<Fold>) -> Found<OnBranch> {
    let h = holding.as_ref().map_err(|_| "no holding point".to_string())?;
    let from = h.before_point;
    let at = |current: f64| {
        (from + 1..curve.len()).find(|&k| curve.current[k] >= current).map(|k| {
            let (i0, i1) = (curve.current[k - 1], curve.current[k]);
            let share = if i1 > i0 { (current - i0) / (i1 - i0) } else { 0.0 };
            curve.voltage[k - 1] + share * (curve.voltage[k] - curve.voltage[k - 1])
        })
    };
    let last = curve.current.last().copied().unwrap_or(0.0);
    let low = LINE[0] * h.current;
    let high = (LINE[1] * h.current).min(last);
    if high < 1.5 * low {
        return Err(format!(
            "the curve ends at {last:.3e} A/µm, too close to the holding current for a line"
        ));
    }
    match (at(low), at(high)) {
        (Some(v_low), Some(v_high)) => {
            // V/(A/µm) is Ω·µm.
            let resistance = (v_high - v_low) / (high - low);
            Ok(OnBranch { voltage_at_zero: v_low - resistance * low, resistance })
        }
        _ => Err("the on-branch is not long enough for a line".to_string()),
    }
}

/// The fold at which a rising injection of `sign` can rise no further.
pub fn is_critical(fold: &Fold, sign: f64) -> bool {
    let kind = if sign > 0.0 { FoldKind::CurrentMaximum } else { FoldKind::CurrentMinimum };
    fold.kind == kind && fold.current * sign > 0.0
}

/// What an injection is judged by.
#[derive(Debug, Clone, Copy)]
pub struct Injector {
    /// +1 or −1.
    pub sign: f64,
    pub criterion: Criterion,
    /// Voltage that the injector is reconnected to [V].
    pub supply: f64,
}

/// Critical injection by its criterion; the fields of the critical point are named so.
pub fn injection_figures(
    curve: &Curve,
    folds: &[Fold],
    crossings: &[Fold],
    status: &Status,
    injector: Injector,
    fields: &mut [Fields],
) -> Figures {
    let Injector { sign, criterion, supply } = injector;
    let reached = curve.current.iter().fold(0.0f64, |m, i| m.max(i * sign));
    let end = match status {
        Status::Complete => format!("up to {reached:.3e} A/µm"),
        Status::Stopped(reason) => format!("before the trace stopped: {reason}"),
        _ => "before the trace was interrupted".to_string(),
    };
    let critical = match criterion {
        Criterion::Fold => {
            let k = folds.iter().position(|f| is_critical(f, sign));
            name_fields(fields, k, "critical");
            k.and_then(|k| folds.get(k).cloned())
                .ok_or_else(|| format!("the off-state does not end {end}"))
        }
        Criterion::Reconnect => {
            if let Some(f) = fields.iter_mut().find(|f| f.label == "crossing") {
                f.label = "critical".to_string();
            }
            crossings.first().cloned().ok_or_else(|| {
                format!(
                    "no unstable state at the {supply} V that the injector is reconnected to {end}"
                )
            })
        }
    };
    Figures::Injection { criterion, critical, beside: Sheet::new() }
}
