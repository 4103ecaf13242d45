//! The JSON Schema and the reader say the same: keys, words, defaults, and every good
//! case. The small validator here knows the words that our schema uses and refuses
//! others; `pattern` is left to editors.

use std::collections::BTreeSet;
use std::path::Path;

use holdpoint::case::keys::{Absent, KeySpec, Kind, TableSpec};
use holdpoint::case::{CASE_KEYS, CONSTANTS, ROWS, read_str, schema};
use serde_json::{Value, json};

fn definition<'a>(root: &'a Value, id: &str) -> &'a Value {
    if id == "case" { root } else { &root["definitions"][id] }
}

/// All tables, by their schema id, each once.
fn tables(spec: &'static TableSpec, out: &mut Vec<&'static TableSpec>) {
    if out.iter().any(|t| t.id == spec.id) {
        return;
    }
    out.push(spec);
    for key in keys(spec) {
        if let Kind::Table(t)
        | Kind::Tables(t)
        | Kind::WordOrTable(_, t)
        | Kind::QuantityOrTable(_, _, t) = key.kind
        {
            tables(t, out);
        }
    }
}

/// The keys that the words of the selector take.
fn keys(spec: &'static TableSpec) -> impl Iterator<Item = &'static KeySpec> {
    let words: Vec<&str> = match spec.selector.and_then(|s| spec.key(s)).map(|k| k.kind) {
        Some(Kind::Word(words)) => words.iter().map(|w| w.word).collect(),
        _ => Vec::new(),
    };
    spec.keys.iter().filter(move |k| k.only.is_empty() || k.only.iter().any(|w| words.contains(w)))
}

#[test]
fn reader_and_schema_know_the_same_keys() {
    let schema = schema();
    let mut all = Vec::new();
    tables(&CASE_KEYS, &mut all);
    let ids: BTreeSet<&str> = all.iter().map(|t| t.id).filter(|id| *id != "case").collect();
    let defined: BTreeSet<&str> =
        schema["definitions"].as_object().expect("a table").keys().map(String::as_str).collect();
    assert_eq!(ids, defined);
    for table in all {
        let made = definition(&schema, table.id);
        assert_eq!(made["additionalProperties"], json!(false), "{}", table.id);
        let properties = made["properties"].as_object().expect("properties");
        let here: BTreeSet<&str> = properties.keys().map(String::as_str).collect();
        let known: BTreeSet<&str> = keys(table).map(|k| k.key).collect();
        assert_eq!(here, known, "{}", table.id);
        for key in keys(table) {
            let what = format!("{}.{}", table.id, key.key);
            let property = &properties[key.key];
            let text = property["description"].as_str().unwrap_or_default();
            assert!(text.contains(key.doc) && key.doc.ends_with('.'), "{what}: {text:?}");
            if keys(table).filter(|k| k.key == key.key).count() > 1 {
                // Means one thing under one word and another under another.
                assert_eq!(property["anyOf"].as_array().map(Vec::len), Some(2), "{what}");
                continue;
            }
            match key.absent {
                Absent::Number(v) => assert_eq!(property["default"], json!(v), "{what}"),
                Absent::Word(w) => assert_eq!(property["default"], json!(w), "{what}"),
                Absent::Words(w) => assert_eq!(property["default"], json!(w), "{what}"),
                Absent::Error | Absent::Nothing => {
                    assert!(property.get("default").is_none(), "{what}");
                }
            }
            if let (Kind::Quantity(_, bounds), Absent::Number(v)) = (key.kind, key.absent) {
                assert!(bounds.allows(v), "{what}: default {v} out of bounds");
            }
            if let Kind::Word(words) = key.kind {
                let known: Vec<&str> = words.iter().map(|w| w.word).collect();
                assert_eq!(property["enum"], json!(known), "{what}");
                assert!(words.iter().all(|w| !w.doc.is_empty()), "{what}");
            }
        }
    }
}

#[test]
fn every_constant_is_in_the_schema_and_nothing_else() {
    let schema = schema();
    let laws = schema["properties"]["constants"]["properties"].as_object().expect("laws").clone();
    let (mut seen, mut rows) = (0, 0);
    for (law, table) in &laws {
        for (key, property) in table["properties"].as_object().expect("keys") {
            if ROWS.contains(&(law.as_str(), key.as_str())) {
                assert_eq!(property["enum"], json!(["arsenic", "phosphorus"]), "{law}.{key}");
                rows += 1;
                continue;
            }
            let spec = CONSTANTS.iter().find(|c| c.law == law && c.key == key);
            let spec = spec.unwrap_or_else(|| panic!("{law}.{key} is no constant"));
            assert!(property["default"].is_number(), "{law}.{key}");
            let text = property["description"].as_str().expect("a text");
            assert!(text.contains(spec.source), "{law}.{key}: {text}");
            seen += 1;
        }
    }
    assert_eq!((seen, rows), (CONSTANTS.len(), ROWS.len()));
}

/// Why `value` does not fit `schema`; empty if it does.
fn misfit(schema: &Value, value: &Value, root: &Value) -> Vec<String> {
    const KNOWN: &[&str] = &[
        "$schema",
        "title",
        "description",
        "default",
        "definitions",
        "$ref",
        "type",
        "enum",
        "const",
        "properties",
        "additionalProperties",
        "required",
        "items",
        "minItems",
        "minLength",
        "minimum",
        "exclusiveMinimum",
        "maximum",
        "pattern",
        "allOf",
        "anyOf",
        "oneOf",
        "not",
        "if",
        "then",
    ];
    let rules = match schema {
        Value::Bool(true) => return Vec::new(),
        Value::Bool(false) => return vec!["not allowed here".into()],
        Value::Object(rules) => rules,
        other => return vec![format!("no schema: {other}")],
    };
    let mut out = Vec::new();
    let fits = |s: &Value| misfit(s, value, root).is_empty();
    let number = value.as_f64();
    for (rule, wanted) in rules {
        assert!(KNOWN.contains(&rule.as_str()), "the validator does not know {rule}");
        let list = wanted.as_array().map(Vec::as_slice).unwrap_or_default();
        let good = match rule.as_str() {
            "$ref" => {
                let path = wanted.as_str().and_then(|r| r.strip_prefix('#')).expect("local");
                out.extend(misfit(root.pointer(path).expect("defined"), value, root));
                true
            }
            "type" => match wanted.as_str() {
                Some("object") => value.is_object(),
                Some("array") => value.is_array(),
                Some("string") => value.is_string(),
                Some("number") => value.is_number(),
                Some("integer") => value.is_u64() || value.is_i64(),
                other => panic!("type {other:?}"),
            },
            "enum" => list.contains(value),
            "const" => wanted == value,
            "minimum" => number.is_none_or(|v| v >= wanted.as_f64().expect("a number")),
            "exclusiveMinimum" => number.is_none_or(|v| v > wanted.as_f64().expect("a number")),
            "maximum" => number.is_none_or(|v| v <= wanted.as_f64().expect("a number")),
            "minItems" => {
                value.as_array().is_none_or(|a| a.len() as u64 >= wanted.as_u64().expect("a count"))
            }
            "minLength" => {
                value.as_str().is_none_or(|s| s.len() as u64 >= wanted.as_u64().expect("a count"))
            }
            "required" => value
                .as_object()
                .is_none_or(|o| list.iter().all(|k| o.contains_key(k.as_str().expect("a key")))),
            "allOf" => {
                list.iter().for_each(|s| out.extend(misfit(s, value, root)));
                true
            }
            "anyOf" => list.iter().any(fits),
            "oneOf" => list.iter().filter(|s| fits(s)).count() == 1,
            "not" => !fits(wanted),
            "if" => {
                if fits(wanted) {
                    out.extend(misfit(&rules["then"], value, root));
                }
                true
            }
            "items" => {
                for item in value.as_array().into_iter().flatten() {
                    out.extend(misfit(wanted, item, root));
                }
                true
            }
            "properties" => {
                for (key, rule) in wanted.as_object().expect("properties") {
                    if let Some(v) = value.get(key) {
                        out.extend(misfit(rule, v, root).iter().map(|m| format!("{key}: {m}")));
                    }
                }
                true
            }
            "additionalProperties" => {
                let named = rules.get("properties").and_then(Value::as_object);
                for (key, v) in value.as_object().into_iter().flatten() {
                    if !named.is_some_and(|n| n.contains_key(key)) {
                        out.extend(misfit(wanted, v, root).iter().map(|m| format!("{key}: {m}")));
                    }
                }
                true
            }
            _ => true,
        };
        if !good {
            out.push(format!("{value} against {rule} {wanted}"));
        }
    }
    out
}

fn json_of(text: &str) -> Value {
    let table: toml::Table = text.parse().expect("TOML");
    serde_json::to_value(table).expect("JSON")
}

#[test]
fn shipped_cases_and_the_design_example_fit_the_schema() {
    let schema = schema();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("meshes");
    let mut texts = vec![include_str!("case_design_example.toml").to_string()];
    let mut sweeps = 0;
    for entry in std::fs::read_dir(folder).expect("meshes/ is there") {
        let path = entry.expect("readable").path();
        if path.to_string_lossy().ends_with(".sweep.toml") {
            let sweep = json_of(&std::fs::read_to_string(&path).expect("readable"));
            let schema = holdpoint::sweep::schema();
            assert_eq!(misfit(&schema, &sweep, &schema), Vec::<String>::new(), "{path:?}");
            sweeps += 1;
        } else if path.extension().is_some_and(|e| e == "toml") {
            texts.push(std::fs::read_to_string(path).expect("readable"));
        }
    }
    assert!(sweeps >= 1);
    assert!(texts.len() >= 5);
    for text in texts {
        assert_eq!(misfit(&schema, &json_of(&text), &schema), Vec::<String>::new());
    }
}

#[test]
fn what_the_schema_refuses_the_reader_refuses_too() {
    let schema = schema();
    let good = "[wafer]\nspan = 9\nthickness = 2\n[[terminal]]\nname = 't'\ntouches = [{ side = 'back' }]\n[[terminal]]\nname = 'u'\ntouches = [{ from = 1, to = 2 }]\n";
    assert_eq!(misfit(&schema, &json_of(good), &schema), Vec::<String>::new());
    assert!(read_str(good, "").is_ok());
    let well = "[[well]]\nname = 'w'\nfrom = 0\nto = 1\n";
    for bad in [
        "[grid]\nnods = 100".to_string(),
        "[grid]\nnodes = 3".into(),
        "[verdict]\nsupply = 0".into(),
        "[verdict]\nmargin = 0.1".into(),
        "[laws]\nmobility = 'klaassen'".into(),
        "[heat]\nback = 0".into(),
        "[heat]\nbottom = 1".into(),
        "[laws]\nrecombination = ['srh']".into(),
        "[constants]\nauger = { c_x = 1 }".into(),
        "[constants]\nauger = { c_n = 1 }".into(),
        "[constants]\nvan-overstraeten-1970 = { temperature_factor = 0.5 }".into(),
        "[[experiment]]\nkind = 'pulse'".into(),
        "[[experiment]]\nkind = 'bias'\ndrive = ['u']".into(),
        "[[experiment]]\nkind = 'bias'\ndrive = ['u']\nat = []".into(),
        "[[experiment]]\nkind = 'snapback'\ndrive = ['u']\ninto = 'u'".into(),
        "[[experiment]]\nkind = 'snapback'\ndrive = ['u']\nstop = {}".into(),
        "[[experiment]]\ndrive = ['u']".into(),
        format!("{well}donors = 1e17"),
        format!("{well}falloff = 1"),
        format!("{well}donors = 1e17\nacceptors = 1e17\nfalloff = 1"),
        format!("{well}donors = 1e17\nfalloff = 1\njunction_depth = 1"),
        format!("{well}donors = 1e17\nshape = 'box'\nfalloff = 1"),
        format!("{well}donors = 1e17\nshape = 'table'"),
        format!("{well}donors = 1e17\nfalloff = 1\ntop = 0"),
    ] {
        let text = format!("{good}{bad}\n");
        assert!(!misfit(&schema, &json_of(&text), &schema).is_empty(), "the schema takes {bad}");
        assert!(read_str(&text, "").is_err(), "the reader takes {bad}");
    }
}
