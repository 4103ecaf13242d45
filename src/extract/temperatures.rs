//! The verdict over the temperatures that a case asks for. The lowest holding voltage over
//! their range is looked for, not taken from an end.

use crate::case::{Case, Experiment, ExperimentKind};
use crate::discretize::Device;
use crate::experiment::{Figures, Found, Outcome, RunOptions, Sheet, Status, run_experiment};
use crate::mesh::Mesh;
use crate::solve::equilibrium;
use crate::trace::Keeper;

use super::temperatures_kept::{trace_sheet, traced_at};
use super::verdict::{Answer, Verdict};

/// Traces beyond those of the temperatures asked for.
const MORE: usize = 4;
/// A temperature this near to one that is known brings nothing [K].
const NEAR: f64 = 2.0;
/// A fall of V_h below the lowest known one that is worth a trace, relative.
const WORTH: f64 = 5e-4;

/// Ctrl-C while another temperature was solved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Interrupted;

/// One temperature's answer.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct At {
    pub temperature: f64,
    pub verdict: Verdict,
    pub holding: Found<f64>,
    pub trigger: Found<f64>,
    /// Smallest magnitude of the critical injections [A/µm].
    pub critical: Found<f64>,
}

/// What a run over temperatures tells while it is under way, and what it has kept.
pub struct Along<'a, K> {
    /// What is done next.
    pub say: &'a dyn Fn(&mut K, &str),
    /// A temperature is done: its answer, to be handed back in `kept` if the run is resumed.
    pub keep: &'a dyn Fn(&mut K, Sheet),
    /// Answers of the temperatures that were done before.
    pub kept: &'a [Sheet],
}

/// The verdict of `case` over its temperatures; `first` are the outcomes at the case's own.
/// `None`: the case asks for no verdict.
///
/// # Errors
/// The keeper's interrupt.
pub fn verdict_over_temperatures<K: Keeper>(
    case: &Case,
    mesh: &Mesh,
    first: &[Outcome],
    keeper: &mut K,
    along: &Along<K>,
) -> Result<Option<Verdict>, Interrupted> {
    let Some(spec) = case.verdict else { return Ok(None) };
    let own = Verdict::of(spec, case.width, first);
    let others: Vec<f64> =
        case.temperatures.iter().copied().filter(|t| *t != case.temperature).collect();
    if others.is_empty() {
        return Ok(Some(own));
    }
    let mut all = vec![at(case.temperature, own, first)];
    for &temperature in &others {
        if let Some(done) = along.kept.iter().find_map(|s| At::of_sheet(s, spec, temperature)) {
            all.push(done);
            continue;
        }
        (along.say)(keeper, &format!("verdict at {:.0} degC", temperature - 273.15));
        let outcomes = run_at(case, mesh, temperature, &case.experiments, keeper)?;
        let mut verdict = match &outcomes {
            Ok(outcomes) => Verdict::of(spec, case.width, outcomes),
            Err(_) => Verdict::of(spec, case.width, &[]),
        };
        if let Err(why) = &outcomes {
            verdict.answer = Answer::Undecided;
            verdict.reasons.insert(0, why.clone());
        }
        let done = at(temperature, verdict, outcomes.as_deref().unwrap_or(&[]));
        (along.keep)(keeper, done.sheet());
        all.push(done);
    }
    all.sort_by(|a, b| a.temperature.total_cmp(&b.temperature));
    let lowest = lowest_holding(case, mesh, &all, keeper, along)?;
    let limit = spec.supply * (1.0 + spec.margin);
    Ok(joined(&all, &lowest, limit))
}

fn least(values: impl Iterator<Item = f64>, what: &str) -> Found<f64> {
    values.min_by(f64::total_cmp).ok_or_else(|| format!("no {what}"))
}

fn least_holding(outcomes: &[Outcome]) -> Found<f64> {
    let each = outcomes.iter().filter_map(|o| match &o.figures {
        Figures::Snapback { holding: Ok(h), .. } => Some(h.voltage),
        _ => None,
    });
    least(each, "holding point")
}

fn at(temperature: f64, verdict: Verdict, outcomes: &[Outcome]) -> At {
    let triggers = outcomes.iter().filter_map(|o| match &o.figures {
        Figures::Snapback { trigger: Ok(t), .. } => Some(t.voltage),
        _ => None,
    });
    let criticals = outcomes.iter().filter_map(|o| match &o.figures {
        Figures::Injection { critical: Ok(c), .. } => Some(c.current.abs()),
        _ => None,
    });
    At {
        temperature,
        verdict,
        holding: least_holding(outcomes),
        trigger: least(triggers, "trigger point"),
        critical: least(criticals, "critical injection"),
    }
}

/// Outcomes of `experiments` on the same mesh at another temperature; the inner error is a
/// device that could not be solved there.
fn run_at(
    case: &Case,
    mesh: &Mesh,
    temperature: f64,
    experiments: &[Experiment],
    keeper: &mut dyn Keeper,
) -> Result<Result<Vec<Outcome>, String>, Interrupted> {
    let case = Case { temperature, ..case.clone() };
    let device = Device::of_case(&case, mesh);
    let there = format!("at {:.1} degC", temperature - 273.15);
    let rest = match equilibrium(&device) {
        Ok((rest, _)) => rest,
        Err(e) => return Ok(Err(format!("{there} the equilibrium could not be solved: {e}"))),
    };
    let mut outcomes = Vec::new();
    for experiment in experiments {
        let options = RunOptions::default();
        match run_experiment(&case, &device, &rest, experiment, options, None, keeper) {
            Ok(outcome) if outcome.status == Status::Interrupted => return Err(Interrupted),
            Ok(outcome) => outcomes.push(outcome),
            Err(e) => return Ok(Err(format!("{there}: {e}"))),
        }
    }
    Ok(Ok(outcomes))
}

/// Temperature and voltage of the lowest holding point over the range asked for.
struct Lowest {
    temperature: f64,
    voltage: f64,
    /// Traces that it took beyond the temperatures asked for.
    traces: usize,
    inside: bool,
}

fn lowest_holding<K: Keeper>(
    case: &Case,
    mesh: &Mesh,
    all: &[At],
    keeper: &mut K,
    along: &Along<K>,
) -> Result<Found<Lowest>, Interrupted> {
    let mut known: Vec<[f64; 2]> = Vec::new();
    for one in all {
        match &one.holding {
            Ok(v) => known.push([one.temperature, *v]),
            Err(why) => {
                return Ok(Err(format!("at {:.1} degC: {why}", one.temperature - 273.15)));
            }
        }
    }
    let snapbacks: Vec<Experiment> = case
        .experiments
        .iter()
        .filter(|e| matches!(e.kind, ExperimentKind::Snapback { .. }))
        .cloned()
        .collect();
    let mut traces = 0;
    while traces < MORE {
        let Some(next) = next_temperature(&known) else { break };
        traces += 1;
        let known_already = along.kept.iter().find_map(|s| traced_at(s, next));
        let found = match known_already {
            Some(found) => found,
            None => {
                (along.say)(keeper, &format!("holding voltage at {:.0} degC", next - 273.15));
                let found = match run_at(case, mesh, next, &snapbacks, keeper)? {
                    Ok(outcomes) => least_holding(&outcomes),
                    Err(why) => Err(why),
                };
                (along.keep)(keeper, trace_sheet(next, &found));
                found
            }
        };
        match found {
            Ok(v) => known.push([next, v]),
            Err(why) => return Ok(Err(format!("at {:.1} degC: {why}", next - 273.15))),
        }
        known.sort_by(|a, b| a[0].total_cmp(&b[0]));
    }
    let ends = [known.first(), known.last()].map(|k| k.map_or(f64::NAN, |k| k[0]));
    let least = known.iter().min_by(|a, b| a[1].total_cmp(&b[1]));
    Ok(least.map_or(Err("no holding point".to_string()), |l| {
        Ok(Lowest { temperature: l[0], voltage: l[1], traces, inside: !ends.contains(&l[0]) })
    }))
}

/// Where the next trace would tell most: the middle if only the ends are known, else the
/// lowest point of the parabola through the lowest known and its neighbours, if that lies
/// inside the range, away from what is known and low enough to matter. `known` grows in
/// temperature.
pub fn next_temperature(known: &[[f64; 2]]) -> Option<f64> {
    let (first, last) = (known.first()?, known.last()?);
    if let [a, b] = known {
        return (b[0] - a[0] > 2.0 * NEAR).then(|| 0.5 * (a[0] + b[0]));
    }
    let k = (0..known.len()).min_by(|a, b| known[*a][1].total_cmp(&known[*b][1]))?;
    let from = k.saturating_sub(1).min(known.len().checked_sub(3)?);
    let [a, b, c] = [known.get(from)?, known.get(from + 1)?, known.get(from + 2)?];
    let [left, right] = [(b[1] - a[1]) / (b[0] - a[0]), (c[1] - b[1]) / (c[0] - b[0])];
    let bend = (right - left) / (c[0] - a[0]);
    if bend <= 0.0 || !bend.is_finite() {
        // No valley here; V_h is lowest at an end of what is known.
        return None;
    }
    let at = 0.5 * (a[0] + b[0]) - 0.5 * left / bend;
    let value = a[1] + left * (at - a[0]) + bend * (at - a[0]) * (at - b[0]);
    let inside = at > first[0] && at < last[0];
    let apart = known.iter().all(|k| (k[0] - at).abs() > NEAR);
    (inside && apart && value < known[k][1] * (1.0 - WORTH)).then_some(at)
}

/// How bad an answer is.
fn rank(answer: Answer) -> u8 {
    match answer {
        Answer::NoOnState => 0,
        Answer::NotReached => 1,
        Answer::Undecided => 2,
        Answer::Latches => 3,
    }
}

/// The worst answer with its reasons, and the table of all.
fn joined(all: &[At], lowest: &Found<Lowest>, limit: f64) -> Option<Verdict> {
    let column = |of: &dyn Fn(&At) -> &Found<f64>| {
        all.iter().map(|a| of(a).clone().unwrap_or(f64::NAN)).collect::<Vec<_>>()
    };
    let answers: Vec<String> = all.iter().map(|a| a.verdict.answer.word().to_string()).collect();
    let mut table = Sheet::new()
        .column("temperature_K", "K", "asked for", all.iter().map(|a| a.temperature).collect())
        .texts("answer", "at each temperature", &answers)
        .column("holding_V", "V", "lowest holding voltage", column(&|a| &a.holding))
        .column("trigger_V", "V", "lowest trigger voltage", column(&|a| &a.trigger))
        .column(
            "critical_A_per_um",
            "A/um",
            "smallest critical injection",
            column(&|a| &a.critical),
        );
    let number = |of: &dyn Fn(&Lowest) -> f64| lowest.as_ref().map(of).map_err(Clone::clone);
    table = table.group(
        "lowest_holding",
        "over the range of temperatures, looked for",
        Sheet::new()
            .number("temperature_K", "K", "where", number(&|l| l.temperature))
            .number("voltage_V", "V", "holding voltage there", number(&|l| l.voltage))
            .number("traces", "1", "S-curves beyond those asked for", number(&|l| l.traces as f64)),
    );
    let worst = all.iter().max_by_key(|a| rank(a.verdict.answer))?;
    let mut verdict = worst.verdict.clone();
    let mut head = format!(
        "over {} temperatures the answer is that at {:.1} degC",
        all.len(),
        worst.temperature - 273.15
    );
    if let Ok(l) = lowest {
        head += &format!(
            "; V_h is lowest at {:.1} degC, {:.4} V, {}",
            l.temperature - 273.15,
            l.voltage,
            if l.inside { "inside the range" } else { "an end of the range" }
        );
        if verdict.answer == Answer::NoOnState && l.voltage < limit {
            verdict.answer = Answer::NotReached;
            head += ": an on-state exists there, though at none of the temperatures asked for";
        }
    }
    verdict.reasons.insert(0, head);
    verdict.more = verdict.more.group("temperatures", "over temperature", table);
    Some(verdict)
}
