//! The supply raised and brought back, through the built binary, on a four-layer bar.

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
