//! One step of a trace: predict, correct, land on the stop, solve for the folds between.

use crate::solve::{Constraint, System};

use super::branch::{Run, terminal_values};
use super::fields::fields;
use super::fold::find_fold;
use super::model::{Fold, FoldKind};
use super::point::Point;

/// A solved step: the new point, its arclength, and the folds on the way.
struct Step {
    next: Point,
    length: f64,
    turn: f64,
    /// See [`NewtonInfo::effort`](crate::solve::NewtonInfo::effort).
    effort: f64,
    /// Size of the first update: the error of the prediction.
    first: f64,
    folds: Vec<(FoldKind, Point)>,
}

/// Error of a prediction, as Newton's first scaled update, beyond which steps shorten even
/// if Newton takes it quickly: the next may be one too far.
const FARTHEST: f64 = 20.0;

/// Where a step of this length fails other coordinates are needed: see [`Point::weighing`].
const LOST: f64 = 1e-3;

/// Weight of the inside then, and the least number of steps with it.
const INSIDE: f64 = 0.1;
const STEPS: u32 = 10;

/// Slope of the current's coordinate whose sign says nothing: tangents are exact to 1e-7, and
/// it is a leakage's change of 1e-19 A/µm per volt.
const FLAT: f64 = 1e-5;

impl Run<'_> {
    /// One accepted step. A step that cannot be taken, or on which a fold cannot be solved
    /// for, is halved, never skipped.
    pub(super) fn advance(&mut self, system: &mut System) -> Result<(), String> {
        let steps_before = system.work.newton_steps;
        let halvings_before = self.halvings;
        let mut length = self.step;
        let step = loop {
            match self.attempt(system, length) {
                Ok(step) => break step,
                Err(failure) => {
                    self.halvings += 1;
                    self.before = None;
                    length *= 0.5;
                    if length < LOST && self.here.may_weigh_inside() {
                        length *= 8.0 * self.weigh_inside(system, INSIDE);
                        continue;
                    }
                    if length < self.params.smallest_step {
                        let here = &self.here;
                        return Err(format!(
                            "the trace could not go on from {:.6} V, {:.4e} A/µm (point {}): {failure}; the step was halved down to {length:.1e}",
                            here.lambda[0],
                            here.current,
                            self.curve.len()
                        ));
                    }
                }
            }
        };
        let behind = std::mem::replace(&mut self.here, step.next);
        for (kind, p) in step.folds {
            let label = format!("fold {}", self.folds.len());
            // Evaluates at the fold, so that the terminals' currents are its own.
            self.fields.push(fields(system, &p.state, &label, p.lambda[0], p.current));
            let fold = self.exact(system, kind, &p);
            self.folds.push(fold);
        }
        self.find_crossing(system, &behind, step.length);
        system.assembly.evaluate(system.device, &self.here.state, false);
        self.keep(system, (system.work.newton_steps - steps_before) as u32);
        let distance = behind.distance(system.device, &self.here);
        self.before = Some((behind, -distance));
        let halved = self.halvings > halvings_before;
        self.step = self.next_length(step.length, step.turn, [step.effort, step.first], halved);
        self.since_weighed += 1;
        let long_enough = self.since_weighed >= STEPS;
        if self.here.weighs_inside() && long_enough && self.here.inner_share() < 1.0 {
            self.step *= self.weigh_inside(system, 0.0);
        }
        Ok(())
    }

    /// Give the inside this weight in the arclength from here on; by how much lengths grow.
    fn weigh_inside(&mut self, system: &System, weight: f64) -> f64 {
        let unit = |p: &Point| p.tangent.terminals.lambda.hypot(p.tangent.terminals.current);
        let before = unit(&self.here);
        self.here = self.here.clone().weighing(system.device, weight);
        self.before = None;
        self.since_weighed = 0;
        before / unit(&self.here).max(1e-300)
    }

    /// Length of the step after one of `length` that turned by `turn` and took Newton
    /// `effort` from a prediction off by `first`: it aims at a number of Newton steps and
    /// at a bounded turn. The laws' exponents are measured on the shipped cases, 2026-11.
    fn next_length(&self, length: f64, turn: f64, [effort, first]: [f64; 2], halved: bool) -> f64 {
        let params = &self.params;
        let by_newton = (2.0f64).powf((params.aim - effort) / 3.0).clamp(0.4, 2.0);
        // The prediction's error grows with the fourth power of the length.
        let by_error = if first > 0.0 { (FARTHEST / first).powf(0.25) } else { 2.0 };
        let by_turn = if turn > 0.0 { (params.largest_turn / turn).clamp(0.5, 2.0) } else { 2.0 };
        let most = if halved { 1.0 } else { 2.0 };
        let by_current = params.largest_log / self.here.direction[1].abs().max(1e-300);
        (length * by_newton.min(by_error).min(by_turn).min(most))
            .min(params.largest_step)
            .min(by_current)
    }

    fn attempt(&self, system: &mut System, length: f64) -> Result<Step, String> {
        let here = &self.here;
        let other = self.before.as_ref().map(|(p, at)| (p, *at));
        let (mut state, mut lambda) = here.predict(system, other, length);
        let info = system
            .newton(&mut state, &mut lambda, &here.plane(system.device, length))
            .map_err(|e| e.to_string())?;
        let next = here.next(system, state, lambda).ok_or("the tangent could not be computed")?;
        let turn = here.turn(&next);
        if turn > 2.0 * self.params.largest_turn && length > 1e-3 {
            return Err(format!("the curve turns by {:.0}°", turn.to_degrees()));
        }
        let aside = here.aside(system.device, &next, length);
        if aside > turn + self.params.largest_aside && length > 1e-3 {
            return Err(format!(
                "Newton arrived at {:.4} V, {:.3e} A/µm, {:.0}° beside the tangent of a curve that turns by {:.0}°",
                next.lambda[0],
                next.current,
                aside.to_degrees(),
                turn.to_degrees()
            ));
        }
        let (next, length) = match self.reached(next.lambda[0], next.current) {
            true => self.land(system, next, length),
            false => (next, length),
        };
        let before = system.work.newton_steps;
        let first = info.updates.first().copied().unwrap_or(0.0);
        let folds = self.folds_before(system, &next, length);
        system.work.fold_steps += system.work.newton_steps - before;
        let folds = folds?;
        Ok(Step { next, length, turn, effort: info.effort(), first, folds })
    }

    /// Replace a last point beyond `stop` by the one on it, if that can be solved.
    fn land(&self, system: &mut System, over: Point, length: f64) -> (Point, f64) {
        let behind = &self.here;
        let (constraint, share) = match (self.stop.current, self.stop.voltage) {
            (Some(s), _) if over.current.abs() > s => {
                let w = self.params.scale.log_current(s.copysign(over.current));
                let [from, to] = [behind.log_current(), over.log_current()];
                (Constraint::Current(s.copysign(over.current)), (w - from) / (to - from))
            }
            (_, Some(s)) if over.lambda[0].abs() > s => {
                let v = s.copysign(over.lambda[0]);
                let [from, to] = [behind.lambda[0], over.lambda[0]];
                (Constraint::Voltage(v), (v - from) / (to - from))
            }
            _ => return (over, length),
        };
        if !(0.0..=1.0).contains(&share) {
            return (over, length);
        }
        let (mut state, mut lambda) = behind.predict(system, Some((&over, length)), share * length);
        if system.newton(&mut state, &mut lambda, &constraint).is_err() {
            return (over, length);
        }
        match behind.next(system, state, lambda) {
            Some(landed) => (landed, share * length),
            None => (over, length),
        }
    }

    /// Folds between the present point and `next`, solved for exactly, in order.
    fn folds_before(
        &self,
        system: &mut System,
        next: &Point,
        length: f64,
    ) -> Result<Vec<(FoldKind, Point)>, String> {
        let mut found = Vec::new();
        for axis in 0..2 {
            let (a, b) = (self.here.direction[axis], next.direction[axis]);
            if !((a > 0.0 && b < 0.0) || (a < 0.0 && b > 0.0)) {
                continue;
            }
            if axis == 1 && a.abs().max(b.abs()) < FLAT {
                continue;
            }
            let kind = match (axis, a > 0.0) {
                (0, true) => FoldKind::VoltageMaximum,
                (0, false) => FoldKind::VoltageMinimum,
                (_, true) => FoldKind::CurrentMaximum,
                (_, false) => FoldKind::CurrentMinimum,
            };
            let (at, p) = find_fold(system, &self.here, next, length, axis)
                .ok_or_else(|| format!("the fold ({}) could not be solved for", kind.word()))?;
            found.push((at, kind, p));
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        Ok(found.into_iter().map(|(_, kind, p)| (kind, p)).collect())
    }

    /// A crossing of the level asked for between `behind` and the point now at hand.
    fn find_crossing(&mut self, system: &mut System, behind: &Point, length: f64) {
        let Some(level) = self.params.level else { return };
        let (a, b) = (behind.lambda[0] - level, self.here.lambda[0] - level);
        // The first point may itself lie on the level.
        if self.curve.len() < 2 || (a > 0.0) == (b > 0.0) {
            return;
        }
        let share = a / (a - b);
        let (mut state, mut lambda) =
            behind.predict(system, Some((&self.here, length)), share * length);
        if system.newton(&mut state, &mut lambda, &Constraint::Voltage(level)).is_err() {
            return;
        }
        if let Some(p) = behind.next(system, state, lambda) {
            self.fields.push(fields(system, &p.state, "crossing", p.lambda[0], p.current));
            let fold = self.exact(system, FoldKind::CurrentMaximum, &p);
            self.crossings.push(fold);
        }
    }

    /// A solved point as an entry of the list; `system` holds its currents.
    fn exact(&self, system: &System, kind: FoldKind, p: &Point) -> Fold {
        Fold {
            kind,
            voltage: p.lambda[0],
            current: p.current,
            at_terminals: terminal_values(system, &p.state, p.lambda[0]),
            before_point: self.curve.len(),
        }
    }
}
