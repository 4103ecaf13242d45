//! The numbers of a case by which its figures are differentiated.

use toml_edit::{DocumentMut, Item, TableLike};

use crate::case::{Case, Dim, quantity_at};

/// One number of a case.
#[derive(Debug, Clone, PartialEq)]
pub struct Parameter {
    /// Dotted path.
    pub path: String,
    pub dim: Dim,
    /// In the plain unit of `dim`; 0 for a slide.
    pub value: f64,
    /// Half the distance of the central difference, in the plain unit.
    pub step: f64,
    /// Neither sign is out of bounds.
    pub two_sided: bool,
}

/// Keys of the lists that matter, and of the wafer.
const WAFER: [&str; 9] = [
    "span",
    "thickness",
    "acceptors",
    "donors",
    "epi.thickness",
    "epi.acceptors",
    "epi.donors",
    "epi.handle",
    "epi.blur",
];
const PIECE: [&str; 10] = [
    "donors",
    "acceptors",
    "from",
    "to",
    "spread",
    "crest",
    "falloff",
    "junction_depth",
    "top",
    "bottom",
];
const TRENCH: [&str; 4] = ["from", "to", "depth", "fixed_charge"];
const GATE: [&str; 4] = ["from", "to", "oxide", "fixed_charge"];
/// Constants that are always asked for: they are rarely known.
const LIFETIMES: [&str; 2] = ["tau_n0", "tau_p0"];

/// Every number of `case` that its cross-section and laws depend on: what the file says,
/// slides, lifetimes, and the resistance of each terminal. What cannot be read as a number
/// of the file (a peak in a table of depths) is left out.
pub fn parameters(case: &Case) -> Vec<Parameter> {
    let Ok(doc) = case.text.parse::<DocumentMut>() else { return Vec::new() };
    let mut paths: Vec<String> = vec!["temperature".into()];
    paths.extend(case.slides.iter().map(|s| format!("slide.{}", s.name)));
    if let Some(wafer) = doc.get("wafer") {
        keys(wafer, "wafer", &WAFER, &mut paths);
    }
    for (list, wanted) in
        [("well", &PIECE[..]), ("diffusion", &PIECE), ("trench", &TRENCH), ("gate", &GATE)]
    {
        each(&doc, list, &mut |entry, path| keys_of(entry, &path, wanted, &mut paths));
    }
    each(&doc, "terminal", &mut |entry, path| {
        paths.push(format!("{path}.resistance"));
        let touches = entry.get("touches").and_then(Item::as_array).map_or(0, |a| a.len());
        for k in 0..touches {
            paths.extend(["from", "to"].map(|e| format!("{path}.touches.{k}.{e}")));
        }
    });
    paths.extend(LIFETIMES.map(|k| format!("constants.shockley-read-hall.{k}")));
    let laws = doc.get("constants").and_then(Item::as_table_like);
    for (law, item) in laws.into_iter().flat_map(|l| l.iter()) {
        for (key, _) in item.as_table_like().into_iter().flat_map(|t| t.iter()) {
            let path = format!("constants.{law}.{key}");
            if !paths.contains(&path) {
                paths.push(path);
            }
        }
    }
    paths.into_iter().filter_map(|path| parameter(&case.text, path)).collect()
}

fn parameter(text: &str, path: String) -> Option<Parameter> {
    let quantity = quantity_at(text, &path).ok()??;
    let resistance = path.ends_with(".resistance");
    let value = quantity.value.or(resistance.then_some(0.0))?;
    let position = ["from", "to", "span", "thickness", "top", "bottom"];
    let last = path.rsplit('.').next().unwrap_or_default();
    let step = match quantity.dim {
        // A tenth of a nanometre for what moves, a part of itself for what is a size.
        Dim::Length if position.contains(&last) || path.starts_with("slide.") => 1e-4,
        Dim::Temperature => 0.02,
        _ if resistance => (1e-3 * value).max(1e-3),
        _ => 1e-3 * value.abs(),
    };
    if step == 0.0 || !value.is_finite() {
        return None;
    }
    let two_sided = !(resistance && value == 0.0);
    Some(Parameter { path, dim: quantity.dim, value, step, two_sided })
}

fn keys(item: &Item, path: &str, wanted: &[&str], out: &mut Vec<String>) {
    if let Some(table) = item.as_table_like() {
        keys_of(table, path, wanted, out);
    }
}

fn keys_of(table: &dyn TableLike, path: &str, wanted: &[&str], out: &mut Vec<String>) {
    for key in wanted {
        let mut at = key.split('.');
        let first = at.next().and_then(|k| table.get(k));
        let found = at.try_fold(first, |item, k| item.map(|i| i.get(k)));
        if found.flatten().is_some() {
            out.push(format!("{path}.{key}"));
        }
    }
}

/// Entries of a list with their paths: by name where they have one, else by index.
fn each(doc: &DocumentMut, list: &str, visit: &mut dyn FnMut(&dyn TableLike, String)) {
    let entries: Vec<&dyn TableLike> = match doc.get(list) {
        Some(Item::ArrayOfTables(a)) => a.iter().map(|t| t as &dyn TableLike).collect(),
        Some(Item::Value(v)) => v
            .as_array()
            .into_iter()
            .flat_map(|a| a.iter())
            .filter_map(|v| v.as_inline_table().map(|t| t as &dyn TableLike))
            .collect(),
        _ => Vec::new(),
    };
    for (k, entry) in entries.into_iter().enumerate() {
        let name = entry.get("name").and_then(Item::as_str);
        // A name with a dot cannot stand in a path.
        let name = name.filter(|n| !n.contains('.')).map_or(k.to_string(), String::from);
        visit(entry, format!("{list}.{name}"));
    }
}
