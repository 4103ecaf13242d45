//! Charts of experiments: the S-curve with its stable and unstable parts, injections, bias
//! rows, columns of named figures.

use super::chart::{Chart, Extra, Place, Scale, Series, Supply};
use super::ink::Ink;
use super::units::si;
use crate::experiment::{Figure, Figures, Outcome, Sheet, Shown};
use crate::record::RunRecord;
use crate::trace::{Fold, FoldKind, TerminalValues};

const VOLTAGE: &str = "V";
const PER_WIDTH: &str = "A/µm";

/// The chart of experiment `k`'s curve; `None` if it has none.
pub fn of_outcome(record: &RunRecord, k: usize, id: &str) -> Option<Chart> {
    let o = record.experiments.get(k)?;
    if o.curve.len() < 2 {
        return None;
    }
    let snapback = matches!(o.figures, Figures::Snapback { .. });
    let on =
        if o.drive.is_empty() { String::new() } else { format!(" of {}", o.drive.join(" + ")) };
    let title = match &o.figures {
        Figures::Snapback { .. } => format!("Snapback{on}"),
        Figures::Injection { .. } => format!("Injection into {}", o.drive.join(" + ")),
        _ => format!("{}{on}", capital(&o.kind)),
    };
    let verdict = record.verdict.as_ref().filter(|_| snapback);
    let mut series = if let Figures::Bias { .. } = o.figures { terminals(o) } else { parts(o) };
    series.extend(lumped(record, k));
    Some(Chart {
        id: id.to_string(),
        title,
        x: Scale { label: "voltage".into(), unit: VOLTAGE.into(), log: false, both: false },
        y: Scale { label: "current".into(), unit: PER_WIDTH.into(), log: true, both: true },
        series,
        marks: marks(o),
        supply: verdict.map(|v| Supply { supply: v.supply, limit: v.supply * (1.0 + v.margin) }),
        width: Some(record.width),
    })
}

pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().collect::<String>() + chars.as_str())
}

/// Which folds change what is stable under the stimulus: a driven voltage loses stability at
/// its maxima, a forced current at its own.
fn turns(o: &Outcome) -> Vec<(&Fold, Ink)> {
    let of = |f: &Fold| match (&o.figures, f.kind) {
        (Figures::Snapback { .. }, FoldKind::VoltageMaximum) => Some(Ink::Between),
        (Figures::Snapback { .. }, FoldKind::VoltageMinimum) => Some(Ink::On),
        (Figures::Injection { .. }, FoldKind::CurrentMaximum | FoldKind::CurrentMinimum) => {
            let outward = (f.kind == FoldKind::CurrentMaximum) == (f.current > 0.0);
            Some(if outward { Ink::Between } else { Ink::On })
        }
        _ => None,
    };
    o.folds.iter().filter_map(|f| of(f).map(|ink| (f, ink))).collect()
}

/// The curve cut at the folds, each piece ending and beginning exactly there.
fn parts(o: &Outcome) -> Vec<Series> {
    let c = &o.curve;
    let turns = turns(o);
    let series = |ink: Ink, from: usize, to: usize, start: Option<&Fold>, end: Option<&Fold>| {
        let at = |values: &[f64], pick: fn(&Fold) -> f64| -> Vec<f64> {
            let inner = values.get(from..to).unwrap_or_default().iter().copied();
            let (start, end) = (start.map(pick), end.map(pick));
            start.into_iter().chain(inner).chain(end).collect()
        };
        let name = match ink {
            Ink::Off => "off-state",
            Ink::Between => "unstable under this drive",
            _ => "on-state",
        };
        let only = turns.is_empty();
        Series {
            name: if only { o.kind.clone() } else { name.to_string() },
            ink,
            dash: (ink == Ink::Between).then_some([6.0, 4.0]),
            dots: false,
            x: at(&c.voltage, |f| f.voltage),
            y: at(&c.current, |f| f.current),
            extra: extra(o, from, to, start, end),
            aside: false,
        }
    };
    let mut out = Vec::new();
    let (mut ink, mut from, mut start) = (Ink::Off, 0, None);
    for (fold, next) in turns.iter().copied() {
        let to = fold.before_point.min(c.len()).max(from);
        out.push(series(ink, from, to, start, Some(fold)));
        (ink, from, start) = (next, to, Some(fold));
    }
    out.push(series(ink, from, c.len(), start, None));
    out
}

fn extra(
    o: &Outcome,
    from: usize,
    to: usize,
    start: Option<&Fold>,
    end: Option<&Fold>,
) -> Vec<Extra> {
    let c = &o.curve;
    // Of a single terminal there is nothing to add.
    if c.terminals.len() < 2 {
        return Vec::new();
    }
    let column = |k: usize, name: &str| {
        let value = |v: &TerminalValues| v.current.get(k).copied().unwrap_or(f64::NAN);
        let inner = c.at_terminals.get(from..to).unwrap_or_default().iter().map(value);
        let (start, end) =
            (start.map(|f| value(&f.at_terminals)), end.map(|f| value(&f.at_terminals)));
        let values: Vec<f64> = start.into_iter().chain(inner).chain(end).collect();
        Extra { name: name.to_string(), unit: PER_WIDTH.to_string(), values }
    };
    let all = c.terminals.iter().enumerate().map(|(k, name)| column(k, name));
    // Gates and open terminals carry nothing: they would only fill the line.
    all.filter(|e| e.values.iter().any(|v| v.abs() > 0.0)).collect()
}

/// The lumped model's own curve, over the snapback that it is compared with: the first.
fn lumped(record: &RunRecord, k: usize) -> Option<Series> {
    let snapback = |o: &Outcome| matches!(o.figures, Figures::Snapback { .. });
    if record.experiments.iter().position(snapback) != Some(k) {
        return None;
    }
    let column = |name: &str| match &record.extract.find(&format!("lumped/curve/{name}"))?.value {
        Shown::Numbers { values, .. } => Some(values.clone()),
        _ => None,
    };
    let (x, y) = (column("voltage_V")?, column("current_A_per_um")?);
    let points = ["trigger", "holding"].map(|point| {
        let at = |name: &str| record.extract.number_at(&format!("lumped/{point}/{name}"));
        let (v, i) = (at("voltage_V")?, at("current_A_per_um")?);
        Some(format!("{point} {}, {}", si(v, VOLTAGE), si(i, PER_WIDTH)))
    });
    let points: Vec<String> = points.into_iter().flatten().collect();
    let name = match points.is_empty() {
        true => "lumped model".to_string(),
        false => format!("lumped model ({})", points.join("; ")),
    };
    (x.len() > 1).then_some(Series {
        name,
        ink: Ink::Lumped,
        dash: Some([2.0, 3.0]),
        dots: false,
        x,
        y,
        extra: Vec::new(),
        aside: true,
    })
}

/// The current of every terminal that carries one.
fn terminals(o: &Outcome) -> Vec<Series> {
    let c = &o.curve;
    let of = |k: usize| -> Vec<f64> {
        let value = |v: &TerminalValues| v.current.get(k).copied().unwrap_or(f64::NAN);
        c.at_terminals.iter().map(value).collect()
    };
    let all = c.terminals.iter().enumerate().map(|(k, name)| (name, of(k)));
    let carrying = all.filter(|(_, y)| y.iter().any(|v| v.abs() > 1e-18));
    carrying
        .enumerate()
        .map(|(n, (name, y))| Series {
            name: name.clone(),
            ink: Ink::Series(n),
            dash: dash(n),
            dots: true,
            x: c.voltage.clone(),
            y,
            extra: Vec::new(),
            aside: false,
        })
        .collect()
}

fn marks(o: &Outcome) -> Vec<Place> {
    let mark = |name: &str, f: &Fold, ink: Ink, below: bool| Place {
        x: f.voltage,
        y: f.current,
        label: format!("{name} {}, {}", si(f.voltage, VOLTAGE), si(f.current, PER_WIDTH)),
        ink,
        below,
    };
    match &o.figures {
        Figures::Snapback { trigger, holding, .. } => {
            let trigger = trigger.iter().map(|f| mark("trigger", f, Ink::Off, false));
            let holding = holding.iter().map(|f| mark("holding", f, Ink::On, true));
            trigger.chain(holding).collect()
        }
        Figures::Injection { critical, .. } => {
            critical.iter().map(|f| mark("critical", f, Ink::On, false)).collect()
        }
        _ => Vec::new(),
    }
}

/// Most points that are shown as dots.
const MOST_DOTS: usize = 60;

/// Charts of a sheet's columns: the first column of each length is the x axis of the others.
pub fn of_sheet(sheet: &Sheet, title: &str, id: &str) -> Vec<Chart> {
    let mut out = Vec::new();
    sheet_charts(sheet, title, id, &mut out);
    out
}

fn sheet_charts(sheet: &Sheet, title: &str, id: &str, out: &mut Vec<Chart>) {
    let columns: Vec<(&Figure, &[f64])> = sheet
        .figures
        .iter()
        .filter_map(|f| match &f.value {
            Shown::Numbers { shape, values } if shape.len() == 1 && values.len() > 1 => {
                Some((f, values.as_slice()))
            }
            _ => None,
        })
        .collect();
    if let Some(((x, xs), others)) = columns.split_first() {
        let others: Vec<_> = others.iter().filter(|c| !rounding(c, others)).collect();
        // One chart for each unit.
        let mut units: Vec<&str> = Vec::new();
        for (f, _) in others.iter().filter(|c| c.1.len() == xs.len()) {
            if !units.contains(&f.unit.as_str()) {
                units.push(&f.unit);
            }
        }
        for unit in units {
            let mine: Vec<_> =
                others.iter().filter(|c| c.1.len() == xs.len() && c.0.unit == unit).collect();
            let series: Vec<Series> = mine
                .iter()
                .enumerate()
                .map(|(k, (f, ys))| Series {
                    name: f.meaning.clone(),
                    ink: Ink::Series(k),
                    dash: dash(k),
                    // Many points would be one thick line.
                    dots: xs.len() <= MOST_DOTS,
                    x: xs.to_vec(),
                    y: ys.to_vec(),
                    extra: Vec::new(),
                    aside: false,
                })
                .collect();
            let ys: Vec<f64> = series.iter().flat_map(|s| s.y.iter().copied()).collect();
            let label = match mine.as_slice() {
                [one] => one.0.meaning.clone(),
                _ => quantity(unit).to_string(),
            };
            out.push(Chart {
                id: format!("{id}-{}", out.len()),
                title: format!("{title} · {label}"),
                x: scale(x.meaning.clone(), &x.unit, xs),
                y: scale(label, unit, &ys),
                series,
                marks: Vec::new(),
                supply: None,
                width: None,
            });
        }
    }
    for f in &sheet.figures {
        if let Shown::Group(inner) = &f.value {
            sheet_charts(inner, &format!("{title} · {}", f.meaning), id, out);
        }
    }
}

/// What values of a unit are called together.
fn quantity(unit: &str) -> &'static str {
    match unit {
        "V" => "voltage",
        "A/um" | "A" => "current",
        "ohm*um" | "ohm" => "resistance",
        "K" => "temperature",
        "s" => "time",
        "um" => "length",
        _ => "value",
    }
}

/// Share of the largest value that is the rounding of a sum, not a figure.
const ROUNDING: f64 = 1e-12;

/// A column that is nothing but rounding beside another of its unit.
fn rounding(column: &(&Figure, &[f64]), all: &[(&Figure, &[f64])]) -> bool {
    let size = |v: &[f64]| v.iter().map(|v| v.abs()).filter(|v| v.is_finite()).fold(0.0, f64::max);
    let same = all.iter().filter(|c| c.0.unit == column.0.unit);
    size(column.1) < ROUNDING * same.map(|c| size(c.1)).fold(0.0, f64::max)
}

/// A scale that suits values: logarithmic if they span more than two decades on one side of
/// zero.
pub fn scale(label: String, unit: &str, values: &[f64]) -> Scale {
    let sizes = values.iter().map(|v| v.abs()).filter(|v| v.is_finite());
    let high = sizes.clone().fold(0.0, f64::max);
    let told = |v: &f64| *v > ROUNDING * high;
    let low = sizes.filter(told).fold(f64::INFINITY, f64::min);
    let both_signs = values.iter().any(told) && values.iter().any(|v| told(&-v));
    let log = high > 100.0 * low && !both_signs;
    Scale { label, unit: shown_unit(unit), log, both: high > low }
}

/// A unit as it is read: "ohm*um" as "Ω·µm", "A um^-1" as "A/µm".
pub fn shown_unit(unit: &str) -> String {
    let text = unit.replace("um", "µm").replace("ohm", "Ω").replace('*', "·");
    match text.strip_suffix(" µm^-1") {
        Some(rest) => format!("{rest}/µm"),
        None => text.replace("Ω µm", "Ω·µm").replace("^-3", "⁻³").replace("^2", "²"),
    }
}

/// Dashes tell series apart where colours do not.
pub fn dash(k: usize) -> Option<[f64; 2]> {
    [None, Some([7.0, 3.0]), Some([2.0, 3.0]), Some([12.0, 4.0])][k % 4]
}
