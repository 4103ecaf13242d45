//! Follows a dotted path along the key tables of the case file.

use toml_edit::{DocumentMut, Item, Value};

use super::constants::{self, CONSTANTS, ConstantSpec, Dim, ROWS};
use super::constants_read::laws;
use super::key_tables::CASE;
use super::keys::{Absent, Bounds, KeySpec, Kind, TableSpec, nearest};
use super::path::{PathError, number};

/// One step down in the file.
#[derive(Debug, Clone, PartialEq)]
pub enum Step {
    Key(String),
    /// Entry of a list, from 0.
    Entry(usize),
}

/// What stands at the end of a path.
#[derive(Debug, Clone, Copy)]
pub enum Leaf {
    Key(&'static KeySpec),
    /// An entry of a list of numbers, or a bias voltage.
    Number(Dim, Bounds),
    Constant(&'static ConstantSpec),
    /// A word or name that is no key of its own.
    Word,
    /// A named motion of everything right of this x [µm].
    Slide {
        right_of: f64,
    },
}

/// Where a path leads.
#[derive(Debug, Clone)]
pub struct Place {
    pub steps: Vec<Step>,
    pub leaf: Leaf,
}

/// Follows `path` along the key tables and, for lists, along the entries of `doc`.
pub fn resolve(doc: &DocumentMut, path: &str) -> Result<Place, PathError> {
    let segments: Vec<&str> = path.split('.').collect();
    if path.trim().is_empty() || segments.iter().any(|s| s.is_empty()) {
        return Err(PathError::new(
            "no-such-path",
            format!("`{path}` is no path"),
            "write keys and names with dots between them, e.g. well.n-well.falloff",
        ));
    }
    let mut walk = Walk { path, segments, at: 0, steps: Vec::new(), root: doc.as_item() };
    let leaf = walk.table(&CASE, Some(doc.as_item()))?;
    if walk.at < walk.segments.len() {
        let up_to = walk.segments.get(..walk.at).unwrap_or(&[]).join(".");
        return Err(PathError::new(
            "no-such-path",
            format!("`{path}` goes on after a value"),
            format!("the path ends at `{up_to}`"),
        ));
    }
    Ok(Place { steps: walk.steps, leaf })
}

struct Walk<'a> {
    path: &'a str,
    segments: Vec<&'a str>,
    /// Segments used.
    at: usize,
    steps: Vec<Step>,
    root: &'a Item,
}

type Found<'a> = Option<&'a Item>;

impl<'a> Walk<'a> {
    /// The next segment, or an error that says what could follow.
    fn next(&mut self, what: &str, could: &[String]) -> Result<&'a str, PathError> {
        let Some(segment) = self.segments.get(self.at).copied() else {
            return Err(PathError::new(
                "not-a-value",
                format!("`{}` is {what}, not a value", self.path),
                format!("go on with one of: {}", list(could)),
            ));
        };
        self.at += 1;
        Ok(segment)
    }

    fn unknown(&self, what: &str, segment: &str, could: &[String]) -> PathError {
        let help = match nearest(segment, could.iter().map(String::as_str)) {
            Some(near) => {
                let mut path: Vec<&str> = self.segments.clone();
                if let Some(s) = self.at.checked_sub(1).and_then(|i| path.get_mut(i)) {
                    *s = near;
                }
                format!("did you mean `{}`?", path.join("."))
            }
            None if could.is_empty() => "there is none in this case".to_string(),
            None => format!("there is: {}", list(could)),
        };
        PathError::new("no-such-path", format!("`{}`: {what} `{segment}`", self.path), help)
    }

    fn table(&mut self, spec: &'static TableSpec, item: Found<'a>) -> Result<Leaf, PathError> {
        let selected = selected(spec, item);
        let could = keys(spec, selected.as_deref());
        let segment = self.next("a table", &could)?;
        let Some(key) = spec.key_under(segment, selected.as_deref()) else {
            return Err(self.unknown(&format!("{} has no key", spec.name), segment, &could));
        };
        if !key.applies(selected.as_deref()) {
            return Err(PathError::new(
                "key-not-of-kind",
                format!(
                    "`{}`: `{}` is no key with {} = \"{}\"",
                    self.path,
                    key.key,
                    spec.selector.unwrap_or("kind"),
                    selected.unwrap_or_default()
                ),
                format!("keys here: {}", list(&could)),
            ));
        }
        self.steps.push(Step::Key(key.key.to_string()));
        let item = item.and_then(|i| i.get(key.key));
        self.value(key, item)
    }

    fn value(&mut self, key: &'static KeySpec, item: Found<'a>) -> Result<Leaf, PathError> {
        let ends = self.at >= self.segments.len();
        match key.kind {
            Kind::Table(spec) => self.table(spec, item),
            Kind::WordOrTable(_, spec) | Kind::QuantityOrTable(_, _, spec) if !ends => {
                self.table(spec, item)
            }
            Kind::Tables(spec) => self.entry(key, spec, item),
            Kind::Quantities(dim, bounds) if !ends => {
                self.index(item)?;
                Ok(Leaf::Number(dim, bounds))
            }
            Kind::Words(_) | Kind::Names if !ends => {
                self.index(item)?;
                Ok(Leaf::Word)
            }
            Kind::Voltages => {
                let could = self.terminals();
                let name = self.next("a table of voltages", &could)?;
                if !could.iter().any(|t| t == name) {
                    return Err(self.unknown("the case has no terminal", name, &could));
                }
                self.steps.push(Step::Key(name.to_string()));
                Ok(Leaf::Number(Dim::Voltage, Bounds::between(-1e4, 1e4)))
            }
            Kind::Constants => self.constant(),
            _ => Ok(Leaf::Key(key)),
        }
    }

    /// An entry of a list of tables: by name, by index, or by a kind that occurs once.
    fn entry(
        &mut self,
        key: &'static KeySpec,
        spec: &'static TableSpec,
        list: Found<'a>,
    ) -> Result<Leaf, PathError> {
        let count = length(list);
        let named = spec.key("name").is_some();
        let label = |i: usize| {
            let entry = list.and_then(|l| l.get(i));
            let by = if named { "name" } else { spec.selector.unwrap_or("name") };
            entry.and_then(|e| e.get(by)).and_then(Item::as_str).map(str::to_string)
        };
        let labels: Vec<Option<String>> = (0..count).map(label).collect();
        let mut could: Vec<String> = labels.iter().flatten().cloned().collect();
        if could.is_empty() {
            could = (0..count).map(|i| i.to_string()).collect();
        }
        could.sort();
        could.dedup();
        let segment = self.next(&format!("a list ({})", spec.name), &could)?;
        let mut same =
            (0..count).filter(|i| labels.get(*i).and_then(Option::as_deref) == Some(segment));
        let index = match (same.next(), same.next()) {
            (Some(first), None) => first,
            (Some(_), Some(_)) => {
                let each: Vec<String> = (0..count)
                    .filter(|i| labels.get(*i).and_then(Option::as_deref) == Some(segment))
                    .map(|i| format!("{}.{i}", key.key))
                    .collect();
                return Err(PathError::new(
                    "ambiguous-path",
                    format!("`{}`: {} of {} are `{segment}`", self.path, each.len(), spec.name),
                    format!("say which: {}", each.join(", ")),
                ));
            }
            (None, _) => match segment.parse::<usize>() {
                Ok(i) if i < count => i,
                _ => return Err(self.unknown(&format!("no {}", spec.name), segment, &could)),
            },
        };
        self.steps.push(Step::Entry(index));
        let entry = list.and_then(|l| l.get(index));
        if key.key == "slide" && self.at >= self.segments.len() {
            let at = entry.and_then(|e| e.get("right_of")).and_then(Item::as_value);
            let Some(at) = at else {
                return Err(PathError::new(
                    "bad-slide",
                    format!("`{}`: this [[slide]] has no `right_of`", self.path),
                    "give the x right of which the layout moves",
                ));
            };
            return Ok(Leaf::Slide { right_of: number(at, Dim::Length, "right_of")? });
        }
        self.table(spec, entry)
    }

    fn index(&mut self, list: Found<'a>) -> Result<(), PathError> {
        let could: Vec<String> = (0..length(list)).map(|i| i.to_string()).collect();
        let segment = self.next("a list", &could)?;
        match segment.parse::<usize>() {
            Ok(i) if i < could.len() => {
                self.steps.push(Step::Entry(i));
                Ok(())
            }
            _ => Err(self.unknown("no entry", segment, &could)),
        }
    }

    fn constant(&mut self) -> Result<Leaf, PathError> {
        let all: Vec<String> = laws().into_iter().map(str::to_string).collect();
        let law = self.next("all constants", &all)?;
        if !all.iter().any(|l| l == law) {
            return Err(self.unknown("no law has constants by the name", law, &all));
        }
        let rows = ROWS.iter().filter(|r| r.0 == law).map(|r| r.1);
        let could: Vec<String> = CONSTANTS
            .iter()
            .filter(|c| c.law == law)
            .map(|c| c.key)
            .chain(rows.clone())
            .map(str::to_string)
            .collect();
        let key = self.next("the constants of a law", &could)?;
        self.steps.extend([Step::Key(law.to_string()), Step::Key(key.to_string())]);
        match constants::spec(law, key) {
            Some(spec) => Ok(Leaf::Constant(spec)),
            None if rows.into_iter().any(|r| r == key) => Ok(Leaf::Word),
            None => Err(self.unknown(&format!("{law} has no constant"), key, &could)),
        }
    }

    /// Names of terminals and gates.
    fn terminals(&self) -> Vec<String> {
        let names = |list: &str| -> Vec<String> {
            let list = self.root.get(list);
            (0..length(list))
                .filter_map(|i| list?.get(i)?.get("name")?.as_str().map(str::to_string))
                .collect()
        };
        [names("terminal"), names("gate")].concat()
    }
}

/// The word of the table's selector, given or default.
fn selected(spec: &TableSpec, item: Found<'_>) -> Option<String> {
    let selector = spec.key(spec.selector?)?;
    let given = item.and_then(|i| i.get(selector.key)).and_then(Item::as_str);
    match (given, selector.absent) {
        (Some(word), _) => Some(word.to_string()),
        (None, Absent::Word(word)) => Some(word.to_string()),
        _ => None,
    }
}

fn keys(spec: &TableSpec, selected: Option<&str>) -> Vec<String> {
    let mut keys: Vec<String> =
        spec.keys.iter().filter(|k| k.applies(selected)).map(|k| k.key.to_string()).collect();
    keys.dedup();
    keys
}

/// Entries of a list, written either way.
fn length(item: Found<'_>) -> usize {
    match item {
        Some(Item::ArrayOfTables(list)) => list.len(),
        Some(Item::Value(Value::Array(list))) => list.len(),
        _ => 0,
    }
}

/// A few of many.
fn list(all: &[String]) -> String {
    const MOST: usize = 24;
    let mut text = all.iter().take(MOST).cloned().collect::<Vec<_>>().join(", ");
    if all.len() > MOST {
        text.push_str(&format!(", … ({} in all)", all.len()));
    }
    text
}
