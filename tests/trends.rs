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
    /// Net doping by node \[cm⁻³\].
    net: Vec<f64>,
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

/// Mesh, net doping and all experiments of a case.
fn outcomes(text: &str) -> (Mesh, Vec<f64>, Vec<Outcome>) {
    let show =
        |p: Vec<case::Problem>| -> ! { panic!("{}", case::render(&p, text, "trend.toml", false)) };
    let (case, _) = case::read_str(text, "trend.toml").unwrap_or_else(|p| show(p));
    let (structure, _) = Structure::new(&case).unwrap_or_else(|p| show(p));
    let (mesh, _) = mesh::build(&case, &structure).unwrap_or_else(|p| show(p));
    let device = Device::of_case(&case, &mesh);
    let (rest, _) = equilibrium(&device).expect("equilibrium");
    let options = RunOptions::default();
    let run = |experiment| {
        let outcome =
            run_experiment(&case, &device, &rest, experiment, options, None, &mut KeepNothing)
                .expect("setup");
        assert_eq!(outcome.status, Status::Complete);
        outcome
    };
    let all = case.experiments.iter().map(run).collect();
    (mesh, device.net.clone(), all)
}

fn traced(text: &str) -> Traced {
    let (mesh, net, mut all) = outcomes(text);
    let outcome = all.remove(0);
    let Figures::Snapback { trigger: Ok(trigger), holding: Ok(holding), .. } = &outcome.figures
    else {
        panic!("no folds: {:?}", outcome.figures)
    };
    let (trigger, holding) = (trigger.clone(), holding.clone());
    Traced { mesh, net, outcome, trigger, holding }
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
    // Between the sources and below the trench, at the holding point itself: high injection,
    // fewer carriers of either sort nowhere than dopants, so that no junction is left.
    let [depleted, flooded] = ["trigger", "holding"].map(|label| least_filled(&drawn, label));
    println!("fewer carriers over dopants, least: trigger {depleted:.1e}, holding {flooded:.2}");
    assert!(flooded > 1.0, "not flooded");
    assert!(depleted < 1e-3, "the junction blocks up to the trigger point");
}

/// The least ratio of the rarer carrier to the net doping between the sources of
/// `tern180-core`, from 0.4 to 2 µm down, at the point `label`.
fn least_filled(t: &Traced, label: &str) -> f64 {
    let point = t.outcome.fields.iter().find(|f| f.label == label).expect("a stored point");
    let mut least = f64::INFINITY;
    for (i, x) in t.mesh.x.iter().enumerate().filter(|(_, x)| (3.5..=5.5).contains(*x)) {
        for (j, y) in t.mesh.y.iter().enumerate().filter(|(_, y)| (0.4..=2.0).contains(*y)) {
            let node = t.mesh.node(i, j).unwrap_or_else(|| panic!("silicon at {x}, {y}"));
            let rarer = point.electrons[node].min(point.holes[node]);
            least = least.min(rarer / t.net[node].abs());
        }
    }
    least
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
/// (1993, abstract): the trigger current falls by about 0.6 and 1.0 %/K between 10 and 125 °C
/// on the two wells' sides; 0.5 to 1.2 %/K pass. The abstract does not say which current
/// triggers: here it is the snapback's.
#[test]
fn temperature_lowers_the_folds() {
    let at = |t: &str| traced(&with(&core(), "\"125 degC\"", t));
    let (cold, hot) = (at("\"25 degC\""), at("\"125 degC\""));
    print("25 degC", &cold);
    print("125 degC", &hot);
    assert!(hot.holding.voltage < cold.holding.voltage - 0.05);
    assert!(hot.holding.current < cold.holding.current);
    let per_kelvin = (hot.trigger.current / cold.trigger.current).ln() / 100.0;
    println!("snapback: d ln I_t/dT = {:.2} %/K", 100.0 * per_kelvin);
    assert!((-0.012..=-0.005).contains(&per_kelvin));
}

/// The same paper, the critical injection of both of the pad's drains.
#[test]
fn temperature_lowers_the_critical_injection() {
    let pad = with(&shipped("tern180-pad.toml"), "nodes = 8000", "nodes = 2000");
    let critical = |temperature: &str| -> Vec<f64> {
        let drawn = "temperature = \"125 degC\"";
        let text = with(&pad, drawn, &format!("temperature = {temperature}"));
        // Without the snapback.
        let mut parts = text.split("[[experiment]]");
        let mut kept = parts.next().unwrap_or_default().to_string();
        for part in parts.filter(|p| p.contains("\"injection\"")) {
            kept += &format!("[[experiment]]{part}");
        }
        let found = outcomes(&kept).2.into_iter().map(|o| match o.figures {
            Figures::Injection { critical: Ok(c), .. } => c.current,
            other => panic!("no critical injection: {other:?}"),
        });
        found.collect()
    };
    let (cold, hot) = (critical("\"25 degC\""), critical("\"125 degC\""));
    assert_eq!((cold.len(), hot.len()), (2, 2));
    for (into, (cold, hot)) in ["into p-drain", "out of n-drain"].iter().zip(cold.iter().zip(&hot))
    {
        let per_kelvin = (hot / cold).ln() / 100.0;
        println!("{into}: {cold:.3e}, {hot:.3e} A/µm, d ln I/dT = {:.2} %/K", 100.0 * per_kelvin);
        assert!((-0.012..=-0.005).contains(&per_kelvin), "{into}");
    }
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
