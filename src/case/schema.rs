//! The JSON Schema (draft-07) of a case file, for editors. It is made from the same key
//! tables that the reader walks. The reader stays the authority: it also checks what a
//! schema cannot say.

use serde_json::{Map, Value, json};

use super::constants::{CONSTANTS, ConstantSpec, Constants, Dim, ROWS};
use super::constants_read::{is_switch, laws};
use super::key_tables::CASE;
use super::keys::{Absent, Bounds, Choose, Group, KeySpec, Kind, TableSpec, Word};
use super::units;

/// The schema of a case file, draft-07.
pub fn schema() -> Value {
    let mut definitions = Map::new();
    let mut root = table(&CASE, &mut definitions);
    if let Value::Object(root) = &mut root {
        root.insert("$schema".into(), json!("http://json-schema.org/draft-07/schema#"));
        root.insert("title".into(), json!("Holdpoint case"));
        root.insert("definitions".into(), Value::Object(definitions));
    }
    root
}

fn table(spec: &'static TableSpec, definitions: &mut Map<String, Value>) -> Value {
    let mut properties = Map::new();
    for key in spec.keys.iter().filter(|k| available(k, spec)) {
        let made = property(key, spec, definitions);
        match properties.get_mut(key.key) {
            // A key that means one thing under one word and another under another.
            Some(first) => *first = either(first.take(), made),
            None => {
                properties.insert(key.key.into(), made);
            }
        }
    }
    let mut out = json!({
        "type": "object",
        "description": spec.doc,
        "properties": properties,
        "additionalProperties": false,
    });
    let required: Vec<&str> = spec
        .keys
        .iter()
        .filter(|k| k.absent == Absent::Error && k.only.is_empty())
        .map(|k| k.key)
        .collect();
    let mut all: Vec<Value> = spec.groups.iter().filter(|g| g.only.is_empty()).map(group).collect();
    all.extend(by_selector(spec, definitions));
    if let Value::Object(out) = &mut out {
        if !required.is_empty() {
            out.insert("required".into(), json!(required));
        }
        if !all.is_empty() {
            out.insert("allOf".into(), Value::Array(all));
        }
    }
    out
}

/// Keys of words that the selector does not have are not offered.
fn available(key: &KeySpec, spec: &TableSpec) -> bool {
    let words = selector_words(spec);
    key.only.is_empty() || words.iter().any(|w| key.only.contains(w))
}

/// The words of the table's selector.
fn selector_words(spec: &TableSpec) -> Vec<&'static str> {
    match spec.selector.and_then(|s| spec.key(s)).map(|k| k.kind) {
        Some(Kind::Word(words)) => words.iter().map(|w| w.word).collect(),
        _ => Vec::new(),
    }
}

/// One condition per word of the selector: what it needs and what it does not take.
fn by_selector(spec: &'static TableSpec, definitions: &mut Map<String, Value>) -> Vec<Value> {
    let Some(selector) = spec.selector else { return Vec::new() };
    let default = spec.key(selector).map(|k| k.absent);
    let mut out = Vec::new();
    for word in selector_words(spec) {
        let mut condition = json!({ "properties": { selector: { "const": word } } });
        if default != Some(Absent::Word(word)) {
            condition["required"] = json!([selector]);
        }
        let special = spec.keys.iter().filter(|k| !k.only.is_empty() && available(k, spec));
        let mut then = Map::new();
        // What is not taken, or taken as something else than under other words.
        let mut refused = Map::new();
        let mut required = Vec::new();
        for key in special {
            let Some(here) = spec.key_under(key.key, Some(word)) else { continue };
            if !here.applies(Some(word)) {
                refused.insert(key.key.into(), json!(false));
                continue;
            }
            if spec.keys.iter().filter(|k| k.key == key.key).count() > 1 {
                refused.insert(key.key.into(), kind(&here.kind, definitions));
            }
            if here.absent == Absent::Error && !required.contains(&here.key) {
                required.push(here.key);
            }
        }
        let groups: Vec<Value> = spec
            .groups
            .iter()
            .filter(|g| !g.only.is_empty() && g.applies(Some(word)))
            .map(group)
            .collect();
        if !refused.is_empty() {
            then.insert("properties".into(), Value::Object(refused));
        }
        if !required.is_empty() {
            then.insert("required".into(), json!(required));
        }
        if !groups.is_empty() {
            then.insert("allOf".into(), Value::Array(groups));
        }
        if !then.is_empty() {
            out.push(json!({ "if": condition, "then": then }));
        }
    }
    out
}

fn group(group: &Group) -> Value {
    let each: Vec<Value> = group.keys.iter().map(|k| json!({ "required": [k] })).collect();
    match group.choose {
        Choose::ExactlyOne => json!({ "oneOf": each }),
        Choose::AtLeastOne => json!({ "anyOf": each }),
        Choose::AtMostOne => json!({ "not": { "required": group.keys } }),
    }
}

/// Both of two readings of one key, with both texts.
fn either(first: Value, second: Value) -> Value {
    let text = |v: &Value| v.get("description").and_then(Value::as_str).map(str::to_string);
    let both: Vec<String> = [&first, &second].into_iter().filter_map(text).collect();
    json!({ "anyOf": [first, second], "description": both.join(" ") })
}

fn property(
    key: &'static KeySpec,
    spec: &TableSpec,
    definitions: &mut Map<String, Value>,
) -> Value {
    let mut out = kind(&key.kind, definitions);
    let mut text = key.doc.to_string();
    if let Kind::Quantity(dim, bounds)
    | Kind::Quantities(dim, bounds)
    | Kind::QuantityOrTable(dim, bounds, _) = key.kind
    {
        text.push_str(&quantity_text(dim, bounds));
    }
    if let (Some(selector), false) = (spec.selector, key.only.is_empty()) {
        let words: Vec<&str> =
            selector_words(spec).into_iter().filter(|w| key.only.contains(w)).collect();
        text.push_str(&format!(" With {selector} = {} only.", words.join(" or ")));
    }
    if let Value::Object(out) = &mut out {
        out.insert("description".into(), json!(text.trim()));
        // Editors that offer each alternative by itself show the text of that alternative.
        let alternatives = out.get_mut("anyOf").and_then(Value::as_array_mut);
        for one in alternatives.into_iter().flatten().filter_map(Value::as_object_mut) {
            one.entry("description").or_insert_with(|| json!(text.trim()));
        }
        match key.absent {
            Absent::Number(v) => out.insert("default".into(), json!(v)),
            Absent::Word(w) => out.insert("default".into(), json!(w)),
            Absent::Words(w) => out.insert("default".into(), json!(w)),
            Absent::Error | Absent::Nothing => None,
        };
    }
    out
}

/// Unit and bounds in words, for hover texts.
fn quantity_text(dim: Dim, bounds: Bounds) -> String {
    let mut text = String::new();
    if dim != Dim::Number {
        text.push_str(&format!(" In {}, or as text: \"{}\".", dim.unit(), dim.example()));
    }
    if bounds.low.is_finite() && bounds.high.is_finite() {
        let range = super::values::range_text(bounds, "");
        text.push_str(&format!(" Allowed: {range}."));
    }
    text
}

fn kind(what: &Kind, definitions: &mut Map<String, Value>) -> Value {
    match *what {
        Kind::Text => json!({ "type": "string" }),
        Kind::Name | Kind::File => json!({ "type": "string", "minLength": 1 }),
        Kind::Quantity(dim, bounds) => quantity(dim, bounds),
        Kind::Quantities(dim, bounds) => {
            json!({ "type": "array", "minItems": 1, "items": quantity(dim, bounds) })
        }
        Kind::Count(low, high) => json!({ "type": "integer", "minimum": low, "maximum": high }),
        Kind::Word(words) => word_list(words),
        Kind::Words(words) => json!({ "type": "array", "items": word_list(words) }),
        Kind::Names => {
            json!({ "type": "array", "items": { "type": "string", "minLength": 1 } })
        }
        Kind::Table(spec) => reference(spec, definitions),
        Kind::Tables(spec) => {
            json!({ "type": "array", "items": reference(spec, definitions) })
        }
        Kind::WordOrTable(words, spec) => {
            json!({ "anyOf": [word_list(words), reference(spec, definitions)] })
        }
        Kind::QuantityOrTable(dim, bounds, spec) => {
            json!({ "anyOf": [quantity(dim, bounds), reference(spec, definitions)] })
        }
        Kind::Loose => json!({
            "anyOf": [{ "type": "number" }, { "type": "string" }, { "type": "array" }],
        }),
        Kind::Voltages => json!({
            "type": "object",
            "additionalProperties": quantity(Dim::Voltage, Bounds::ANY),
        }),
        Kind::Constants => constants(),
    }
}

/// A table, defined once. `allOf` keeps descriptions beside the reference alive.
fn reference(spec: &'static TableSpec, definitions: &mut Map<String, Value>) -> Value {
    if !definitions.contains_key(spec.id) {
        let made = table(spec, definitions);
        definitions.insert(spec.id.into(), made);
    }
    json!({ "allOf": [{ "$ref": format!("#/definitions/{}", spec.id) }] })
}

/// A plain number within bounds, or text with a unit (whose bounds the reader checks).
fn quantity(dim: Dim, bounds: Bounds) -> Value {
    let mut plain = Map::new();
    plain.insert("type".into(), json!("number"));
    if bounds.low.is_finite() {
        let word = if bounds.above_low { "exclusiveMinimum" } else { "minimum" };
        plain.insert(word.into(), json!(bounds.low));
    }
    if bounds.high.is_finite() {
        plain.insert("maximum".into(), json!(bounds.high));
    }
    if dim == Dim::Number {
        return Value::Object(plain);
    }
    json!({ "anyOf": [plain, { "type": "string", "pattern": units::pattern(dim) }] })
}

fn word_list(words: &[Word]) -> Value {
    let list: Vec<&str> = words.iter().map(|w| w.word).collect();
    json!({ "type": "string", "enum": list })
}

fn constants() -> Value {
    let mut tables = Map::new();
    for law in laws() {
        let mut properties = Map::new();
        for constant in CONSTANTS.iter().filter(|c| c.law == law) {
            properties.insert(constant.key.into(), one_constant(constant));
        }
        for (_, key) in ROWS.iter().filter(|r| r.0 == law) {
            properties.insert(
                (*key).into(),
                json!({
                    "type": "string",
                    "enum": ["arsenic", "phosphorus"],
                    "default": Constants::default().row(law).word(),
                    "description": format!("Donor whose row of the paper's table {key} take."),
                }),
            );
        }
        tables.insert(
            law.into(),
            json!({
                "type": "object",
                "description": format!("Constants of {law}."),
                "properties": properties,
                "additionalProperties": false,
            }),
        );
    }
    json!({ "type": "object", "properties": tables, "additionalProperties": false })
}

fn one_constant(spec: &ConstantSpec) -> Value {
    let bounds = Bounds::between(spec.bounds.0, spec.bounds.1);
    let mut out =
        if is_switch(spec) { json!({ "enum": [0, 1] }) } else { quantity(spec.dim, bounds) };
    if let Value::Object(out) = &mut out {
        let text = format!("{}.{} {}", spec.doc, quantity_text(spec.dim, bounds), spec.source);
        out.insert("description".into(), json!(text));
        let default = Constants::default().default_of(spec);
        out.insert("default".into(), json!(default));
    }
    out
}
