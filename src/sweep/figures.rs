//! What differs between two sheets of named figures.

use serde_json::{Map, Value, json};

use super::compare::{Report, relative};
use crate::experiment::{Sheet, Shown};

/// Compares the sheet `y` with `x`; `at` is the path of groups that leads to them.
pub(super) fn sheet(
    r: &mut Report,
    label: &str,
    at: &str,
    x: &Sheet,
    y: &Sheet,
    out: &mut Map<String, Value>,
) {
    for q in y.figures.iter().filter(|q| x.figures.iter().all(|p| p.name != q.name)) {
        r.change(&format!("{label}, {at}{}", q.name), "absent", "there");
    }
    for p in &x.figures {
        let name = format!("{at}{}", p.name);
        let what = format!("{label}, {name}");
        let Some(q) = y.figures.iter().find(|q| q.name == p.name) else {
            r.change(&what, "there", "absent");
            continue;
        };
        match (&p.value, &q.value) {
            (Shown::Number(Ok(a)), Shown::Number(Ok(b))) => {
                r.worse(relative(*a, *b), &what);
                if a != b {
                    r.lines.push(format!("{what}: {a:.6e} -> {b:.6e} {}", p.unit));
                }
                out.insert(name, json!({ "first": a, "second": b }));
            }
            (Shown::Number(a), Shown::Number(b)) => {
                let word = |found: bool| if found { "found" } else { "none" };
                r.change(&what, word(a.is_ok()), word(b.is_ok()));
                why(r, &what, a, b);
            }
            (Shown::YesNo(a), Shown::YesNo(b)) => {
                let word = |v: &Result<bool, String>| match v {
                    Ok(true) => "yes",
                    Ok(false) => "no",
                    Err(_) => "unknown",
                };
                r.change(&what, word(a), word(b));
                why(r, &what, a, b);
            }
            (Shown::Text(a), Shown::Text(b)) => r.tell(&what, a, b),
            // Names label rows and columns: other names, other rows.
            (Shown::Texts(a), Shown::Texts(b)) => r.change(&what, &a.join(", "), &b.join(", ")),
            (Shown::Numbers { shape: s, values: a }, Shown::Numbers { shape: t, values: b }) => {
                r.change(&format!("{what}, shape"), &format!("{s:?}"), &format!("{t:?}"));
                if s == t {
                    table(r, &what, a, b);
                }
            }
            (Shown::Group(a), Shown::Group(b)) if at.len() < 400 => {
                sheet(r, label, &format!("{name}/"), a, b, out);
            }
            (a, b) => r.change(&what, form(a), form(b)),
        }
    }
}

/// Two that are not there, each with its reason.
fn why<T>(r: &mut Report, what: &str, a: &Result<T, String>, b: &Result<T, String>) {
    if let (Err(a), Err(b)) = (a, b) {
        r.tell(&format!("{what}, why there is none"), a, b);
    }
}

fn form(value: &Shown) -> &'static str {
    match value {
        Shown::Number(_) => "a number",
        Shown::YesNo(_) => "yes or no",
        Shown::Text(_) => "a text",
        Shown::Texts(_) => "names",
        Shown::Numbers { .. } => "numbers",
        Shown::Group(_) => "a group",
    }
}

/// Tables of numbers, relative to their largest: a table may hold rounding beside what counts.
fn table(r: &mut Report, what: &str, a: &[f64], b: &[f64]) {
    let pairs = || a.iter().zip(b);
    let gaps = pairs().filter(|(p, q)| p.is_nan() != q.is_nan()).count();
    if gaps > 0 {
        r.change(what, "found", &format!("{gaps} entries are there in one only"));
    }
    let largest = pairs().fold(0.0f64, |m, (p, q)| m.max(p.abs()).max(q.abs()));
    let off = pairs()
        .filter(|(p, q)| p != q && !p.is_nan() && !q.is_nan())
        .fold(0.0f64, |m, (p, q)| m.max((q - p).abs() / largest));
    r.worse(off, what);
    if off > 0.0 {
        r.lines.push(format!("{what}: at most {:.3} % of its largest apart", 100.0 * off));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn compared(x: &Sheet, y: &Sheet) -> Report {
        let mut r = Report::default();
        sheet(&mut r, "0 gains", "", x, y, &mut Map::new());
        r
    }

    #[test]
    fn what_only_one_has_is_a_change_whichever_it_is() {
        let (none, one) = (Sheet::new(), Sheet::new().number("beta", "1", "a gain", Ok(2.0)));
        for (x, y) in [(&none, &one), (&one, &none)] {
            let r = compared(x, y);
            assert_eq!(r.changed.len(), 1);
            assert!(!r.within(1e9));
        }
        assert!(compared(&one, &one).within(0.0));
    }

    #[test]
    fn sentences_are_told_and_names_are_judged() {
        let of = |ended: &str, name: &str, why: &str| {
            Sheet::new()
                .text("ended", "", ended)
                .texts("terminals", "", &[name.to_string()])
                .number("beta", "1", "", Err(why.to_string()))
        };
        let first = of("the path latches at 1 A", "tap", "no rows");
        assert!(compared(&first, &first).lines.is_empty());
        let r = compared(&first, &of("the path latches at 2 A", "tap", "one row"));
        let told: Vec<&str> = r.told.iter().map(|d| d.what.as_str()).collect();
        assert_eq!(told, ["0 gains, ended", "0 gains, beta, why there is none"]);
        assert!(r.within(0.0) && r.lines.len() == 2, "{r:?}");
        let r = compared(&first, &of("the path latches at 1 A", "ring", "no rows"));
        assert!(!r.within(1e9) && r.lines.iter().any(|l| l.contains("tap -> ring")), "{r:?}");
        // A number where a sentence was.
        let r =
            compared(&Sheet::new().text("x", "", "y"), &Sheet::new().number("x", "1", "", Ok(1.0)));
        assert!(!r.within(1e9));
    }

    #[test]
    fn tables_are_compared_relative_to_their_largest() {
        let sheet = |values: Vec<f64>| {
            Sheet::new().group("npn", "", Sheet::new().column("beta", "1", "", values))
        };
        let first = sheet(vec![1e-9, 50.0, f64::NAN]);
        assert!(compared(&first, &first).within(0.0));
        let r = compared(&first, &sheet(vec![2e-9, 45.0, f64::NAN]));
        assert!((r.worst - 0.1).abs() < 1e-12 && r.changed.is_empty(), "{r:?}");
        assert!(!compared(&first, &sheet(vec![1e-9, 50.0, 3.0])).within(1e9));
        assert!(!compared(&first, &sheet(vec![1e-9, 50.0])).within(1e9));
    }
}
