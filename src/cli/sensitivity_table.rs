//! Sensitivities as lines: what moves each point, strongest first.

use crate::experiment::{Sheet, Shown};

/// Rows shown of each point; the file and JSON have all.
const ROWS: usize = 12;

/// The ranked tables of the group `sensitivities`.
pub(super) fn lines(sheet: &Sheet, line: &mut impl FnMut(String)) {
    for point in &sheet.figures {
        let Shown::Group(table) = &point.value else { continue };
        let (names, changes) = (texts(table, "parameter"), texts(table, "change"));
        let volts = table.numbers_at("voltage_mV_per_change");
        let amps = table.numbers_at("current_uA_per_um_per_change");
        line(format!("{}: {}", point.name, point.meaning));
        line(format!("  {:>12} {:>14}  for  {:<10} of", "mV", "uA/um", ""));
        let rows = names.iter().zip(changes).zip(volts.iter().zip(amps));
        for ((name, change), (v, i)) in rows.take(ROWS) {
            line(format!("  {:>12} {:>14}  for  {change:<10} of {name}", figure(*v), figure(*i)));
        }
        if names.len() > ROWS {
            line(format!("  and {} more in the result file and --json", names.len() - ROWS));
        }
    }
}

fn texts<'s>(sheet: &'s Sheet, name: &str) -> &'s [String] {
    match sheet.find(name).map(|f| &f.value) {
        Some(Shown::Texts(list)) => list,
        _ => &[],
    }
}

fn figure(v: f64) -> String {
    if !v.is_finite() {
        return "-".to_string();
    }
    if v == 0.0 || (1e-3..1e5).contains(&v.abs()) {
        format!("{v:+.4}")
    } else {
        format!("{v:+.3e}")
    }
}
