//! How good a mesh is: intervals, growth, intervals across each junction.

use super::Mesh;
use super::features::Features;
use super::junction::{Axis, Junction};
use crate::case::Case;
use crate::structure::Structure;

/// Intervals and growth on one axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AxisQuality {
    /// Number of lines.
    pub lines: usize,
    /// \[µm\]
    pub smallest: f64,
    /// \[µm\]
    pub largest: f64,
    /// Largest ratio of neighbouring intervals, at least 1.
    pub growth: f64,
}

impl AxisQuality {
    fn of(lines: &[f64]) -> AxisQuality {
        let sizes: Vec<f64> = lines.windows(2).map(|w| w[1] - w[0]).collect();
        AxisQuality {
            lines: lines.len(),
            smallest: sizes.iter().copied().fold(f64::INFINITY, f64::min),
            largest: sizes.iter().copied().fold(0.0, f64::max),
            growth: sizes.windows(2).map(|w| (w[1] / w[0]).max(w[0] / w[1])).fold(1.0, f64::max),
        }
    }
}

/// A junction and how many intervals lie across its depletion at rest.
#[derive(Debug, Clone, PartialEq)]
pub struct JunctionQuality {
    pub junction: Junction,
    /// Intervals (a part counts as a part) across the depletion at rest.
    pub across: f64,
    /// Intervals within twice that width on either side.
    pub around: f64,
}

/// The quality report.
#[derive(Debug, Clone, PartialEq)]
pub struct Quality {
    pub nodes: usize,
    /// Node budget, if one was in force.
    pub budget: Option<usize>,
    pub x: AxisQuality,
    pub y: AxisQuality,
    /// The worst resolved place of each pair of pieces on each axis.
    pub junctions: Vec<JunctionQuality>,
}

impl Quality {
    /// Measures a mesh.
    pub fn new(case: &Case, structure: &Structure, mesh: &Mesh) -> Quality {
        let features = Features::new(case, structure);
        let mut junctions: Vec<JunctionQuality> = Vec::new();
        for junction in features.junctions {
            let lines = if junction.axis == Axis::X { &mesh.x } else { &mesh.y };
            let new = JunctionQuality {
                across: across(lines, &junction),
                around: around(lines, &junction),
                junction,
            };
            let same = |q: &&mut JunctionQuality| {
                q.junction.axis == new.junction.axis && q.junction.name == new.junction.name
            };
            match junctions.iter_mut().find(same) {
                Some(worst) if new.across < worst.across => *worst = new,
                Some(_) => {}
                None => junctions.push(new),
            }
        }
        Quality {
            nodes: mesh.nodes(),
            budget: super::build::budget_of(case),
            x: AxisQuality::of(&mesh.x),
            y: AxisQuality::of(&mesh.y),
            junctions,
        }
    }

    /// The report, line by line, for printing.
    pub fn lines(&self) -> Vec<String> {
        let budget = self.budget.map_or(String::new(), |b| format!(" of at most {b}"));
        let mut out = vec![format!(
            "{} nodes{budget}: {} lines in x, {} in y",
            self.nodes, self.x.lines, self.y.lines
        )];
        for (name, axis) in [("x", &self.x), ("y", &self.y)] {
            out.push(format!(
                "{name}: intervals from {} to {}, neighbours differ by at most {:.2} times",
                length(axis.smallest),
                length(axis.largest),
                axis.growth
            ));
        }
        for q in &self.junctions {
            let j = &q.junction;
            let (along, other) = if j.axis == Axis::X { ("x", "y") } else { ("y", "x") };
            out.push(format!(
                "{}: {:.1} intervals across {} at {along} = {:.3} µm ({other} = {:.3} µm)",
                j.name,
                q.across,
                length(j.width()),
                j.at,
                j.across
            ));
        }
        out
    }
}

fn length(um: f64) -> String {
    if um < 0.1 { format!("{:.1} nm", 1e3 * um) } else { format!("{um:.3} µm") }
}

/// Intervals within [a, b]; a part counts as a part.
fn intervals(lines: &[f64], a: f64, b: f64) -> f64 {
    lines.windows(2).map(|w| (b.min(w[1]) - a.max(w[0])).max(0.0) / (w[1] - w[0])).sum()
}

/// Intervals across the depletion at rest.
pub(super) fn across(lines: &[f64], j: &Junction) -> f64 {
    intervals(lines, j.at - j.before, j.at + j.after)
}

/// Intervals within twice the depletion's width on either side; where the axis ends
/// earlier, in proportion.
pub(super) fn around(lines: &[f64], j: &Junction) -> f64 {
    let reach = 2.0 * j.width();
    let (first, last) = (lines[0].max(0.0), lines[lines.len() - 1]);
    let (a, b) = ((j.at - reach).max(first), (j.at + reach).min(last));
    if b > a { intervals(lines, a, b) * 2.0 * reach / (b - a) } else { 0.0 }
}
