//! The JSON Schema (draft-07) of a sweep file.

use serde_json::{Value, json};

use super::axes::MOST;
use super::plan::Mode;

/// The schema of a sweep file. Which paths `axes` may have depends on the base case: that
/// is left to `sweep plan`.
pub fn schema() -> Value {
    let end = json!({ "anyOf": [{ "type": "number" }, { "type": "string" }], "description": "One end: a number in the key's plain unit, or text with a unit." });
    let range = json!({
        "type": "object",
        "description": "Values between two ends.",
        "properties": {
            "from": end, "to": end,
            "count": { "type": "integer", "minimum": 1, "maximum": MOST, "description": "Number of values, both ends included; not for a Latin hypercube." },
            "scale": { "enum": ["linear", "log"], "default": "linear", "description": "Even steps, or even factors." },
        },
        "required": ["from", "to"],
        "additionalProperties": false,
    });
    let list = json!({ "type": "array", "minItems": 1, "description": "The values themselves." });
    json!({
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": "Holdpoint sweep",
        "type": "object",
        "description": "Many cases from one: a base case and the keys that vary.",
        "properties": {
            "base": { "type": "string", "minLength": 1, "description": "The base case, beside the sweep file." },
            "mode": { "enum": Mode::WORDS, "default": "grid", "description": "How the axes are combined: each with each, value by value, or sampled." },
            "samples": { "type": "integer", "minimum": 1, "maximum": MOST, "description": "Cases of a Latin hypercube." },
            "seed": { "type": "integer", "minimum": 0, "default": 0, "description": "Same seed, same samples." },
            "axes": {
                "type": "object",
                "description": "Values by dotted path into the case, e.g. \"well.n-well.falloff\", temperature, \"slide.spacing\".",
                "additionalProperties": { "anyOf": [list, range, { "type": "object" }] },
            },
        },
        "required": ["base", "axes"],
        "additionalProperties": false,
    })
}
