//! One axis of a sweep: which key of the case, and its values.

use toml_edit::{Item, TableLike, Value};

use super::plan::Mode;
use super::random::Random;
use crate::case::constants::Dim;
use crate::case::keys::nearest;
use crate::case::{Problem, Quantity, Span, quantity_at, units};

/// Most values of one axis.
pub const MOST: usize = 1_000_000;

/// One key of the case and the values it takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Dotted path into the case.
    pub path: String,
    /// The path's last parts, as many as tell it from the other axes: used in names.
    pub short: String,
    /// Unit of [`Level::number`]; empty if the values are no numbers.
    pub unit: String,
    pub levels: Vec<Level>,
}

/// One value of an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Level {
    /// As it is written into the case (TOML).
    pub toml: String,
    /// The value in a file name: letters, digits, `.`, `+`, `-`; different on each level.
    pub label: String,
    /// In the plain unit of the key, if it is a number.
    pub number: Option<f64>,
}

impl Level {
    fn new(
        value: &Value,
        text: &str,
        quantity: Option<&Quantity>,
        path: &str,
    ) -> Result<Level, Problem> {
        let plain = match value.span().and_then(|at| text.get(at)) {
            Some(as_written) => as_written.trim().to_string(),
            None => value.clone().decorated("", "").to_string(),
        };
        let shown = value.as_str().map_or_else(|| plain.clone(), str::to_string);
        let number = match quantity {
            Some(q) => Some(plain_number(value, q.dim).map_err(|text| {
                Problem::error("bad-axis-value", value.span(), format!("`{path}`: {text}"))
                    .label("cannot be a value of this key")
                    .help(format!("write {}, e.g. {}", q.dim.name(), q.dim.example()))
            })?),
            None => None,
        };
        Ok(Level { toml: plain, label: slug(&shown), number })
    }
}

/// Letters, digits, `.`, `+`, `-`; others are dropped, blanks too.
pub fn slug(text: &str) -> String {
    let kept: String = text
        .chars()
        .filter(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '+' | '-'))
        .take(60)
        .collect();
    if kept.is_empty() { "value".to_string() } else { kept }
}

fn plain_number(value: &Value, dim: Dim) -> Result<f64, String> {
    let number = match value {
        Value::Integer(i) => *i.value() as f64,
        Value::Float(f) => *f.value(),
        Value::String(s) => units::parse(s.value(), dim).map_err(|p| p.text)?,
        _ => return Err(format!("{} is wanted", dim.name())),
    };
    if number.is_finite() { Ok(number) } else { Err("a finite number is wanted".to_string()) }
}

/// Reads the axis `path` = `item` of the sweep `text` on the case `base`.
pub fn read(
    text: &str,
    path: &str,
    key_at: Option<Span>,
    item: &Item,
    base: &str,
    mode: Mode,
    random: &mut Random,
) -> Result<Axis, Problem> {
    let quantity = quantity_at(base, path).map_err(|e| {
        Problem::error("bad-axis", key_at.clone(), e.text).label("no key of the case").help(e.help)
    })?;
    let mut levels = match item.as_value() {
        Some(Value::Array(list)) => list
            .iter()
            .map(|v| Level::new(v, text, quantity.as_ref(), path))
            .collect::<Result<Vec<_>, _>>()?,
        _ => match item.as_table_like() {
            Some(table) => {
                let Some(q) = &quantity else {
                    return Err(Problem::error(
                        "bad-axis",
                        key_at,
                        format!("`{path}` is no number: it has no range"),
                    )
                    .label("needs a list")
                    .help("list its values, e.g. [\"constant\", \"klaassen-1992\"]"));
                };
                let range = Range::read(path, key_at.clone(), table, q, mode)?;
                let values = range.values(mode, random);
                values
                    .iter()
                    .map(|v| Level::new(v, "", Some(q), path))
                    .collect::<Result<Vec<_>, _>>()?
            }
            None => {
                return Err(Problem::error(
                    "bad-axis",
                    item.span().or(key_at),
                    format!("`{path}`: an axis is a list of values or a range"),
                )
                .label("neither list nor range")
                .help("write e.g. [1.0, 1.5] or { from = 1.0, to = 2.0, count = 5 }"));
            }
        },
    };
    if levels.is_empty() {
        return Err(Problem::error("bad-axis", item.span(), format!("`{path}` has no values"))
            .label("nothing in it")
            .help("give at least one value"));
    }
    if let (Mode::LatinHypercube { samples, .. }, Some(Value::Array(_))) = (mode, item.as_value()) {
        // Each value of a list the same number of times, to within one.
        let order = random.order(samples);
        let count = levels.len();
        levels = order.iter().filter_map(|k| levels.get(k % count).cloned()).collect();
    } else if mode == Mode::Grid {
        distinct(path, item, &levels)?;
    }
    name_apart(&mut levels);
    let unit = quantity.map_or(String::new(), |q| q.dim.unit().to_string());
    Ok(Axis { path: path.to_string(), short: path.to_string(), unit, levels })
}

/// In a grid, a value given twice is a case run twice.
fn distinct(path: &str, item: &Item, levels: &[Level]) -> Result<(), Problem> {
    let mut seen: Vec<&str> = levels.iter().map(|l| l.toml.as_str()).collect();
    seen.sort_unstable();
    let twice = seen.windows(2).find(|w| w.first() == w.last()).and_then(|w| w.first());
    match twice {
        Some(value) => Err(Problem::error(
            "bad-axis",
            item.span(),
            format!("`{path}` has the value {value} twice"),
        )
        .label("the same case twice")
        .help("leave one of them out")),
        None => Ok(()),
    }
}

/// Labels of different values differ.
fn name_apart(levels: &mut [Level]) {
    let mut values: std::collections::BTreeMap<String, Vec<String>> = Default::default();
    for level in levels {
        let same = values.entry(level.label.clone()).or_default();
        let at = same.iter().position(|t| *t == level.toml).unwrap_or_else(|| {
            same.push(level.toml.clone());
            same.len() - 1
        });
        if at > 0 {
            level.label = format!("{}-{}", level.label, at + 1);
        }
    }
}

/// `{ from, to, count, scale }`.
struct Range {
    from: f64,
    to: f64,
    count: usize,
    log: bool,
    /// Both ends are text with this unit; the values are too.
    suffix: Option<String>,
    whole: bool,
}

impl Range {
    fn read(
        path: &str,
        key_at: Option<Span>,
        table: &dyn TableLike,
        quantity: &Quantity,
        mode: Mode,
    ) -> Result<Range, Problem> {
        const KEYS: [&str; 4] = ["from", "to", "count", "scale"];
        let problem = |at: Option<Span>, text: String, help: &str| {
            Problem::error("bad-range", at.or(key_at.clone()), format!("`{path}`: {text}"))
                .label("this range")
                .help(help)
        };
        for (key, value) in table.iter() {
            if !KEYS.contains(&key) {
                let help = match nearest(key, KEYS) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => "a range has from, to, count and scale".to_string(),
                };
                return Err(problem(value.span(), format!("a range has no `{key}`"), &help));
            }
        }
        let end = |key: &str| -> Result<(f64, f64, Option<String>), Problem> {
            let value = table.get(key).and_then(Item::as_value).ok_or_else(|| {
                problem(
                    None,
                    format!("the range needs `{key}`"),
                    "e.g. { from = 1, to = 2, count = 5 }",
                )
            })?;
            let plain = plain_number(value, quantity.dim)
                .map_err(|text| problem(value.span(), text, quantity.dim.example()))?;
            let split = value.as_str().and_then(split_unit);
            let (as_written, unit) = split.map_or((plain, None), |(n, u)| (n, Some(u)));
            Ok((plain, as_written, unit))
        };
        let (plain_from, from, unit) = end("from")?;
        let (plain_to, to, other) = end("to")?;
        let suffix = unit.filter(|u| Some(u) == other.as_ref());
        let (from, to) = if suffix.is_some() { (from, to) } else { (plain_from, plain_to) };
        let log = match table.get("scale").map(|s| (s.as_str(), s.span())) {
            None => false,
            Some((Some("linear"), _)) => false,
            Some((Some("log"), _)) => true,
            Some((_, at)) => {
                return Err(problem(at, "no such scale".to_string(), "\"linear\" or \"log\""));
            }
        };
        if log && (from <= 0.0 || to <= 0.0) {
            return Err(problem(
                None,
                "a log range needs ends above zero".to_string(),
                "use scale = \"linear\", or positive ends",
            ));
        }
        let sampled = matches!(mode, Mode::LatinHypercube { .. });
        let count = match (table.get("count"), sampled) {
            (Some(c), true) => {
                return Err(problem(
                    c.span(),
                    "a Latin hypercube has no count per axis".to_string(),
                    "leave it out: `samples` says how many cases there are",
                ));
            }
            (None, true) => 0,
            (Some(c), false) => match c.as_integer() {
                Some(n) if (1..=MOST as i64).contains(&n) => n as usize,
                _ => {
                    return Err(problem(
                        c.span(),
                        "count must be a whole number from 1".to_string(),
                        "e.g. count = 5",
                    ));
                }
            },
            (None, false) => {
                return Err(problem(None, "the range needs `count`".to_string(), "e.g. count = 5"));
            }
        };
        if from == to && count != 1 {
            return Err(problem(
                None,
                "from and to are the same".to_string(),
                "give two ends, or a list with one value",
            ));
        }
        let whole = quantity.dim == Dim::Number && path == "grid.nodes";
        Ok(Range { from, to, count, log, suffix, whole })
    }

    /// Where the share `u` of the way from one end to the other lies.
    fn at(&self, u: f64) -> f64 {
        if self.log {
            (self.from.ln() + u * (self.to / self.from).ln()).exp()
        } else {
            self.from + u * (self.to - self.from)
        }
    }

    fn values(&self, mode: Mode, random: &mut Random) -> Vec<Value> {
        let exact: Vec<f64> = match mode {
            Mode::LatinHypercube { samples, .. } => {
                let order = random.order(samples);
                let share = |k: usize| (k as f64 + random.unit()) / samples as f64;
                order.into_iter().map(share).map(|u| self.at(u)).collect()
            }
            _ if self.count == 1 => vec![self.from],
            _ => (0..self.count)
                .map(|k| match k {
                    0 => self.from,
                    k if k + 1 == self.count => self.to,
                    k => self.at(k as f64 / (self.count - 1) as f64),
                })
                .collect(),
        };
        // Six digits make readable cases; more if two would become one.
        let distinct = |digits: usize| {
            let mut all: Vec<f64> = exact.iter().map(|v| rounded(*v, digits)).collect();
            all.sort_by(f64::total_cmp);
            all.windows(2).all(|w| w.first() != w.last())
        };
        let digits = if distinct(6) { 6 } else { 12 };
        let last = exact.len().saturating_sub(1);
        let ends = !matches!(mode, Mode::LatinHypercube { .. });
        exact
            .iter()
            .enumerate()
            // The ends are as given.
            .map(|(k, v)| if ends && (k == 0 || k == last) { *v } else { rounded(*v, digits) })
            .map(|v| self.value(v))
            .collect()
    }

    fn value(&self, v: f64) -> Value {
        if self.whole {
            return Value::from(v.round() as i64);
        }
        match &self.suffix {
            Some(unit) => Value::from(format!("{} {unit}", short(v))),
            // A TOML number, as short as it is exact.
            None => short(v).parse().unwrap_or_else(|_| Value::from(v)),
        }
    }
}

/// "12.5 um" to its number and unit.
fn split_unit(text: &str) -> Option<(f64, String)> {
    let text = text.trim();
    let at = text.rfind(char::is_whitespace)?;
    let (number, unit) = text.split_at(at);
    Some((number.trim().parse().ok()?, unit.trim().to_string()))
}

/// To so many significant digits.
fn rounded(v: f64, digits: usize) -> f64 {
    format!("{v:.*e}", digits.saturating_sub(1)).parse().unwrap_or(v)
}

/// The shortest text that reads back as `v`.
fn short(v: f64) -> String {
    let size = v.abs();
    if v == 0.0 || (1e-3..1e6).contains(&size) { format!("{v}") } else { format!("{v:e}") }
}

/// Gives each axis the shortest end of its path that no other has.
pub fn shorten(axes: &mut [Axis]) {
    let paths: Vec<Vec<String>> = axes
        .iter()
        .map(|a| {
            a.path
                .split('.')
                .map(|s| s.split('_').map(slug).collect::<Vec<_>>().join("_"))
                .collect()
        })
        .collect();
    let end = |k: usize, n: usize| -> String {
        let path = paths.get(k).map(Vec::as_slice).unwrap_or(&[]);
        path.get(path.len().saturating_sub(n)..).unwrap_or(path).join(".")
    };
    for (k, axis) in axes.iter_mut().enumerate() {
        let longest = paths.get(k).map_or(1, Vec::len);
        let alone = |n: &usize| (0..paths.len()).all(|j| j == k || end(j, *n) != end(k, *n));
        axis.short = match (1..=longest).find(alone) {
            Some(n) => end(k, n),
            None => format!("{}-{k}", end(k, longest)),
        };
    }
}
