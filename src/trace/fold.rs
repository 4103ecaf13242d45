//! Folds solved for exactly: the branch point where one component of the tangent is zero.

use crate::solve::System;

use super::point::Point;

/// Arclength left to the fold: 1e-9 in asinh(I/I₀) is 1e-9 of the current, and the
/// voltage is off by its square only.
const TOLERANCE: f64 = 1e-9;

/// Exactness of the tangents on the way, relative.
const TANGENT: f64 = 1e-11;

/// Find the fold between two neighbouring points `a` and `b`, `step` apart, where
/// component `axis` of the plane tangent (0: voltage, 1: current) is zero: the augmented
/// system F = 0, constraint, dV/ds = 0 (or dI/ds = 0), by bracketed secant on the exact
/// tangent. Returns the arclength from `a` and the point; `None` if it cannot be solved.
/// On return the system holds the currents at the fold.
pub fn find_fold(
    system: &mut System,
    a: &Point,
    b: &Point,
    step: f64,
    axis: usize,
) -> Option<(f64, Point)> {
    // Bracket (arclength, slope of the coordinate) and the last two points tried.
    let (mut low, mut high) = ([0.0, a.direction[axis]], [step, b.direction[axis]]);
    let (mut last, mut now) = (low, high);
    let mut best: Option<(f64, Point)> = None;
    // The two points solved nearest to the next one, for its prediction.
    let mut near: Vec<(f64, Point)> = vec![(0.0, a.clone()), (step, b.clone())];
    let mut settled = false;
    for _ in 0..40 {
        let mut s = now[0] - now[1] * (now[0] - last[0]) / (now[1] - last[1]);
        if !(s > low[0] && s < high[0]) {
            s = 0.5 * (low[0] + high[0]);
        }
        near.sort_by(|p, q| (p.0 - s).abs().total_cmp(&(q.0 - s).abs()));
        near.truncate(2);
        let [(from, base), (to, other)] = near.as_slice() else { break };
        let (mut state, mut lambda) = base.predict(system, Some((other, to - from)), s - from);
        let plane = a.plane(system.device, s);
        if system.newton(&mut state, &mut lambda, &plane).is_err() {
            break;
        }
        system.refresh_linearization(&state, lambda, &plane, TANGENT);
        let Some(p) = a.next(system, state, lambda) else { break };
        near.push((s, p.clone()));
        last = now;
        now = [s, p.direction[axis]];
        let same_side = (now[1] > 0.0) == (low[1] > 0.0);
        if same_side {
            low = now
        } else {
            high = now
        }
        // Distance to the root by the secant slope: what the next round would move by.
        let left = (now[1] * (now[0] - last[0]) / (now[1] - last[1])).abs();
        best = Some((s, p));
        if now[1] == 0.0 || left < TOLERANCE || high[0] - low[0] < TOLERANCE {
            settled = true;
            break;
        }
    }
    best.filter(|_| settled)
}
