//! The JSON document has the names of the design, section 4.

mod record_support;

use holdpoint::record::to_json;
use record_support::{bare, names, rich};
use serde_json::Value;

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

#[test]
fn snapback_has_every_figure() {
    let record = rich();
    let document = to_json(&record);
    assert_eq!(document["case"], "tern180-pad");
    assert_eq!(document["nodes"], record.mesh.nodes());
    assert_eq!(document["temperature_K"], 398.15);
    assert_eq!(document["width_um"], 100.0);
    let e = &document["experiments"][0];
    assert_eq!(e["kind"], "snapback");
    assert_eq!(e["status"], "complete");
    assert_eq!(e["reason"], Value::Null);
    assert_eq!(e["points"], 120);
    let folds = e["folds"].as_array().unwrap();
    assert_eq!(folds.len(), 4);
    for (name, fold) in [("trigger", &folds[0]), ("holding", &folds[3])] {
        assert_eq!(e[name]["voltage_V"], fold["voltage_V"]);
        assert_eq!(e[name]["current_A_per_um"], fold["current_A_per_um"]);
        assert_eq!(e[name]["terminals"], fold["terminals"]);
        assert_eq!(fold["terminals"].as_object().unwrap().len(), names().len());
        assert!(fold["terminals"]["n-gate"]["voltage_V"].is_f64());
        assert!(fold["terminals"]["n-gate"]["current_A_per_um"].is_f64());
    }
    assert_eq!(folds[0]["kind"], "voltage-maximum");
    assert_eq!(e["on_branch"]["voltage_at_zero_V"], 0.91);
    assert_eq!(e["on_branch"]["resistance_ohm_um"], 812.5);
    for columns in [&e["curve"], &e["curve"]["terminals"]["well/tap"]] {
        assert_eq!(columns["voltage_V"].as_array().unwrap().len(), 120);
        assert_eq!(columns["current_A_per_um"].as_array().unwrap().len(), 120);
    }
    assert_eq!(keys(&e["curve"]["terminals"]), ["cathode", "n-gate", "voltage", "well/tap"]);
    assert_eq!(e["conservation"], record.experiments[0].curve.conservation());
    assert_eq!(e["wall_s"], 12.25);
    assert_eq!(e["warnings"].as_array().unwrap().len(), 1);
    // Numbers survive the text to the last digit.
    let back: Value = serde_json::from_str(&document.to_string()).unwrap();
    let third = back["experiments"][0]["curve"]["current_A_per_um"][3].as_f64().unwrap();
    assert!((third / record.experiments[0].curve.current[3] - 1.0).abs() < 1e-15);
}

#[test]
fn what_does_not_exist_is_null_with_a_reason() {
    let document = to_json(&rich());
    let e = &document["experiments"][1];
    assert_eq!(e["status"], "stopped");
    assert!(e["reason"].as_str().unwrap().contains("did not converge"));
    for name in ["trigger", "holding", "on_branch"] {
        assert!(e.get(name).unwrap().is_null());
        assert!(!e[format!("{name}_reason")].as_str().unwrap().is_empty());
    }
    let document = to_json(&bare());
    assert!(document.get("verdict").unwrap().is_null());
    assert!(document["verdict_reason"].is_string());
}

#[test]
fn injection_bias_and_verdict() {
    let document = to_json(&rich());
    let list = document["experiments"].as_array().unwrap();
    assert_eq!(list[2]["criterion"], "fold");
    assert!(list[2]["critical"].is_null() && list[2]["critical_reason"].is_string());
    assert_eq!(list[2]["status"], "interrupted");
    assert_eq!(list[3]["criterion"], "reconnect");
    assert!(list[3]["critical"]["current_A_per_um"].is_f64());
    assert!(list[3]["critical"]["voltage_V"].is_f64());
    // `points` of a bias experiment is the list of points.
    let points = list[4]["points"].as_array().unwrap();
    assert_eq!(points.len(), 3);
    assert_eq!(points[1]["applied_V"], 0.1);
    assert_eq!(keys(&points[1]["voltage_V"]), ["cathode", "n-gate", "voltage", "well/tap"]);
    assert!(points[1]["current_A_per_um"]["cathode"].is_f64());
    assert_eq!(list[4]["curve"]["voltage_V"].as_array().unwrap().len(), 3);
    let v = &document["verdict"];
    assert_eq!(v["answer"], "latches");
    assert_eq!(v["supply_V"], 3.3);
    assert_eq!(v["margin"], 0.1);
    assert_eq!(v["reasons"].as_array().unwrap().len(), 2);
}

#[test]
fn numbers_that_are_not_finite_become_null() {
    let mut record = rich();
    record.experiments[0].curve.voltage[0] = f64::NAN;
    let text = to_json(&record).to_string();
    assert!(serde_json::from_str::<Value>(&text).is_ok());
    assert!(to_json(&record)["experiments"][0]["curve"]["voltage_V"][0].is_null());
}
