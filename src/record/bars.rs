//! Error bars of an experiment: in HDF5 what they were computed from and their sizes, in
//! JSON the sizes beside each figure. Reading takes the reruns; the sizes follow from them.

use serde_json::{Value, json};

use super::RecordError;
use super::sink::{Place as At, label};
use super::source::Shelf;
use crate::experiment::{Bar, Bars, Change, Cover, Found, Outcome, Place, PointBars, Rerun};

/// Writes `/experiment/k/error_bars`, if there is anything to write.
pub(super) fn write(at: &At, outcome: &Outcome) -> Result<(), RecordError> {
    let Some(bars) = &outcome.bars else { return Ok(()) };
    let at = at.group("error_bars")?;
    at.text("cover", bars.cover.word())?;
    let names: Vec<&str> = outcome.points().into_iter().map(|(name, _)| name).collect();
    for rerun in &bars.reruns {
        if rerun.points.len() != names.len() {
            let detail = format!("{} points of {}", rerun.points.len(), names.len());
            return Err(RecordError::unfit("a rerun for error bars", detail));
        }
        let at = at.group(rerun.change.word())?;
        at.number("nodes", rerun.nodes as u64)?;
        for (name, found) in names.iter().zip(&rerun.points) {
            let at = at.group(name)?;
            match found {
                Ok(place) => {
                    let drive = label("V", "drive voltage outside series resistance");
                    at.scalar("voltage", place.voltage, drive)?;
                    let sum = label("A/um", "sum of the driven terminals' currents");
                    at.scalar("current", place.current, sum)?;
                }
                Err(reason) => at.text("reason", reason)?,
            }
        }
    }
    Ok(())
}

/// Writes the sizes into a figure's group.
pub(super) fn sizes(at: &At, bars: Option<Found<PointBars>>) -> Result<(), RecordError> {
    match bars {
        None => Ok(()),
        Some(Err(reason)) => at.text("error_reason", &reason),
        Some(Ok(b)) => {
            let voltage = label("V", "error bar of voltage, either way");
            at.scalar("voltage_error", b.voltage.error, voltage)?;
            at.scalar(
                "current_error",
                b.current.error,
                label("A/um", "error bar of current, either way"),
            )
        }
    }
}

/// Reads `/experiment/k/error_bars` of an experiment whose figures have these names.
pub(super) fn read(at: &Shelf, names: &[&str]) -> Result<Option<Bars>, RecordError> {
    if !at.has("error_bars") {
        return Ok(None);
    }
    let at = at.group("error_bars")?;
    let word = at.text("cover")?;
    let cover = Cover::from_word(word)
        .ok_or_else(|| at.damaged("cover", format!("{word:?} is nothing an error bar covers")))?;
    let mut reruns = Vec::new();
    // In the order they are made, whatever the cover now asked for.
    for &change in Cover::Cut.changes() {
        if !at.has(change.word()) {
            continue;
        }
        let at = at.group(change.word())?;
        let mut points = Vec::new();
        for name in names {
            let at = at.group(name)?;
            points.push(match at.maybe_text("reason") {
                Some(reason) => Err(reason.to_string()),
                None => {
                    Ok(Place { voltage: at.scalar("voltage")?, current: at.scalar("current")? })
                }
            });
        }
        reruns.push(Rerun { change, nodes: at.count("nodes")?, points });
    }
    Ok(Some(Bars { cover, reruns }))
}

/// Adds the sizes to a figure's JSON.
pub(super) fn beside(figure: &mut Value, bars: Option<Found<PointBars>>) {
    match bars {
        None => {}
        Some(Err(reason)) => {
            figure["error_V"] = Value::Null;
            figure["error_A_per_um"] = Value::Null;
            figure["error_reason"] = json!(reason);
        }
        Some(Ok(PointBars { voltage, current })) => {
            figure["error_V"] = json!(voltage.error);
            figure["error_A_per_um"] = json!(current.error);
            let parts = |bar: Bar| json!({"mesh": bar.mesh, "cut": bar.cut, "order": bar.order});
            figure["error_parts"] =
                json!({"voltage_V": parts(voltage), "current_A_per_um": parts(current)});
        }
    }
}

/// What the bars were computed from, as JSON; `None` if none were asked for.
pub(super) fn reruns(outcome: &Outcome) -> Option<Value> {
    let bars = outcome.bars.as_ref()?;
    let names: Vec<&str> = outcome.points().into_iter().map(|(name, _)| name).collect();
    let one = |rerun: &Rerun| {
        let mut value = json!({"change": rerun.change.word(), "nodes": rerun.nodes});
        for (name, found) in names.iter().zip(&rerun.points) {
            match found {
                Ok(p) => {
                    value[*name] = json!({"voltage_V": p.voltage, "current_A_per_um": p.current});
                }
                Err(reason) => {
                    value[*name] = Value::Null;
                    value[format!("{name}_reason")] = json!(reason);
                }
            }
        }
        value
    };
    let reruns: Vec<Value> = bars.reruns.iter().map(one).collect();
    let missing: Vec<&str> = bars
        .cover
        .changes()
        .iter()
        .filter(|c| bars.rerun(**c).is_none())
        .map(|c| Change::word(*c))
        .collect();
    Some(json!({"cover": bars.cover.word(), "reruns": reruns, "missing": missing}))
}
