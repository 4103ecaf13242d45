//! Where the time of a Newton step goes: `cargo bench --bench assembly [-- NODES]`, on
//! tern180-pad at its trigger and holding points. Least time of several runs, in
//! milliseconds. Exit code 1 if residual and Jacobian take more than a quarter of a step.

use std::process::ExitCode;
use std::time::Instant;

use holdpoint::case::{self, ExperimentKind};
use holdpoint::discretize::{Assembly, Device, EdgeFlow, State, Words};
use holdpoint::experiment::{RunOptions, Setup, run_experiment};
use holdpoint::linear::DirectSolver;
use holdpoint::mesh;
use holdpoint::solve::{Constraint, System, equilibrium};
use holdpoint::structure::Structure;
use holdpoint::trace::{FoldKind, KeepNothing};

const CASE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/tern180-pad.toml");
const RUNS: usize = 15;
const LARGEST_SHARE: f64 = 0.25;

/// Least time [ms] of several runs.
fn least(runs: usize, mut run: impl FnMut()) -> f64 {
    let once = |run: &mut dyn FnMut()| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..runs).map(|_| once(&mut run)).fold(f64::INFINITY, f64::min)
}

fn row(what: &str, ms: f64, step: f64) {
    println!("  {what:<42} {ms:>9.2} {:>7.0} %", 100.0 * ms / step);
}

/// Times at one solved state; returns the share of residual and Jacobian in a step.
fn measure(system: &mut System, at: &State, lambda: f64, goal: &Constraint) -> Result<f64, String> {
    let device = system.device;
    // A whole step: Newton's time over its steps, from the state moved by a hair.
    let mut steps = 0;
    let newton = least(RUNS, || {
        let mut state = at.clone();
        let mut l = [lambda, 0.0];
        for i in (0..device.nodes()).filter(|i| device.has_silicon(*i)) {
            state.correct(device, i, [1e-3 * (i as f64).sin(), 0.0, 0.0, 0.0]);
        }
        steps = system.newton(&mut state, &mut l, goal).map_or(0, |info| info.steps);
    });
    if steps == 0 {
        return Err("Newton did not converge from a solution moved by a millivolt".into());
    }
    let step = newton / f64::from(steps);
    let mut assembly = Assembly::new(device);
    let residual = least(RUNS, || assembly.evaluate(device, at, false));
    let jacobian = least(RUNS, || assembly.evaluate(device, at, true));
    // One edge after the other by the law for any temperature, on one thread.
    let general = least(RUNS, || {
        for (flow, edge) in assembly.edges.iter_mut().zip(&device.edges) {
            *flow = EdgeFlow::new(device, at, edge);
        }
    });
    let still = vec![0.0; assembly.residual.len()];
    let carry = least(RUNS, || assembly.carry(device, &still, 1.0));
    let mut solver = DirectSolver::new(device.pattern.clone()).map_err(|e| e.to_string())?;
    let factor = least(RUNS, || {
        let _ = solver.factor(&assembly.matrix);
    });
    let mut x = assembly.residual.clone();
    let solve = least(RUNS, || {
        x.copy_from_slice(&assembly.residual);
        let _ = solver.solve(&assembly.matrix, &mut x, 1);
    });
    let mut moved = at.clone();
    let update = least(RUNS, || {
        for i in (0..device.nodes()).filter(|i| device.has_silicon(*i)) {
            moved.correct(device, i, [0.0; 4]);
        }
    });
    let linearize = least(RUNS, || {
        let _ = system.linearize(at, [lambda, 0.0], goal);
    });
    let tangent = least(RUNS, || {
        let _ = system.tangent(at);
    });
    row("Newton step (its time over its steps)", step, step);
    row("residual", residual, step);
    row("residual and Jacobian", jacobian, step);
    row("flows by the general law, one thread", general, step);
    row("carried currents", carry, step);
    row("scaling and factorisation", factor, step);
    row("one solve, checked and refined", solve, step);
    row("update of the state", update, step);
    row("weights, Jacobian, border, factorisation", linearize, step);
    row("tangent (once a point)", tangent, step);
    Ok(jacobian / step)
}

fn run(nodes: u32, threads: usize) -> Result<f64, String> {
    let wrong = |problems: Vec<case::Problem>| {
        problems.into_iter().map(|p| p.text).collect::<Vec<_>>().join("; ")
    };
    let text = std::fs::read_to_string(CASE).map_err(|e| e.to_string())?;
    let text = text.replace("nodes = 8000", &format!("nodes = {nodes}"));
    let (case, _) = case::read_str(&text, CASE).map_err(wrong)?;
    let start = Instant::now();
    let (structure, _) = Structure::new(&case).map_err(wrong)?;
    let (mesh, _) = mesh::build(&case, &structure).map_err(wrong)?;
    let mesh_time = start.elapsed().as_secs_f64() * 1e3;
    let build = least(3, || {
        Device::of_case(&case, &mesh);
    });
    let device = Device::of_case(&case, &mesh);
    let start = Instant::now();
    let (state, _) = equilibrium(&device).map_err(|e| e.to_string())?;
    let rest = start.elapsed().as_secs_f64() * 1e3;
    println!(
        "{} nodes, threads: {threads}; mesh {mesh_time:.0} ms, device {build:.1} ms, equilibrium {rest:.0} ms",
        device.nodes()
    );
    let drive_of = |kind: &ExperimentKind| match kind {
        ExperimentKind::Snapback { drive, .. } => Some(drive.clone()),
        _ => None,
    };
    let (experiment, drive) = case
        .experiments
        .iter()
        .find_map(|e| drive_of(&e.kind).map(|d| (e, d)))
        .ok_or("no snapback in the case")?;
    let options = RunOptions::default();
    let outcome =
        run_experiment(&case, &device, &state, experiment, options, None, &mut KeepNothing)
            .map_err(|e| e.to_string())?;
    let setup = Setup::new(&case, &device, experiment, &drive).map_err(|e| e.to_string())?;
    let mut worst = 0.0f64;
    for (fold, fields) in outcome.folds.iter().zip(&outcome.fields) {
        let volts = Words {
            hi: fold.at_terminals.voltage.clone(),
            lo: vec![0.0; fold.at_terminals.voltage.len()],
        };
        let at = State::from_words(&device, &fields.state, &volts).ok_or("not this mesh")?;
        let mut system = System::new(&device, setup.driven()).map_err(|e| e.to_string())?;
        let name = if fold.kind == FoldKind::VoltageMaximum { "trigger" } else { "holding" };
        println!("{name}: {:.3} V, {:.3e} A/µm", fold.voltage, fold.current);
        println!("  {:<42} {:>9} {:>9}", "", "ms", "of a step");
        let goal = Constraint::Current(fold.current);
        worst = worst.max(measure(&mut system, &at, fold.voltage, &goal)?);
    }
    if worst == 0.0 {
        return Err("no fold was met".into());
    }
    Ok(worst)
}

fn main() -> ExitCode {
    let nodes = std::env::args().filter_map(|a| a.parse().ok()).next().unwrap_or(10_000);
    for threads in [1, 2] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let share = match pool {
            Ok(pool) => pool.install(|| run(nodes, threads)),
            Err(e) => Err(e.to_string()),
        };
        match share {
            Ok(share) if share <= LARGEST_SHARE => {}
            Ok(share) => {
                eprintln!("failed: assembly takes {:.0} % of a step", 100.0 * share);
                return ExitCode::FAILURE;
            }
            Err(e) => {
                eprintln!("failed: {e}");
                return ExitCode::FAILURE;
            }
        }
    }
    ExitCode::SUCCESS
}
