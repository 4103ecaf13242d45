//! All results of a sweep as one table over its axes.

use std::collections::BTreeMap;
use std::path::Path;

use super::folder::{Folder, Standing};
use super::plan::{Mode, Sweep};
use crate::experiment::{Figures, Outcome, Sheet, Shown};
use crate::record::{self, AxisValues, Column, Gathered, Outline, Values, cell, version};

/// Names that columns of every sweep have.
const FIXED: [&str; 8] =
    ["case", "status", "reason", "file", "verdict", "nodes", "wall", "temperature_K"];

/// Gathers what is there; a case without a result of its own text and version leaves gaps
/// and says why in `status` and `reason`. `output` is where the table will lie: links to
/// the cases are relative to its folder if they can be.
pub fn gather(sweep: &Sweep, folder: &Folder, output: &Path) -> Gathered {
    let count = sweep.count;
    let listed = folder.list();
    let mut table = Table { count, columns: BTreeMap::new(), order: Vec::new() };
    for name in FIXED {
        let (unit, meaning) = match name {
            "case" => ("", "name of the case"),
            "status" => ("", "done, or why there is no result"),
            "reason" => ("", "what stopped or failed"),
            "file" => ("", "result of the case"),
            "verdict" => ("", "answer of the verdict"),
            "nodes" => ("1", "mesh nodes"),
            "wall" => ("s", "wall time of the run"),
            _ => ("K", "ambient temperature of the case"),
        };
        table.column(name, unit, meaning, unit.is_empty());
    }
    let mut files = Vec::new();
    for index in 0..count {
        let name = sweep.case_name(index);
        let path = folder.result(&name);
        let shown = relative(&path, output);
        table.text("case", index, &name);
        let text = match sweep.case_text(index) {
            Ok(text) => text,
            Err(problem) => {
                table.text("status", index, "failed");
                table.text("reason", index, &problem.text);
                continue;
            }
        };
        let there = listed.contains(&format!("{name}.h5"));
        let read = there.then(|| record::outline(&path));
        match read {
            Some(Ok(o)) if o.case_text == text && o.provenance.version == version() => {
                table.text("status", index, Standing::Done.word());
                table.text("file", index, &shown);
                fill(&mut table, index, &o);
                files.push((name, shown));
            }
            Some(Err(e)) => {
                table.text("status", index, "damaged");
                table.text("reason", index, &e.to_string());
            }
            _ => {
                let standing = folder.standing(&name, &text, &listed);
                table.text("status", index, standing.word());
                if let Standing::Failed(why) | Standing::Outdated(why) = standing {
                    table.text("reason", index, &why);
                }
            }
        }
    }
    let mut columns: Vec<Column> =
        table.order.iter().filter_map(|n| table.columns.remove(n)).collect();
    let axes = axes(sweep, &mut columns);
    Gathered {
        name: sweep.name.clone(),
        version: version().to_string(),
        sweep_text: sweep.text.clone(),
        base_text: sweep.base.clone(),
        axes,
        columns,
        files,
    }
}

/// Dimensions of a grid; else one dimension of cases, with the values as columns first.
fn axes(sweep: &Sweep, columns: &mut Vec<Column>) -> Vec<AxisValues> {
    let taken: Vec<String> = columns.iter().map(|c| c.name.clone()).collect();
    let name_of = |short: &str| {
        let plain = short.replace('/', "_");
        if taken.contains(&plain) { format!("axis {plain}") } else { plain }
    };
    let mut all: Vec<AxisValues> = sweep
        .axes
        .iter()
        .map(|a| {
            let numbers: Option<Vec<f64>> = a.levels.iter().map(|l| l.number).collect();
            let texts = || a.levels.iter().map(|l| plain(&l.toml)).collect();
            AxisValues {
                name: name_of(&a.short),
                unit: a.unit.clone(),
                meaning: a.path.clone(),
                values: numbers.map_or_else(|| Values::Texts(texts()), Values::Numbers),
            }
        })
        .collect();
    if sweep.mode == Mode::Grid {
        return all;
    }
    for (k, a) in all.drain(..).enumerate() {
        let AxisValues { name, unit, meaning, values } = a;
        columns.insert(k, Column { name, unit, meaning, values });
    }
    let numbers = (0..sweep.count).map(|k| k as f64).collect();
    vec![AxisValues {
        name: "sample".into(),
        unit: "1".into(),
        meaning: "number of the case".into(),
        values: Values::Numbers(numbers),
    }]
}

/// A TOML text without its quotes.
fn plain(toml: &str) -> String {
    toml.trim_matches('"').trim_matches('\'').to_string()
}

/// From the folder of `output`, if the file is below it.
fn relative(file: &Path, output: &Path) -> String {
    let full = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_path_buf());
    let file = full(file);
    let from = full(output);
    let base = from.parent().unwrap_or(Path::new("/"));
    file.strip_prefix(base).unwrap_or(&file).to_string_lossy().into_owned()
}

/// Columns as they turn up.
struct Table {
    count: usize,
    columns: BTreeMap<String, Column>,
    order: Vec<String>,
}

impl Table {
    fn column(&mut self, name: &str, unit: &str, meaning: &str, texts: bool) -> &mut Column {
        if !self.columns.contains_key(name) {
            self.order.push(name.to_string());
        }
        let count = self.count;
        self.columns.entry(name.to_string()).or_insert_with(|| Column {
            name: name.to_string(),
            unit: if unit.is_empty() { "1".to_string() } else { unit.to_string() },
            meaning: meaning.to_string(),
            values: match texts {
                true => Values::Texts(vec![String::new(); count]),
                false => Values::Numbers(vec![f64::NAN; count]),
            },
        })
    }

    fn text(&mut self, name: &str, at: usize, text: &str) {
        if let Values::Texts(list) = &mut self.column(name, "", "", true).values
            && let Some(place) = list.get_mut(at)
        {
            // HDF5 texts end at the first NUL.
            *place = text.replace('\0', " ");
        }
    }

    fn number(&mut self, name: &str, unit: &str, meaning: &str, at: usize, value: f64) {
        if let Values::Numbers(list) = &mut self.column(name, unit, meaning, false).values
            && let Some(place) = list.get_mut(at)
        {
            *place = value;
        }
    }
}

fn fill(table: &mut Table, at: usize, o: &Outline) {
    table.number("nodes", "", "", at, o.nodes as f64);
    table.number("wall", "", "", at, o.provenance.wall);
    table.number("temperature_K", "", "", at, o.temperature);
    if let Some(v) = &o.verdict {
        table.text("verdict", at, v.answer.word());
    }
    let stopped: Vec<String> = o
        .experiments
        .iter()
        .enumerate()
        .filter(|(_, e)| !e.status.reason().is_empty())
        .map(|(k, e)| format!("experiment {k} ({}): {}", e.kind, e.status.reason()))
        .collect();
    table.text("reason", at, &stopped.join("; "));
    let mut used: BTreeMap<String, usize> = BTreeMap::new();
    for e in &o.experiments {
        let stem = match &e.figures {
            Figures::Snapback { .. } => String::new(),
            Figures::Injection { .. } => format!("_{}", e.drive.join("_").replace('/', "_")),
            _ => e.kind.clone(),
        };
        let n = used.entry(format!("{} {stem}", e.kind)).or_default();
        *n += 1;
        let end = if *n > 1 { format!("_{n}") } else { String::new() };
        one(table, at, e, &stem, &end);
    }
}

/// The columns of one experiment; `end` tells a second one of its kind from the first.
fn one(table: &mut Table, at: usize, e: &Outcome, stem: &str, end: &str) {
    let mut point = |name: &str,
                     v_name: &str,
                     i_name: &str,
                     what: &str,
                     found: Option<(f64, f64)>| {
        let (v, i) = found.unwrap_or((f64::NAN, f64::NAN));
        table.number(v_name, "V", &format!("voltage of the {what}"), at, v);
        table.number(i_name, "A/um", &format!("current of the {what}"), at, i);
        if let Some(Ok(bars)) = e.error_bars(name) {
            let of = |quantity: &str| format!("error bar: {quantity} of the {what}");
            table.number(&format!("{v_name}_error"), "V", &of("voltage"), at, bars.voltage.error);
            let unit = "A/um";
            table.number(&format!("{i_name}_error"), unit, &of("current"), at, bars.current.error);
        }
    };
    match &e.figures {
        Figures::Snapback { trigger, holding, on_branch } => {
            let place = |f: &Result<crate::trace::Fold, String>| {
                f.as_ref().ok().map(|f| (f.voltage, f.current))
            };
            point(
                "trigger",
                &format!("V_t{end}"),
                &format!("I_t{end}"),
                "trigger point",
                place(trigger),
            );
            point(
                "holding",
                &format!("V_h{end}"),
                &format!("I_h{end}"),
                "holding point",
                place(holding),
            );
            let (v, r) = on_branch
                .as_ref()
                .map_or((f64::NAN, f64::NAN), |b| (b.voltage_at_zero, b.resistance));
            let what = "on-branch's straight line at zero current";
            table.number(&format!("V_on0{end}"), "V", what, at, v);
            table.number(&format!("R_on{end}"), "ohm*um", "on-branch's slope", at, r);
        }
        Figures::Injection { critical, .. } => {
            let found = critical.as_ref().ok().map(|f| (f.voltage, f.current));
            let what = format!("critical injection into {}", e.drive.join(", "));
            let names = [format!("V_crit{stem}{end}"), format!("I_crit{stem}{end}")];
            point("critical", &names[0], &names[1], &what, found);
        }
        Figures::Bias { points } => {
            // Each point of a short list; long ones are curves, which stay in their files.
            for (k, p) in points.iter().enumerate().take(32) {
                for (name, i) in e.curve.terminals.iter().zip(&p.at_terminals.current) {
                    let column = format!("I_{}_{k}{end}", name.replace('/', "_"));
                    let what = format!("current of {name} at point {k} of the list");
                    table.number(&column, "A/um", &what, at, *i);
                }
            }
        }
        Figures::Named(sheet) => named(table, at, sheet, stem, end, 0),
    }
}

/// Numbers and answers of a sheet, by their path; columns of numbers stay in their files.
fn named(table: &mut Table, at: usize, sheet: &Sheet, stem: &str, end: &str, depth: usize) {
    for f in &sheet.figures {
        let name = format!("{stem}_{}", f.name);
        match &f.value {
            Shown::Number(v) => {
                let v = v.as_ref().copied().unwrap_or(f64::NAN);
                table.number(&format!("{name}{end}"), &f.unit, &f.meaning, at, v);
            }
            Shown::YesNo(v) => {
                let v = v.as_ref().map_or(f64::NAN, |yes| f64::from(u8::from(*yes)));
                let meaning = format!("{} (1: yes, 0: no)", f.meaning);
                table.number(&format!("{name}{end}"), "1", &meaning, at, v);
            }
            Shown::Group(inner) if depth < 8 => named(table, at, inner, &name, end, depth + 1),
            _ => {}
        }
    }
}

/// The table as CSV, one line per case: axes first. Numbers have all their digits, gaps
/// are empty, the first line names column and unit.
pub fn csv(g: &Gathered) -> String {
    let shape: Vec<usize> = g.axes.iter().map(|a| a.values.len()).collect();
    let count: usize = shape.iter().product();
    let head = |name: &str, unit: &str| match unit {
        "" | "1" => cell(name),
        unit => cell(&format!("{name} [{unit}]")),
    };
    let mut names: Vec<String> = g.axes.iter().map(|a| head(&a.name, &a.unit)).collect();
    names.extend(g.columns.iter().map(|c| head(&c.name, &c.unit)));
    let mut out = names.join(",") + "\n";
    let entry = |values: &Values, k: usize| match values {
        Values::Numbers(v) => match v.get(k) {
            Some(v) if v.is_finite() => format!("{v:?}"),
            _ => String::new(),
        },
        Values::Texts(t) => cell(t.get(k).map_or("", String::as_str)),
    };
    for index in 0..count {
        let mut rest = index;
        let mut cells: Vec<String> = Vec::with_capacity(names.len());
        for (a, n) in g.axes.iter().zip(&shape).rev() {
            cells.push(entry(&a.values, rest % n));
            rest /= n;
        }
        cells.reverse();
        cells.extend(g.columns.iter().map(|c| entry(&c.values, index)));
        out.push_str(&cells.join(","));
        out.push('\n');
    }
    out
}
