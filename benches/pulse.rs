//! Pulses on tern180-pad at 5,000 nodes: `cargo bench --bench pulse`. One latched pulse of
//! 100 ns, and the shortest latching width at eight amplitudes. Prints both with their
//! times; exit code 1 if one misses its bound. `-- latched` or `-- curve` runs one alone.

use std::process::ExitCode;
use std::time::Instant;

use holdpoint::case;
use holdpoint::discretize::Device;
use holdpoint::experiment::{Figures, Outcome, RunOptions, Sheet, Status, run_experiment};
use holdpoint::mesh;
use holdpoint::solve::equilibrium;
use holdpoint::structure::Structure;
use holdpoint::trace::KeepNothing;

const CASE: &str = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/tern180-pad.toml"));

/// Bounds on two cores [s].
const LATCHED: f64 = 60.0;
const CURVE: f64 = 600.0;

const PULSE: &str = "[[experiment]]\nkind = \"pulse\"\ninto = \"p-drain\"\n\
    bias = { anode = 3.3, well-tap = 3.3 }\nopen = [\"n-drain\"]\n";

/// The pad with one experiment: its outcome, the nodes of its mesh, and the time from the
/// text to the outcome [s].
fn run(experiment: &str) -> Result<(Outcome, usize, f64), String> {
    let before = CASE.split("[[experiment]]").next().unwrap_or_default();
    if before.matches("nodes = 8000").count() != 1 {
        return Err("the case no longer has the line `nodes = 8000`".into());
    }
    let text = before.replace("nodes = 8000", "nodes = 5000") + PULSE + experiment;
    let wrong = |problems: Vec<case::Problem>| {
        problems.into_iter().map(|p| p.text).collect::<Vec<_>>().join("; ")
    };
    let started = Instant::now();
    let (case, _) = case::read_str(&text, "tern180-pad.toml").map_err(wrong)?;
    let (structure, _) = Structure::new(&case).map_err(wrong)?;
    let (mesh, _) = mesh::build(&case, &structure).map_err(wrong)?;
    let device = Device::of_case(&case, &mesh);
    let (state, _) = equilibrium(&device).map_err(|e| e.to_string())?;
    let experiment = case.experiments.first().ok_or("no experiment")?;
    let options = RunOptions::default();
    let outcome =
        run_experiment(&case, &device, &state, experiment, options, None, &mut KeepNothing)
            .map_err(|e| e.to_string())?;
    let seconds = started.elapsed().as_secs_f64();
    match &outcome.status {
        Status::Complete => Ok((outcome, mesh.nodes(), seconds)),
        other => Err(other.reason().to_string()),
    }
}

fn sheet(outcome: &Outcome) -> Result<&Sheet, String> {
    match &outcome.figures {
        Figures::Named(sheet) => Ok(sheet),
        _ => Err("not a pulse".into()),
    }
}

fn within(what: &str, outcome: &Outcome, nodes: usize, seconds: f64, bound: f64) -> bool {
    let work = &outcome.work;
    println!(
        "{what}: {nodes} nodes, {seconds:.1} s (at most {bound}), {} Newton steps, {} factorizations",
        work.newton_steps, work.factorizations
    );
    seconds <= bound
}

fn latched() -> Result<bool, String> {
    let (outcome, nodes, seconds) = run("height = \"1 mA/um\"\nwidth = \"100 ns\"\n")?;
    let answer = sheet(&outcome)?.yes_no_at("latches");
    if answer != Some(true) {
        return Err(format!("the pulse of 100 ns does not latch: {answer:?}"));
    }
    Ok(within("latched pulse of 100 ns", &outcome, nodes, seconds, LATCHED))
}

fn curve() -> Result<bool, String> {
    let (outcome, nodes, seconds) =
        run("heights = [6e-4, 8e-4, 1e-3, 1.5e-3, 2e-3, 3e-3, 5e-3, 8e-3]\n\
         width = { from = \"1 ns\", to = \"1 us\" }\n")?;
    let sheet = sheet(&outcome)?;
    let of = |name: &str| sheet.numbers_at(&format!("curve/{name}"));
    println!("{:>18} {:>22} {:>24}", "amplitude mA/um", "shortest latching ns", "charge pC/um");
    for (a, w) in of("amplitude_A_per_um").iter().zip(of("width_s")) {
        println!("{:>18.2} {:>22.2} {:>24.1}", 1e3 * a, 1e9 * w, 1e12 * a * w);
    }
    Ok(within("eight amplitudes", &outcome, nodes, seconds, CURVE))
}

/// A measurement: whether it kept its bound.
type Part = fn() -> Result<bool, String>;

fn main() -> ExitCode {
    // As the program does: the caller's thread is one of the pool's.
    let pool = rayon::ThreadPoolBuilder::new().use_current_thread().build_global();
    if let Err(e) = pool {
        eprintln!("{e}");
        return ExitCode::FAILURE;
    }
    let asked: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with('-')).collect();
    let wanted = |name: &str| asked.is_empty() || asked.iter().any(|a| a == name);
    let mut good = true;
    let parts: [(&str, Part); 2] = [("latched", latched), ("curve", curve)];
    for (name, part) in parts {
        if !wanted(name) {
            continue;
        }
        match part() {
            Ok(true) => {}
            Ok(false) => {
                eprintln!("failed: {name} took too long");
                good = false;
            }
            Err(why) => {
                eprintln!("failed: {name}: {why}");
                good = false;
            }
        }
    }
    if good { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
