//! Families of curves of a sweep: along each axis, the others at their middle value.

use super::Item;
use super::chart::Chart;
use super::compare;
use super::sweep::{level, strides, texts, word};
use crate::record::{Gathered, RunRecord};

/// Most curves in one chart; more cannot be told apart.
pub const MOST_LINES: usize = 8;

/// A case of a family: its index, and its value on the family's axis.
type Member = (usize, String);

/// Axes with more than one value, each with the cases along it, evenly spread if there are
/// many.
fn all(g: &Gathered) -> Vec<(usize, Vec<Member>)> {
    let steps = strides(g);
    let middle: usize = g.axes.iter().zip(&steps).map(|(a, s)| a.values.len() / 2 * s).sum();
    let of = |k: usize| {
        let count = g.axes[k].values.len();
        let start = middle - count / 2 * steps[k];
        let every = count.div_ceil(MOST_LINES).max(1);
        let member = |j: usize| (start + j * steps[k], level(&g.axes[k], j));
        (k, (0..count).step_by(every).map(member).collect())
    };
    (0..g.axes.len()).filter(|k| g.axes[*k].values.len() > 1).map(of).collect()
}

/// Names of the cases whose results the families take.
pub fn wanted(g: &Gathered) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let names = texts(g, "case");
    for name in all(g).iter().flat_map(|f| &f.1).filter_map(|(k, _)| names.get(*k)) {
        if !out.contains(name) {
            out.push(name.clone());
        }
    }
    out
}

/// A chart for each axis and experiment, with its name; `some` are the results at hand.
pub fn charts(g: &Gathered, some: &[Item]) -> Vec<(String, Chart)> {
    let names = texts(g, "case");
    let find = |k: usize| names.get(k).and_then(|n| some.iter().find(|i| i.name == *n));
    let mut out = Vec::new();
    for (axis, members) in all(g) {
        let label = |l: &String| format!("{} {l}", g.axes[axis].name);
        let here: Vec<(String, &RunRecord)> = members
            .iter()
            .filter_map(|(k, l)| find(*k).map(|item| (label(l), &item.record)))
            .collect();
        let pairs: Vec<(&str, &RunRecord)> = here.iter().map(|(n, r)| (n.as_str(), *r)).collect();
        let held = |k: &usize| *k != axis && g.axes[*k].values.len() > 1;
        let at = |k: usize| {
            format!("{} {}", g.axes[k].name, level(&g.axes[k], g.axes[k].values.len() / 2))
        };
        let rest: Vec<String> = (0..g.axes.len()).filter(held).map(at).collect();
        let place =
            if rest.is_empty() { String::new() } else { format!(", at {}", rest.join(", ")) };
        for (n, chart) in compare::overlays(&pairs).into_iter().enumerate() {
            let title = format!("{} over {}{place}", chart.title, g.axes[axis].name);
            let id = format!("family-{axis}-{n}");
            let name = word(&format!("curves-over-{}-{n}", g.axes[axis].name));
            out.push((name, Chart { id, title, ..chart }));
        }
    }
    out
}
