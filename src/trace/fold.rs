//! Folds solved for exactly: the branch point where one component of the tangent is zero.

use crate::solve::{Constraint, PlaneScale, System};

use super::point::Point;

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
    scale: PlaneScale,
    axis: usize,
) -> Option<(f64, Point)> {
    // Slope of the coordinate by arclength along a's tangent.
    let (mut low, mut high) = ([0.0, a.direction[axis]], [step, b.direction[axis]]);
    let (mut previous, mut best): (Option<Point>, Option<(f64, Point)>) = (None, None);
    for round in 0..40 {
        let mut s = low[0] - low[1] * (high[0] - low[0]) / (high[1] - low[1]);
        let width = high[0] - low[0];
        // Secant steps that hug one end are replaced by bisection now and then.
        if !(s > low[0] + 1e-3 * width && s < high[0] - 1e-3 * width) && round % 3 == 2 {
            s = 0.5 * (low[0] + high[0]);
        }
        let (mut state, mut lambda) = a.predict(system.device, Some((b, step)), s);
        let constraint =
            Constraint::Plane { scale, direction: a.direction, origin: a.place, step: s };
        system.newton(&mut state, &mut lambda, constraint).ok()?;
        let p = Point::renewed(system, state, lambda, scale, a.direction).ok()?;
        let slope = p.direction[axis];
        let done = previous.as_ref().is_some_and(|q| {
            let close = |x: f64, y: f64, rel: f64| (x - y).abs() <= rel * x.abs().max(y.abs());
            close(p.lambda[0], q.lambda[0], 1e-11) && close(p.current, q.current, 1e-8)
        });
        if done || slope == 0.0 || width < 1e-13 {
            return Some((s, p));
        }
        if (slope > 0.0) == (low[1] > 0.0) {
            low = [s, slope];
            // Illinois: keep the other end from stagnating.
            high[1] *= if best.is_some() { 0.5 } else { 1.0 };
        } else {
            high = [s, slope];
            low[1] *= if best.is_some() { 0.5 } else { 1.0 };
        }
        previous = Some(p.clone());
        best = Some((s, p));
    }
    best
}
