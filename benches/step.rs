//! How the cost of a Newton step grows with the mesh: `cargo bench --bench step`.
//! tern180-pad at six budgets, its supply walked from 0 to 1 V; the time is that of the
//! walk over the number of its Newton steps, everything of a step included. Exit code 1 if
//! it grows faster than N^1.3 from the smallest mesh to the largest.

use std::process::ExitCode;
use std::time::Instant;

use holdpoint::case::{self, ExperimentKind};
use holdpoint::discretize::Device;
use holdpoint::experiment::Setup;
use holdpoint::mesh;
use holdpoint::solve::{System, equilibrium};
use holdpoint::structure::Structure;
use holdpoint::trace::walk;

const CASE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/tern180-pad.toml");
const BUDGETS: [u32; 6] = [2_500, 5_000, 10_000, 20_000, 40_000, 80_000];
/// Time is taken of the faster of this many walks: machines are noisy.
const WALKS: usize = 2;
const FASTEST_GROWTH: f64 = 1.3;

/// Nodes and seconds per Newton step.
struct Cost {
    nodes: f64,
    step: f64,
}

fn cost(text: &str, budget: u32) -> Result<Cost, String> {
    let wrong = |problems: Vec<case::Problem>| {
        problems.into_iter().map(|p| p.text).collect::<Vec<_>>().join("; ")
    };
    let text = text.replace("nodes = 8000", &format!("nodes = {budget}"));
    let (case, _) = case::read_str(&text, "tern180-pad.toml").map_err(wrong)?;
    let (structure, _) = Structure::new(&case).map_err(wrong)?;
    let (mesh, _) = mesh::build(&case, &structure).map_err(wrong)?;
    let started = Instant::now();
    let device = Device::of_case(&case, &mesh);
    let (rest, _) = equilibrium(&device).map_err(|e| e.to_string())?;
    let ready = started.elapsed().as_secs_f64();
    let experiment = case.experiments.first().ok_or("the case has no experiment")?;
    let ExperimentKind::Snapback { drive, .. } = &experiment.kind else {
        return Err("the case's first experiment is no snapback".into());
    };
    let setup = Setup::new(&case, &device, experiment, drive).map_err(|e| e.to_string())?;
    let mut fastest = f64::INFINITY;
    let mut steps = 0;
    for _ in 0..WALKS {
        let mut system = System::new(&device, setup.driven()).map_err(|e| e.to_string())?;
        let (mut state, mut volts) = (rest.clone(), 0.0);
        let started = Instant::now();
        walk(&mut system, &mut state, &mut volts, 1.0, 0.25).map_err(|e| e.to_string())?;
        steps = system.work.newton_steps;
        fastest = fastest.min(started.elapsed().as_secs_f64() / steps as f64);
    }
    let nodes = device.nodes();
    println!("{nodes:>7} {ready:>14.2} {steps:>6} {:>13.2}", 1e3 * fastest);
    Ok(Cost { nodes: nodes as f64, step: fastest })
}

fn main() -> ExitCode {
    let text = match std::fs::read_to_string(CASE) {
        Ok(text) if text.matches("nodes = 8000").count() == 1 => text,
        _ => {
            eprintln!("failed: {CASE} no longer has the line `nodes = 8000`");
            return ExitCode::FAILURE;
        }
    };
    println!("{:>7} {:>14} {:>6} {:>13}", "nodes", "equilibrium s", "steps", "ms per step");
    let costs: Result<Vec<Cost>, String> = BUDGETS.iter().map(|&b| cost(&text, b)).collect();
    let costs = match costs {
        Ok(costs) => costs,
        Err(e) => {
            eprintln!("failed: {e}");
            return ExitCode::FAILURE;
        }
    };
    let (Some(first), Some(last)) = (costs.first(), costs.last()) else {
        return ExitCode::FAILURE;
    };
    let growth = (last.step / first.step).ln() / (last.nodes / first.nodes).ln();
    println!("grows as N^{growth:.2} from {} to {} nodes", first.nodes, last.nodes);
    if growth <= FASTEST_GROWTH {
        ExitCode::SUCCESS
    } else {
        eprintln!("failed: faster than N^{FASTEST_GROWTH}");
        ExitCode::FAILURE
    }
}
