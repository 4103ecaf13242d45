//! Gains, resistances, flow and the lumped model of a small cell, end to end through the
//! built binary.

mod shipped_support;

use serde_json::Value;
use shipped_support::{Desk, number, numbers, shipped, with, with_experiment};

const TAIL: &str = "[verdict]\nsupply = \"1.2 V\"\nmargin = 0.10\n";
const SNAPBACK: &str = "[[experiment]]\nkind = \"snapback\"\ndrive = [\"anode\", \"well-tap\"]\nstop = { current = \"10 mA/um\" }\n";

fn core(nodes: usize, experiments: &str) -> String {
    let text = with(&shipped("tern180-core.toml"), "nodes = 5000", &format!("nodes = {nodes}"));
    with_experiment(&text, experiments) + TAIL
}

fn experiment<'d>(document: &'d Value, kind: &str) -> &'d Value {
    let all = document["experiments"].as_array().expect("experiments");
    all.iter().find(|e| e["kind"] == kind).unwrap_or_else(|| panic!("no {kind}"))
}

/// Kirchhoff, growth and plausible sizes of both Gummel plots; a terminal's series resistance
/// comes on top of R_W as it is.
#[test]
fn gains_and_resistances_of_the_core() {
    let desk = Desk::new();
    let text =
        core(1500, "[[experiment]]\nkind = \"gains\"\n[[experiment]]\nkind = \"resistances\"\n");
    let ran = desk.case("core", &text, &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let document = ran.json();
    let gains = experiment(&document, "gains");
    assert_eq!(gains["status"], "complete", "{}", gains["reason"]);
    for word in ["npn", "pnp"] {
        let column = |name: &str| numbers(&gains[word], &format!("/{name}"));
        let (c, b, e) =
            (column("collector_A_per_um"), column("base_A_per_um"), column("emitter_A_per_um"));
        let (beta, v) = (column("beta"), column("emitter_base_V"));
        assert!(c.len() > 10, "{word}: {} rows", c.len());
        for k in 0..c.len() {
            assert!((beta[k] - c[k] / b[k]).abs() < 1e-12 * beta[k]);
            // No other terminal: what the emitter gives arrives.
            assert!((e[k] - b[k] - c[k]).abs() < 1e-9 * e[k], "{word} row {k}");
        }
        assert!(c.windows(2).chain(v.windows(2)).all(|w| w[1] > w[0]));
        // A collector current is ideal at low current: V_T per e-fold at 125 °C, to 4 %.
        let ideality = (v[2] - v[0]) / (c[2] / c[0]).ln() / 0.034308;
        assert!((ideality - 1.0).abs() < 0.04, "{word}: {ideality}");
        let largest = number(gains, &format!("/{word}/largest_beta"));
        assert!(largest > 1.0 && largest < 300.0, "{word}: {largest}");
    }
    let product = numbers(gains, "/product/beta_product");
    assert!(product.iter().copied().fold(0.0, f64::max) > 1.0, "{product:?}");

    let resistances = experiment(&document, "resistances");
    let of = |e: &Value| ["well", "substrate"].map(|w| number(e, &format!("/{w}_ohm_um")));
    let here = of(resistances);
    assert!(here.iter().all(|r| *r > 100.0 && *r < 2e4), "{here:?}");
    let behind = text
        .replace("role    = \"well-tap\"\n", "role    = \"well-tap\"\nresistance = 300\n")
        .replace("role    = \"substrate-tap\"\n", "role    = \"substrate-tap\"\nresistance = 200\n")
        .replace("[[experiment]]\nkind = \"gains\"\n", "");
    let ran = desk.case("behind", &behind, &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let there = of(experiment(&ran.json(), "resistances"));
    assert!((there[0] - here[0] - 300.0).abs() < 0.5, "{here:?} {there:?}");
    assert!((there[1] - here[1] - 200.0).abs() < 0.5, "{here:?} {there:?}");
}

/// Flow balances at the stored points; the lumped model stands beside the folds.
#[test]
fn flow_and_lumped_model_of_the_core() {
    let desk = Desk::new();
    let text = core(
        1500,
        &format!(
            "{SNAPBACK}[[experiment]]\nkind = \"gains\"\n[[experiment]]\nkind = \"resistances\"\n"
        ),
    );
    let ran = desk.case("core", &text, &["--threads", "1"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let document = ran.json();
    let snapback = experiment(&document, "snapback");
    for point in ["trigger", "holding", "end"] {
        let flow = &snapback["flow"][point];
        let (n, p) = (numbers(flow, "/electrons_in_A_per_um"), numbers(flow, "/holes_in_A_per_um"));
        let current = number(flow, "/current_A_per_um");
        // Electrons in less out recombine, less what avalanche makes; holes likewise.
        let lost = number(flow, "/recombination_A_per_um") - number(flow, "/avalanche_A_per_um");
        for carrier in [&n, &p] {
            let sum: f64 = carrier.iter().sum();
            assert!((sum - lost).abs() < 1e-6 * current, "{point}: {sum} {lost} of {current}");
        }
        for shares in ["electron_share", "hole_share"] {
            let s = numbers(flow, &format!("/{shares}"));
            let into: f64 = s.iter().filter(|v| **v > 0.0).sum();
            assert!(into == 0.0 || (into - 1.0).abs() < 1e-9, "{point}: {s:?}");
        }
        for base in ["npn_base", "pnp_base"] {
            let of = |name: &str| number(flow, &format!("/{base}/{name}"));
            let all = of("tap_share") + of("injection_share") + of("recombination_share");
            assert!((all - 1.0).abs() < 1e-4, "{point}, {base}: {all}");
        }
    }
    // In the on-state the emitters take more of what reaches the bases than at the trigger.
    let share = |point: &str| number(&snapback["flow"][point], "/npn_base/injection_share");
    assert!(share("end") > share("trigger"));

    let lumped = &document["lumped"];
    let (field, model) =
        (number(snapback, "/holding/voltage_V"), number(lumped, "/holding/voltage_V"));
    assert_eq!(number(lumped, "/holding/field_voltage_V"), field);
    // The drop of the whole current between the bases is not in the model: it holds lower.
    assert!(model > 0.6 && model < field, "holding: model {model}, field {field}");
    let (field, model) = (
        number(snapback, "/holding/current_A_per_um"),
        number(lumped, "/conditions/sustaining_A_per_um"),
    );
    assert!(model / field > 0.5 && model / field < 1.5, "I_h: model {model}, field {field}");
    let (field, model) =
        (number(snapback, "/trigger/voltage_V"), number(lumped, "/trigger/voltage_V"));
    assert!((model / field - 1.0).abs() < 0.1, "trigger: model {model}, field {field}");
    let (product, required) = (
        number(lumped, "/conditions/beta_product"),
        number(lumped, "/conditions/required_product"),
    );
    assert!(product > 1.0 && product / required > 0.3, "{product} {required}");
    assert!(lumped["differences"].as_array().is_some_and(|d| d.len() > 1));

    // The file keeps all of it; another number of threads gives the same bits.
    let shown = desk.run(&["show", "core.h5", "--json"]).json();
    assert_eq!(shown["lumped"], document["lumped"]);
    assert_eq!(experiment(&shown, "snapback")["flow"], snapback["flow"]);
    let ran = desk.case("two", &text, &["--threads", "2"]);
    let two = ran.json();
    assert_eq!(two["lumped"], document["lumped"]);
    assert_eq!(experiment(&two, "gains")["npn"], experiment(&document, "gains")["npn"]);
    let table = desk.run(&["show", "core.h5", "--details"]).out;
    assert!(table.contains("flow at the holding point") && table.contains("lumped"), "{table}");
}

/// All of a small injection is accounted for by the other terminals.
#[test]
fn a_small_injection_goes_somewhere() {
    let desk = Desk::new();
    let text = core(
        800,
        "[[experiment]]\nkind = \"injection\"\ninto = \"anode\"\nsign = \"+\"\n\
         bias = { well-tap = 1.2, anode = 1.2 }\nstop = { current = \"1 uA/um\" }\n",
    );
    let ran = desk.case("into", &text, &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let document = ran.json();
    let collected = &experiment(&document, "injection")["flow"]["collected"];
    let shares = numbers(collected, "/share");
    let sum: f64 = shares.iter().sum();
    assert!((sum - 1.0).abs() < 1e-6, "{shares:?}");
    // A vertical pnp: most holes cross the well.
    let crossed = number(collected, "/collected_share");
    assert!(crossed > 0.5 && crossed < 1.0, "{crossed}");
    assert!(collected["guard_share"].is_null());
    assert!(collected["guard_share_reason"].as_str().is_some_and(|r| r.contains("guard")));
}

/// A role that no terminal has, a supply that nobody names.
#[test]
fn what_is_missing_is_named_with_its_line() {
    let desk = Desk::new();
    for kind in ["gains", "resistances"] {
        let text = core(500, &format!("[[experiment]]\nkind = \"{kind}\"\n"));
        let spoilt = with(&text, "role    = \"anode\"\n", "role    = \"none\"\n");
        let ran = desk.case("bad", &spoilt, &[]);
        assert_eq!(ran.code, Some(2), "{}", ran.err);
        assert!(ran.err.contains("missing-role") && ran.err.contains("\"anode\""), "{}", ran.err);
        assert!(ran.err.contains("bad.toml:") && ran.err.contains(kind), "{}", ran.err);
        let ran = desk.case("bad", &with(&text, TAIL, ""), &[]);
        assert_eq!(ran.code, Some(2));
        assert!(ran.err.contains("missing-supply"), "{}", ran.err);
    }
}
