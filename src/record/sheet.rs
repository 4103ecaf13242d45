//! A [`Sheet`] in the result file and in JSON.
//!
//! In the file a sheet is a group. The lists `figure` (`figure_1` in a group within), `form`, `unit` and `meaning` say what
//! is in it and in which order; each figure then stands under its own name: numbers as
//! datasets, yes/no and texts as attributes, lists of texts as datasets, groups as groups. A
//! figure that does not exist leaves an attribute `NAME_reason` instead.

use std::collections::BTreeMap;

use serde_json::{Map, Value, json};

use super::RecordError;
use super::sink::{Axis, Place, label};
use super::source::{MOST, Shelf};
use super::write::list;
use crate::experiment::{Figure, Sheet, Shown};

type Got<T> = Result<T, RecordError>;
type Made<T> = Result<T, RecordError>;

/// Sheets within sheets, at most: a foreign file must not lead into the depths.
const DEEPEST: usize = 8;

/// The word for a figure's form.
fn form(value: &Shown) -> &'static str {
    match value {
        Shown::Number(_) => "number",
        Shown::YesNo(_) => "yes-no",
        Shown::Text(_) => "text",
        Shown::Texts(_) => "texts",
        Shown::Numbers { .. } => "numbers",
        Shown::Group(_) => "group",
    }
}

pub(super) fn write(at: &Place, sheet: &Sheet) -> Made<()> {
    write_at(at, sheet, 0)
}

/// Readers that align a group with the one around it need names of their own for each
/// depth's axis.
fn axis_name(depth: usize) -> String {
    if depth == 0 { "figure".to_string() } else { format!("figure_{depth}") }
}

fn write_at(at: &Place, sheet: &Sheet, depth: usize) -> Made<()> {
    at.number("count", sheet.figures.len() as u64)?;
    if sheet.figures.is_empty() {
        return Ok(());
    }
    let all = |pick: fn(&Figure) -> &str| -> Vec<String> {
        sheet.figures.iter().map(|f| pick(f).to_string()).collect()
    };
    let names =
        at.text_axis(&axis_name(depth), &all(|f| &f.name), "names of the figures, in order")?;
    at.texts("form", &all(|f| form(&f.value)), names, "what each figure is")?;
    at.texts("unit", &all(|f| &f.unit), names, "unit of each figure")?;
    at.texts("meaning", &all(|f| &f.meaning), names, "meaning of each figure")?;
    // Columns of one length share their axis.
    let mut rows: BTreeMap<String, Axis> = BTreeMap::new();
    for figure in &sheet.figures {
        let name = figure.name.as_str();
        let about = label(&figure.unit, &figure.meaning);
        match &figure.value {
            Shown::Number(Ok(v)) => at.scalar(name, *v, about)?,
            Shown::YesNo(Ok(v)) => at.number(name, u8::from(*v))?,
            Shown::Number(Err(why)) | Shown::YesNo(Err(why)) => {
                at.text(&format!("{name}_reason"), why)?;
            }
            Shown::Text(text) => at.text(name, text)?,
            Shown::Texts(texts) => list(at, name, texts, &figure.meaning)?,
            Shown::Numbers { shape, values } => {
                let lengths: Vec<u64> = shape.iter().map(|&n| n as u64).collect();
                at.vector(&format!("{name}_shape"), &lengths)?;
                if values.is_empty() {
                    continue;
                }
                let mut axes = Vec::new();
                for (d, &n) in shape.iter().enumerate() {
                    // Axes of one dataset need names of their own, too.
                    let again = shape.iter().take(d).filter(|m| **m == n).count();
                    let row = format!("row_{n}{}", "_again".repeat(again));
                    let axis = match rows.get(&row) {
                        Some(axis) => *axis,
                        None => at.rows(&row, n, "row")?,
                    };
                    rows.insert(row, axis);
                    axes.push(axis);
                }
                at.column(name, values, &axes, about)?;
            }
            Shown::Group(inner) => write_at(&at.group(name)?, inner, depth + 1)?,
        }
    }
    Ok(())
}

/// A sheet from its group.
pub(super) fn read(at: &Shelf) -> Got<Sheet> {
    read_at(at, 0)
}

fn read_at(at: &Shelf, depth: usize) -> Got<Sheet> {
    if depth > DEEPEST {
        return Err(at.damaged("", "figures within figures without end"));
    }
    let count = at.count("count")?;
    let axis = axis_name(depth);
    let [names, forms, units, meanings] =
        [axis.as_str(), "form", "unit", "meaning"].map(|list| at.texts_of(list, count));
    let (names, forms, units, meanings) = (names?, forms?, units?, meanings?);
    let mut figures = Vec::new();
    for (((name, form), unit), meaning) in names.into_iter().zip(forms).zip(units).zip(meanings) {
        let reason = at.maybe_text(&format!("{name}_reason")).map(str::to_string);
        let value = match (form.as_str(), reason) {
            ("number", Some(why)) => Shown::Number(Err(why)),
            ("number", None) => Shown::Number(Ok(at.scalar(&name)?)),
            ("yes-no", Some(why)) => Shown::YesNo(Err(why)),
            ("yes-no", None) => Shown::YesNo(Ok(at.flag(&name)?)),
            ("text", _) => Shown::Text(at.text(&name)?.to_string()),
            ("texts", _) => Shown::Texts(at.texts(&name)?),
            ("numbers", _) => numbers(at, &name)?,
            ("group", _) => Shown::Group(read_at(&at.group(&name)?, depth + 1)?),
            (other, _) => {
                return Err(at.damaged(&name, format!("{other:?} is no figure we know")));
            }
        };
        figures.push(Figure { name, unit, meaning, value });
    }
    Ok(Sheet { figures })
}

fn numbers(at: &Shelf, name: &str) -> Got<Shown> {
    let lengths: Vec<u64> = at.all_of(&format!("{name}_shape"), DEEPEST)?;
    let shape: Vec<usize> = lengths.iter().map(|&n| n as usize).collect();
    // Rows of an empty table are counted, too: each is a list in the JSON document.
    let all = shape.iter().try_fold(1usize, |a, &n| a.checked_mul(n.max(1)));
    let size = all.filter(|n| *n <= MOST).map(|_| shape.iter().product());
    let values = match size {
        Some(0) => Vec::new(),
        Some(_) => at.column(name, &shape)?,
        None => return Err(at.damaged(name, "more numbers than can be")),
    };
    Ok(Shown::Numbers { shape, values })
}

/// The figures as JSON, into `into`; one that does not exist is `null` with its reason.
pub(super) fn json(sheet: &Sheet, into: &mut Map<String, Value>) {
    for figure in &sheet.figures {
        let (value, reason) = match &figure.value {
            Shown::Number(Ok(v)) => (json!(v), None),
            Shown::YesNo(Ok(v)) => (json!(v), None),
            Shown::Number(Err(why)) | Shown::YesNo(Err(why)) => (Value::Null, Some(why)),
            Shown::Text(text) => (json!(text), None),
            Shown::Texts(texts) => (json!(texts), None),
            Shown::Numbers { shape, values } => (nested(shape, values), None),
            Shown::Group(inner) => {
                let mut map = Map::new();
                json(inner, &mut map);
                (Value::Object(map), None)
            }
        };
        into.insert(figure.name.clone(), value);
        if let Some(why) = reason {
            into.insert(format!("{}_reason", figure.name), json!(why));
        }
    }
}

/// Lists within lists, the last axis innermost.
fn nested(shape: &[usize], values: &[f64]) -> Value {
    match shape {
        [] => Value::Array(Vec::new()),
        [_] => values.iter().map(|v| json!(v)).collect(),
        [n, rest @ ..] => {
            let size = values.len() / (*n).max(1);
            match size {
                0 => Value::Array(vec![nested(rest, &[]); *n]),
                _ => values.chunks(size).map(|part| nested(rest, part)).collect(),
            }
        }
    }
}
