//! Lines that the case gives itself: checked, not changed.

use crate::case::{Case, Problem, Touch};
use crate::structure::{Lateral, Structure, Vertical};

/// On a line within this [µm].
const ON_LINE: f64 = 1e-6;
/// Intervals added in the thinnest gate oxide.
const IN_OXIDE: usize = 4;

/// Checks lines in x; problems are appended.
pub(super) fn x_lines(
    case: &Case,
    structure: &Structure,
    lines: &[f64],
    problems: &mut Vec<Problem>,
) -> Vec<f64> {
    let mut lines = lines.to_vec();
    if !check_order(case, "x", &lines, problems) {
        return lines;
    }
    check_end(case, "x", 0.0, lines.first_mut(), "left edge of the span", problems);
    check_end(case, "x", structure.span, lines.last_mut(), "right edge of the span", problems);
    let mut wanted: Vec<(f64, String)> = Vec::new();
    for t in structure.trenches() {
        wanted.extend([t.from, t.to].map(|v| (v, "a trench edge".to_string())));
    }
    for g in structure.gates() {
        wanted.extend([g.from, g.to].map(|v| (v, format!("an edge of gate `{}`", g.name))));
    }
    for term in &structure.terms {
        if let Lateral::Window { from, to, spread } = term.lateral
            && spread == 0.0
        {
            wanted.extend([from, to].map(|v| (v, format!("an abrupt edge of `{}`", term.name))));
        }
    }
    for terminal in &case.terminals {
        for touch in &terminal.touches {
            if let Touch::Surface { from, to } = touch {
                wanted.extend([*from, *to].map(|v| (v, format!("an edge of `{}`", terminal.name))));
            }
        }
    }
    check_interfaces(case, "x", &lines, wanted, structure.span, problems);
    lines
}

/// Checks lines in y, adds lines inside gate oxides if none are given.
pub(super) fn y_lines(
    case: &Case,
    structure: &Structure,
    lines: &[f64],
    problems: &mut Vec<Problem>,
) -> Vec<f64> {
    let mut lines = lines.to_vec();
    if !check_order(case, "y", &lines, problems) {
        return lines;
    }
    check_end(case, "y", structure.thickness, lines.last_mut(), "bottom of the silicon", problems);
    let surface = lines.iter_mut().find(|v| v.abs() <= ON_LINE);
    check_end(case, "y", 0.0, surface, "silicon surface", problems);
    if lines.first().is_some_and(|f| *f >= 0.0) {
        let mut added = oxide_lines(structure);
        added.append(&mut lines);
        lines = added;
    } else {
        let thickest = structure.gates().iter().map(|g| g.oxide).fold(0.0, f64::max);
        if lines.first().is_some_and(|f| *f < -thickest - ON_LINE) {
            problems.push(
                line_error(case, format!("grid line y = {} µm lies above every gate", lines[0]))
                    .help(format!("the thickest gate oxide ends at y = {} µm", -thickest)),
            );
        }
        for g in structure.gates() {
            if !lines.iter().any(|v| (v + g.oxide).abs() <= ON_LINE) {
                let text = format!(
                    "the top of gate `{}`'s oxide at y = {} µm is on no grid line",
                    g.name, -g.oxide
                );
                problems.push(
                    line_error(case, text)
                        .help("add that line, or give no negative y at all")
                        .other(g.at.clone(), "this gate"),
                );
            }
        }
    }
    let mut wanted: Vec<(f64, String)> = Vec::new();
    for t in structure.trenches() {
        wanted.push((t.depth, "the bottom of a trench".to_string()));
    }
    for term in &structure.terms {
        let edges = match &term.vertical {
            Vertical::Box { top, bottom } => vec![*top, *bottom],
            Vertical::Table { depth, .. } => depth.last().copied().into_iter().collect(),
            Vertical::Step { at, blur, .. } if *blur == 0.0 => vec![*at],
            _ => Vec::new(),
        };
        wanted.extend(edges.into_iter().map(|v| (v, format!("an abrupt edge of `{}`", term.name))));
    }
    check_interfaces(case, "y", &lines, wanted, structure.thickness, problems);
    lines
}

/// Negative lines [µm], growing: the top of every gate oxide and lines between.
fn oxide_lines(structure: &Structure) -> Vec<f64> {
    let mut tops: Vec<f64> =
        structure.gates().iter().map(|g| g.oxide).filter(|t| *t > 0.0).collect();
    tops.sort_by(f64::total_cmp);
    tops.dedup_by(|b, a| *b - *a < ON_LINE);
    let Some(thinnest) = tops.first().copied() else { return Vec::new() };
    let step = thinnest / IN_OXIDE as f64;
    let (mut out, mut reached) = (Vec::new(), 0.0);
    for top in tops {
        let n = ((top - reached) / step).round().clamp(1.0, 64.0) as usize;
        out.extend(
            (1..=n).map(|k| {
                -if k == n { top } else { reached + (top - reached) * k as f64 / n as f64 }
            }),
        );
        reached = top;
    }
    out.reverse();
    out
}

fn line_error(case: &Case, text: String) -> Problem {
    Problem::error("grid-lines", Some(case.grid.at.clone()), text)
}

fn check_order(case: &Case, axis: &str, lines: &[f64], problems: &mut Vec<Problem>) -> bool {
    if lines.len() < 2 {
        problems.push(line_error(case, format!("`{axis}` needs at least two lines")));
        return false;
    }
    if let Some(w) = lines.windows(2).find(|w| !(w[0] < w[1] && w[1].is_finite())) {
        problems.push(
            line_error(case, format!("`{axis}` lines do not grow: {} then {}", w[0], w[1]))
                .help("list them in growing order, each once"),
        );
        return false;
    }
    true
}

/// The line at an end, made exact.
fn check_end(
    case: &Case,
    axis: &str,
    wanted: f64,
    line: Option<&mut f64>,
    what: &str,
    problems: &mut Vec<Problem>,
) {
    match line {
        Some(v) if (*v - wanted).abs() <= ON_LINE => *v = wanted,
        _ => problems.push(
            line_error(case, format!("no `{axis}` line on the {what}, {axis} = {wanted} µm"))
                .help(format!("add {wanted} to `{axis}`")),
        ),
    }
}

fn check_interfaces(
    case: &Case,
    axis: &str,
    lines: &[f64],
    wanted: Vec<(f64, String)>,
    length: f64,
    problems: &mut Vec<Problem>,
) {
    for (v, what) in wanted {
        let inside = v > 0.0 && v < length;
        if inside && !lines.iter().any(|l| (l - v).abs() <= ON_LINE) {
            problems.push(
                Problem::warning(
                    "off-line",
                    Some(case.grid.at.clone()),
                    format!("{what} at {axis} = {v} µm is on no given line"),
                )
                .help(format!("add {v} to `{axis}`")),
            );
        }
    }
}
