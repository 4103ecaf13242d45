//! Moving the drive voltage to a target in safe steps: ramps and bias points.

use crate::discretize::State;
use crate::solve::{Constraint, Gummel, NewtonError, PlaneScale, System};

use super::point::Point;

/// A ramp that could not be finished.
#[derive(Debug, Clone, thiserror::Error)]
#[error("the bias could not be brought beyond {reached:.4} of {target:.4}: {cause}")]
pub struct WalkError {
    pub reached: f64,
    pub target: f64,
    pub cause: NewtonError,
}

/// Bring λ from `lambda` to `target`, steps at most `largest`; `state` is a solution at
/// `lambda` and becomes one at `target`, evaluated in `system`. On an error `state` and
/// `lambda` are the last solution.
pub fn walk(
    system: &mut System,
    state: &mut State,
    lambda: &mut f64,
    target: f64,
    largest: f64,
) -> Result<(), WalkError> {
    let before = system.work.newton_steps;
    let last = approach(system, state, lambda, target, largest);
    let here = system.work.newton_steps;
    system.work.walk_steps += last.as_ref().unwrap_or(&here) - before;
    last.map(|_| ())
}

/// The walk itself; returns the count of Newton steps before the solve at the
/// target.
fn approach(
    system: &mut System,
    state: &mut State,
    lambda: &mut f64,
    target: f64,
    largest: f64,
) -> Result<u64, WalkError> {
    let scale = PlaneScale { voltage: 1.0, current: 1.0, others: 0.0 };
    let towards = [if target >= *lambda { 1.0 } else { -1.0 }, 0.0];
    let fail = |reached, cause| WalkError { reached, target, cause };
    // Solve where we are: callers may hand a predicted or perturbed state.
    let mut s = state.clone();
    let mut l = [*lambda, 0.0];
    let mut last = system.work.newton_steps;
    system.newton(&mut s, &mut l, &Constraint::Voltage(*lambda)).map_err(|e| fail(*lambda, e))?;
    *state = s;
    let mut here = point_here(system, state.clone(), *lambda, scale, towards);
    let mut before: Option<(Point, f64)> = None;
    let mut step = largest.min(0.2 * largest.max(0.25));
    while (*lambda - target).abs() > 1e-13 * target.abs().max(1.0) {
        step = step.min(largest);
        let rest = (target - *lambda).abs();
        let goal = if step >= rest { target } else { *lambda + step * towards[0] };
        let ds = (goal - *lambda).abs();
        let (mut s, mut l) = match &here {
            // The tangent by λ: its plane direction has |dλ| = direction[0].
            Some(p) => {
                let unit = p.direction[0].abs().max(1e-300);
                let other = before.as_ref().map(|(q, at)| (q, at / unit));
                let (s, _) = p.predict(system, other, ds / unit);
                (s, [goal, 0.0])
            }
            None => (state.clone(), [goal, 0.0]),
        };
        last = system.work.newton_steps;
        match system.newton(&mut s, &mut l, &Constraint::Voltage(goal)) {
            Ok(info) => {
                let next = point_here(system, s.clone(), goal, scale, towards);
                before = here.take().map(|p| (p, -ds));
                here = next;
                *state = s;
                *lambda = goal;
                step = if info.steps <= 4 {
                    2.0 * ds
                } else if info.steps <= 6 {
                    1.2 * ds
                } else {
                    0.6 * ds
                };
            }
            Err(cause) => {
                before = None;
                if let Some((s, next)) = rescue(system, state, goal, scale, towards) {
                    here = next;
                    *state = s;
                    *lambda = goal;
                    step = 0.5 * ds;
                    continue;
                }
                step = 0.5 * ds;
                if step < 1e-6 {
                    return Err(fail(*lambda, cause));
                }
            }
        }
    }
    Ok(last)
}

/// Rounds of the decoupled iteration that may rescue a step.
const RESCUE_ROUNDS: u32 = 15;

/// Decoupled iteration at the goal from the last solution, then Newton again.
fn rescue(
    system: &mut System,
    state: &State,
    goal: f64,
    scale: PlaneScale,
    towards: [f64; 2],
) -> Option<(State, Option<Point>)> {
    let mut s = state.clone();
    system.apply_lambda(&mut s, [goal, 0.0]);
    let mut gummel = Gummel::new(system.device).ok()?;
    let (_, rounds) = gummel.iterate(system.device, &mut s, RESCUE_ROUNDS, 1e-2).ok()?;
    system.work.gummel_rounds += u64::from(rounds);
    let mut lambda = [goal, 0.0];
    system.newton(&mut s, &mut lambda, &Constraint::Voltage(goal)).ok()?;
    let point = point_here(system, s.clone(), goal, scale, towards);
    Some((s, point))
}

fn point_here(
    system: &mut System,
    state: State,
    lambda: f64,
    scale: PlaneScale,
    towards: [f64; 2],
) -> Option<Point> {
    Point::solved(system, state, [lambda, 0.0], scale, &towards)
}
