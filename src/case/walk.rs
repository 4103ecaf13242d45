//! Walks a parsed TOML table along its [`TableSpec`], collecting every problem.

use std::collections::BTreeMap;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::constants::Constants;
use super::keys::{Absent, Choose, Group, KeySpec, TableSpec, nearest};
use super::messages::{group_help, missing, not_of_kind, shorten, wrong_type};
use super::model::Span;
use super::problem::Problem;

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct At<T> {
    pub value: T,
    pub at: Span,
}

/// What was read for one key; `Bad` if a problem was already reported for it.
#[derive(Debug)]
pub enum Value {
    Number(f64),
    Numbers(Vec<At<f64>>),
    Text(String),
    /// A word of the key's list, by its table entry.
    Word(&'static str),
    Words(Vec<&'static str>),
    Names(Vec<At<String>>),
    /// Each as written, texts without their quotes.
    Loose(Vec<At<String>>),
    Voltages(Vec<(At<String>, f64)>),
    Table(Read),
    Tables(Vec<Read>),
    /// The constants, and where each law's table stands.
    Constants(Constants, Vec<(&'static str, Span)>),
    Bad,
}

/// One key that was there.
#[derive(Debug)]
pub struct Field {
    pub key_at: Span,
    pub at: Span,
    pub value: Value,
}

/// One table, read.
#[derive(Debug)]
pub struct Read {
    pub spec: &'static TableSpec,
    pub at: Span,
    pub fields: BTreeMap<&'static str, Field>,
    /// Something is missing or wrong; its problem has been reported.
    pub bad: bool,
}

impl Read {
    pub fn field(&self, key: &str) -> Option<&Field> {
        self.fields.get(key)
    }

    /// The entry of the key table that holds for `key` here.
    fn spec_of(&self, key: &str) -> Option<&'static KeySpec> {
        let selected = self.spec.selector.and_then(|s| match self.field(s).map(|f| &f.value) {
            Some(Value::Word(w)) => Some(*w),
            _ => None,
        });
        self.spec.key_under(key, selected)
    }

    /// Where the value of `key` stands; the table itself if it is absent.
    pub fn at(&self, key: &str) -> Span {
        self.field(key).map_or_else(|| self.at.clone(), |f| f.at.clone())
    }

    /// The number given, else the default of the key table.
    pub fn number(&self, key: &str) -> Option<f64> {
        match self.field(key).map(|f| &f.value) {
            Some(Value::Number(v)) => Some(*v),
            Some(_) => None,
            None => match self.spec_of(key)?.absent {
                Absent::Number(v) => Some(v),
                _ => None,
            },
        }
    }

    pub fn numbers(&self, key: &str) -> Option<&[At<f64>]> {
        match self.field(key).map(|f| &f.value) {
            Some(Value::Numbers(v)) => Some(v),
            _ => None,
        }
    }

    pub fn text(&self, key: &str) -> Option<At<String>> {
        match self.field(key) {
            Some(Field { value: Value::Text(v), at, .. }) => {
                Some(At { value: v.clone(), at: at.clone() })
            }
            _ => None,
        }
    }

    /// The word given, else the default of the key table.
    pub fn word(&self, key: &str) -> Option<&'static str> {
        match self.field(key).map(|f| &f.value) {
            Some(Value::Word(w)) => Some(w),
            Some(_) => None,
            None => match self.spec_of(key)?.absent {
                Absent::Word(w) => Some(w),
                _ => None,
            },
        }
    }

    pub fn words(&self, key: &str) -> Vec<&'static str> {
        match self.field(key).map(|f| &f.value) {
            Some(Value::Words(w)) => w.clone(),
            Some(_) => Vec::new(),
            None => match self.spec_of(key).map(|k| k.absent) {
                Some(Absent::Words(w)) => w.to_vec(),
                _ => Vec::new(),
            },
        }
    }

    pub fn names(&self, key: &str) -> &[At<String>] {
        match self.field(key).map(|f| &f.value) {
            Some(Value::Names(v)) => v,
            _ => &[],
        }
    }

    /// The value or values of a key that takes any.
    pub fn loose(&self, key: &str) -> &[At<String>] {
        match self.field(key).map(|f| &f.value) {
            Some(Value::Loose(v)) => v,
            _ => &[],
        }
    }

    pub fn table(&self, key: &str) -> Option<&Read> {
        match self.field(key).map(|f| &f.value) {
            Some(Value::Table(t)) => Some(t),
            _ => None,
        }
    }

    pub fn tables(&self, key: &str) -> &[Read] {
        match self.field(key).map(|f| &f.value) {
            Some(Value::Tables(t)) => t,
            _ => &[],
        }
    }
}

/// Problems kept from one file.
pub const MOST_PROBLEMS: usize = 1000;
/// Entries read from one list of tables or names: checks compare each with each.
const MOST_ITEMS: usize = 1000;

/// Reads values and keeps what is wrong with them.
pub struct Walker<'a> {
    /// The case text, to point inside strings.
    pub text: &'a str,
    pub problems: Vec<Problem>,
}

impl Walker<'_> {
    /// Keeps a problem; a file with more than [`MOST_PROBLEMS`] is another kind of file.
    pub fn push(&mut self, problem: Problem) {
        if self.problems.len() < MOST_PROBLEMS {
            self.problems.push(problem);
        }
    }

    /// True, and reported, if a list is longer than any layout needs.
    pub fn too_many(&mut self, length: usize, at: Span) -> bool {
        let many = length > MOST_ITEMS;
        if many {
            self.push(
                Problem::error("too-many", Some(at), format!("{length} entries in one list"))
                    .label("too many")
                    .help(format!("at most {MOST_ITEMS} are read")),
            );
        }
        many
    }

    /// Reads `table`, found at `at`, along `spec`.
    pub fn table(&mut self, table: &DeTable<'_>, at: Span, spec: &'static TableSpec) -> Read {
        let mut read = Read { spec, at, fields: BTreeMap::new(), bad: false };
        let selected = self.select(table, &mut read);
        // A wrong or future selector says nothing about the other keys.
        let lost = spec.selector.is_some() && selected.is_none();
        let mut meant: Vec<&'static str> = Vec::new();
        for (key, value) in table.iter() {
            let name: &str = key.get_ref();
            let Some(known) = spec.key_under(name, selected) else {
                meant.extend(self.unknown(key, spec));
                read.bad = true;
                continue;
            };
            if Some(known.key) == spec.selector || lost {
                continue;
            }
            if !known.applies(selected) {
                self.push(not_of_kind(key, known, spec, selected.unwrap_or("")));
                read.bad = true;
                continue;
            }
            let value_read = self.value(known, value);
            read.bad |= matches!(value_read, Value::Bad);
            let field = Field { key_at: key.span(), at: value.span(), value: value_read };
            read.fields.insert(known.key, field);
        }
        if !lost {
            self.missing(&mut read, selected, &meant);
        }
        read.bad |= lost;
        read
    }

    /// Reads the key that decides which other keys apply.
    fn select(&mut self, table: &DeTable<'_>, read: &mut Read) -> Option<&'static str> {
        let known = read.spec.key(read.spec.selector?)?;
        let Some((key, value)) = table.iter().find(|(k, _)| k.get_ref() == known.key) else {
            return match known.absent {
                Absent::Word(w) => Some(w),
                _ => {
                    let meant = table.keys().any(|k| nearest(k.get_ref(), [known.key]).is_some());
                    if !meant {
                        self.push(missing(known, read.spec, &read.at));
                    }
                    None
                }
            };
        };
        let value_read = self.value(known, value);
        let word = match value_read {
            Value::Word(w) => Some(w),
            _ => None,
        };
        let field = Field { key_at: key.span(), at: value.span(), value: value_read };
        read.fields.insert(known.key, field);
        word
    }

    fn unknown(
        &mut self,
        key: &Spanned<std::borrow::Cow<'_, str>>,
        spec: &'static TableSpec,
    ) -> Option<&'static str> {
        if self.problems.len() >= MOST_PROBLEMS {
            return None;
        }
        let name: &str = key.get_ref();
        let near = nearest(name, spec.keys.iter().map(|k| k.key));
        let text = format!("{} has no key `{}`", spec.name, shorten(name));
        let mut problem = Problem::error("unknown-key", Some(key.span()), text);
        if let Some(near) = near {
            problem = problem.label(format!("did you mean `{near}`?"));
            problem.replacement = Some(near.to_string());
            problem.help = Some(format!("a key with a similar name is `{near}`"));
        } else {
            let mut keys: Vec<&str> = spec.keys.iter().map(|k| k.key).collect();
            keys.dedup();
            problem = problem.label("unknown key").help(format!(
                "keys of {}: {}",
                spec.name,
                keys.join(", ")
            ));
        }
        self.push(problem);
        near
    }

    fn missing(&mut self, read: &mut Read, selected: Option<&str>, meant: &[&str]) {
        let (spec, at) = (read.spec, read.at.clone());
        for known in spec.keys {
            let needed = known.absent == Absent::Error && known.applies(selected);
            if needed && !read.fields.contains_key(known.key) {
                read.bad = true;
                if !meant.contains(&known.key) {
                    self.push(missing(known, spec, &at));
                }
            }
        }
        for group in spec.groups.iter().filter(|g| g.applies(selected)) {
            read.bad |= self.group(read, group, meant);
        }
    }

    /// Checks a group of keys; true if it is not as it must be.
    fn group(&mut self, read: &Read, group: &Group, meant: &[&str]) -> bool {
        let there: Vec<&Field> = group.keys.iter().filter_map(|k| read.field(k)).collect();
        let list = group.keys.iter().map(|k| format!("`{k}`")).collect::<Vec<_>>().join(" or ");
        if there.is_empty() {
            if group.choose == Choose::AtMostOne {
                return false;
            }
            if !group.keys.iter().any(|k| meant.contains(k)) {
                let text = format!("{} needs {list}", read.spec.name);
                self.push(
                    Problem::error("missing-key", Some(read.at.clone()), text)
                        .label(format!("{list} is missing"))
                        .help(group_help(read.spec, group)),
                );
            }
            return true;
        }
        if let (true, [first, second, ..]) = (group.choose != Choose::AtLeastOne, &there[..]) {
            let (first, second) = if first.key_at.start <= second.key_at.start {
                (first, second)
            } else {
                (second, first)
            };
            let text = format!("{} takes {list}, not both", read.spec.name);
            self.push(
                Problem::error("exclusive-keys", Some(second.key_at.clone()), text)
                    .label("leave one of them out")
                    .other(first.key_at.clone(), "already given here")
                    .help(group_help(read.spec, group)),
            );
            return true;
        }
        false
    }

    /// The tables of `value`, which must be a list of tables.
    pub fn tables(&mut self, value: &Spanned<DeValue<'_>>, spec: &'static TableSpec) -> Value {
        let wanted = format!("a list of tables ({})", spec.name);
        let Some(array) = value.get_ref().as_array() else {
            self.push(wrong_type(value, &wanted));
            return Value::Bad;
        };
        // A list of `[[…]]` tables is marked at its first header.
        if self.too_many(array.len(), value.span()) {
            return Value::Bad;
        }
        let mut out = Vec::new();
        for item in array.iter() {
            match item.get_ref().as_table() {
                Some(table) => out.push(self.table(table, item.span(), spec)),
                None => {
                    self.push(wrong_type(item, &format!("a table ({})", spec.name)));
                    return Value::Bad;
                }
            }
        }
        Value::Tables(out)
    }
}
