//! A record as text: the verdict first, then what it rests on.

use super::plot;
use super::sensitivity_table;
use super::units::{barred, duration, shown_unit, si};
use crate::experiment::{Figure, Figures, Found, Outcome, Sheet, Shown, Status};
use crate::extract::CAUTION;
use crate::record::RunRecord;
use crate::trace::{Curve, Fold, FoldKind, Work};

/// Rows of a thinned curve, folds not counted.
const ROWS: usize = 30;

/// The whole record, `width` columns wide if that is known (a terminal: then curves are
/// drawn too).
pub(super) fn record(r: &RunRecord, width: Option<usize>) -> String {
    let mut text = String::new();
    let mut line = |s: String| {
        text.push_str(&s);
        text.push('\n');
    };
    if !r.title.is_empty() {
        line(r.title.clone());
    }
    line(format!(
        "case {}, {:.2} K ({:.1} °C), {} nodes, width {} µm",
        r.case_name,
        r.temperature,
        r.temperature - 273.15,
        r.mesh.nodes(),
        r.width
    ));
    let by = &r.provenance;
    line(format!(
        "holdpoint {} on {}, {} threads, started {}, took {}",
        by.version,
        by.machine,
        by.threads,
        by.started,
        duration(by.wall)
    ));
    if !r.complete {
        line("not complete: interrupted or still running".into());
    }
    line(String::new());
    verdict(r, true, &mut line);
    for w in &r.warnings {
        line(format!("warning: {w}"));
    }
    for (k, outcome) in r.experiments.iter().enumerate() {
        line(String::new());
        experiment(k, outcome, r.width, width, &mut line);
    }
    let more = r.extract.figures.iter().any(|f| f.name != "sensitivities");
    if more {
        line(String::new());
        let mut rest = r.extract.clone();
        rest.figures.retain(|f| f.name != "sensitivities");
        sheet(&rest, 0, true, &mut line);
    }
    asked(r, &mut line);
    text
}

/// What was asked for beside the experiments: sensitivities, follows, rules, spreads.
pub(super) fn asked(r: &RunRecord, line: &mut impl FnMut(String)) {
    if let Some(Shown::Group(by)) = r.extract.find("sensitivities").map(|f| &f.value) {
        line(String::new());
        sensitivity_table::lines(by, line);
    }
    for (word, list) in [("follow", &r.follows), ("rule", &r.rules), ("spread", &r.spreads)] {
        for (k, named) in list.iter().enumerate() {
            line(String::new());
            line(format!("\x1b[1m{word} {k}\x1b[0m"));
            sheet(named, 1, true, line);
        }
    }
}

/// The verdict with its reasons, and with `all` its margins and uncertainties.
pub(super) fn verdict(r: &RunRecord, all: bool, line: &mut impl FnMut(String)) {
    let Some(v) = &r.verdict else {
        line(
            "\x1b[1mno verdict\x1b[0m (the case asks for none, or the run is not complete)".into(),
        );
        return;
    };
    line(format!(
        "\x1b[1mverdict: {}\x1b[0m at a supply of {} with a margin of {:.1} %",
        v.answer.word(),
        si(v.supply, "V"),
        100.0 * v.margin
    ));
    for reason in v.reasons.iter().filter(|r| !r.is_empty()) {
        line(format!("  {reason}"));
    }
    // The note is said below; margins and what is uncertain stand among the details.
    let mut more = v.more.clone();
    more.figures.retain(|f| f.name != "note" && (all || matches!(f.value, Shown::Text(_))));
    sheet(&more, 1, true, line);
    line(CAUTION.into());
}

fn experiment(
    k: usize,
    o: &Outcome,
    out_of_plane: f64,
    width: Option<usize>,
    line: &mut impl FnMut(String),
) {
    let points = match o.curve.len() {
        1 => "1 point".to_string(),
        n => format!("{n} points"),
    };
    line(format!(
        "\x1b[1mexperiment {k}: {}\x1b[0m on {}: {}, {points}, {}",
        o.kind,
        if o.drive.is_empty() { "nothing".to_string() } else { o.drive.join(", ") },
        match &o.status {
            Status::Stopped(reason) => format!("stopped: {reason}"),
            other => other.word().to_string(),
        },
        duration(o.wall)
    ));
    experiment_figures(o, out_of_plane, true, line);
    for f in &o.flow.figures {
        if let Shown::Group(inner) = &f.value
            && let Some(Shown::Text(summary)) = inner.find("summary").map(|s| &s.value)
        {
            line(format!("  {}: {summary}", f.meaning));
        }
    }
    for (n, fold) in o.folds.iter().enumerate() {
        line(format!("  fold {}     {} ({})", n + 1, at(fold, out_of_plane), plain(fold.kind)));
    }
    line(format!("  |ΣI|/max|I| at most {:.1e}", o.curve.conservation()));
    line(format!("  {}", work(&o.work)));
    for w in &o.warnings {
        line(format!("  warning: {w}"));
    }
    if let Some(drawing) = width.and_then(|w| plot::curve(&o.curve, &o.folds, w)) {
        line(String::new());
        line(drawing.trim_end().to_string());
    }
    for row in rows(&o.curve, &o.folds, out_of_plane) {
        line(row);
    }
}

/// What an experiment found: folds with error bars, named figures, with `all` their columns.
pub(super) fn experiment_figures(
    o: &Outcome,
    out_of_plane: f64,
    all: bool,
    line: &mut impl FnMut(String),
) {
    match &o.figures {
        Figures::Snapback { trigger, holding, on_branch } => {
            figure(o, "trigger", trigger, out_of_plane, line);
            figure(o, "holding", holding, out_of_plane, line);
            match on_branch {
                Ok(b) => line(format!(
                    "  on-branch  {} at zero current, slope {}",
                    si(b.voltage_at_zero, "V"),
                    si(b.resistance, "Ω·µm")
                )),
                Err(reason) => line(format!("  on-branch  none: {reason}")),
            }
        }
        Figures::Injection { criterion, critical, beside } => {
            figure(o, "critical", critical, out_of_plane, line);
            line(format!("  criterion  {}", criterion.word()));
            sheet(beside, 1, all, line);
        }
        Figures::Bias { .. } => {
            if let (Some(v), Some(i)) = (o.curve.voltage.last(), o.curve.current.last()) {
                let (whole, one) = (si(i * out_of_plane, "A"), si(*i, "A/µm"));
                line(format!("  last       {} at {one} ({whole})", si(*v, "V")));
            }
        }
        Figures::Named(named) => sheet(named, 1, all, line),
    }
}

fn plain(kind: FoldKind) -> &'static str {
    match kind {
        FoldKind::VoltageMaximum => "voltage maximum",
        FoldKind::VoltageMinimum => "voltage minimum",
        FoldKind::CurrentMaximum => "current maximum",
        FoldKind::CurrentMinimum => "current minimum",
    }
}

fn at(fold: &Fold, out_of_plane: f64) -> String {
    format!(
        "{} at {} ({})",
        si(fold.voltage, "V"),
        si(fold.current, "A/µm"),
        si(fold.current * out_of_plane, "A")
    )
}

fn figure(o: &Outcome, name: &str, found: &Found<Fold>, width: f64, line: &mut impl FnMut(String)) {
    match (found, o.error_bars(name)) {
        (Ok(fold), None) => line(format!("  {name:<10} {}", at(fold, width))),
        (Ok(fold), Some(Ok(bars))) => line(format!(
            "  {name:<10} {} at {} ({})",
            barred(fold.voltage, bars.voltage.error, "V"),
            barred(fold.current, bars.current.error, "A/µm"),
            barred(fold.current * width, bars.current.error * width, "A")
        )),
        (Ok(fold), Some(Err(reason))) => {
            line(format!("  {name:<10} {}", at(fold, width)));
            line(format!("             no error bar: {reason}"));
        }
        (Err(reason), _) => line(format!("  {name:<10} none: {reason}")),
    }
}

fn work(w: &Work) -> String {
    format!(
        "work: {} Newton steps, {} chord steps, {} factorizations, {} refinements, {} Gummel rounds, {} halved steps",
        w.newton_steps, w.chord_steps, w.factorizations, w.refinements, w.gummel_rounds, w.halvings
    )
}

/// The curve thinned to about [`ROWS`] rows, all folds among them.
fn rows(curve: &Curve, folds: &[Fold], width: f64) -> Vec<String> {
    if curve.is_empty() {
        return Vec::new();
    }
    let line = |point: &str, v: f64, i: f64, newton: &str| {
        format!(
            "  {point:>6} {:>12} {:>14} {:>12} {newton:>7}",
            si(v, "V"),
            si(i, "A/µm"),
            si(i * width, "A")
        )
    };
    let mut rows = vec![
        String::new(),
        format!(
            "  {:>6} {:>12} {:>14} {:>12} {:>7}",
            "point",
            "voltage",
            "current",
            format!("× {width} µm"),
            "Newton"
        ),
    ];
    let (last, stride) = (curve.len() - 1, curve.len().div_ceil(ROWS).max(1));
    let columns = curve.voltage.iter().zip(&curve.current).zip(&curve.newton);
    for (k, ((v, i), newton)) in columns.enumerate() {
        for (n, fold) in folds.iter().enumerate().filter(|(_, f)| f.before_point == k) {
            rows.push(line(&format!("fold {}", n + 1), fold.voltage, fold.current, ""));
        }
        if k % stride == 0 || k == last {
            rows.push(line(&k.to_string(), *v, *i, &newton.to_string()));
        }
    }
    for (n, fold) in folds.iter().enumerate().filter(|(_, f)| f.before_point > last) {
        rows.push(line(&format!("fold {}", n + 1), fold.voltage, fold.current, ""));
    }
    rows
}

/// Every point and every terminal of every curve: tab-separated, plain numbers in V and
/// A/µm, one `#` line before each experiment.
pub(super) fn columns(r: &RunRecord) -> String {
    let mut text = String::new();
    for (k, o) in r.experiments.iter().enumerate() {
        let c = &o.curve;
        text.push_str(&format!("# experiment {k}: {}, {}\n", o.kind, o.status.word()));
        let mut head = vec!["voltage_V".to_string(), "current_A_per_um".to_string()];
        for name in &c.terminals {
            head.push(format!("{name} voltage_V"));
            head.push(format!("{name} current_A_per_um"));
        }
        text.push_str(&head.join("\t"));
        text.push('\n');
        for ((v, i), at) in c.voltage.iter().zip(&c.current).zip(&c.at_terminals) {
            text.push_str(&format!("{v:e}\t{i:e}"));
            for (v, i) in at.voltage.iter().zip(&at.current) {
                text.push_str(&format!("\t{v:e}\t{i:e}"));
            }
            text.push('\n');
        }
    }
    text
}

/// Named figures, one a line; with `all` the columns too, by number of values and range.
fn sheet(named: &Sheet, depth: usize, all: bool, line: &mut impl FnMut(String)) {
    let indent = "  ".repeat(depth);
    for f in &named.figures {
        let unit = if f.unit == "1" { String::new() } else { shown_unit(&f.unit) };
        let unit = unit.as_str();
        let text = match &f.value {
            Shown::Number(Ok(v)) => plainly(*v, unit),
            Shown::YesNo(Ok(v)) => if *v { "yes" } else { "no" }.to_string(),
            Shown::Number(Err(why)) | Shown::YesNo(Err(why)) => format!("none: {why}"),
            Shown::Text(text) => text.clone(),
            Shown::Texts(texts) => texts.join(", "),
            Shown::Numbers { .. } if !all && is_column(f) => continue,
            Shown::Numbers { values, .. } => {
                let known = values.iter().filter(|v| v.is_finite());
                let low = known.clone().fold(f64::INFINITY, |m, v| m.min(*v));
                let high = known.clone().fold(f64::NEG_INFINITY, |m, v| m.max(*v));
                match known.count() {
                    0 => "no values".to_string(),
                    1 => plainly(low, unit),
                    n => format!("{n} values, {} to {}", plainly(low, unit), plainly(high, unit)),
                }
            }
            Shown::Group(inner) => {
                if !all && inner.figures.iter().all(is_column) {
                    continue;
                }
                line(format!("{indent}{}", f.meaning));
                sheet(inner, depth + 1, all, line);
                continue;
            }
        };
        line(format!("{indent}{}: {text}", f.meaning));
    }
}

fn is_column(f: &Figure) -> bool {
    matches!(&f.value, Shown::Numbers { values, .. } if values.len() > 1)
}

/// Lengths in µm, temperatures and counts take no prefix.
fn plainly(v: f64, unit: &str) -> String {
    match unit {
        "µm" => format!("{v:.4} µm"),
        "K" => format!("{v:.2} K"),
        "" if v.fract() == 0.0 && (1.0..1e6).contains(&v.abs()) => format!("{v}"),
        _ => si(v, unit),
    }
}
