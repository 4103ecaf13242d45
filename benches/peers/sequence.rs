//! The Jacobians of a plain full-Newton run, for `floor.py`: at every point of the snapback of
//! `tern180-pad` at a node budget, Newton's method from the line through the two points before
//! it, with a new Jacobian each step. `sequence NODES` writes to standard output, little-endian:
//! rows and blocks (u32), the block pattern (`start`, `columns`, u32), then for each step the
//! blocks of 3 × 3 as assembled and the right-hand side (f64). What it counted goes to
//! standard error.

use std::io::{BufWriter, Write};
use std::process::ExitCode;

use holdpoint::case::ExperimentKind;
use holdpoint::discretize::{Device, State, Words};
use holdpoint::experiment::{Outcome, RunOptions, Setup, run_experiment};
use holdpoint::solve::{Constraint, NewtonError, System, equilibrium};
use holdpoint::trace::{Fields, KeepNothing};

#[path = "../../tests/bars_support/mod.rs"]
mod bars_support;
use bars_support::{meshed, shipped};

type Failure = Box<dyn std::error::Error>;

/// More than a curve has points: all are kept.
const POINTS: usize = 2000;
/// Steps after which a point is given up; the next one starts from the traced states anyhow.
const MOST: u32 = 8;
/// Scaled update of the last step.
const SMALL: f64 = 1e-5;
/// Below this current [A/µm] the voltage is prescribed, above it the current.
const LEAKAGE: f64 = 1e-9;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let done = match args.as_slice() {
        [nodes] => nodes.parse().map_err(Failure::from).and_then(write_all),
        _ => Err("usage: sequence NODES".into()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("failed: {e}");
            ExitCode::FAILURE
        }
    }
}

fn write_all(nodes: usize) -> Result<(), Failure> {
    let case = shipped("tern180-pad", nodes);
    let (_, mesh) = meshed(&case);
    let device = Device::of_case(&case, &mesh);
    let (rest, _) = equilibrium(&device)?;
    let snapback =
        |e: &&holdpoint::case::Experiment| matches!(e.kind, ExperimentKind::Snapback { .. });
    let experiment = case.experiments.iter().find(snapback).ok_or("no snapback in the case")?;
    let ExperimentKind::Snapback { drive, .. } = &experiment.kind else {
        return Err("not a snapback".into());
    };
    let options = RunOptions { fields: POINTS };
    let outcome =
        run_experiment(&case, &device, &rest, experiment, options, None, &mut KeepNothing)?;
    let points = points(&device, &outcome)?;
    let setup = Setup::new(&case, &device, experiment, drive)?;
    let mut system = System::new(&device, setup.driven())?;
    system.params.steps = 1;

    let mut out = BufWriter::new(std::io::stdout().lock());
    let pattern = &device.pattern;
    let numbers = |values: &mut dyn Iterator<Item = u32>| -> Vec<u8> {
        values.flat_map(u32::to_le_bytes).collect()
    };
    let count = pattern.columns.len() as u32;
    out.write_all(&numbers(&mut [pattern.rows as u32, count].into_iter()))?;
    out.write_all(&numbers(&mut pattern.start.iter().map(|&s| s as u32)))?;
    out.write_all(&numbers(&mut pattern.columns.iter().copied()))?;
    let (mut steps, mut missed) = (0, 0);
    for three in points.windows(3) {
        let [before, last, point] = three else { continue };
        let mut state = on_line(&device, before, last, point).ok_or("fields of another mesh")?;
        let mut lambda = [point.voltage, 0.0];
        let constraint = if point.current < LEAKAGE {
            Constraint::Voltage(point.voltage)
        } else {
            Constraint::Current(point.current)
        };
        let mut solved = false;
        for _ in 0..MOST {
            system.apply_lambda(&mut state, lambda);
            system.assembly.evaluate(&device, &state, true);
            let values = &system.assembly.matrix.values;
            for v in values.iter().chain(&system.assembly.residual) {
                out.write_all(&v.to_le_bytes())?;
            }
            steps += 1;
            let update = match system.newton(&mut state, &mut lambda, &constraint) {
                Ok(info) => info.updates.last().copied(),
                Err(NewtonError::NoConvergence { info }) => info.updates.last().copied(),
                Err(_) => None,
            };
            solved = update.is_some_and(|u| u < SMALL);
            // A solve that failed has no update.
            if solved || update.is_none() {
                break;
            }
        }
        missed += u32::from(!solved);
    }
    out.flush()?;
    eprintln!(
        "{} nodes, {} points, {steps} steps of Newton, {missed} points not reached in {MOST}",
        pattern.rows,
        points.len()
    );
    Ok(())
}

/// A solved point: its fields, voltage and current, and the voltages of all contacts.
struct Point<'a> {
    fields: &'a Fields,
    voltage: f64,
    current: f64,
    volts: Words,
}

/// The points of the curve whose fields were kept, in order.
fn points<'a>(device: &Device, outcome: &'a Outcome) -> Result<Vec<Point<'a>>, Failure> {
    let curve = &outcome.curve;
    let mut points = Vec::new();
    for k in 0..curve.len() {
        let here = |f: &&Fields| f.voltage == curve.voltage[k] && f.current == curve.current[k];
        let Some(fields) = outcome.fields.iter().find(here) else { continue };
        let mut volts = Words::zeros(device.contacts.len());
        for (contact, hi) in device.contacts.iter().zip(&mut volts.hi) {
            let at = curve.terminals.iter().position(|t| *t == contact.name);
            *hi = curve.at_terminals[k].voltage[at.ok_or("a contact without a column")?];
        }
        points.push(Point { fields, voltage: curve.voltage[k], current: curve.current[k], volts });
    }
    Ok(points)
}

/// The state at `point` on the line through the two before it, by voltage and the logarithm of
/// the current together.
fn on_line(device: &Device, before: &Point, last: &Point, point: &Point) -> Option<State> {
    let step = |a: &Point, b: &Point| {
        let current = (b.current / 1e-15).asinh() - (a.current / 1e-15).asinh();
        (b.voltage - a.voltage).hypot(current)
    };
    let t = step(last, point) / step(before, last).max(1e-12);
    let line = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| b + t * (b - a)).collect();
    let (one, two) = (&before.fields.state, &last.fields.state);
    let mut words = two.clone();
    words.potential = line(&one.potential, &two.potential);
    words.electron = line(&one.electron, &two.electron);
    words.hole = line(&one.hole, &two.hole);
    let mut volts = last.volts.clone();
    volts.hi = line(&before.volts.hi, &last.volts.hi);
    State::from_words(device, &words, &volts)
}
