//! Self-heating over the whole range of ambient temperatures, with every alternative of
//! every law: each S-curve of the four-layer bar is traced to its `stop`, or up to the
//! lattice temperature where the laws end, and its heat is the electric power.

use holdpoint::case;
use holdpoint::discretize::Device;
use holdpoint::experiment::{Figures, Outcome, RunOptions, Status, run_experiment};
use holdpoint::mesh;
use holdpoint::solve::equilibrium;
use holdpoint::structure::Structure;
use holdpoint::trace::{FoldKind, KeepNothing};
use rayon::prelude::*;

const AMBIENTS: [u32; 6] = [233, 273, 300, 348, 398, 448];

/// Law by law, the lines of `[laws]` that choose each alternative.
const LAWS: [&[&str]; 7] = [
    &["klaassen-1992", "masetti-1983", "arora-1982", "constant"],
    &["klaassen-1992", "slotboom-1977", "del-alamo-1985", "none"],
    &["boltzmann", "fermi-dirac"],
    &["ionized", "incomplete"],
    &["van-overstraeten-1970", "okuto-crowell-1975", "none"],
    &["canali-1975", "none"],
    &["[\"shockley-read-hall\"]", "[\"shockley-read-hall\", \"auger\", \"surface\"]"],
];
const KEYS: [&str; 7] =
    ["mobility", "narrowing", "statistics", "dopants", "avalanche", "saturation", "recombination"];

/// One case of the grid: ambient [K], and for each law which alternative.
#[derive(Debug, Clone, Copy)]
struct Point {
    kelvin: u32,
    choice: [usize; 7],
    /// Budget of nodes.
    nodes: u32,
}

/// That of all points but those that vary it.
const NODES: u32 = 200;

impl Point {
    fn laws(&self) -> String {
        let line = |k: usize| {
            let word = LAWS[k][self.choice[k]];
            if word.starts_with('[') {
                format!("{} = {word}\n", KEYS[k])
            } else {
                format!("{} = \"{word}\"\n", KEYS[k])
            }
        };
        (0..LAWS.len()).map(line).collect()
    }

    fn has_avalanche(&self) -> bool {
        LAWS[4][self.choice[4]] != "none"
    }

    /// The bar under these laws, its ends cooled.
    fn text(&self) -> String {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/four-layer-bar.toml");
        let text = std::fs::read_to_string(path).unwrap();
        let laws = format!(
            "{}heat = \"self-heating\"\n[heat]\nterminals = \"0.001 K*cm^2/W\"\n",
            self.laws()
        );
        text.replace("nodes = 3200", &format!("nodes = {}", self.nodes))
            .replace("temperature = \"300 K\"", &format!("temperature = \"{} K\"", self.kelvin))
            .replace("lifetime = \"constant\"", &format!("lifetime = \"constant\"\n{laws}"))
    }
}

/// Every combination of all laws at every temperature.
fn grid() -> Vec<Point> {
    let count: usize = LAWS.iter().map(|l| l.len()).product();
    let of = |kelvin: u32, index: usize| {
        let mut rest = index;
        let choice = LAWS.map(|l| {
            let k = rest % l.len();
            rest /= l.len();
            k
        });
        Point { kelvin, choice, nodes: NODES }
    };
    AMBIENTS.iter().flat_map(|&kelvin| (0..count).map(move |k| of(kelvin, k))).collect()
}

/// Four a temperature, so that every alternative of every law meets every temperature;
/// from one temperature to the next the laws are paired anew.
fn sample() -> Vec<Point> {
    let of = |t: usize, j: usize| Point {
        nodes: NODES,
        kelvin: AMBIENTS[t],
        choice: [
            j,
            (j + t) % 4,
            (j + t / 2) % 2,
            (j / 2 + t) % 2,
            (j + 2 * t) % 3,
            (j + j / 2 + t) % 2,
            (j / 2 + t / 3) % 2,
        ],
    };
    (0..AMBIENTS.len()).flat_map(|t| (0..4).map(move |j| of(t, j))).collect()
}

/// Trace one point of the grid; what is wrong with the outcome, if anything.
fn trouble(point: &Point) -> Option<String> {
    let text = point.text();
    let (case, _) = case::read_str(&text, "bar.toml").expect("a case");
    let (structure, _) = Structure::new(&case).expect("a structure");
    let (mesh, _) = mesh::build(&case, &structure).expect("a mesh");
    let device = Device::of_case(&case, &mesh);
    let (start, _) = equilibrium(&device).expect("equilibrium");
    let options = RunOptions::default();
    let outcome = run_experiment(
        &case,
        &device,
        &start,
        &case.experiments[0],
        options,
        None,
        &mut KeepNothing,
    )
    .expect("setup");
    let wrong = judge(point, &device, &outcome);
    println!(
        "{} K: {} points, {} Newton steps, {}{}",
        point.kelvin,
        outcome.curve.len(),
        outcome.work.newton_steps,
        point.laws().replace('\n', "; "),
        wrong.as_deref().map(|w| format!("WRONG: {w}")).unwrap_or_default()
    );
    wrong.map(|w| format!("{point:?}: {w}"))
}

fn judge(point: &Point, device: &Device, outcome: &Outcome) -> Option<String> {
    match &outcome.status {
        Status::Complete => {}
        Status::Stopped(reason) if reason.contains("beyond the 1200 K") => {}
        other => return Some(format!("{other:?}")),
    }
    let Figures::Snapback { trigger, holding, .. } = &outcome.figures else {
        return Some("no snapback".to_string());
    };
    let (t, h) = match (trigger, holding) {
        (Ok(t), Ok(h)) => (t, h),
        other => return Some(format!("{other:?}")),
    };
    // Only a guard against a wrong branch. Without narrowing and with a mobility that no
    // doping lowers, the bar hardly blocks when it is hot.
    let blocks = LAWS[0][point.choice[0]] != "constant";
    let low = match (blocks, point.has_avalanche()) {
        (false, _) => 0.5,
        (true, true) => 15.0,
        // The base punches through, far higher.
        (true, false) => 40.0,
    };
    let on = if blocks { 0.7..1.4 } else { 0.4..1.4 };
    if !(low..200.0).contains(&t.voltage) || !on.contains(&h.voltage) {
        return Some(format!("trigger {} V, holding {} V", t.voltage, h.voltage));
    }
    let [first, second] = [FoldKind::VoltageMaximum, FoldKind::VoltageMinimum]
        .map(|kind| outcome.folds.iter().position(|f| f.kind == kind).unwrap_or(usize::MAX));
    if first >= second {
        return Some("the holding point comes before the trigger point".to_string());
    }
    let conservation = outcome.curve.conservation();
    if conservation.is_nan() || conservation > 1e-10 {
        return Some(format!("|ΣI|/max|I| {conservation:.1e}"));
    }
    let [electric, heat] = powers(device, outcome)?;
    let off = (heat / electric - 1.0).abs();
    if electric.is_nan() || electric <= 0.0 || off.is_nan() || off > 1e-7 {
        return Some(format!("ΣVI {electric:e} W/µm, heat {heat:e} W/µm"));
    }
    None
}

/// Σ V I over the terminals and the heat that leaves at the last point [W/µm].
fn powers(device: &Device, outcome: &Outcome) -> Option<[f64; 2]> {
    let (end, at) = (outcome.fields.last()?, outcome.curve.at_terminals.last()?);
    let electric = at.voltage.iter().zip(&at.current).map(|(v, i)| v * i).sum();
    let loss = &device.heat.as_ref()?.to_ambient;
    let words = end.state.temperature.iter().zip(&end.state.temperature_low);
    let leaving = loss
        .iter()
        .zip(words)
        .map(|(g, (hi, lo))| 1e-4 * g * ((hi - device.silicon.temperature) + lo))
        .sum();
    Some([electric, leaving])
}

fn all_are_right(points: &[Point]) {
    let wrong: Vec<String> = points.par_iter().filter_map(trouble).collect();
    println!("{} of {} wrong", wrong.len(), points.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The one of the sample that does not trace: it ends at 1e-24 A/µm and 2 µV. The cause is
/// not found yet.
fn is_known(point: &Point) -> bool {
    point.kelvin == 233
        && LAWS[0][point.choice[0]] == "constant"
        && LAWS[2][point.choice[2]] == "fermi-dirac"
        && LAWS[3][point.choice[3]] == "incomplete"
}

#[test]
#[ignore = "known: at 233 K with constant mobility, Fermi-Dirac statistics and incomplete ionization the system is singular at the first points"]
fn the_known_one_traces() {
    let known: Vec<Point> = sample().into_iter().filter(is_known).collect();
    assert_eq!(known.len(), 1);
    all_are_right(&known);
}

#[test]
fn sampled_laws_with_heat_from_233_to_448_k() {
    let points = sample();
    for (k, law) in LAWS.iter().enumerate() {
        for kelvin in AMBIENTS {
            let met = |c: usize| points.iter().any(|p| p.kelvin == kelvin && p.choice[k] == c);
            assert!((0..law.len()).all(met), "{} at {kelvin} K: the sample has a gap", KEYS[k]);
        }
    }
    let traced: Vec<Point> = points.into_iter().filter(|p| !is_known(p)).collect();
    assert_eq!(traced.len(), 23);
    all_are_right(&traced);
}

/// Punched through without avalanche, the on-state's branch runs beside the blocking one for
/// tens of volts, so that Newton may find that one on the plane of a long step. On which of
/// these meshes hangs on roundings: on a machine with AVX2 five of them went back to the origin
/// and on to -2,400 V before steps aside of the tangent were refused.
#[test]
fn no_step_lands_on_another_part_of_the_curve() {
    let of = |nodes| Point { kelvin: 398, choice: [0, 0, 0, 0, 2, 0, 1], nodes };
    all_are_right(&[180, 190, 200, 240, 250, 260, 280, 300].map(of));
}

/// The whole grid: hours of one core, so asked for by name only.
#[test]
#[ignore = "the whole grid takes an hour or more: cargo test --release --test ambient_range -- --ignored"]
fn all_laws_with_heat_from_233_to_448_k() {
    all_are_right(&grid());
}
