//! `[constants]`: tables by law, keys by the law's own symbols, checked against
//! [`CONSTANTS`].

use toml::de::{DeTable, DeValue};

use super::constants::{CONSTANTS, ConstantSpec, Constants, Dim, ElectronRow, ROWS, spec};
use super::key_tables_laws::LATER_CONSTANTS;
use super::keys::{Bounds, nearest};
use super::messages::{shorten, wrong_type};
use super::model::Span;
use super::problem::Problem;
use super::values::out_of_bounds;
use super::walk::{Value, Walker};

/// Constants that are 0 or 1.
const SWITCHES: &[&str] = &["temperature_factor"];

/// True if the constant is a switch, 0 or 1.
pub fn is_switch(spec: &ConstantSpec) -> bool {
    SWITCHES.contains(&spec.key)
}

/// The laws that have constants, in the table's order.
pub fn laws() -> Vec<&'static str> {
    let mut out: Vec<&str> = Vec::new();
    for c in CONSTANTS {
        if !out.contains(&c.law) {
            out.push(c.law);
        }
    }
    out
}

impl Walker<'_> {
    /// Reads all of `[constants]`; what is wrong is reported and left at its default.
    pub fn constants(&mut self, table: &DeTable<'_>) -> Value {
        let mut out = Constants::default();
        let mut places = Vec::new();
        for (law, value) in table.iter() {
            let name: &str = law.get_ref();
            if LATER_CONSTANTS.contains(&name) {
                let text = format!("the law `{name}` is not available in this version");
                self.push(
                    Problem::error("not-available", Some(law.span()), text)
                        .label("a later version will read this")
                        .help("leave it out for now"),
                );
                continue;
            }
            let Some(known) = laws().into_iter().find(|l| *l == name) else {
                self.unknown_constant("[constants]", name, law.span(), &laws());
                continue;
            };
            match value.get_ref().as_table() {
                Some(keys) => {
                    places.push((known, law.span()));
                    self.law(known, keys, &mut out);
                }
                None => {
                    let wanted = format!("a table of the constants of {known}");
                    self.push(wrong_type(value, &wanted));
                }
            }
        }
        Value::Constants(out, places)
    }

    fn law(&mut self, law: &'static str, table: &DeTable<'_>, out: &mut Constants) {
        for (key, value) in table.iter() {
            let name: &str = key.get_ref();
            if ROWS.contains(&(law, name)) {
                match value.get_ref() {
                    DeValue::String(s) if s == "arsenic" => out.set_row(law, ElectronRow::Arsenic),
                    DeValue::String(s) if s == "phosphorus" => {
                        out.set_row(law, ElectronRow::Phosphorus);
                    }
                    _ => {
                        let text = format!("`{law}.{name}` must be a dopant whose row is known");
                        self.push(
                            Problem::error("bad-word", Some(value.span()), text)
                                .label("not a dopant of the table")
                                .help("write \"arsenic\" or \"phosphorus\""),
                        );
                    }
                }
                continue;
            }
            let Some(known) = spec(law, name) else {
                let mut keys: Vec<&str> =
                    CONSTANTS.iter().filter(|c| c.law == law).map(|c| c.key).collect();
                keys.extend(ROWS.iter().filter(|r| r.0 == law).map(|r| r.1));
                self.unknown_constant(&format!("constants.{law}"), name, key.span(), &keys);
                continue;
            };
            let what = format!("{law}.{name}");
            // Bounds are checked here, so that the message can name the law's source.
            let Some(v) = self.quantity(&what, value, known.dim, Bounds::ANY) else { continue };
            let bounds = Bounds::between(known.bounds.0, known.bounds.1);
            if !bounds.allows(v) {
                self.push(of_law(out_of_bounds(&what, value.span(), v, known.dim, bounds), known));
            } else if is_switch(known) && v != 0.0 && v != 1.0 {
                let bounds = Bounds::between(0.0, 1.0);
                let problem = out_of_bounds(&what, value.span(), v, Dim::Number, bounds);
                self.push(of_law(problem.label("a switch: 0 or 1"), known));
            } else {
                out.set(law, name, v);
            }
        }
    }

    fn unknown_constant(&mut self, table: &str, name: &str, at: Span, known: &[&str]) {
        let text = format!("{table} has no key `{}`", shorten(name));
        let mut problem = Problem::error("unknown-key", Some(at), text).label("unknown key");
        problem.help = Some(format!("keys of {table}: {}", known.join(", ")));
        if let Some(near) = nearest(name, known.iter().copied()) {
            problem = problem.label(format!("did you mean `{near}`?"));
            problem.replacement = Some(near.to_string());
        }
        self.push(problem);
    }
}

fn of_law(mut problem: Problem, known: &ConstantSpec) -> Problem {
    let help = problem.help.take().unwrap_or_default();
    problem.help(format!("{help} ({}; {})", known.doc, known.source))
}
