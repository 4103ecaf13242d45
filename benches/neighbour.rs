//! Whether a start from the neighbour's solution helps a case of a sweep: `cargo bench
//! --bench neighbour`. The pad at 2,000 nodes, supply at 3.3 V, along temperature and along
//! substrate doping, all on the lines of the first case, which favours the neighbour. With:
//! Newton from the solution of the case before, the walk if that fails. Without: from
//! equilibrium by a walk, as the program does.

use std::process::ExitCode;
use std::time::Instant;

use holdpoint::case::{self, ExperimentKind, set_path};
use holdpoint::discretize::{Device, State};
use holdpoint::experiment::Setup;
use holdpoint::mesh::{self, Lines, on_lines};
use holdpoint::solve::{Constraint, System, equilibrium};
use holdpoint::structure::Structure;
use holdpoint::trace::walk;

const CASE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/tern180-pad.toml");
const SUPPLY: f64 = 3.3;

#[derive(Default)]
struct Cost {
    seconds: f64,
    steps: u64,
    failed: usize,
}

fn along(text: &str, path: &str, values: &[String]) -> Result<[Cost; 2], String> {
    let wrong = |problems: Vec<case::Problem>| {
        problems.into_iter().map(|p| p.text).collect::<Vec<_>>().join("; ")
    };
    let [mut without, mut with] = [Cost::default(), Cost::default()];
    let (mut lines, mut neighbour): (Option<Lines>, Option<State>) = (None, None);
    for value in values {
        let text = set_path(text, path, value).map_err(|e| e.text)?;
        let (case, _) = case::read_str(&text, "pad.toml").map_err(wrong)?;
        let (structure, _) = Structure::new(&case).map_err(wrong)?;
        let mesh = match &lines {
            Some(lines) => on_lines(&case, &structure, lines.clone()).map_err(wrong)?,
            None => mesh::build(&case, &structure).map_err(wrong)?.0,
        };
        lines.get_or_insert_with(|| Lines::of(&mesh));
        let device = Device::of_case(&case, &mesh);
        let experiment = case.experiments.first().ok_or("no experiment")?;
        let ExperimentKind::Snapback { drive, .. } = &experiment.kind else {
            return Err("the case's first experiment is no snapback".into());
        };
        let setup = Setup::new(&case, &device, experiment, drive).map_err(|e| e.to_string())?;
        let walked = |cost: &mut Cost| {
            let started = Instant::now();
            let (mut state, _) = equilibrium(&device).map_err(|e| e.to_string())?;
            let mut system = System::new(&device, setup.driven()).map_err(|e| e.to_string())?;
            let mut volts = 0.0;
            walk(&mut system, &mut state, &mut volts, SUPPLY, 0.5).map_err(|e| e.to_string())?;
            cost.seconds += started.elapsed().as_secs_f64();
            cost.steps += system.work.newton_steps;
            Ok::<State, String>(state)
        };
        let own = walked(&mut without)?;
        if let Some(mut state) = neighbour.take() {
            let started = Instant::now();
            let mut system = System::new(&device, setup.driven()).map_err(|e| e.to_string())?;
            state.refresh(&device);
            system.apply_lambda(&mut state, [SUPPLY, 0.0]);
            let solved =
                system.newton(&mut state, &mut [SUPPLY, 0.0], &Constraint::Voltage(SUPPLY));
            with.seconds += started.elapsed().as_secs_f64();
            with.steps += system.work.newton_steps;
            if solved.is_err() {
                with.failed += 1;
                walked(&mut with)?;
            }
        } else {
            // The first has no neighbour: not counted in either.
            without = Cost::default();
        }
        neighbour = Some(own);
    }
    Ok([without, with])
}

fn main() -> ExitCode {
    let Ok(text) = std::fs::read_to_string(CASE) else { return ExitCode::FAILURE };
    let text = text.replace("nodes = 8000", "nodes = 2000");
    let list = |each: &dyn Fn(i32) -> f64| (0..6).map(|k| each(k).to_string()).collect::<Vec<_>>();
    for (what, path, values) in [
        ("5 K apart", "temperature", list(&|k| 373.0 + 5.0 * f64::from(k))),
        ("25 K apart", "temperature", list(&|k| 273.0 + 25.0 * f64::from(k))),
        ("1.1 times", "wafer.acceptors", list(&|k| 1e15 * 1.1f64.powi(k))),
        ("2 times", "wafer.acceptors", list(&|k| 5e14 * 2f64.powi(k))),
    ] {
        match along(&text, path, &values) {
            Ok([without, with]) => println!(
                "{path}, {what}: without {} steps, {:.2} s; with {} steps, {:.2} s, {} of 5 \
                 starts failed",
                without.steps, without.seconds, with.steps, with.seconds, with.failed
            ),
            Err(why) => {
                eprintln!("failed: {path}: {why}");
                return ExitCode::FAILURE;
            }
        }
    }
    ExitCode::SUCCESS
}
