//! How the keys of a case file are described. One description per key drives the
//! reader, its messages and the JSON Schema.

use super::constants::Dim;

/// The numbers that a key may take, in its plain unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    pub low: f64,
    pub high: f64,
    /// The low end itself is not allowed.
    pub above_low: bool,
}

impl Bounds {
    pub const ANY: Bounds =
        Bounds { low: f64::NEG_INFINITY, high: f64::INFINITY, above_low: false };

    pub const fn between(low: f64, high: f64) -> Bounds {
        Bounds { low, high, above_low: false }
    }

    /// Above `low`, at most `high`.
    pub const fn above(low: f64, high: f64) -> Bounds {
        Bounds { low, high, above_low: true }
    }

    pub fn allows(&self, v: f64) -> bool {
        v <= self.high && if self.above_low { v > self.low } else { v >= self.low }
    }
}

/// One word of a list of words.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Word {
    pub word: &'static str,
    pub doc: &'static str,
}

pub const fn word(word: &'static str, doc: &'static str) -> Word {
    Word { word, doc }
}

/// What the value of a key is.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// Free text.
    Text,
    /// The name of a piece or terminal.
    Name,
    /// The name of a file beside the case.
    File,
    Quantity(Dim, Bounds),
    /// A list of quantities.
    Quantities(Dim, Bounds),
    /// A whole number, from and to.
    Count(u64, u64),
    Word(&'static [Word]),
    Words(&'static [Word]),
    /// A list of terminal names.
    Names,
    Table(&'static TableSpec),
    Tables(&'static TableSpec),
    /// A word of the list, or a table.
    WordOrTable(&'static [Word], &'static TableSpec),
    /// A quantity, or a table.
    QuantityOrTable(Dim, Bounds, &'static TableSpec),
    /// A number, a text, or a list of them, for a key that another one names: with the
    /// unit of that key.
    Loose,
    /// Voltages by terminal name.
    Voltages,
    /// Tables of constants by law.
    Constants,
}

/// What holds if a key is absent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Absent {
    /// It is an error.
    Error,
    /// The document says what then happens.
    Nothing,
    Number(f64),
    Word(&'static str),
    /// The word list in force.
    Words(&'static [&'static str]),
}

/// One key of one table.
#[derive(Debug, Clone, Copy)]
pub struct KeySpec {
    pub key: &'static str,
    pub kind: Kind,
    pub absent: Absent,
    /// The selector's words that this key belongs to; empty: all.
    pub only: &'static [&'static str],
    pub doc: &'static str,
}

/// How many of a group of keys must be there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Choose {
    ExactlyOne,
    AtMostOne,
    AtLeastOne,
}

/// A group of keys that depend on each other.
#[derive(Debug, Clone, Copy)]
pub struct Group {
    pub choose: Choose,
    pub keys: &'static [&'static str],
    /// The selector's words that it holds for; empty: all.
    pub only: &'static [&'static str],
}

/// One table of the case file.
#[derive(Debug)]
pub struct TableSpec {
    /// As messages call it, e.g. `[wafer]`.
    pub name: &'static str,
    /// Name in the schema's definitions.
    pub id: &'static str,
    /// The key whose word decides which other keys apply.
    pub selector: Option<&'static str>,
    pub keys: &'static [KeySpec],
    pub groups: &'static [Group],
    pub doc: &'static str,
}

impl TableSpec {
    /// The first entry of that name.
    pub fn key(&self, key: &str) -> Option<&'static KeySpec> {
        self.keys.iter().find(|k| k.key == key)
    }

    /// The entry of that name that applies under the selector's word, else the first:
    /// a key may mean one thing under one word and another under another.
    pub fn key_under(&self, key: &str, selected: Option<&str>) -> Option<&'static KeySpec> {
        let named = || self.keys.iter().filter(|k| k.key == key);
        named().find(|k| k.applies(selected)).or_else(|| named().next())
    }
}

impl KeySpec {
    /// True if the key applies under the selector's word (`None`: no selector).
    pub fn applies(&self, selected: Option<&str>) -> bool {
        self.only.is_empty() || selected.is_none_or(|s| self.only.contains(&s))
    }

    pub const fn only(mut self, words: &'static [&'static str]) -> KeySpec {
        self.only = words;
        self
    }
}

impl Group {
    pub fn applies(&self, selected: Option<&str>) -> bool {
        self.only.is_empty() || selected.is_none_or(|s| self.only.contains(&s))
    }
}

pub const fn must(key: &'static str, kind: Kind, doc: &'static str) -> KeySpec {
    KeySpec { key, kind, absent: Absent::Error, only: &[], doc }
}

pub const fn may(key: &'static str, kind: Kind, doc: &'static str) -> KeySpec {
    KeySpec { key, kind, absent: Absent::Nothing, only: &[], doc }
}

pub const fn number(key: &'static str, kind: Kind, default: f64, doc: &'static str) -> KeySpec {
    KeySpec { key, kind, absent: Absent::Number(default), only: &[], doc }
}

pub const fn choice(
    key: &'static str,
    words: &'static [Word],
    default: &'static str,
    doc: &'static str,
) -> KeySpec {
    KeySpec { key, kind: Kind::Word(words), absent: Absent::Word(default), only: &[], doc }
}

/// The known word nearest to `wrong`, if it is near enough to be meant: at most a
/// third of its letters (at least one) inserted, dropped, replaced or swapped.
pub fn nearest<'a>(wrong: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // No word of the file is longer; and the comparison costs length times length.
    if wrong.len() > 100 {
        return None;
    }
    let cut = (wrong.chars().count() / 3).max(1);
    let lower = wrong.to_lowercase();
    known
        .into_iter()
        .map(|k| (strsim::damerau_levenshtein(&lower, &k.to_lowercase()), k))
        .filter(|(distance, _)| *distance <= cut)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, k)| k)
}
