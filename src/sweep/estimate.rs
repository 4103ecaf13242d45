//! What a case takes: from results that are there; else from a few Newton steps of it, taken
//! on this machine.

use std::time::{Duration, Instant};

use super::folder::Folder;
use super::plan::Sweep;
use crate::case::{Case, ExperimentKind, Grading};
use crate::discretize::{Circuit, Device, Tying};
use crate::experiment::GRADING_ROUNDS;
use crate::mesh;
use crate::solve::{Constraint, System, equilibrium};
use crate::structure::Structure;

/// What a case takes, roughly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// One case on one thread, in the mean \[s\].
    pub seconds: f64,
    /// Where that may lie: of results the fastest and the slowest, else a factor of three off \[s\].
    pub low: f64,
    pub high: f64,
    /// The largest of the cases looked at [bytes].
    pub bytes: f64,
    pub basis: Basis,
}

/// What an estimate of time rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// So many results of the sweep, of the present case texts and version.
    Results(usize),
    /// Newton steps of the middle case on this machine.
    Steps,
    /// The same steps' time on a machine that was measured: no step could be taken here.
    Formula,
}

/// How far an estimate from Newton steps may be off, either way: see docs/sweeps.md.
pub const FACTOR: f64 = 3.0;

/// A step's time at one node [s]: 37.2 ms at 9,862 nodes on one thread of an AMD EPYC; and
/// its growth with the nodes (both measured, see docs/performance.md).
const STEP: f64 = 1.14e-6;
const GROWTH: f64 = 1.13;

/// Nodes at most of the mesh that steps are timed on, and the time for them.
const NODES: usize = 1500;
const TIME: Duration = Duration::from_millis(80);

/// Estimates the cases of a sweep; takes about 0.1 s unless there are results.
pub fn estimate(sweep: &Sweep, folder: &Folder) -> Estimate {
    let bytes = bytes(sweep);
    if let Some(m) = folder.measured(sweep) {
        let basis = Basis::Results(m.count);
        return Estimate { seconds: m.mean, low: m.least, high: m.most, bytes, basis };
    }
    let step = sweep.case(sweep.count / 2).ok().and_then(|(case, _)| step(&case));
    let basis = if step.is_some() { Basis::Steps } else { Basis::Formula };
    let step = step.unwrap_or(STEP);
    let all: Vec<f64> = spread(sweep, 21)
        .into_iter()
        .filter_map(|k| sweep.case(k).ok())
        .map(|(case, _)| steps(&case) * step * nodes_asked(&case).powf(GROWTH))
        .collect();
    let seconds = all.iter().sum::<f64>() / all.len() as f64;
    Estimate { seconds, low: seconds / FACTOR, high: seconds * FACTOR, bytes, basis }
}

/// Memory of a case [bytes]: the largest of the first, the middle and the last; of more if
/// the grid varies.
pub fn bytes(sweep: &Sweep) -> f64 {
    let grid = sweep.axes.iter().any(|a| a.path.starts_with("grid"));
    let looked = if grid { sweep.probes() } else { spread(sweep, 3) };
    let each = looked.into_iter().filter_map(|k| sweep.case(k).ok());
    each.map(|(case, _)| bytes_of(nodes_asked(&case))).fold(f64::NAN, f64::max)
}

/// So many cases, evenly spread over the sweep.
fn spread(sweep: &Sweep, most: usize) -> Vec<usize> {
    let n = most.min(sweep.count).max(2);
    let mut all: Vec<usize> = (0..n).map(|k| k * sweep.count.saturating_sub(1) / (n - 1)).collect();
    all.dedup();
    all
}

/// Newton steps that a case asks for: counts of the pad at 2,000 nodes (see docs/sweeps.md),
/// a tenth more for all that is beside them (17.4 s for 427 steps of 37 ms there).
fn steps(case: &Case) -> f64 {
    let each = |kind: &ExperimentKind| match kind {
        ExperimentKind::Snapback { .. } => 420.0,
        ExperimentKind::Injection { .. } => 240.0,
        ExperimentKind::Bias { at, .. } => 27.0 + 5.0 * at.len() as f64,
        ExperimentKind::Gains { .. } => 470.0,
        ExperimentKind::Overvoltage { .. } => 60.0,
        ExperimentKind::Resistances { .. } => 90.0,
        ExperimentKind::Capacitance { .. } => 35.0,
        // One pulse took 1,764; most are searches, of some pulses that share their way.
        ExperimentKind::Pulse { .. }
        | ExperimentKind::Strike { .. }
        | ExperimentKind::SupplyRamp { .. } => 5000.0,
    };
    let once: f64 = case.experiments.iter().map(|e| each(&e.kind)).sum();
    let given = case.grid.x.is_some() && case.grid.y.is_some();
    let rounds = match case.grid.grading == Grading::Solution && !given {
        true => f64::from(GRADING_ROUNDS),
        false => 0.0,
    };
    let temperatures = case.temperatures.iter().filter(|t| **t != case.temperature).count();
    // A rule or a follow runs along its range in some tens of fold solves, about a curve's
    // worth; a rule does so again for each of what it is to hold over.
    let ways = (case.follows.len() + 2 * case.rules.len() + case.spreads.len()) as f64;
    1.1 * (5.0 + once * (1.0 + rounds + temperatures as f64) + 420.0 * ways)
}

/// Time of a Newton step of this case at one node [s], from steps on a mesh of at most
/// [`NODES`]; `None` if it cannot be meshed so small, or not solved.
fn step(case: &Case) -> Option<f64> {
    let mut case = case.clone();
    match (&case.grid.x, &case.grid.y) {
        (Some(x), Some(y)) if x.len() * y.len() > 2 * NODES => return None,
        (Some(_), Some(_)) => {}
        _ => {
            case.grid.nodes = Some((nodes_asked(&case) as usize).min(NODES));
            (case.grid.finest, case.grid.growth) = (None, None);
        }
    }
    // One thread, as a case of a sweep has.
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().ok()?;
    pool.install(|| timed(&case))
}

fn timed(case: &Case) -> Option<f64> {
    let (structure, _) = Structure::new(case).ok()?;
    let (mesh, _) = mesh::build(case, &structure).ok()?;
    let device = Device::of_case(case, &mesh);
    let (mut state, _) = equilibrium(&device).ok()?;
    // All contacts at 0 V but the first.
    let ties = (0..device.contacts.len()).map(|k| Tying::Source {
        base: 0.0,
        slope: f64::from(u8::from(k == 0)),
        resistance: 0.0,
    });
    let circuit = Circuit { ties: ties.collect(), drive: vec![0] };
    let mut system = System::new(&device, circuit).ok()?;
    let (started, mut least) = (Instant::now(), None);
    for k in 1..40 {
        let volts = 0.01 * f64::from(k);
        let (before, now) = (system.work.newton_steps, Instant::now());
        system.newton(&mut state, &mut [volts, 0.0], &Constraint::Voltage(volts)).ok()?;
        let steps = system.work.newton_steps - before;
        if steps > 0 {
            // The least: other jobs only add.
            let each = now.elapsed().as_secs_f64() / steps as f64;
            least = Some(least.map_or(each, |l: f64| l.min(each)));
        }
        if started.elapsed() > TIME {
            break;
        }
    }
    Some(least? / (device.nodes() as f64).powf(GROWTH))
}

/// Nodes that a case asks for: by its lines, its budget, or the default.
pub fn nodes_asked(case: &Case) -> f64 {
    let lines = |list: &Option<Vec<f64>>| list.as_ref().map(|l| l.len() as f64);
    let given = lines(&case.grid.x).zip(lines(&case.grid.y)).map(|(x, y)| x * y);
    given.or(case.grid.nodes.map(|n| n as f64)).unwrap_or(8000.0)
}

/// Memory of a run [bytes]: what the program takes, and what a node takes. A run at 8,000
/// nodes took 250 MB (measured, see docs/performance.md).
pub fn bytes_of(nodes: f64) -> f64 {
    60e6 + 24e3 * nodes
}

/// Nodes of a run in so many bytes.
pub fn nodes_in(bytes: f64) -> f64 {
    ((bytes - 60e6) / 24e3).floor()
}
