//! A record as JSON, in the shape of DESIGN section 4. Names carry their units.

use serde_json::{Map, Value, json};

use super::{RunRecord, bars, sheet};
use crate::experiment::{BiasPoint, Figures, Found, OnBranch, Outcome, Sheet};
use crate::extract::Verdict;
use crate::trace::{Curve, Fold, TerminalValues, Work};

/// The document that `run --json` and `show --json` print. A figure that does not exist
/// is `null`, with the reason beside it in `…_reason`; a number that is not finite is
/// `null`.
pub fn to_json(record: &RunRecord) -> Value {
    let verdict = match &record.verdict {
        Some(v) => verdict(v),
        None => Value::Null,
    };
    let mut document = json!({
        "case": record.case_name,
        "title": record.title,
        "version": record.provenance.version,
        "complete": record.complete,
        "nodes": record.mesh.nodes(),
        "temperature_K": record.temperature,
        "width_um": record.width,
        "threads": record.provenance.threads,
        "wall_s": record.provenance.wall,
        "experiments": record.experiments.iter().map(experiment).collect::<Vec<_>>(),
        "verdict": verdict,
        "follows": sheets(&record.follows),
        "rules": sheets(&record.rules),
        "spreads": sheets(&record.spreads),
        "warnings": record.warnings,
    });
    if let Value::Object(map) = &mut document {
        sheet::json(&record.extract, map);
    }
    if record.verdict.is_none() {
        let reason = match record.complete {
            true => "the case asks for no verdict",
            false => "the run is not complete, or the case asks for no verdict",
        };
        document["verdict_reason"] = json!(reason);
    }
    document
}

fn sheets(list: &[Sheet]) -> Value {
    let one = |s: &Sheet| {
        let mut map = Map::new();
        sheet::json(s, &mut map);
        Value::Object(map)
    };
    list.iter().map(one).collect()
}

fn verdict(v: &Verdict) -> Value {
    let mut verdict = json!({
        "answer": v.answer.word(),
        "supply_V": v.supply,
        "margin": v.margin,
        "sustains": super::write::sustains(v.answer),
        "reasons": v.reasons,
    });
    if let Value::Object(map) = &mut verdict {
        sheet::json(&v.more, map);
    }
    verdict
}

fn experiment(o: &Outcome) -> Value {
    let reason = match o.status.reason() {
        "" => Value::Null,
        reason => json!(reason),
    };
    let mut e = json!({
        "kind": o.kind,
        "drive": o.drive,
        "status": o.status.word(),
        "reason": reason,
        "points": o.curve.len(),
        "folds": o.folds.iter().map(|f| listed(f, &o.curve.terminals)).collect::<Vec<_>>(),
        "curve": curve(&o.curve),
        "conservation": o.curve.conservation(),
        "wall_s": o.wall,
        "work": work(&o.work),
        "warnings": o.warnings,
    });
    let names = &o.curve.terminals;
    match &o.figures {
        Figures::Snapback { trigger, holding, on_branch } => {
            put(&mut e, "trigger", trigger, |f| figure(o, "trigger", f));
            put(&mut e, "holding", holding, |f| figure(o, "holding", f));
            put(&mut e, "on_branch", on_branch, line);
        }
        Figures::Injection { criterion, critical, beside } => {
            e["criterion"] = json!(criterion.word());
            if let Value::Object(map) = &mut e {
                sheet::json(beside, map);
            }
            put(&mut e, "critical", critical, |f| figure(o, "critical", f));
        }
        Figures::Bias { points } => {
            e["points"] = points.iter().map(|p| bias(p, names)).collect();
        }
        Figures::Named(named) => {
            if let Value::Object(map) = &mut e {
                sheet::json(named, map);
            }
        }
    }
    if !o.flow.figures.is_empty() {
        let mut map = Map::new();
        sheet::json(&o.flow, &mut map);
        e["flow"] = Value::Object(map);
    }
    if let Some(reruns) = bars::reruns(o) {
        e["error_bars"] = reruns;
    }
    e
}

/// A point of the curve with its error bars.
fn figure(o: &Outcome, name: &str, fold: &Fold) -> Value {
    let mut value = point(fold, &o.curve.terminals);
    bars::beside(&mut value, o.error_bars(name));
    value
}

/// A figure under `name`, or `null` there and why under `name_reason`.
fn put<T>(e: &mut Value, name: &str, found: &Found<T>, show: impl Fn(&T) -> Value) {
    match found {
        Ok(figure) => e[name] = show(figure),
        Err(reason) => {
            e[name] = Value::Null;
            e[format!("{name}_reason")] = json!(reason);
        }
    }
}

fn line(l: &OnBranch) -> Value {
    json!({"voltage_at_zero_V": l.voltage_at_zero, "resistance_ohm_um": l.resistance})
}

fn point(f: &Fold, names: &[String]) -> Value {
    json!({
        "voltage_V": f.voltage,
        "current_A_per_um": f.current,
        "terminals": terminals(names, &f.at_terminals),
    })
}

fn listed(f: &Fold, names: &[String]) -> Value {
    let mut fold = point(f, names);
    fold["kind"] = json!(f.kind.word());
    fold
}

fn bias(p: &BiasPoint, names: &[String]) -> Value {
    json!({
        "applied_V": p.applied,
        "voltage_V": by_name(names, &p.at_terminals.voltage),
        "current_A_per_um": by_name(names, &p.at_terminals.current),
    })
}

fn by_name(names: &[String], values: &[f64]) -> Value {
    let map: Map<String, Value> =
        names.iter().zip(values).map(|(n, v)| (n.clone(), json!(v))).collect();
    Value::Object(map)
}

fn terminals(names: &[String], at: &TerminalValues) -> Value {
    let pairs = at.voltage.iter().zip(&at.current);
    let one = |(v, i): (&f64, &f64)| json!({"voltage_V": v, "current_A_per_um": i});
    Value::Object(names.iter().cloned().zip(pairs.map(one)).collect())
}

fn curve(c: &Curve) -> Value {
    let column = |k: usize, pick: fn(&TerminalValues) -> &Vec<f64>| -> Value {
        c.at_terminals.iter().map(|v| json!(pick(v).get(k))).collect()
    };
    let one = |(k, name): (usize, &String)| {
        let columns = json!({
            "voltage_V": column(k, |v| &v.voltage),
            "current_A_per_um": column(k, |v| &v.current),
        });
        (name.clone(), columns)
    };
    let terminals: Map<String, Value> = c.terminals.iter().enumerate().map(one).collect();
    json!({
        "voltage_V": c.voltage,
        "current_A_per_um": c.current,
        "newton_steps": c.newton,
        "terminals": terminals,
        "imbalance_A_per_um": c.imbalance,
        "largest_A_per_um": c.largest,
        "newton_steps": c.newton,
    })
}

fn work(w: &Work) -> Value {
    let Work {
        newton_steps,
        chord_steps,
        walk_steps,
        fold_steps,
        factorizations,
        refinements,
        refinements_needed,
        krylov_cycles,
        tangent_sweeps,
        pivoted_fronts,
        general_factorizations,
        gummel_rounds,
        halvings,
    } = *w;
    json!({
        "newton_steps": newton_steps,
        "chord_steps": chord_steps,
        "walk_steps": walk_steps,
        "fold_steps": fold_steps,
        "factorizations": factorizations,
        "refinements": refinements,
        "refinements_needed": refinements_needed,
        "krylov_cycles": krylov_cycles,
        "tangent_sweeps": tangent_sweeps,
        "pivoted_fronts": pivoted_fronts,
        "general_factorizations": general_factorizations,
        "gummel_rounds": gummel_rounds,
        "halvings": halvings,
    })
}
