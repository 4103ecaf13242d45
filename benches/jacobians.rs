//! Jacobians of real Newton steps, for `benches/peers`: traces the snapback of tern180-pad at
//! a node budget and writes the matrices at blocking, trigger, holding and in the on-state.
//! `cargo bench --bench jacobians -- NODES FOLDER`.
//!
//! Each point gives a folder NODES-POINT with NumPy arrays: `start`, `columns` and `values`
//! (block rows of 3 × 3 blocks as assembled, not scaled), `places` (grid line numbers of each
//! node), `order` (our elimination order of the unknowns) and `alone` (1 for each unknown whose
//! row has its diagonal alone).

use std::path::Path;
use std::process::ExitCode;

use holdpoint::case::{Case, ExperimentKind};
use holdpoint::discretize::{Device, State, Words};
use holdpoint::experiment::{RunOptions, Setup, run_experiment};
use holdpoint::linear::Symbolic;
use holdpoint::solve::{System, equilibrium};
use holdpoint::trace::{Fields, KeepNothing};

#[path = "peers/arrays.rs"]
mod arrays;
#[path = "../tests/bars_support/mod.rs"]
mod bars_support;

use arrays::{save, save_numbers};
use bars_support::{meshed, shipped};

/// Points kept on the way to the stop current, to find one in blocking.
const POINTS: usize = 40;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let [nodes, folder] = args.as_slice() else {
        eprintln!("usage: cargo bench --bench jacobians -- NODES FOLDER");
        return ExitCode::FAILURE;
    };
    let Ok(nodes) = nodes.parse() else {
        eprintln!("not a number of nodes: {nodes}");
        return ExitCode::FAILURE;
    };
    match write_all(nodes, Path::new(folder)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("failed: {e}");
            ExitCode::FAILURE
        }
    }
}

fn write_all(nodes: usize, folder: &Path) -> Result<(), String> {
    let case = shipped("tern180-pad", nodes);
    let (_, mesh) = meshed(&case);
    let device = Device::of_case(&case, &mesh);
    let (state, _) = equilibrium(&device).map_err(|e| e.to_string())?;
    let experiment = case
        .experiments
        .iter()
        .find(|e| matches!(e.kind, ExperimentKind::Snapback { .. }))
        .ok_or("no snapback in the case")?;
    let options = RunOptions { fields: POINTS };
    let outcome =
        run_experiment(&case, &device, &state, experiment, options, None, &mut KeepNothing)
            .map_err(|e| e.to_string())?;
    let trigger = outcome.fields.iter().find(|f| f.label == "trigger").ok_or("no trigger")?;
    let half = |f: &&Fields| (f.voltage - 0.5 * trigger.voltage).abs();
    let before = outcome.fields.iter().filter(|f| f.current < trigger.current);
    let blocking = before.min_by(|a, b| half(a).total_cmp(&half(b))).ok_or("no blocking point")?;
    let named = |name: &str| outcome.fields.iter().find(|f| f.label == name);
    for (name, point) in [
        ("blocking", Some(blocking)),
        ("trigger", Some(trigger)),
        ("holding", named("holding")),
        ("on-state", named("end")),
    ] {
        let point = point.ok_or_else(|| format!("no {name} point"))?;
        let into = folder.join(format!("{nodes}-{name}"));
        write(&case, &device, experiment, point, &into)?;
        println!(
            "{} nodes, {name}: {:.4} V, {:.3e} A/µm",
            mesh.nodes(),
            point.voltage,
            point.current
        );
    }
    Ok(())
}

/// The Jacobian at a point, written to a folder.
fn write(
    case: &Case,
    device: &Device,
    experiment: &holdpoint::case::Experiment,
    point: &Fields,
    folder: &Path,
) -> Result<(), String> {
    let ExperimentKind::Snapback { drive, .. } = &experiment.kind else {
        return Err("not a snapback".into());
    };
    let setup = Setup::new(case, device, experiment, drive).map_err(|e| e.to_string())?;
    let mut system = System::new(device, setup.driven()).map_err(|e| e.to_string())?;
    let volts = Words::zeros(device.contacts.len());
    let mut state =
        State::from_words(device, &point.state, &volts).ok_or("fields of another mesh")?;
    system.apply_lambda(&mut state, [point.voltage, 0.0]);
    system.assembly.evaluate(device, &state, true);
    let matrix = &system.assembly.matrix;
    let pattern = &matrix.pattern;
    let symbolic = Symbolic::new(pattern);
    std::fs::create_dir_all(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let start: Vec<u32> = pattern.start.iter().map(|&s| s as u32).collect();
    let order: Vec<u32> = symbolic.order().collect();
    let alone: Vec<u32> = pattern.alone.iter().map(|&a| u32::from(a)).collect();
    let places: Vec<u32> = pattern.places.iter().flat_map(|&(i, j)| [i, j]).collect();
    let write = || {
        save_numbers(&folder.join("start.npy"), &start)?;
        save_numbers(&folder.join("columns.npy"), &pattern.columns)?;
        save_numbers(&folder.join("places.npy"), &places)?;
        save_numbers(&folder.join("order.npy"), &order)?;
        save_numbers(&folder.join("alone.npy"), &alone)?;
        save(&folder.join("values.npy"), &matrix.values)
    };
    write().map_err(|e| format!("{}: {e}", folder.display()))
}
