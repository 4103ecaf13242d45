//! What differs between two outcomes of one experiment.

use serde_json::{Value, json};

use super::compare::{Report, finite, relative};
use super::curves;
use super::figures::sheet;
use crate::experiment::{BiasPoint, Figures, Outcome};
use crate::trace::Curve;

/// Compares two outcomes of one experiment; `label` names it.
pub(super) fn experiment(r: &mut Report, label: &str, e: &Outcome, f: &Outcome) -> Value {
    r.change(&format!("{label}, status"), e.status.word(), f.status.word());
    r.tell(&format!("{label}, why it stopped"), e.status.reason(), f.status.reason());
    let mut points = serde_json::Map::new();
    for ((name, x), (_, y)) in e.points().into_iter().zip(f.points()) {
        let what = format!("{label}, {name}");
        let (Ok(x), Ok(y)) = (x, y) else {
            let word = |found: bool| if found { "found" } else { "none" };
            r.change(&what, word(x.is_ok()), word(y.is_ok()));
            if let (Err(x), Err(y)) = (x, y) {
                r.tell(&format!("{what}, why there is none"), x, y);
            }
            continue;
        };
        let bars = [e, f].map(|o| o.error_bars(name).and_then(Result::ok));
        let bar = |pick: fn(&crate::experiment::PointBars) -> f64| match &bars {
            [Some(p), Some(q)] => Some(pick(p) + pick(q)),
            _ => None,
        };
        let mut both = serde_json::Map::new();
        for (key, unit, p, q, bar) in [
            ("voltage_V", "V", x.voltage, y.voltage, bar(|b| b.voltage.error)),
            ("current_A_per_um", "A/um", x.current, y.current, bar(|b| b.current.error)),
        ] {
            let off = relative(p, q);
            r.worse(off, &format!("{what} {key}"));
            let beyond = bar.map(|b| (q - p).abs() > b);
            let word = match beyond {
                Some(true) => ", beyond the error bars",
                Some(false) => ", within the error bars",
                None => "",
            };
            if p != q {
                r.lines.push(format!(
                    "{what}: {p:.6e} -> {q:.6e} {unit} ({:+.3} %{word})",
                    100.0 * (q - p) / p.abs().max(f64::MIN_POSITIVE)
                ));
            }
            both.insert(
                key.into(),
                json!({ "first": p, "second": q, "relative": finite(off), "bars": bar, "beyond_bars": beyond }),
            );
        }
        points.insert(name.into(), Value::Object(both));
    }
    let mut named = serde_json::Map::new();
    match (&e.figures, &f.figures) {
        (Figures::Named(x), Figures::Named(y))
        | (Figures::Injection { beside: x, .. }, Figures::Injection { beside: y, .. }) => {
            sheet(r, label, "", x, y, &mut named);
        }
        (Figures::Bias { points: x }, Figures::Bias { points: y }) => {
            bias(r, label, [&e.curve.terminals, &f.curve.terminals], x, y);
        }
        _ => {}
    }
    let curve = curve(r, label, &e.curve, &f.curve);
    json!({ "experiment": label, "points": points, "figures": named, "curve": curve })
}

/// Compares the curves on their common currents. Curves that have none are no agreement.
fn curve(r: &mut Report, label: &str, a: &Curve, b: &Curve) -> Value {
    let traced = |c: &Curve| if c.voltage.is_empty() { "none" } else { "there" };
    r.change(&format!("{label}, curve"), traced(a), traced(b));
    if a.voltage.is_empty() || b.voltage.is_empty() {
        return Value::Null;
    }
    let Some(d) = curves::apart(a, b) else {
        let [p, q] = [a, b].map(curves::span);
        // Single points and blocked paths have no range: what is there is compared as it is.
        if [p, q].iter().any(|(from, to)| from == to) && a.voltage.len() == b.voltage.len() {
            for (of, x, y) in
                [("voltage", &a.voltage, &b.voltage), ("current", &a.current, &b.current)]
            {
                let what = format!("{label} curve, {of}");
                x.iter().zip(y).for_each(|(x, y)| r.worse(relative(*x, *y), &what));
            }
            return Value::Null;
        }
        let shown = |(from, to): (f64, f64)| format!("{from:.3e} to {to:.3e} A/um");
        let what = format!("{label}, curves have no current in common");
        r.change(&what, &shown(p), &shown(q));
        return json!({ "common": false,
            "first_A_per_um": [p.0, p.1], "second_A_per_um": [q.0, q.1] });
    };
    r.worse(d.largest.abs() / d.scale.max(1e-6), &format!("{label} curve"));
    if d.largest != 0.0 {
        r.lines.push(format!(
            "{label}, curve: at most {:+.3e} V apart, at {:.3e} A/um; {:.3e} V in the mean (square){}",
            d.largest,
            d.at,
            d.mean,
            if d.cut { "; compared up to where the current turns back" } else { "" }
        ));
    }
    json!({
        "common": true,
        "largest_V": d.largest, "at_A_per_um": d.at, "mean_square_root_V": d.mean,
        "from_A_per_um": d.from, "to_A_per_um": d.to, "cut": d.cut,
    })
}

/// Currents of all terminals at each point of a list, relative to the largest there: the
/// small ones are differences of the large.
fn bias(r: &mut Report, label: &str, names: [&Vec<String>; 2], x: &[BiasPoint], y: &[BiasPoint]) {
    let applied = |points: &[BiasPoint]| {
        let all: Vec<String> = points.iter().map(|p| p.applied.to_string()).collect();
        all.join(", ")
    };
    r.change(&format!("{label}, applied [V]"), &applied(x), &applied(y));
    r.change(&format!("{label}, terminals"), &names[0].join(", "), &names[1].join(", "));
    if names[0] != names[1] {
        return;
    }
    for (p, q) in x.iter().zip(y).filter(|(p, q)| p.applied == q.applied) {
        let (p_now, q_now) = (&p.at_terminals.current, &q.at_terminals.current);
        let largest = p_now.iter().chain(q_now).fold(f64::MIN_POSITIVE, |m, i| m.max(i.abs()));
        let (mut off, mut of) = (0.0f64, "");
        for ((i, j), name) in p_now.iter().zip(q_now).zip(names[0]) {
            let here = (j - i).abs() / largest;
            if here > off || here.is_nan() {
                (off, of) = (here, name);
            }
        }
        r.worse(off, &format!("{label}, currents at {} V", p.applied));
        if off != 0.0 {
            r.lines.push(format!(
                "{label}, at {} V: currents at most {:.3} % of the largest apart, at {of}",
                p.applied,
                100.0 * off
            ));
        }
    }
}
