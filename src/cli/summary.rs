//! A record in a few calm lines, the verdict last, where the eye is when a run has ended.
//! `table.rs` has all the rest.

use super::table::{asked, experiment_figures, verdict};
use super::units::duration;
use super::wrap::wrapped;
use super::{braille, plot};
use crate::experiment::{Figures, Outcome, Status};
use crate::record::RunRecord;

/// The summary, `width` columns wide if that is known (a terminal: then curves are drawn).
pub(super) fn record(r: &RunRecord, width: Option<usize>) -> String {
    let mut text = String::new();
    let mut line = |s: String| {
        text.push_str(&s);
        text.push('\n');
    };
    if !r.title.is_empty() {
        line(format!("\x1b[1m{}\x1b[0m", r.title));
    }
    line(format!(
        "case {}, {:.2} K ({:.1} °C), {} nodes, width {} µm, {}",
        r.case_name,
        r.temperature,
        r.temperature - 273.15,
        r.mesh.nodes(),
        r.width,
        if r.complete { duration(r.provenance.wall) } else { "not complete".to_string() }
    ));
    for (k, o) in r.experiments.iter().enumerate() {
        line(String::new());
        line(head(k, o));
        experiment_figures(o, r.width, false, &mut line);
        if let Some(drawing) = width.and_then(|w| drawing(r, o, w)) {
            line(String::new());
            line(drawing.trim_end().to_string());
        }
        for w in &o.warnings {
            line(format!("  \x1b[33mwarning\x1b[0m: {w}"));
        }
    }
    asked(r, &mut line);
    line(String::new());
    for w in &r.warnings {
        line(format!("\x1b[33mwarning\x1b[0m: {w}"));
    }
    verdict(r, false, &mut line);
    match width {
        Some(width) => wrapped(&text, width),
        None => text,
    }
}

fn head(k: usize, o: &Outcome) -> String {
    // What is no curve has no points.
    let points = match (o.curve.len(), &o.figures) {
        (0, Figures::Named(_)) => String::new(),
        (1, _) => ": 1 point".to_string(),
        (n, _) => format!(": {n} points"),
    };
    let on = if o.drive.is_empty() { String::new() } else { format!(" on {}", o.drive.join(", ")) };
    let status = match &o.status {
        Status::Complete => String::new(),
        Status::Stopped(reason) => format!(", \x1b[1mstopped\x1b[0m: {reason}"),
        other => format!(", \x1b[1m{}\x1b[0m", other.word()),
    };
    format!("{k}  \x1b[1m{}\x1b[0m{on}{points}{status}", o.kind)
}

fn drawing(r: &RunRecord, o: &Outcome, width: usize) -> Option<String> {
    let snapback = matches!(o.figures, Figures::Snapback { .. });
    if !braille::shown() {
        return plot::curve(&o.curve, &o.folds, width);
    }
    let supply = r.verdict.as_ref().filter(|_| snapback).map(|v| v.supply);
    braille::curve(o, supply, width)
}
