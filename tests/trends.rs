//! What layout, process and temperature do to the folds, against the directions that are
//! published or known in the trade. Small meshes of `tern180-core`: only directions are
//! asserted, and sizes where a source gives one.

mod shipped_support;

use holdpoint::case;
use holdpoint::discretize::Device;
use holdpoint::experiment::{Figures, Outcome, RunOptions, Status, run_experiment};
use holdpoint::mesh::{self, Mesh};
use holdpoint::solve::equilibrium;
use holdpoint::structure::Structure;
use holdpoint::trace::{Fold, KeepNothing};
use shipped_support::{shipped, with};

/// A traced snapback.
struct Traced {
    mesh: Mesh,
    outcome: Outcome,
    trigger: Fold,
    holding: Fold,
}

fn core() -> String {
    with(&shipped("tern180-core.toml"), "nodes = 5000", "nodes = 1800")
}

/// Everything right of 4.5 µm, the well's edge included, moved by `d` \[µm\]; the trench
/// grows with the gap.
fn spaced(text: &str, d: f64) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let moved = line.split_once(" = ").filter(|(key, _)| {
            let key = key.trim();
            (key == "from" || key == "to" || key == "span") && !line.contains('{')
        });
        let text = match moved {
            Some((key, value)) => {
                let bare = value.trim().trim_matches('"').trim_end_matches(" um");
                let x: f64 = bare.parse().expect("a position");
                // The wells meet half-way: each side of the gap grows by d/2.
                let x = if x > 4.5 {
                    x + d
                } else if x == 4.5 {
                    x + 0.5 * d
                } else {
                    x
                };
                format!("{key} = {x}")
            }
            None if line.contains("touches") => {
                let number = |key: &str| -> f64 {
                    let after = line.split(&format!("{key} = ")).nth(1).expect("a stretch");
                    let end = after.find(|c: char| !(c.is_ascii_digit() || c == '.'));
                    after[..end.unwrap_or(after.len())].parse().expect("a position")
                };
                let shift = |x: f64| if x > 4.5 { x + d } else { x };
                let (from, to) = (shift(number("from")), shift(number("to")));
                format!("touches = [{{ from = {from}, to = {to} }}]")
            }
            None => line.to_string(),
        };
        out.push_str(&text);
        out.push('\n');
    }
    out
}

fn traced(text: &str) -> Traced {
    let show =
        |p: Vec<case::Problem>| -> ! { panic!("{}", case::render(&p, text, "trend.toml", false)) };
    let (case, _) = case::read_str(text, "trend.toml").unwrap_or_else(|p| show(p));
    let (structure, _) = Structure::new(&case).unwrap_or_else(|p| show(p));
    let (mesh, _) = mesh::build(&case, &structure).unwrap_or_else(|p| show(p));
    let device = Device::of_case(&case, &mesh);
    let (rest, _) = equilibrium(&device).expect("equilibrium");
    let options = RunOptions::default();
    let experiment = &case.experiments[0];
    let outcome =
        run_experiment(&case, &device, &rest, experiment, options, None, &mut KeepNothing)
            .expect("setup");
    assert_eq!(outcome.status, Status::Complete);
    let Figures::Snapback { trigger: Ok(trigger), holding: Ok(holding), .. } = &outcome.figures
    else {
        panic!("no folds: {:?}", outcome.figures)
    };
    let (trigger, holding) = (trigger.clone(), holding.clone());
    Traced { mesh, outcome, trigger, holding }
}

fn print(what: &str, t: &Traced) {
    println!(
        "{what}: V_t {:.3} V, I_t {:.3e} A/µm, V_h {:.4} V, I_h {:.3e} A/µm",
        t.trigger.voltage, t.trigger.current, t.holding.voltage, t.holding.current
    );
}

/// Seitchik, Chatterjee, Yang, IEEE Electron Device Lett. 8, 157 (1987); Zappe, Hu,
/// Solid-State Electron. 34, 1275 (1991): the holding voltage rises with the spacing of n+
/// and p+; both describe the latched region as flooded by carriers.
#[test]
fn spacing_raises_the_holding_voltage_and_the_on_state_floods_the_junction() {
    let drawn = traced(&core());
    let wider = traced(&spaced(&core(), 2.0));
    print("2.6 um from n+ to p+", &drawn);
    print("4.6 um from n+ to p+", &wider);
    assert!(wider.holding.voltage > drawn.holding.voltage + 0.02);
    let on = drawn.outcome.fields.iter().find(|f| f.label == "end").expect("the last point");
    let nearest = |lines: &[f64], at: f64| {
        (0..lines.len()).min_by(|a, b| (lines[*a] - at).abs().total_cmp(&(lines[*b] - at).abs()))
    };
    let i = nearest(&drawn.mesh.x, 4.5).expect("lines");
    let j = nearest(&drawn.mesh.y, 1.0).expect("lines");
    let node = drawn.mesh.node(i, j).expect("silicon");
    let (n, p) = (on.electrons[node], on.holes[node]);
    println!("well junction at 1 um: n {n:.2e}, p {p:.2e} cm^-3");
    assert!(n > 1e17 && p > 1e17, "carriers of the junction itself");
    assert!((n / p).ln().abs() < 1.0, "neutral: as many electrons as holes");
}

/// Seitchik, Chatterjee, Yang (1987): V_h rises with a shallow trench and a thinner epi.
#[test]
fn trench_and_thin_epi_raise_the_holding_voltage() {
    let trench = |depth: &str| traced(&with(&core(), "depth = 0.35", depth));
    let (shallow, deep) = (trench("depth = 0.2"), trench("depth = 0.8"));
    print("trench of 0.2 um", &shallow);
    print("trench of 0.8 um", &deep);
    assert!(deep.holding.voltage > shallow.holding.voltage + 0.01);
    let epi = |thickness: f64| {
        let text = format!(
            "epi = {{ thickness = {thickness}, acceptors = 1e15, handle = 5e18, blur = 0.3 }}"
        );
        let bulk = "thickness = \"6 um\"\nacceptors = 1e15";
        traced(&with(&core(), bulk, &format!("thickness = \"6 um\"\n{text}")))
    };
    let (thick, thin) = (epi(4.5), epi(3.0));
    print("epi of 4.5 um", &thick);
    print("epi of 3.0 um", &thin);
    assert!(thin.holding.voltage > thick.holding.voltage + 0.01);
}

/// Common practice: V_h falls with temperature. Aoki, IEEE Trans. Electron Devices 40, 2023
/// (1993): the trigger current falls by 0.6 to 1.0 %/K between 10 and 125 °C; here it is
/// the snapback's, and 0.5 to 1.2 %/K pass.
#[test]
fn temperature_lowers_the_folds() {
    let at = |t: &str| traced(&with(&core(), "\"125 degC\"", t));
    let (cold, hot) = (at("\"25 degC\""), at("\"125 degC\""));
    print("25 degC", &cold);
    print("125 degC", &hot);
    assert!(hot.holding.voltage < cold.holding.voltage - 0.05);
    assert!(hot.holding.current < cold.holding.current);
    let coefficient = (hot.trigger.current / cold.trigger.current).ln() / 100.0;
    println!("d ln I_t/dT = {:.2} %/K", 100.0 * coefficient);
    assert!((-0.012..=-0.005).contains(&coefficient));
}

/// Common practice (and the shunted two-transistor condition): the larger the resistances
/// that short the emitters, the smaller the current that triggers and that holds.
#[test]
fn resistance_to_the_taps_lowers_the_currents() {
    let contact = |ohms: f64| {
        let mut text = core();
        for tap in ["substrate-tap", "well-tap"] {
            let role = format!("role    = \"{tap}\"\n");
            text = with(&text, &role, &format!("{role}resistance = {ohms}\n"));
        }
        traced(&text)
    };
    let (low, high) = (contact(500.0), contact(1000.0));
    print("taps of 500 ohm um", &low);
    print("taps of 1000 ohm um", &high);
    assert!(high.holding.current < 0.9 * low.holding.current);
    assert!(high.trigger.current < 0.9 * low.trigger.current);
}
