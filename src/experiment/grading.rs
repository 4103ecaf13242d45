//! Grading a mesh by the solution: where would more lines change the figures?
//!
//! The answer is measured, not guessed from gradients. The lines of an axis are split into
//! blocks. For each block a mesh is made that is the given one with the block's intervals
//! halved; each figure's point is solved on it by one Newton iteration from the state that
//! is known. At a fold dV/dI = 0, so to first order the fold's voltage changes as the
//! voltage at its current does, and its current as the slope dV/dI there; at a fold of the
//! current it changes as the current in the plane across the branch. No fold has to be
//! solved for.
//!
//! A block's error falls as 1/n² with its n intervals. The smallest sum of such errors for
//! a given number of nodes has n ∝ (E n₀²)^(1/3) within an axis, E being the error measured
//! with n₀ intervals, and the same error in both axes (Lagrange multipliers; the cube root
//! is that of an optimal mesh for a second-order method, e.g. Babuška and Rheinboldt, SIAM
//! J. Numer. Anal. 15, 736 (1978), from memory).

use crate::case::{Case, Experiment, ExperimentKind};
use crate::discretize::{Contact, Device, State, StateWords, Words};
use crate::mesh::{Lines, Mesh, on_lines, regraded};
use crate::silicon::Silicon;
use crate::solve::{Constraint, Gummel, System};
use crate::structure::Structure;
use crate::trace::{Curve, Fields, Fold, Point, TraceParams};

use super::outcome::Outcome;
use super::setup::Setup;
use super::variant::first;

/// Rounds of tracing and grading: the first mesh may be too coarse to say all.
pub const GRADING_ROUNDS: u32 = 2;

/// Blocks of an axis, at most.
const BLOCKS: [usize; 2] = [28, 18];
/// Rounds of the decoupled iteration where Newton alone does not solve a figure's point.
const ROUNDS: u32 = 20;
/// A block's spacing changes by at most this factor beside the axis' mean change.
const MOST: f64 = 8.0;
/// Every block counts as at least this part of the mean error.
const LEAST: f64 = 1e-2;

/// What a solution says about a mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensitivity {
    /// Index of the first line of each block and of the axis' last line, x then y.
    pub blocks: [Vec<usize>; 2],
    /// Each block's share in the error of the figures, the same blocks.
    pub errors: [Vec<f64>; 2],
    /// By axis and block: relative change of each figure's value and, at a fold of the
    /// voltage, of its current; `None` where it could not be solved.
    pub changes: [Vec<Vec<Option<f64>>>; 2],
}

/// Lines with the same node budget, denser where that changes the figures of `outcomes`
/// (solved on `mesh`, with the fields of their folds). `go_on` is told the share done and
/// says whether to.
///
/// # Errors
/// Why there are none: no figure to go by, interrupted.
pub fn graded_by(
    case: &Case,
    structure: &Structure,
    mesh: &Mesh,
    outcomes: &[Outcome],
    go_on: &mut dyn FnMut(f64) -> bool,
) -> Result<Lines, String> {
    let sensitivity = sensitivity(case, structure, mesh, outcomes, go_on)?;
    let lines = Lines::of(mesh);
    let wished = sensitivity.wished(&lines);
    regraded(case, structure, &lines, &wished).map_err(first)
}

/// A figure's point: where it was found and in which state.
struct Target<'a> {
    experiment: &'a Experiment,
    drive: Vec<String>,
    fold: &'a Fold,
    fields: &'a Fields,
    /// V's curvature over ln I [V] at a fold of the voltage.
    curvature: f64,
    constraint: Constraint,
    /// The figure is a voltage at a fold of the voltage, or a current at a given voltage.
    voltage: bool,
}

fn targets<'a>(case: &'a Case, device: &Device, outcomes: &'a [Outcome]) -> Vec<Target<'a>> {
    let mut out = Vec::new();
    for (experiment, outcome) in case.experiments.iter().zip(outcomes) {
        let (drive, voltage) = match &experiment.kind {
            ExperimentKind::Snapback { drive, .. } => (drive.clone(), true),
            ExperimentKind::Injection { into, .. } => (vec![into.clone()], false),
            _ => continue,
        };
        for (name, found) in outcome.points() {
            let fields = outcome.fields.iter().find(|f| f.label == name);
            if let (Ok(fold), Some(fields)) = (found, fields) {
                let drive = drive.clone();
                let curvature = curvature(&outcome.curve, fold);
                let constraint = Constraint::Voltage(fold.voltage);
                let mut target =
                    Target { experiment, drive, fold, fields, curvature, constraint, voltage };
                if let Ok(setup) = Setup::new(case, device, experiment, &target.drive) {
                    target.constraint = held(case, device, &setup, &target);
                }
                out.push(target);
            }
        }
    }
    out
}

/// Measures how much each block of lines changes the figures.
pub fn sensitivity(
    case: &Case,
    structure: &Structure,
    mesh: &Mesh,
    outcomes: &[Outcome],
    go_on: &mut dyn FnMut(f64) -> bool,
) -> Result<Sensitivity, String> {
    let device = Device::new(mesh, Silicon::of_case(case));
    let targets = targets(case, &device, outcomes);
    if targets.is_empty() {
        return Err("no fold was found that the mesh could be graded for".to_string());
    }
    let lines = Lines::of(mesh);
    let free = [case.grid.x.is_none(), case.grid.y.is_none()];
    let counts = [lines.x.len() - 1, lines.y.len() - 1];
    let blocks = [0, 1].map(|a| blocks(counts[a], if free[a] { BLOCKS[a] } else { 0 }));
    let total: usize = blocks.iter().map(|b| b.len().saturating_sub(1)).sum();
    // By axis, block and number: the changes of the figures.
    let mut changes: [Vec<Vec<Option<f64>>>; 2] = [Vec::new(), Vec::new()];
    let mut done = 0;
    for axis in 0..2 {
        for w in blocks[axis].windows(2) {
            if !go_on(done as f64 / total.max(1) as f64) {
                return Err("interrupted".to_string());
            }
            let (finer, places) = split(&lines, axis, w[0], w[1]);
            let changed = on_lines(case, structure, finer)
                .map(|m| measured(case, mesh, &m, axis, &places, &targets));
            changes[axis].push(changed.unwrap_or_else(|_| vec![None; 2 * targets.len()]));
            done += 1;
        }
    }
    let errors = shares(&changes)?;
    Ok(Sensitivity { blocks, errors, changes })
}

/// First lines of at most `most` blocks of equally many intervals, and the last line.
fn blocks(intervals: usize, most: usize) -> Vec<usize> {
    if most == 0 {
        return Vec::new();
    }
    let count = most.min(intervals);
    (0..=count).map(|k| k * intervals / count).collect()
}

/// The lines with the intervals between lines `a` and `b` of an axis halved, and for each
/// line of that axis where it lies among the old ones: an index, + ½ for a new one.
fn split(lines: &Lines, axis: usize, a: usize, b: usize) -> (Lines, Vec<(usize, f64)>) {
    let halved = lines.halved();
    let (old, fine) = if axis == 0 { (&lines.x, &halved.x) } else { (&lines.y, &halved.y) };
    let (mut out, mut places) = (Vec::new(), Vec::new());
    for k in 0..old.len() {
        out.push(old[k]);
        places.push((k, 0.0));
        if k >= a && k < b {
            let new = fine[2 * k + 1];
            out.push(new);
            places.push((k, (new - old[k]) / (old[k + 1] - old[k])));
        }
    }
    let mut lines = lines.clone();
    *(if axis == 0 { &mut lines.x } else { &mut lines.y }) = out;
    (lines, places)
}

/// Changes of two numbers of each target on `finer`; `None` where it could not be solved.
fn measured(
    case: &Case,
    mesh: &Mesh,
    finer: &Mesh,
    axis: usize,
    places: &[(usize, f64)],
    targets: &[Target],
) -> Vec<Option<f64>> {
    let device = Device::new(finer, Silicon::of_case(case));
    let mut out = Vec::new();
    for target in targets {
        let words = moved(&target.fields.state, mesh, finer, axis, places);
        let found = at_target(case, &device, &words, target);
        let here = if target.voltage { target.fold.voltage } else { target.fold.current };
        out.push(found.map(|(value, _)| value / here - 1.0));
        out.push(found.and_then(|(_, current)| current));
    }
    out
}

/// The state on a mesh that has more lines on one axis: linear between the old ones.
fn moved(
    state: &StateWords,
    mesh: &Mesh,
    finer: &Mesh,
    axis: usize,
    places: &[(usize, f64)],
) -> StateWords {
    let pick = |values: &Vec<f64>| -> Vec<f64> {
        (0..finer.nodes())
            .map(|n| {
                let (i, j) = finer.ij(n);
                let (k, t) = places[if axis == 0 { i } else { j }];
                let at = |k: usize| {
                    let node = if axis == 0 { mesh.node(k, j) } else { mesh.node(i, k) };
                    node.and_then(|n| values.get(n)).copied()
                };
                match (at(k), if t > 0.0 { at(k + 1) } else { None }) {
                    (Some(a), Some(b)) => a + t * (b - a),
                    (Some(a), None) | (None, Some(a)) => a,
                    (None, None) => 0.0,
                }
            })
            .collect()
    };
    let zeros = vec![0.0; finer.nodes()];
    let heated = if state.temperature.is_empty() { 0 } else { finer.nodes() };
    StateWords {
        potential: pick(&state.potential),
        electron: pick(&state.electron),
        hole: pick(&state.hole),
        potential_low: zeros.clone(),
        electron_low: zeros.clone(),
        hole_low: zeros,
        temperature: if heated == 0 { Vec::new() } else { pick(&state.temperature) },
        temperature_low: vec![0.0; heated],
    }
}

/// Voltages of the contacts inside their series resistances [V].
fn inside(case: &Case, device: &Device, fold: &Fold) -> Words {
    let at = &fold.at_terminals;
    let one = |(c, (v, i)): (&Contact, (&f64, &f64))| {
        let ohms = case.terminals.iter().find(|t| t.name == c.name).map_or(0.0, |t| t.resistance);
        v - ohms * i
    };
    let hi: Vec<f64> =
        device.contacts.iter().zip(at.voltage.iter().zip(&at.current)).map(one).collect();
    Words { lo: vec![0.0; hi.len()], hi }
}

/// What holds a figure's point while the mesh changes around it. At a fold of the voltage
/// the current. At one of the current not the voltage: beside it the current of a forward
/// injector follows a few millivolts, and those move with the mesh; but the plane across
/// the branch, where mostly the shares of the terminals' currents are held.
fn held(case: &Case, device: &Device, setup: &Setup, target: &Target) -> Constraint {
    let fold = target.fold;
    if target.voltage {
        return Constraint::Current(fold.current);
    }
    let plane = || {
        let volts = inside(case, device, fold);
        let state = State::from_words(device, &target.fields.state, &volts)?;
        let mut system = System::new(device, setup.driven()).ok()?;
        let scale = TraceParams::default().scale;
        let at = [fold.voltage, 0.0];
        Point::renewed(&mut system, state, at, scale, &[1.0]).ok().map(|p| p.plane(device, 0.0))
    };
    plane().unwrap_or(Constraint::Voltage(fold.voltage))
}

/// The figure of a target on a device and, at a fold of the voltage, the relative change of
/// the fold's current.
fn at_target(
    case: &Case,
    device: &Device,
    words: &StateWords,
    target: &Target,
) -> Option<(f64, Option<f64>)> {
    let setup = Setup::new(case, device, target.experiment, &target.drive).ok()?;
    let mut state = State::from_words(device, words, &inside(case, device, target.fold))?;
    let mut system = System::new(device, setup.driven()).ok()?;
    let mut lambda = [target.fold.voltage, 0.0];
    solved(&mut system, &mut state, &mut lambda, &target.constraint)?;
    if !target.voltage {
        return Some((system.drive_current(), None));
    }
    let slope = system.tangent(&state).map(|t| {
        let ends = t.terminals;
        // The current of the fold, relative, from V's slope and curvature over ln I.
        -ends.lambda / ends.current * target.fold.current / target.curvature
    });
    Some((lambda[0] + lambda[1], slope.filter(|s| s.is_finite())))
}

/// Newton from an interpolated state; if that fails, from one whose potential fits its
/// charges.
fn solved(
    system: &mut System,
    state: &mut State,
    lambda: &mut [f64; 2],
    constraint: &Constraint,
) -> Option<()> {
    let (mut s, mut l) = (state.clone(), *lambda);
    if system.newton(&mut s, &mut l, constraint).is_err() {
        (s, l) = (state.clone(), *lambda);
        system.apply_lambda(&mut s, l);
        let mut gummel = Gummel::new(system.device).ok()?;
        gummel.iterate(system.device, &mut s, ROUNDS, 1e-3).ok()?;
        system.newton(&mut s, &mut l, constraint).ok()?;
    }
    (*state, *lambda) = (s, l);
    Some(())
}

/// V's curvature over ln I at a fold of the voltage [V], from the curve's points beside it.
fn curvature(curve: &Curve, fold: &Fold) -> f64 {
    let k = fold.before_point;
    let (mut sum, mut count) = (0.0, 0.0);
    for p in [k.checked_sub(1), Some(k)].into_iter().flatten() {
        let Some((v, i)) = curve.voltage.get(p).zip(curve.current.get(p)) else { continue };
        let away = (i / fold.current).ln();
        if away.is_finite() && away != 0.0 {
            sum += 2.0 * (v - fold.voltage) / (away * away);
            count += 1.0;
        }
    }
    sum / count
}

/// Each block's share in the error of all numbers, from their relative changes. A number
/// whose blocks change it by R in all counts by √R: between all alike and the worst alone.
fn shares(changes: &[Vec<Vec<Option<f64>>>; 2]) -> Result<[Vec<f64>; 2], String> {
    let mut out = [0, 1].map(|a| vec![0.0; changes[a].len()]);
    let numbers = changes.iter().flatten().map(Vec::len).max().unwrap_or(0);
    // Where Newton could not follow, a figure changes much: as much as any was seen to.
    let seen = changes.iter().flatten().flatten().flatten();
    let most = seen.fold(0.0f64, |m, c| m.max(c.abs()));
    let mut any = false;
    for q in 0..numbers {
        let all = || changes.iter().flatten().map(|c: &Vec<Option<f64>>| c[q].map(f64::abs));
        let known = all().flatten().count();
        let sum: f64 = all().map(|c| c.unwrap_or(most)).sum();
        // Little is known if most could not be solved.
        if 2 * known <= all().count() || sum <= 0.0 {
            continue;
        }
        any = true;
        for (list, shares) in changes.iter().zip(&mut out) {
            for (c, share) in list.iter().zip(shares.iter_mut()) {
                *share += c[q].map_or(most, f64::abs) / sum.sqrt();
            }
        }
    }
    if any { Ok(out) } else { Err("no figure could be solved on a locally finer mesh".to_string()) }
}

impl Sensitivity {
    /// The size that each interval of `lines` should have \[µm\]; an axis without blocks
    /// keeps its own.
    pub fn wished(&self, lines: &Lines) -> Lines {
        let own = |v: &[f64]| v.windows(2).map(|w| w[1] - w[0]).collect::<Vec<f64>>();
        let sizes = [own(&lines.x), own(&lines.y)];
        // Per axis: intervals wished in each block but for a common factor, their sum, and
        // the sum S of the error S/n² that n intervals in all then have.
        let mean = self.errors.iter().flatten().sum::<f64>()
            / self.errors.iter().map(Vec::len).sum::<usize>().max(1) as f64;
        let weights = [0, 1].map(|a| {
            let blocks = self.blocks[a].windows(2).zip(&self.errors[a]);
            blocks
                .map(|(w, e)| {
                    let n = (w[1] - w[0]) as f64;
                    (e.max(LEAST * mean) * n * n).cbrt()
                })
                .collect::<Vec<f64>>()
        });
        let sums = weights.clone().map(|w| w.iter().sum::<f64>());
        let counts = sizes.clone().map(|s| s.len() as f64);
        // S = sum³, and S_x/n_x² = S_y/n_y² with n_x·n_y as it was.
        let both = self.blocks.iter().all(|b| b.len() > 1);
        let ratio = if both { (sums[0] / sums[1]).powf(1.5) } else { counts[0] / counts[1] };
        let product = counts[0] * counts[1];
        let totals = [(product * ratio).sqrt(), (product / ratio).sqrt()];
        let [x, y] = [0, 1].map(|a| {
            let factor = |k: usize, w: &[usize]| {
                let n = (w[1] - w[0]) as f64;
                let wished = totals[a] * weights[a][k] / sums[a];
                (wished / n * counts[a] / totals[a]).clamp(1.0 / MOST, MOST) * totals[a] / counts[a]
            };
            let logs: Vec<f64> =
                self.blocks[a].windows(2).enumerate().map(|(k, w)| factor(k, w).ln()).collect();
            spread(&self.blocks[a], &logs, &sizes[a])
        });
        Lines { x, y }
    }
}

/// Sizes divided by factors whose logarithms are given by block, linear between the
/// blocks' middles.
fn spread(blocks: &[usize], logs: &[f64], sizes: &[f64]) -> Vec<f64> {
    let middles: Vec<f64> = blocks.windows(2).map(|w| 0.5 * (w[0] + w[1]) as f64).collect();
    let at = |k: usize| -> f64 {
        let p = k as f64 + 0.5;
        let next = middles.partition_point(|m| *m <= p);
        match (next.checked_sub(1), logs.get(next)) {
            (None, Some(b)) => *b,
            (Some(i), None) => logs[i],
            (Some(i), Some(b)) => {
                let t = (p - middles[i]) / (middles[next] - middles[i]);
                logs[i] + t * (b - logs[i])
            }
            (None, None) => 0.0,
        }
    };
    sizes.iter().enumerate().map(|(k, s)| s / at(k).exp()).collect()
}
