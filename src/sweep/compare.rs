//! What differs between results: keys of the case, folds, curves, verdict.

use serde_json::{Value, json};

use super::outcomes::experiment;
use crate::experiment::Outcome;
use crate::record::{Gathered, RunRecord, Values};

/// One key or figure that differs.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Key of the case, or experiment and figure.
    pub what: String,
    pub first: String,
    pub second: String,
}

/// A comparison of two.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Report {
    /// Keys of the case that differ.
    pub keys: Vec<Difference>,
    /// Lines for people, in order.
    pub lines: Vec<String>,
    /// Largest relative difference of any figure or curve, and of which.
    pub worst: f64,
    pub worst_of: String,
    /// A verdict or a figure's existence changed.
    pub changed: Vec<Difference>,
    /// Sentences that differ, such as reasons: told, not judged, since they hold numbers.
    pub told: Vec<Difference>,
    /// For programs.
    pub json: Value,
}

impl Report {
    /// True if nothing changed in kind and no figure by more than `tolerance` (relative).
    pub fn within(&self, tolerance: f64) -> bool {
        self.changed.is_empty() && self.worst <= tolerance
    }

    pub(super) fn worse(&mut self, off: f64, of: &str) {
        // Something that cannot be compared is no agreement.
        if off.is_nan() || off > self.worst {
            self.worst = if off.is_nan() { f64::INFINITY } else { off };
            self.worst_of = of.to_string();
        }
    }

    /// Notes a sentence that differs.
    pub(super) fn tell(&mut self, what: &str, first: &str, second: &str) {
        if first != second {
            self.lines.push(format!("{what}: {first:?} -> {second:?}"));
            self.told.push(Difference {
                what: what.to_string(),
                first: first.to_string(),
                second: second.to_string(),
            });
        }
    }

    pub(super) fn change(&mut self, what: &str, first: &str, second: &str) {
        if first != second {
            self.lines.push(format!("{what}: {first} -> {second}"));
            self.changed.push(Difference {
                what: what.to_string(),
                first: first.to_string(),
                second: second.to_string(),
            });
        }
    }
}

/// |b − a| relative to the larger; 0 if both are the same, also if both are zero.
pub(super) fn relative(a: f64, b: f64) -> f64 {
    if a == b { 0.0 } else { (b - a).abs() / a.abs().max(b.abs()) }
}

/// Keys that differ between two case texts. Entries of lists go by their names.
pub fn keys(a: &str, b: &str) -> Vec<Difference> {
    let flat = |text: &str| {
        let mut out = std::collections::BTreeMap::new();
        if let Ok(doc) = text.parse::<toml::Table>() {
            flatten("", &toml::Value::Table(doc), &mut out);
        }
        out
    };
    let (a, b) = (flat(a), flat(b));
    let mut paths: Vec<&String> = a.keys().chain(b.keys()).collect();
    paths.sort();
    paths.dedup();
    let show = |v: Option<&String>| v.cloned().unwrap_or_else(|| "absent".to_string());
    paths
        .into_iter()
        .filter(|p| a.get(*p) != b.get(*p))
        .map(|p| Difference { what: p.clone(), first: show(a.get(p)), second: show(b.get(p)) })
        .collect()
}

fn flatten(at: &str, value: &toml::Value, out: &mut std::collections::BTreeMap<String, String>) {
    let under = |key: &str| if at.is_empty() { key.to_string() } else { format!("{at}.{key}") };
    match value {
        toml::Value::Table(table) => {
            for (key, value) in table {
                flatten(&under(key), value, out);
            }
        }
        toml::Value::Array(list) if list.iter().any(toml::Value::is_table) => {
            for (k, entry) in list.iter().enumerate() {
                let name = entry.get("name").and_then(toml::Value::as_str);
                flatten(&under(name.unwrap_or(&k.to_string())), entry, out);
            }
        }
        _ => {
            out.insert(at.to_string(), value.to_string());
        }
    }
}

/// Compares the result `b` with `a`.
pub fn compare(a: &RunRecord, b: &RunRecord) -> Report {
    let mut r = Report { keys: keys(&a.case_text, &b.case_text), ..Report::default() };
    for d in &r.keys {
        r.lines.push(format!("case: {} {} -> {}", d.what, d.first, d.second));
    }
    let answer = |r: &RunRecord| r.verdict.as_ref().map_or("none", |v| v.answer.word()).to_string();
    r.change("verdict", &answer(a), &answer(b));
    let mut experiments = Vec::new();
    let mut used = vec![false; b.experiments.len()];
    for (k, e) in a.experiments.iter().enumerate() {
        let same = |f: &Outcome| f.kind == e.kind && f.drive == e.drive;
        let partner =
            b.experiments.iter().enumerate().find(|(j, f)| used.get(*j) == Some(&false) && same(f));
        let label = format!("{} {} ({})", k, e.kind, e.drive.join(", "));
        match partner {
            Some((j, f)) => {
                if let Some(u) = used.get_mut(j) {
                    *u = true;
                }
                experiments.push(experiment(&mut r, &label, e, f));
            }
            None => r.change(&label, "there", "absent"),
        }
    }
    for (f, _) in b.experiments.iter().zip(&used).filter(|(_, u)| !**u) {
        r.change(&format!("{} ({})", f.kind, f.drive.join(", ")), "absent", "there");
    }
    r.json = json!({
        "keys": list(&r.keys),
        "changed": list(&r.changed),
        "texts": list(&r.told),
        "verdict": { "first": answer(a), "second": answer(b) },
        "experiments": experiments,
        "largest_relative": finite(r.worst),
        "largest_of": r.worst_of,
    });
    r
}

fn list(d: &[Difference]) -> Vec<Value> {
    d.iter().map(|d| json!({ "what": d.what, "first": d.first, "second": d.second })).collect()
}

pub(super) fn finite(v: f64) -> Value {
    if v.is_finite() { json!(v) } else { Value::Null }
}

/// Compares the gathered sweep `b` with `a`, case by case (by name).
pub fn compare_gathered(a: &Gathered, b: &Gathered) -> Report {
    let mut r = Report { keys: keys(&a.base_text, &b.base_text), ..Report::default() };
    for d in &r.keys {
        r.lines.push(format!("base case: {} {} -> {}", d.what, d.first, d.second));
    }
    let names = |g: &Gathered| match g.column("case").map(|c| &c.values) {
        Some(Values::Texts(t)) => t.clone(),
        _ => Vec::new(),
    };
    let (first, second) = (names(a), names(b));
    let place: std::collections::BTreeMap<&String, usize> =
        second.iter().enumerate().map(|(k, n)| (n, k)).collect();
    let pairs: Vec<(usize, usize)> =
        first.iter().enumerate().filter_map(|(k, n)| Some((k, *place.get(n)?))).collect();
    let lost = first.len() - pairs.len();
    let new = second.len() - pairs.len();
    if lost + new > 0 {
        r.lines.push(format!("{lost} cases are in the first only, {new} in the second only"));
        r.changed.push(Difference {
            what: "cases".into(),
            first: first.len().to_string(),
            second: second.len().to_string(),
        });
    }
    let mut columns = serde_json::Map::new();
    for column in &a.columns {
        if left_out(&column.name) {
            continue;
        }
        let sentence = column.name == "reason";
        let Some(other) = b.column(&column.name) else {
            r.change(&format!("column {}", column.name), "there", "absent");
            continue;
        };
        match (&column.values, &other.values) {
            (Values::Texts(x), Values::Texts(y)) => {
                for &(j, k) in &pairs {
                    if let (Some(p), Some(q), Some(n)) = (x.get(j), y.get(k), first.get(j)) {
                        let what = format!("{n}: {}", column.name);
                        match sentence {
                            true => r.tell(&what, p, q),
                            false => r.change(&what, p, q),
                        }
                    }
                }
            }
            (Values::Numbers(x), Values::Numbers(y)) => {
                let errors = format!("{}_error", column.name);
                let bars = [a.column(&errors), b.column(&errors)].map(|c| c.map(|c| &c.values));
                let shown = numbers(&mut r, column.name.as_str(), &pairs, &first, [x, y], bars);
                columns.insert(column.name.clone(), shown);
            }
            _ => r.change(&format!("column {}", column.name), "numbers", "texts"),
        }
    }
    for column in b.columns.iter().filter(|c| a.column(&c.name).is_none()) {
        if !left_out(&column.name) {
            r.change(&format!("column {}", column.name), "absent", "there");
        }
    }
    r.json = json!({
        "cases": { "common": pairs.len(), "first_only": lost, "second_only": new },
        "keys": list(&r.keys),
        "changed": list(&r.changed),
        "texts": list(&r.told),
        "columns": columns,
        "largest_relative": finite(r.worst),
        "largest_of": r.worst_of,
    });
    r
}

/// Columns that say nothing of a case's answer; error bars judge their figure instead.
fn left_out(column: &str) -> bool {
    matches!(column, "wall" | "file" | "case") || column.ends_with("_error")
}

fn numbers(
    r: &mut Report,
    name: &str,
    pairs: &[(usize, usize)],
    names: &[String],
    [x, y]: [&Vec<f64>; 2],
    bars: [Option<&Values>; 2],
) -> Value {
    let bar = |which: Option<&Values>, k: usize| match which {
        Some(Values::Numbers(v)) => v.get(k).copied().unwrap_or(f64::NAN),
        _ => f64::NAN,
    };
    let (mut worst, mut place, mut beyond, mut judged) = (0.0f64, None, 0, 0);
    for &(j, k) in pairs {
        let (Some(p), Some(q), Some(case)) = (x.get(j), y.get(k), names.get(j)) else { continue };
        if p.is_nan() != q.is_nan() {
            let word = |v: &f64| if v.is_nan() { "none" } else { "found" };
            r.change(&format!("{case}: {name}"), word(p), word(q));
            continue;
        }
        if p.is_nan() {
            continue;
        }
        let off = relative(*p, *q);
        if off > worst {
            (worst, place) = (off, Some(case));
        }
        let width = bar(bars[0], j) + bar(bars[1], k);
        if width.is_finite() {
            judged += 1;
            beyond += usize::from((q - p).abs() > width);
        }
    }
    let at = place.cloned().unwrap_or_default();
    r.worse(worst, &format!("{at}: {name}"));
    if worst > 0.0 {
        let bars = match judged {
            0 => String::new(),
            n => format!("; {beyond} of {n} beyond their error bars"),
        };
        r.lines.push(format!("{name}: at most {:.3} % apart, in {at}{bars}", 100.0 * worst));
    }
    json!({ "largest_relative": worst, "in": at, "beyond_bars": beyond, "with_bars": judged })
}
