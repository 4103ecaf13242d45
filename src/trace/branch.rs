//! Continuation of one branch in the plane (V/V_s, asinh(I/I₀)) by arclength.

use crate::case::Stop;
use crate::discretize::{Device, State};
use crate::solve::{Constraint, NewtonError, PlaneScale, System};

use super::fields::fields;
use super::fold::find_fold;
use super::keep::{Keeper, Next, Standing};
use super::model::{Curve, Fields, Fold, FoldKind, Snapshot, TerminalValues, Work};
use super::point::Point;

/// How a branch is followed. No shipped case needs any of these turned.
#[derive(Debug, Clone, Copy)]
pub struct TraceParams {
    /// Units of the plane: 1 V and 1e-14 A/µm make a decade of current worth 2.3 V.
    pub scale: PlaneScale,
    /// First, smallest and largest step in the plane.
    pub first_step: f64,
    pub smallest_step: f64,
    pub largest_step: f64,
    /// Newton steps that a step length is aimed at.
    pub aim: f64,
    /// Turn of the tangent in one step that is aimed at [rad]; twice that is refused.
    pub largest_turn: f64,
    /// Points before the trace gives up.
    pub points: usize,
    /// A checkpoint every so many points; history is dropped there.
    pub checkpoint: usize,
    /// Fields kept beside the folds: at the first point past each of so many equal parts
    /// of the way to the stop current.
    pub fields: usize,
    /// Drive voltage at which every crossing after the first point is solved for.
    pub level: Option<f64>,
}

impl Default for TraceParams {
    fn default() -> Self {
        TraceParams {
            scale: PlaneScale { voltage: 1.0, current: 1e-14 },
            first_step: 0.05,
            smallest_step: 1e-7,
            largest_step: 3.0,
            aim: 5.5,
            largest_turn: 0.5,
            points: 500,
            checkpoint: 25,
            fields: 0,
            level: None,
        }
    }
}

/// How a trace ended.
#[derive(Debug, Clone, PartialEq)]
pub enum End {
    /// `stop` was reached.
    Reached,
    /// It could not go on, with the reason.
    Stalled(String),
    Interrupted,
}

/// What a trace gives.
#[derive(Debug, Clone)]
pub struct Branch {
    pub curve: Curve,
    pub folds: Vec<Fold>,
    pub fields: Vec<Fields>,
    /// Crossings of the level asked for; `kind` says nothing there.
    pub crossings: Vec<Fold>,
    pub end: End,
    pub work: Work,
    /// Where to resume.
    pub snapshot: Snapshot,
}

impl Branch {
    /// No point yet, terminals named.
    pub fn empty(device: &Device) -> Branch {
        Branch {
            curve: Curve {
                terminals: device.contacts.iter().map(|c| c.name.clone()).collect(),
                ..Curve::default()
            },
            folds: Vec::new(),
            fields: Vec::new(),
            crossings: Vec::new(),
            end: End::Interrupted,
            work: Work::default(),
            snapshot: Snapshot::default(),
        }
    }
}

/// Where a trace starts.
pub enum Start {
    /// From a solved state, towards a direction of the plane.
    At { state: Box<State>, lambda: [f64; 2], towards: [f64; 2] },
    /// From a checkpoint with what was kept then.
    Resume { branch: Box<Branch> },
}

/// Why a trace could not even start.
pub type StartError = NewtonError;

/// Follow a branch from `start` until `stop`, or until `answered` says that what was asked
/// is known.
pub fn follow(
    system: &mut System,
    start: Start,
    stop: Stop,
    params: &TraceParams,
    answered: &dyn Fn(&Standing) -> bool,
    keeper: &mut dyn Keeper,
) -> Result<Branch, StartError> {
    let mut run = Run::begin(system, start, stop, params)?;
    let end = run.go(system, answered, keeper);
    Ok(Branch {
        work: run.work(system),
        curve: run.curve,
        folds: run.folds,
        fields: run.fields,
        crossings: run.crossings,
        end,
        snapshot: run.snapshot,
    })
}

struct Run<'p> {
    params: &'p TraceParams,
    stop: Stop,
    here: Point,
    before: Option<(Point, f64)>,
    step: f64,
    curve: Curve,
    folds: Vec<Fold>,
    fields: Vec<Fields>,
    crossings: Vec<Fold>,
    snapshot: Snapshot,
    halvings: u64,
}

/// Values of all terminals at the state last evaluated in `system`.
pub fn terminal_values(system: &System, state: &State, lambda: f64) -> TerminalValues {
    let contacts = 0..system.device.contacts.len();
    TerminalValues {
        voltage: contacts
            .clone()
            .map(|k| system.circuit.outside(k, lambda, state.volts.hi[k]))
            .collect(),
        current: contacts.map(|k| system.current(k)).collect(),
    }
}

impl<'p> Run<'p> {
    fn begin(
        system: &mut System,
        start: Start,
        stop: Stop,
        params: &'p TraceParams,
    ) -> Result<Run<'p>, StartError> {
        match start {
            Start::At { state, lambda, towards } => {
                let here = Point::renewed(system, *state, lambda, params.scale, towards)?;
                let mut run = Run {
                    params,
                    stop,
                    before: None,
                    step: params.first_step,
                    curve: Curve {
                        terminals: system.device.contacts.iter().map(|c| c.name.clone()).collect(),
                        ..Curve::default()
                    },
                    folds: Vec::new(),
                    fields: Vec::new(),
                    crossings: Vec::new(),
                    snapshot: Snapshot::default(),
                    halvings: 0,
                    here,
                };
                run.keep(system, 0);
                run.take_snapshot(system);
                Ok(run)
            }
            Start::Resume { branch } => Run::resume(system, *branch, stop, params),
        }
    }

    fn resume(
        system: &mut System,
        branch: Branch,
        stop: Stop,
        params: &'p TraceParams,
    ) -> Result<Run<'p>, StartError> {
        let Branch { mut curve, mut folds, mut fields, snapshot, .. } = branch;
        let unusable = || NewtonError::Linear(crate::linear::LinearError::NotFinite { row: 0 });
        let c = Control::read(&snapshot.control).ok_or_else(unusable)?;
        let mut volts = crate::discretize::Words::zeros(system.device.contacts.len());
        volts.hi = snapshot.inside.voltage.clone();
        volts.lo = c.volts_low.clone();
        let state =
            State::from_words(system.device, &snapshot.state, &volts).ok_or_else(unusable)?;
        curve.voltage.truncate(c.points);
        curve.current.truncate(c.points);
        curve.at_terminals.truncate(c.points);
        curve.imbalance.truncate(c.points);
        curve.largest.truncate(c.points);
        curve.newton.truncate(c.points);
        folds.truncate(c.folds);
        fields.truncate(c.fields);
        let here = Point::renewed(system, state, c.lambda, params.scale, c.direction)?;
        system.work = c.work;
        Ok(Run {
            params,
            stop,
            here,
            before: None,
            step: c.step,
            curve,
            folds,
            fields,
            crossings: Vec::new(),
            halvings: c.work.halvings,
            snapshot,
        })
    }

    fn go(
        &mut self,
        system: &mut System,
        answered: &dyn Fn(&Standing) -> bool,
        keeper: &mut dyn Keeper,
    ) -> End {
        loop {
            if self.reached(self.here.lambda[0], self.here.current) {
                self.keep_end(system);
                return End::Reached;
            }
            if self.curve.len() >= self.params.points {
                return End::Stalled(format!(
                    "{} not reached within {} points; the curve stands at {:.4} V, {:.3e} A/µm",
                    describe(self.stop),
                    self.params.points,
                    self.here.lambda[0],
                    self.here.current
                ));
            }
            if let Err(reason) = self.advance(system) {
                self.keep_end(system);
                return End::Stalled(reason);
            }
            self.keep_fields(system);
            let standing = self.standing(system);
            let next = keeper.point(&standing);
            if answered(&standing) {
                self.keep_end(system);
                return End::Reached;
            }
            if self.curve.len().is_multiple_of(self.params.checkpoint) {
                if let Err(e) = self.renew(system) {
                    return End::Stalled(e.to_string());
                }
                let standing = self.standing(system);
                if let Err(e) = keeper.checkpoint(&standing, &self.snapshot) {
                    return End::Stalled(format!("a checkpoint could not be written: {e}"));
                }
            }
            if next == Next::Interrupt {
                return End::Interrupted;
            }
        }
    }

    fn standing(&self, system: &System) -> Standing<'_> {
        Standing {
            curve: &self.curve,
            folds: &self.folds,
            fields: &self.fields,
            work: self.work(system),
            done: self.done(),
        }
    }

    fn keep_end(&mut self, system: &mut System) {
        let here = &self.here;
        self.fields.push(fields(system, &here.state, "end", here.lambda[0], here.current));
    }

    /// Fields at evenly spread points on the way to the stop current.
    fn keep_fields(&mut self, system: &mut System) {
        let Some(stop) = self.stop.current else { return };
        let kept = self.fields.iter().filter(|f| f.label.starts_with("point")).count();
        if kept >= self.params.fields {
            return;
        }
        let part = self.params.scale.place(0.0, stop)[1] / (self.params.fields + 1) as f64;
        if self.here.place[1].abs() >= part * (kept + 1) as f64 {
            let label = format!("point {}", self.curve.len() - 1);
            let here = &self.here;
            self.fields.push(fields(system, &here.state, &label, here.lambda[0], here.current));
        }
    }

    fn work(&self, system: &System) -> Work {
        Work { halvings: self.halvings, ..system.work }
    }

    /// Drop history and factors at a checkpoint, as a resumed run must.
    fn renew(&mut self, system: &mut System) -> Result<(), NewtonError> {
        let state = self.here.state.clone();
        self.take_snapshot(system);
        self.before = None;
        self.here = Point::renewed(
            system,
            state,
            self.here.lambda,
            self.params.scale,
            self.here.direction,
        )?;
        // A resumed run does the same renewal; count it once in both.
        system.work.factorizations -= 1;
        Ok(())
    }

    fn take_snapshot(&mut self, system: &System) {
        let state = &self.here.state;
        self.snapshot = Snapshot {
            state: state.words(),
            inside: TerminalValues {
                voltage: state.volts.hi.clone(),
                current: (0..system.device.contacts.len()).map(|k| system.current(k)).collect(),
            },
            control: Control {
                points: self.curve.len(),
                folds: self.folds.len(),
                fields: self.fields.len(),
                lambda: self.here.lambda,
                step: self.step,
                direction: self.here.direction,
                work: self.work(system),
                volts_low: state.volts.lo.clone(),
            }
            .write(),
        };
    }

    fn reached(&self, lambda: f64, current: f64) -> bool {
        self.stop.current.is_some_and(|s| current.abs() >= s * (1.0 - 1e-9))
            || self.stop.voltage.is_some_and(|s| lambda.abs() >= s * (1.0 - 1e-9))
    }

    /// Rough share of the way, by current on the plane's scale or by voltage.
    fn done(&self) -> f64 {
        let by_current = self
            .stop
            .current
            .map_or(0.0, |s| self.here.place[1].abs() / self.params.scale.place(0.0, s)[1]);
        let by_voltage = self.stop.voltage.map_or(0.0, |s| self.here.lambda[0].abs() / s);
        by_current.max(by_voltage).clamp(0.0, 1.0)
    }

    /// Record the point that `system` has evaluated.
    fn keep(&mut self, system: &System, newton: u32) {
        let [sum, largest] = system.imbalance();
        self.curve.voltage.push(self.here.lambda[0]);
        self.curve.current.push(self.here.current);
        self.curve.at_terminals.push(terminal_values(
            system,
            &self.here.state,
            self.here.lambda[0],
        ));
        self.curve.imbalance.push(sum);
        self.curve.largest.push(largest);
        self.curve.newton.push(newton);
    }

    /// One accepted step, folds between solved for.
    fn advance(&mut self, system: &mut System) -> Result<(), String> {
        let scale = self.params.scale;
        let before_steps = system.work.newton_steps;
        let mut step = self.step.min(self.params.largest_step);
        let (next, steps, turn) = loop {
            let other = self.before.as_ref().map(|(p, at)| (p, *at));
            let (mut state, mut lambda) = self.here.predict(system.device, other, step);
            let constraint = Constraint::Plane {
                scale,
                direction: self.here.direction,
                origin: self.here.place,
                step,
            };
            let failure = match system.newton(&mut state, &mut lambda, constraint) {
                Ok(info) => {
                    match Point::solved(system, state, lambda, scale, self.here.direction) {
                        Some(p) => {
                            let c = p.direction[0] * self.here.direction[0]
                                + p.direction[1] * self.here.direction[1];
                            let turn = c.clamp(-1.0, 1.0).acos();
                            if turn <= 2.0 * self.params.largest_turn || step < 1e-3 {
                                break (p, info.steps, turn);
                            }
                            format!("the curve turns by {:.0}°", turn.to_degrees())
                        }
                        None => "the tangent could not be computed".to_string(),
                    }
                }
                Err(e) => e.to_string(),
            };
            if std::env::var("DBG").is_ok() { eprintln!("FAIL at {:.4} {:.3e} step {step:.3}: {failure}", self.here.lambda[0], self.here.current); }
            self.halvings += 1;
            self.before = None;
            step *= 0.5;
            if step < self.params.smallest_step {
                return Err(format!(
                    "the trace could not go on from {:.6} V, {:.4e} A/µm (point {}): {failure}; the step was halved down to {step:.1e}",
                    self.here.lambda[0],
                    self.here.current,
                    self.curve.len()
                ));
            }
        };
        let passed = self.reached(next.lambda[0], next.current);
        let behind = std::mem::replace(&mut self.here, next);
        let mut length = step;
        if passed && let Some(landed) = self.land(system, &behind, step) {
            length *= landed;
        }
        self.keep(system, (system.work.newton_steps - before_steps) as u32);
        self.find_folds(system, &behind, length);
        self.find_crossing(system, &behind, length);
        if let Some(newton) = self.curve.newton.last_mut() {
            *newton = (system.work.newton_steps - before_steps) as u32;
        }
        let distance = behind.distance(&self.here);
        self.before = Some((behind, -distance));
        // Next length: aim at a number of Newton steps and at a bounded turn.
        let by_newton = (2.0f64).powf((self.params.aim - f64::from(steps)) / 2.0).clamp(0.4, 2.0);
        let by_turn =
            if turn > 0.0 { (self.params.largest_turn / turn).clamp(0.5, 2.0) } else { 2.0 };
        self.step = (step * by_newton.min(by_turn)).min(self.params.largest_step);
        Ok(())
    }

    /// Replace a last point beyond `stop` by the one on it; returns its share of the step.
    fn land(&mut self, system: &mut System, behind: &Point, step: f64) -> Option<f64> {
        let over = &self.here;
        let (constraint, share) = match (self.stop.current, self.stop.voltage) {
            (Some(s), _) if over.current.abs() > s => {
                let w = self.params.scale.place(0.0, s.copysign(over.current))[1];
                (
                    Constraint::Current(s.copysign(over.current)),
                    (w - behind.place[1]) / (over.place[1] - behind.place[1]),
                )
            }
            (_, Some(s)) if over.lambda[0].abs() > s => {
                let v = s.copysign(over.lambda[0]);
                let [from, to] = [behind.lambda[0], over.lambda[0]];
                (Constraint::Voltage(v), (v - from) / (to - from))
            }
            _ => return None,
        };
        if !(0.0..=1.0).contains(&share) {
            return None;
        }
        let (mut state, mut lambda) =
            behind.predict(system.device, Some((over, step)), share * step);
        let solved = system.newton(&mut state, &mut lambda, constraint).is_ok();
        let scale = self.params.scale;
        let landed =
            solved.then(|| Point::solved(system, state, lambda, scale, behind.direction)).flatten();
        match landed {
            Some(p) => {
                self.here = p;
                Some(share)
            }
            None => {
                // The point beyond stays: put its figures back into the system.
                system.assembly.evaluate(system.device, &self.here.state, false);
                None
            }
        }
    }

    /// Folds between `behind` and the point now at hand, solved for exactly.
    fn find_folds(&mut self, system: &mut System, behind: &Point, step: f64) {
        let here = &self.here;
        let mut found = Vec::new();
        for axis in 0..2 {
            let (a, b) = (behind.direction[axis], here.direction[axis]);
            if !((a > 0.0 && b < 0.0) || (a < 0.0 && b > 0.0)) {
                continue;
            }
            let kind = match (axis, a > 0.0) {
                (0, true) => FoldKind::VoltageMaximum,
                (0, false) => FoldKind::VoltageMinimum,
                (_, true) => FoldKind::CurrentMaximum,
                (_, false) => FoldKind::CurrentMinimum,
            };
            if let Some((at, p)) = find_fold(system, behind, here, step, self.params.scale, axis) {
                found.push((at, kind, self.exact(system, kind, &p), p));
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (_, _, fold, p) in found {
            let label = format!("fold {}", self.folds.len());
            self.fields.push(fields(system, &p.state, &label, p.lambda[0], p.current));
            self.folds.push(fold);
        }
    }

    /// A crossing of the level asked for between `behind` and the point now at hand.
    fn find_crossing(&mut self, system: &mut System, behind: &Point, step: f64) {
        let Some(level) = self.params.level else { return };
        let (a, b) = (behind.lambda[0] - level, self.here.lambda[0] - level);
        // The first point may itself lie on the level.
        if self.curve.len() < 3 || (a > 0.0) == (b > 0.0) {
            return;
        }
        let share = a / (a - b);
        let (mut state, mut lambda) =
            behind.predict(system.device, Some((&self.here, step)), share * step);
        if system.newton(&mut state, &mut lambda, Constraint::Voltage(level)).is_err() {
            return;
        }
        let scale = self.params.scale;
        if let Some(p) = Point::solved(system, state, lambda, scale, behind.direction) {
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
            before_point: self.curve.len() - 1,
        }
    }
}

/// `stop` in words.
pub fn describe(stop: Stop) -> String {
    match (stop.current, stop.voltage) {
        (Some(i), Some(v)) => format!("the stop at {i:.3e} A/µm or {v} V was"),
        (Some(i), None) => format!("the stop at {i:.3e} A/µm was"),
        (None, Some(v)) => format!("the stop at {v} V was"),
        (None, None) => "no stop was".to_string(),
    }
}

/// The controller's numbers in a snapshot.
struct Control {
    points: usize,
    folds: usize,
    fields: usize,
    lambda: [f64; 2],
    step: f64,
    direction: [f64; 2],
    work: Work,
    volts_low: Vec<f64>,
}

impl Control {
    fn write(&self) -> Vec<f64> {
        let w = &self.work;
        let mut v = vec![
            self.points as f64,
            self.folds as f64,
            self.fields as f64,
            self.lambda[0],
            self.lambda[1],
            self.step,
            self.direction[0],
            self.direction[1],
            w.newton_steps as f64,
            w.factorizations as f64,
            w.refinements as f64,
            w.gummel_rounds as f64,
            w.halvings as f64,
        ];
        v.extend(&self.volts_low);
        v
    }

    fn read(v: &[f64]) -> Option<Control> {
        let head = v.get(..13)?;
        Some(Control {
            points: head[0] as usize,
            folds: head[1] as usize,
            fields: head[2] as usize,
            lambda: [head[3], head[4]],
            step: head[5],
            direction: [head[6], head[7]],
            work: Work {
                newton_steps: head[8] as u64,
                factorizations: head[9] as u64,
                refinements: head[10] as u64,
                gummel_rounds: head[11] as u64,
                halvings: head[12] as u64,
            },
            volts_low: v[13..].to_vec(),
        })
    }
}
