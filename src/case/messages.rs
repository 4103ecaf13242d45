//! Problems that several readers report in the same words.

use std::borrow::Cow;

use toml::Spanned;
use toml::de::DeValue;

use super::keys::{Group, KeySpec, TableSpec};
use super::model::Span;
use super::problem::Problem;
use super::values::how_to_write;

pub fn group_help(spec: &TableSpec, group: &Group) -> String {
    let lines: Vec<String> = group
        .keys
        .iter()
        .filter_map(|k| spec.key(k))
        .map(|k| format!("`{}`: {}", k.key, k.doc.trim_end_matches('.')))
        .collect();
    lines.join("; ")
}

pub fn missing(known: &KeySpec, spec: &TableSpec, at: &Span) -> Problem {
    let at = if at.is_empty() { None } else { Some(at.clone()) };
    Problem::error("missing-key", at, format!("{} needs `{}`", spec.name, known.key))
        .label(format!("`{}` is missing", known.key))
        .help(format!("{} {}", known.doc, how_to_write(known)))
}

pub fn not_of_kind(
    key: &Spanned<Cow<'_, str>>,
    known: &KeySpec,
    spec: &TableSpec,
    selected: &str,
) -> Problem {
    let selector = spec.selector.unwrap_or("kind");
    let text =
        format!("`{}` is no key of {} with {selector} = \"{selected}\"", known.key, spec.name);
    let list = known.only.iter().map(|w| format!("\"{w}\"")).collect::<Vec<_>>().join(" or ");
    let others: Vec<&str> =
        spec.keys.iter().filter(|k| k.applies(Some(selected))).map(|k| k.key).collect();
    Problem::error("key-not-of-kind", Some(key.span()), text)
        .label(format!("belongs to {selector} = {list}"))
        .help(format!("keys with {selector} = \"{selected}\": {}", others.join(", ")))
}

/// The value is of another type than the key wants.
pub fn wrong_type(value: &Spanned<DeValue<'_>>, wanted: &str) -> Problem {
    let is = match value.get_ref() {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    };
    Problem::error(
        "wrong-type",
        Some(value.span()),
        format!("this is {is}, but {wanted} is wanted"),
    )
    .label(format!("not {wanted}"))
    .help(format!("write {wanted}"))
}

/// Long names are cut so that messages stay readable.
pub fn shorten(text: &str) -> String {
    const MOST: usize = 60;
    if text.chars().count() <= MOST {
        return text.to_string();
    }
    let cut: String = text.chars().take(MOST).collect();
    format!("{cut}…")
}
