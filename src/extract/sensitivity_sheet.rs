//! Sensitivities as a [`Sheet`]: one group for each point, a ranked table within.

use crate::experiment::Sheet;

use super::sensitivity::{Slope, Slopes};

/// Sensitivities of all points, by group `KIND_INDEX_POINT`; `kinds` are the words of the
/// case's experiments.
pub fn sensitivity_sheet(all: &[Slopes], kinds: &[&str]) -> Sheet {
    all.iter().fold(Sheet::new(), |sheet, slopes| {
        let kind = kinds.get(slopes.experiment).copied().unwrap_or("experiment");
        let name = format!("{kind}_{}_{}", slopes.experiment, slopes.point);
        let meaning = format!("what moves the {} point, strongest first", slopes.point);
        sheet.group(&name, &meaning, table(slopes))
    })
}

fn table(slopes: &Slopes) -> Sheet {
    let rows = &slopes.rows;
    let texts = |of: &dyn Fn(&Slope) -> String| rows.iter().map(of).collect::<Vec<_>>();
    let numbers = |of: &dyn Fn(&Slope) -> Option<f64>| {
        rows.iter().map(|r| of(r).unwrap_or(f64::NAN)).collect::<Vec<_>>()
    };
    let natural = |r: &Slope| r.natural().0;
    let left_out: Vec<String> =
        slopes.left_out.iter().map(|[path, why]| format!("{path}: {why}")).collect();
    Sheet::new()
        .number("voltage_V", "V", "voltage of the point", Ok(slopes.voltage))
        .number("current_A_per_um", "A/um", "current of the point", Ok(slopes.current))
        .texts("parameter", "number of the case", &texts(&|r| r.path.clone()))
        .column("value", "unit", "its value", rows.iter().map(|r| r.value).collect())
        .texts("value_unit", "unit of the value", &texts(&|r| r.dim.unit().to_string()))
        .column(
            "voltage_V_per_unit",
            "V/unit",
            "derivative of the voltage",
            numbers(&|r| r.voltage),
        )
        .column(
            "current_A_per_um_per_unit",
            "A/um/unit",
            "derivative of the current",
            numbers(&|r| r.current),
        )
        .texts("change", "change in the trade's unit", &texts(&|r| r.natural().1))
        .column(
            "voltage_mV_per_change",
            "mV",
            "voltage by that change",
            numbers(&|r| r.voltage.map(|d| 1e3 * d * natural(r))),
        )
        .column(
            "current_uA_per_um_per_change",
            "uA/um",
            "current by that change",
            numbers(&|r| r.current.map(|d| 1e6 * d * natural(r))),
        )
        .texts("left_out", "numbers that have no derivative here, with why", &left_out)
        .number("transposed_solves", "1", "adjoint solves", Ok(slopes.transposed_solves as f64))
        .number(
            "newton_steps",
            "1",
            "Newton steps beside the point",
            Ok(slopes.newton_steps as f64),
        )
}
