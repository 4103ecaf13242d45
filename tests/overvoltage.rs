//! The supply raised and brought back, an injection confirmed, and a verdict over
//! temperatures, through the built binary.

mod shipped_support;

use serde_json::Value;
use shipped_support::{Desk, shipped, with, with_experiment};

/// The bar on few nodes with other experiments.
fn run(experiments: &str) -> Vec<Value> {
    let desk = Desk::new();
    let text = with(&shipped("four-layer-bar.toml"), "nodes = 3200", "nodes = 300");
    desk.write("bar.toml", &with_experiment(&text, experiments));
    let ran = desk.run(&["run", "bar.toml", "-o", "bar.h5", "--json"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    ran.json()["experiments"].as_array().expect("experiments").clone()
}

#[test]
fn trigger_on_the_way_up_and_what_is_left_after_it() {
    let raised = |supply: &str, to: &str| {
        format!(
            "[[experiment]]\nkind = \"overvoltage\"\ndrive = [\"anode\"]\nsupply = {supply}\n{to}\n"
        )
    };
    let done = run(&format!(
        "[[experiment]]\nkind = \"snapback\"\ndrive = [\"anode\"]\nstop = {{ current = 1e-3 }}\n{}{}{}",
        raised("20", ""),
        raised("5", "to = 20"),
        raised("0.8", "to = 40"),
    ));
    let [snapback, high, low, weak] = done.as_slice() else { panic!("{done:?}") };
    let trigger = snapback["trigger"]["voltage_V"].as_f64().expect("a trigger");
    // 1.5 times 20 V is beyond the trigger: the S-curve's own fold.
    assert_eq!(high["raised_to_V"], 30.0);
    assert_eq!(high["latches"], true);
    let critical = high["critical"]["voltage_V"].as_f64().expect("critical");
    println!("trigger {trigger} V, critical {critical} V");
    assert!((critical / trigger - 1.0).abs() < 1e-7, "{critical} {trigger}");
    // Not far enough.
    assert_eq!((&low["latches"], &low["triggers"]), (&Value::from(false), &Value::from(false)));
    assert!(low["critical"]["voltage_V"].is_null());
    let why = low["critical"]["voltage_V_reason"].as_str().expect("a reason");
    assert!(why.contains("up to 20"), "{why}");
    // Below the holding voltage it triggers, but does not stay on.
    assert_eq!((&weak["latches"], &weak["triggers"]), (&Value::from(false), &Value::from(true)));
    assert!(weak["on_A_per_um_reason"].as_str().expect("a reason").contains("0.8 V"));
}

/// The S-curve is followed up to 0.1 A/µm. In a bar 50 µm thick it is then past its holding
/// point and still below the supply: on-states reach further, so it latches, but the current at
/// the supply is not known.
#[test]
fn an_on_state_beyond_what_is_followed_latches_with_no_current() {
    let desk = Desk::new();
    let text = with(&shipped("four-layer-bar.toml"), "nodes = 3200", "nodes = 300");
    let text = with(&text, "thickness = \"1 um\"", "thickness = \"50 um\"");
    let raised =
        "[[experiment]]\nkind = \"overvoltage\"\ndrive = [\"anode\"]\nsupply = 5\nto = 40\n";
    let ran = desk.case("bar", &with_experiment(&text, raised), &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let raised = &ran.json()["experiments"][0];
    assert_eq!(raised["latches"], true);
    assert!(raised["on_A_per_um"].is_null());
    let why = raised["on_A_per_um_reason"].as_str().expect("a reason");
    assert!(why.contains("at 5 V carries more than 1e-1 A/µm"), "{why}");
}

/// The anode as injector: reconnected at its supply, the path stays on.
#[test]
fn an_injection_with_its_test_level_and_its_confirmation() {
    let done =
        run("[[experiment]]\nkind = \"injection\"\ninto = \"anode\"\nbias = { anode = 5 }\n\
         level = \"100 mA\"\ninjector_width = \"20 um\"\nconfirm = \"ramp\"\n");
    let [injection] = done.as_slice() else { panic!("{done:?}") };
    assert_eq!(injection["criterion"], "reconnect");
    let critical = &injection["critical"];
    assert!((critical["voltage_V"].as_f64().expect("critical") - 5.0).abs() < 1e-6);
    let amperes = critical["current_A_per_um"].as_f64().expect("critical");
    let level = &injection["level"];
    assert_eq!(level["current_A_per_um"], 0.1 / 20.0);
    assert_eq!(level["passes"], amperes > 0.1 / 20.0);
    let margin = level["margin_A"].as_f64().expect("a margin");
    assert!((margin - (amperes * 20.0 - 0.1)).abs() < 1e-12, "{margin}");
    assert!(injection["class"].as_str().expect("a class").starts_with("class I (room"));
    assert_eq!(injection["confirm"]["stays"], true);
    let past = injection["confirm"]["past_A_per_um"].as_f64().expect("a current");
    assert!((past / amperes - 1.2).abs() < 1e-9);
}

#[test]
fn a_verdict_over_temperatures() {
    let desk = Desk::new();
    let text = with(&shipped("four-layer-bar.toml"), "nodes = 3200", "nodes = 200");
    let text = with(
        &text,
        "temperature = \"300 K\"",
        "temperature = \"300 K\"\ntemperatures = [\"260 K\", \"300 K\", \"380 K\"]",
    );
    desk.write("bar.toml", &format!("{text}[verdict]\nsupply = 3.3\nsupply_current = 1e-6\n"));
    let ran = desk.run(&["run", "bar.toml", "-o", "bar.h5", "--json"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let verdict = ran.json()["verdict"].clone();
    assert_eq!(verdict["answer"], "not-reached");
    let table = &verdict["temperatures"];
    assert_eq!(table["temperature_K"], serde_json::json!([260.0, 300.0, 380.0]));
    let holding: Vec<f64> =
        serde_json::from_value(table["holding_V"].clone()).expect("a number each");
    println!("holding voltages {holding:?}, {}", table["lowest_holding"]);
    let least = holding.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(table["lowest_holding"]["voltage_V"].as_f64().expect("lowest") <= least);
    assert!(holding[0] > holding[2], "V_h falls with temperature: {holding:?}");
    assert!(verdict["decides"].as_str().expect("text").contains("snapback on anode"));
    assert!(verdict["note"].as_str().expect("text").contains("Two-dimensional"));
    assert!(verdict["margins"]["holding_V"].as_f64().expect("a margin") < 0.0);
    assert_eq!(verdict["stays_on"]["voltage"], true);
    assert_eq!(verdict["stays_on"]["current"], false);
    // The file says the same.
    let shown = desk.run(&["show", "bar.h5", "--json"]);
    assert_eq!(shown.json()["verdict"], verdict);
}
