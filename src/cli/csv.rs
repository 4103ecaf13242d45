//! Curves as comma-separated values (RFC 4180): one table, a row for each point and fold.

use crate::record::{RunRecord, cell};
use crate::trace::TerminalValues;

/// All curves of a record. Columns of terminals that an experiment has not got are empty.
pub(super) fn curves(r: &RunRecord) -> String {
    let mut terminals: Vec<&String> = Vec::new();
    for name in r.experiments.iter().flat_map(|o| &o.curve.terminals) {
        if !terminals.contains(&name) {
            terminals.push(name);
        }
    }
    let mut head: Vec<String> =
        ["experiment", "kind", "point", "voltage_V", "current_A_per_um"].map(String::from).to_vec();
    for name in &terminals {
        head.push(cell(&format!("{name} voltage_V")));
        head.push(cell(&format!("{name} current_A_per_um")));
    }
    let mut text = head.join(",") + "\r\n";
    for (k, o) in r.experiments.iter().enumerate() {
        let c = &o.curve;
        let columns: Vec<Option<usize>> =
            terminals.iter().map(|t| c.terminals.iter().position(|own| own == *t)).collect();
        let mut row = |point: &str, v: f64, i: f64, at: Option<&TerminalValues>| {
            let mut cells =
                vec![k.to_string(), cell(&o.kind), point.to_string(), number(v), number(i)];
            for column in &columns {
                let of = |pick: fn(&TerminalValues) -> &Vec<f64>| {
                    let value = at.zip(*column).and_then(|(at, n)| pick(at).get(n).copied());
                    value.map_or(String::new(), number)
                };
                cells.push(of(|t| &t.voltage));
                cells.push(of(|t| &t.current));
            }
            text.push_str(&cells.join(","));
            text.push_str("\r\n");
        };
        let mut folds = o.folds.iter().peekable();
        for n in 0..=c.len() {
            while let Some(f) = folds.next_if(|f| f.before_point <= n) {
                row(f.kind.word(), f.voltage, f.current, Some(&f.at_terminals));
            }
            if let (Some(v), Some(i)) = (c.voltage.get(n), c.current.get(n)) {
                row(&n.to_string(), *v, *i, c.at_terminals.get(n));
            }
        }
    }
    text
}

/// All digits; what is no number is an empty cell.
fn number(v: f64) -> String {
    if v.is_finite() { format!("{v:e}") } else { String::new() }
}
