//! One value by its [`Kind`]: numbers with units, words, names, lists.

use toml::Spanned;
use toml::de::DeValue;

use super::constants::Dim;
use super::keys::{Bounds, KeySpec, Kind, Word, nearest};
use super::messages::{shorten, wrong_type};
use super::model::Span;
use super::problem::Problem;
use super::units::{self, show};
use super::walk::{At, Value, Walker};

type Item<'v> = Spanned<DeValue<'v>>;

/// Names become columns of a result file and parts of addresses such as
/// `terminal.anode.touches`: at most this long, without `/` and `.`.
const LONGEST_NAME: usize = 64;

impl Walker<'_> {
    /// Reads `value` as the kind of `known`.
    pub fn value(&mut self, known: &'static KeySpec, value: &Item<'_>) -> Value {
        match known.kind {
            Kind::Text => match value.get_ref().as_str() {
                Some(s) => Value::Text(s.to_string()),
                None => self.refuse(wrong_type(value, "text in quotes")),
            },
            Kind::Name => match self.name(value) {
                Some(name) => Value::Text(name),
                None => Value::Bad,
            },
            Kind::File => match value.get_ref().as_str() {
                Some(s) if !s.trim().is_empty() => Value::Text(s.to_string()),
                _ => self.refuse(wrong_type(value, "the name of a file in quotes")),
            },
            Kind::Quantity(dim, bounds) => match self.quantity(known.key, value, dim, bounds) {
                Some(v) => Value::Number(v),
                None => Value::Bad,
            },
            Kind::Quantities(dim, bounds) => self.quantities(known.key, value, dim, bounds),
            Kind::Count(low, high) => self.count(known.key, value, low, high),
            Kind::Word(words) => match self.word(known.key, value, words) {
                Some(w) => Value::Word(w),
                None => Value::Bad,
            },
            Kind::Words(words) => self.words(known.key, value, words),
            Kind::Names => self.names(value),
            Kind::Table(spec) => match value.get_ref().as_table() {
                Some(table) => {
                    let read = self.table(table, value.span(), spec);
                    Value::Table(read)
                }
                None => self.refuse(wrong_type(value, &format!("a table ({})", spec.name))),
            },
            Kind::Tables(spec) => self.tables(value, spec),
            Kind::WordOrTable(words, spec) => match value.get_ref().as_table() {
                Some(table) => Value::Table(self.table(table, value.span(), spec)),
                None => match self.word(known.key, value, words) {
                    Some(w) => Value::Word(w),
                    None => Value::Bad,
                },
            },
            Kind::QuantityOrTable(dim, bounds, spec) => match value.get_ref().as_table() {
                Some(table) => Value::Table(self.table(table, value.span(), spec)),
                None => match self.quantity(known.key, value, dim, bounds) {
                    Some(v) => Value::Number(v),
                    None => Value::Bad,
                },
            },
            Kind::Loose => {
                let mut found = Vec::new();
                match loose(value, 0, &mut found) {
                    true => Value::Loose(found),
                    false => self.refuse(wrong_type(value, "a number, a text, or a list of them")),
                }
            }
            Kind::Voltages => self.voltages(known.key, value),
            Kind::Constants => match value.get_ref().as_table() {
                Some(table) => self.constants(table),
                None => self.refuse(wrong_type(value, "a table ([constants])")),
            },
        }
    }

    fn refuse(&mut self, problem: Problem) -> Value {
        self.push(problem);
        Value::Bad
    }

    /// A number, plain or with its unit, within bounds; in the plain unit of `dim`.
    pub fn quantity(
        &mut self,
        key: &str,
        value: &Item<'_>,
        dim: Dim,
        bounds: Bounds,
    ) -> Option<f64> {
        let number = match value.get_ref() {
            DeValue::Float(f) => f.as_str().parse::<f64>().ok(),
            DeValue::Integer(i) => whole(i.as_str(), i.radix()),
            DeValue::String(s) => match units::parse(s, dim) {
                Ok(v) => Some(v),
                Err(p) => {
                    let at = self.inside(value.span(), s, &p.at);
                    let problem = Problem::error(p.code, Some(at), format!("`{key}`: {}", p.text))
                        .label(p.label)
                        .help(p.help);
                    self.push(problem);
                    return None;
                }
            },
            _ => {
                let wanted = match dim {
                    Dim::Number => "a number".to_string(),
                    _ => format!(
                        "{} (a number in {}, or \"{}\")",
                        dim.name(),
                        dim.unit(),
                        dim.example()
                    ),
                };
                self.push(wrong_type(value, &wanted));
                return None;
            }
        };
        let Some(number) = number.filter(|v| v.is_finite()) else {
            let problem =
                Problem::error("bad-number", Some(value.span()), format!("`{key}` must be finite"))
                    .label("not a finite number")
                    .help(format!("write {}, e.g. {}", dim.name(), dim.example()));
            self.push(problem);
            return None;
        };
        if !bounds.allows(number) {
            self.push(out_of_bounds(key, value.span(), number, dim, bounds));
            return None;
        }
        Some(number)
    }

    fn quantities(&mut self, key: &str, value: &Item<'_>, dim: Dim, bounds: Bounds) -> Value {
        let Some(array) = value.get_ref().as_array() else {
            return self
                .refuse(wrong_type(value, &format!("a list, e.g. [\"{}\"],", dim.example())));
        };
        if array.is_empty() {
            return self.refuse(
                Problem::error("empty-list", Some(value.span()), format!("`{key}` is empty"))
                    .label("nothing in it")
                    .help(format!("give at least one value, e.g. [\"{}\"]", dim.example())),
            );
        }
        let read: Vec<Option<At<f64>>> = array
            .iter()
            .map(|item| {
                let value = self.quantity(key, item, dim, bounds)?;
                Some(At { value, at: item.span() })
            })
            .collect();
        read.into_iter().collect::<Option<Vec<_>>>().map_or(Value::Bad, Value::Numbers)
    }

    fn count(&mut self, key: &str, value: &Item<'_>, low: u64, high: u64) -> Value {
        let number = match value.get_ref() {
            DeValue::Integer(i) => whole(i.as_str(), i.radix()),
            DeValue::Float(f) => f.as_str().parse().ok().filter(|v: &f64| v.fract() == 0.0),
            _ => None,
        };
        let Some(number) = number else {
            return self.refuse(wrong_type(value, "a whole number"));
        };
        let bounds = Bounds::between(low as f64, high as f64);
        if !bounds.allows(number) {
            return self.refuse(out_of_bounds(key, value.span(), number, Dim::Number, bounds));
        }
        Value::Number(number)
    }

    /// A word of the list, as the table spells it.
    fn word(
        &mut self,
        key: &str,
        value: &Item<'_>,
        words: &'static [Word],
    ) -> Option<&'static str> {
        let list = word_list(words);
        let Some(text) = value.get_ref().as_str() else {
            self.push(wrong_type(value, &format!("one of {list}")));
            return None;
        };
        if let Some(found) = words.iter().find(|w| w.word == text) {
            return Some(found.word);
        }
        let text = format!("`{key}` cannot be \"{}\"", shorten(text));
        let mut problem = Problem::error("bad-word", Some(value.span()), text)
            .label("not one of the words known here")
            .help(format!("write one of {list}"));
        let given = value.get_ref().as_str().unwrap_or_default();
        if let Some(near) = nearest(given, words.iter().map(|w| w.word)) {
            problem = problem.label(format!("did you mean \"{near}\"?"));
            problem.replacement = Some(format!("\"{near}\""));
        }
        self.push(problem);
        None
    }

    fn words(&mut self, key: &str, value: &Item<'_>, words: &'static [Word]) -> Value {
        let Some(array) = value.get_ref().as_array() else {
            let wanted = format!("a list of {}", word_list(words));
            return self.refuse(wrong_type(value, &wanted));
        };
        let read: Vec<Option<&'static str>> =
            array.iter().map(|item| self.word(key, item, words)).collect();
        read.into_iter().collect::<Option<Vec<_>>>().map_or(Value::Bad, Value::Words)
    }

    /// A name for a piece or terminal.
    fn name(&mut self, value: &Item<'_>) -> Option<String> {
        let Some(text) = value.get_ref().as_str() else {
            self.push(wrong_type(value, "a name in quotes"));
            return None;
        };
        let long = text.chars().count() > LONGEST_NAME;
        let odd = text.chars().any(|c| c.is_control() || matches!(c, '/' | '.'));
        if text.trim().is_empty() || text.trim() != text || long || odd {
            let problem = Problem::error(
                "bad-name",
                Some(value.span()),
                format!("\"{}\" cannot be a name", shorten(text).escape_debug()),
            )
            .label("not a name")
            .help(format!(
                "a name has 1 to {LONGEST_NAME} characters, no `/`, no `.`, no line breaks, no spaces at its ends"
            ));
            self.push(problem);
            return None;
        }
        Some(text.to_string())
    }

    fn names(&mut self, value: &Item<'_>) -> Value {
        let Some(array) = value.get_ref().as_array() else {
            let mut problem = wrong_type(value, "a list of terminal names");
            if let Some(one) = value.get_ref().as_str() {
                problem.help = Some(format!("write [\"{}\"]", shorten(one).escape_debug()));
            }
            return self.refuse(problem);
        };
        if self.too_many(array.len(), value.span()) {
            return Value::Bad;
        }
        let read: Vec<Option<At<String>>> = array
            .iter()
            .map(|item| self.name(item).map(|value| At { value, at: item.span() }))
            .collect();
        read.into_iter().collect::<Option<Vec<_>>>().map_or(Value::Bad, Value::Names)
    }

    fn voltages(&mut self, key: &str, value: &Item<'_>) -> Value {
        let Some(table) = value.get_ref().as_table() else {
            return self.refuse(
                wrong_type(value, "a table of voltages")
                    .help("write { terminal = 3.3 } with the terminal's name"),
            );
        };
        if self.too_many(table.len(), value.span()) {
            return Value::Bad;
        }
        let mut out = Vec::new();
        let mut bad = false;
        for (name, item) in table.iter() {
            let what = format!("{key}.{}", shorten(name.get_ref()));
            match self.quantity(&what, item, Dim::Voltage, Bounds::between(-1e4, 1e4)) {
                Some(v) => {
                    out.push((At { value: name.get_ref().to_string(), at: name.span() }, v));
                }
                None => bad = true,
            }
        }
        if bad { Value::Bad } else { Value::Voltages(out) }
    }

    /// Where `part` of the content of a string lies in the case text. Only a plain
    /// one-line string can be pointed into; else the whole value is meant.
    pub(super) fn inside(&self, value: Span, content: &str, part: &Span) -> Span {
        let raw = self.text.get(value.clone()).unwrap_or("");
        let plain = raw.len() == content.len() + 2 && raw.get(1..raw.len() - 1) == Some(content);
        if plain && !part.is_empty() {
            value.start + 1 + part.start..value.start + 1 + part.end
        } else {
            value
        }
    }
}

/// An integer of any size and base as a number.
fn whole(digits: &str, radix: u32) -> Option<f64> {
    if radix == 10 {
        return digits.parse().ok();
    }
    i128::from_str_radix(digits, radix).ok().map(|v| v as f64)
}

/// A number outside what its key allows.
pub fn out_of_bounds(key: &str, at: Span, v: f64, dim: Dim, bounds: Bounds) -> Problem {
    let unit = if dim.unit().is_empty() { String::new() } else { format!(" {}", dim.unit()) };
    let range = range_text(bounds, &unit);
    let mut help = format!("`{key}` must be {range}");
    // The classic: degrees Celsius without saying so.
    if dim == Dim::Temperature && bounds.allows(v + 273.15) {
        help.push_str(&format!("; a plain number is K, write \"{} degC\" for Celsius", show(v)));
    }
    Problem::error("out-of-bounds", Some(at), format!("`{key}` is {}{unit}", show(v)))
        .label(format!("must be {range}"))
        .help(help)
}

/// "from 1 to 5 um", "above 0 um".
pub fn range_text(bounds: Bounds, unit: &str) -> String {
    let (low, high) = (show(bounds.low), show(bounds.high));
    if bounds.above_low {
        format!("above {low}{unit} and at most {high}{unit}")
    } else {
        format!("from {low}{unit} to {high}{unit}")
    }
}

fn word_list(words: &[Word]) -> String {
    let list: Vec<String> = words.iter().map(|w| format!("\"{}\"", w.word)).collect();
    list.join(", ")
}

/// A line of case file that gives this key, for messages about a missing one.
pub fn how_to_write(known: &KeySpec) -> String {
    let key = known.key;
    match known.kind {
        Kind::Quantity(Dim::Number, _) => format!("Write e.g. {key} = 1.5"),
        Kind::Quantity(dim, _) | Kind::QuantityOrTable(dim, ..) => {
            format!("Write e.g. {key} = \"{}\"", dim.example())
        }
        Kind::Quantities(dim, _) => format!("Write e.g. {key} = [\"{}\"]", dim.example()),
        Kind::Word(words) => format!("Write {key} = one of {}", word_list(words)),
        Kind::WordOrTable(words, spec) => {
            let inner = spec.keys.first().map_or("", |k| k.key);
            format!("Write {key} = one of {} or {{ {inner} = ... }}", word_list(words))
        }
        Kind::Name => format!("Write e.g. {key} = \"anode\""),
        Kind::File => format!("Write e.g. {key} = \"profile.csv\""),
        Kind::Names => format!("Write e.g. {key} = [\"anode\", \"well-tap\"]"),
        Kind::Table(_) => format!("Write a [{key}] table"),
        Kind::Tables(spec) if spec.id == "touch" => {
            format!("Write e.g. {key} = [{{ from = 1.0, to = 2.0 }}] or [{{ side = \"back\" }}]")
        }
        Kind::Tables(_) => format!("Write a [[{key}]] table"),
        _ => String::new(),
    }
}

/// Numbers and texts of a value and of lists in it, as written; false if it holds others.
fn loose(value: &Item<'_>, depth: usize, out: &mut Vec<At<String>>) -> bool {
    let written = match value.get_ref() {
        DeValue::Float(f) => f.as_str().to_string(),
        DeValue::Integer(i) => match whole(i.as_str(), i.radix()) {
            Some(v) => v.to_string(),
            None => return false,
        },
        DeValue::String(s) => s.to_string(),
        DeValue::Array(list) if depth < 2 && list.len() <= 1000 => {
            return list.iter().all(|v| loose(v, depth + 1, out));
        }
        _ => return false,
    };
    out.push(At { value: written, at: value.span() });
    true
}
