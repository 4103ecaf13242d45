//! Cusps: where two folds of opposite kind meet and the curve between them loses its turn.
//!
//! Near one, the number p is a smooth function of the coordinate x along the branch (ln I
//! at a voltage fold, V at a current fold) on the folds, with an extremum at the cusp; by
//! p itself the folds could not be followed through it. So x steps and p is solved for
//! (the standard change of parameter at a fold of folds: Govaerts, Numerical Methods for
//! Bifurcations of Dynamical Equilibria, SIAM 2000, chapter 8, from memory).

use crate::experiment::FoldPoint;
use crate::solve::Goal;

use super::ground::Ground;
use super::track::{Halt, Spent, Track, blend};

/// Where a point meets its partner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusp {
    /// Of the number, in its plain unit.
    pub value: f64,
    /// \[V\]
    pub voltage: f64,
    /// [A/µm]
    pub current: f64,
}

/// Steps in x past the last fold, at most.
const STEPS: usize = 12;
/// Secant rounds for p at one x.
const ROUNDS: usize = 12;

/// A fold at its coordinate x, with the number p it belongs to.
struct At {
    x: f64,
    p: f64,
    point: FoldPoint,
}

/// The cusp beyond the end of a march, if it ended at one.
pub(super) fn cusp_beyond(
    ground: &Ground<'_>,
    fixed: &[(&str, f64)],
    path: &str,
    track: &Track,
    halt: &Halt,
    range: f64,
    spent: &mut Spent,
) -> Option<Cusp> {
    let up = halt.tried > halt.last;
    let mut last: Vec<&(f64, FoldPoint)> = track.points.iter().collect();
    if !up {
        last.reverse();
    }
    let tail = last.get(last.len().checked_sub(3)?..)?;
    let mut known: Vec<At> =
        tail.iter().map(|(p, q)| At { x: place(q), p: *p, point: q.clone() }).collect();
    // Towards a cusp the branch bends ever less.
    let bends: Vec<f64> = tail.iter().map(|t| t.1.bend.abs()).collect();
    if !(bends[2] < bends[1] && bends[1] < bends[0]) {
        return None;
    }
    let dx = (known[2].x - known[1].x) * 0.7;
    if dx == 0.0 {
        return None;
    }
    for _ in 0..STEPS {
        let n = known.len();
        let x = known[n - 1].x + dx;
        let next = solve_at(ground, fixed, path, &known[n - 3..], x, range, spent)?;
        let turned = (next.p - known[n - 1].p) * if up { 1.0 } else { -1.0 } < 0.0;
        known.push(next);
        if turned {
            return refine(ground, fixed, path, known, range, spent);
        }
    }
    None
}

fn refine(
    ground: &Ground<'_>,
    fixed: &[(&str, f64)],
    path: &str,
    mut known: Vec<At>,
    range: f64,
    spent: &mut Spent,
) -> Option<Cusp> {
    for _ in 0..2 {
        let n = known.len();
        let x = summit(&known[n - 3..])?;
        let next = solve_at(ground, fixed, path, &known[n - 3..], x, range, spent)?;
        known.push(next);
        // The three nearest to the new one, which comes last.
        known.sort_by(|a, b| (b.x - x).abs().total_cmp(&(a.x - x).abs()));
    }
    let best = known.last()?;
    let point = &best.point;
    Some(Cusp { value: best.p, voltage: point.lambda[0] + point.lambda[1], current: point.current })
}

/// x of the extremum of the parabola through three.
fn summit(three: &[At]) -> Option<f64> {
    let [a, b, c] = three else { return None };
    let (s, t) = ((b.p - a.p) / (b.x - a.x), (c.p - b.p) / (c.x - b.x));
    let bend = (t - s) / (c.x - a.x);
    let x = 0.5 * (a.x + b.x) - 0.5 * s / bend;
    x.is_finite().then_some(x)
}

/// The value p at which the branch has zero slope at x.
fn solve_at(
    ground: &Ground<'_>,
    fixed: &[(&str, f64)],
    path: &str,
    near: &[At],
    x: f64,
    range: f64,
    spent: &mut Spent,
) -> Option<At> {
    let refs: Vec<(f64, &FoldPoint)> = near.iter().rev().map(|a| (a.x, &a.point)).collect();
    let mut guess = blend(&refs, x)?;
    put(&mut guess, x);
    let quadratic = |of: &dyn Fn(&At) -> f64| -> f64 {
        near.iter()
            .enumerate()
            .map(|(k, a)| {
                let others = near.iter().enumerate().filter(|(j, _)| *j != k);
                of(a) * others.map(|(_, o)| (x - o.x) / (a.x - o.x)).product::<f64>()
            })
            .sum()
    };
    let mut p = quadratic(&|a| a.p);
    let mut slope_at = |p: f64, guess: &FoldPoint| {
        let mut sets = fixed.to_vec();
        sets.push((path, p));
        ground.beside(&sets, guess, spent).ok()
    };
    let (mut point, mut slope) = slope_at(p, &guess)?;
    let mut before = (p, slope);
    p += 1e-3 * range;
    for _ in 0..ROUNDS {
        (point, slope) = slope_at(p, &point)?;
        let by = (slope - before.1) / (p - before.0);
        let step = -slope / by;
        if !step.is_finite() || step.abs() > range {
            return None;
        }
        before = (p, slope);
        if step.abs() < 1e-7 * range {
            return Some(At { x, p: p + step, point });
        }
        p += step;
    }
    None
}

/// Coordinate along the branch.
fn place(point: &FoldPoint) -> f64 {
    match point.mark.goal() {
        Goal::Voltage => point.current.abs().max(1e-300).ln(),
        Goal::Current => point.lambda[0] + point.lambda[1],
    }
}

fn put(point: &mut FoldPoint, x: f64) {
    match point.mark.goal() {
        Goal::Voltage => point.current = x.exp().copysign(point.current),
        Goal::Current => point.lambda = [x, 0.0],
    }
}
