//! Named motions of the layout: everything right of `right_of` moves together; a piece,
//! trench, gate or contact that spans it is stretched or shortened.

use toml_edit::{DocumentMut, Item, TableLike, Value};

use super::constants::Dim;
use super::path::{PathError, number, parse};
use super::units::show;

/// The case `text` with every x above `right_of` [µm] moved by `by` [µm]: ends of
/// wells, diffusions, trenches, gates and surface contacts, given x lines, the entry of
/// a strike, the `right_of` of other slides, and the wafer's span. An x at `right_of`
/// itself stays.
///
/// # Errors
/// No x lies beyond `right_of`; a motion to the left that would carry an x past one
/// that stays.
pub fn moved(text: &str, right_of: f64, by: f64) -> Result<String, PathError> {
    let mut doc = parse(text)?;
    let bad = |text: String, help: String| Err(PathError::new("bad-slide", text, help));
    let (mut stays, mut moves) = (f64::NEG_INFINITY, f64::INFINITY);
    every_x(&mut doc, &mut |value| {
        let x = number(value, Dim::Length, "x")?;
        if x > right_of {
            moves = moves.min(x);
        } else {
            stays = stays.max(x);
        }
        Ok(())
    })?;
    if moves == f64::INFINITY {
        return bad(
            format!("nothing of the layout lies right of x = {} um", show(right_of)),
            "give a `right_of` inside the cut".to_string(),
        );
    }
    if moves + by <= stays {
        return bad(
            format!(
                "a motion of {} um carries x = {} past x = {}, which stays",
                show(by),
                show(moves),
                show(stays)
            ),
            format!("at least {} um is possible", show(stays - moves)),
        );
    }
    let mut shift = |value: &mut Value| {
        let x = number(value, Dim::Length, "x")?;
        if x > right_of && by != 0.0 {
            let decor = value.decor().clone();
            // A picometre's millionth: the sum's rounding is not written out.
            *value = Value::from(((x + by) * 1e12).round() / 1e12);
            *value.decor_mut() = decor;
        }
        Ok(())
    };
    every_x(&mut doc, &mut shift)?;
    for slide in entries(doc.as_table_mut(), "slide") {
        value(slide, "right_of", &mut shift)?;
    }
    Ok(doc.to_string())
}

type Visit<'v> = &'v mut dyn FnMut(&mut Value) -> Result<(), PathError>;

/// Visits every lateral position of what is drawn.
fn every_x(doc: &mut DocumentMut, visit: Visit<'_>) -> Result<(), PathError> {
    let root: &mut dyn TableLike = doc.as_table_mut();
    if let Some(wafer) = root.get_mut("wafer").and_then(Item::as_table_like_mut) {
        value(wafer, "span", visit)?;
    }
    for list in ["well", "diffusion", "trench", "gate"] {
        for entry in entries(root, list) {
            value(entry, "from", visit)?;
            value(entry, "to", visit)?;
        }
    }
    for terminal in entries(root, "terminal") {
        for touch in entries(terminal, "touches") {
            value(touch, "from", visit)?;
            value(touch, "to", visit)?;
        }
    }
    for experiment in entries(root, "experiment") {
        if experiment.get("kind").and_then(Item::as_str) == Some("strike") {
            value(experiment, "at", visit)?;
        }
    }
    let lines = root
        .get_mut("grid")
        .and_then(Item::as_table_like_mut)
        .and_then(|grid| grid.get_mut("x"))
        .and_then(Item::as_array_mut);
    for line in lines.into_iter().flat_map(|a| a.iter_mut()) {
        visit(line)?;
    }
    Ok(())
}

fn value(table: &mut dyn TableLike, key: &str, visit: Visit<'_>) -> Result<(), PathError> {
    match table.get_mut(key).and_then(Item::as_value_mut) {
        Some(value) => visit(value),
        None => Ok(()),
    }
}

/// The entries of a list of tables, written either way.
fn entries<'t>(table: &'t mut dyn TableLike, key: &str) -> Vec<&'t mut dyn TableLike> {
    match table.get_mut(key) {
        Some(Item::ArrayOfTables(list)) => {
            list.iter_mut().map(|t| t as &mut dyn TableLike).collect()
        }
        Some(Item::Value(Value::Array(list))) => list
            .iter_mut()
            .filter_map(Value::as_inline_table_mut)
            .map(|t| t as &mut dyn TableLike)
            .collect(),
        _ => Vec::new(),
    }
}
