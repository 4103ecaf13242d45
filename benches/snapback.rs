//! The S-curve of tern180-pad at full size: `cargo bench --bench snapback`.
//! Prints a table; exit code 1 if a curve misses its bounds (time, memory, mesh error).

use std::process::ExitCode;
use std::time::Instant;

use holdpoint::case::{self, ExperimentKind};
use holdpoint::discretize::Device;
use holdpoint::experiment::{Figures, RunOptions, Status, run_experiment};
use holdpoint::mesh;
use holdpoint::solve::equilibrium;
use holdpoint::structure::Structure;
use holdpoint::trace::KeepNothing;

const CASE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/tern180-pad.toml");

/// Bounds at the first budget: time [s] and peak memory [GiB]; and how far trigger and
/// holding voltage may differ between the two budgets.
const BUDGETS: [u32; 2] = [8_000, 20_000];
const LONGEST: f64 = 240.0;
const LARGEST: f64 = 1.5;
const APART: f64 = 0.02;

/// Peak resident memory of this process so far [GiB]; `None` where /proc has none.
fn peak() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib / (1024.0 * 1024.0))
}

struct Figure {
    seconds: f64,
    memory: Option<f64>,
    trigger: f64,
    holding: f64,
}

/// The first snapback of the case at a budget of `nodes`: mesh, equilibrium and trace.
fn trace(nodes: u32) -> Result<Figure, String> {
    let text = std::fs::read_to_string(CASE).map_err(|e| e.to_string())?;
    if text.matches("nodes = 8000").count() != 1 {
        return Err("the case no longer has the line `nodes = 8000`".into());
    }
    let text = text.replace("nodes = 8000", &format!("nodes = {nodes}"));
    let folder = tempfile::tempdir().map_err(|e| e.to_string())?;
    let path = folder.path().join("tern180-pad.toml");
    std::fs::write(&path, text).map_err(|e| e.to_string())?;
    let wrong = |problems: Vec<case::Problem>| {
        problems.into_iter().map(|p| p.text).collect::<Vec<_>>().join("; ")
    };
    let started = Instant::now();
    let (case, _) = case::read_file(&path).map_err(wrong)?;
    let (structure, _) = Structure::new(&case).map_err(wrong)?;
    let (mesh, _) = mesh::build(&case, &structure).map_err(wrong)?;
    let device = Device::of_case(&case, &mesh);
    let (state, _) = equilibrium(&device).map_err(|e| e.to_string())?;
    let experiment = case
        .experiments
        .iter()
        .find(|e| matches!(e.kind, ExperimentKind::Snapback { .. }))
        .ok_or("no snapback in the case")?;
    let options = RunOptions::default();
    let outcome =
        run_experiment(&case, &device, &state, experiment, options, None, &mut KeepNothing)
            .map_err(|e| e.to_string())?;
    let seconds = started.elapsed().as_secs_f64();
    if outcome.status != Status::Complete {
        return Err(format!("{} nodes: {}", mesh.nodes(), outcome.status.reason()));
    }
    let Figures::Snapback { trigger, holding, .. } = &outcome.figures else {
        return Err("not a snapback".into());
    };
    let (trigger, holding) = (trigger.clone()?, holding.clone()?);
    let (points, memory) = (outcome.curve.len(), peak());
    println!(
        "{:>7} {seconds:>8.1} {:>9} {points:>7} {:>13.2} {:>10.4} {:>10.4} {:>12.1e}",
        mesh.nodes(),
        memory.map_or("unknown".into(), |m| format!("{m:.2}")),
        outcome.work.newton_steps as f64 / points as f64,
        trigger.voltage,
        holding.voltage,
        outcome.curve.conservation(),
    );
    let w = &outcome.work;
    println!(
        "        Newton steps {} (walk {}, folds {}), chord steps {}, factorizations {}, halved steps {}",
        w.newton_steps, w.walk_steps, w.fold_steps, w.chord_steps, w.factorizations, w.halvings
    );
    Ok(Figure { seconds, memory, trigger: trigger.voltage, holding: holding.voltage })
}

fn main() -> ExitCode {
    println!(
        "{:>7} {:>8} {:>9} {:>7} {:>13} {:>10} {:>10} {:>12}",
        "nodes",
        "wall s",
        "peak GiB",
        "points",
        "Newton/point",
        "trigger V",
        "holding V",
        "|ΣI|/max|I|"
    );
    // Budgets as arguments: only their table.
    let asked: Vec<u32> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    if !asked.is_empty() {
        let all: Result<Vec<Figure>, String> = asked.into_iter().map(trace).collect();
        return match all {
            Ok(_) => ExitCode::SUCCESS,
            Err(e) => {
                eprintln!("failed: {e}");
                ExitCode::FAILURE
            }
        };
    }
    // Smaller first: the peak is that of the process.
    let figures: Result<Vec<Figure>, String> = BUDGETS.into_iter().map(trace).collect();
    let figures = match figures {
        Ok(figures) => figures,
        Err(e) => {
            eprintln!("failed: {e}");
            return ExitCode::FAILURE;
        }
    };
    let [full, fine] = figures.as_slice() else { return ExitCode::FAILURE };
    let apart = [full.trigger / fine.trigger - 1.0, full.holding / fine.holding - 1.0];
    println!(
        "between the budgets: trigger {:+.2} %, holding {:+.2} %",
        100.0 * apart[0],
        100.0 * apart[1]
    );
    let bounds = [
        (full.seconds <= LONGEST, format!("longer than {LONGEST} s")),
        (full.memory.is_none_or(|m| m <= LARGEST), format!("more than {LARGEST} GiB")),
        (apart.iter().all(|a| a.abs() <= APART), format!("more than {} % apart", 100.0 * APART)),
    ];
    let missed: Vec<&String> = bounds.iter().filter(|b| !b.0).map(|b| &b.1).collect();
    for m in &missed {
        eprintln!("failed: {m}");
    }
    if missed.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
