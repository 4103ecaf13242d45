//! Continuation of one branch in the plane (V/V_s, asinh(I/I₀)) by arclength.

use crate::case::Stop;
use crate::discretize::{Device, State, too_hot};
use crate::solve::{NewtonError, System};

use super::control::Control;
use super::fields::fields;
use super::keep::{Keeper, Next, Standing};
use super::model::{Curve, Fields, Fold, Snapshot, TerminalValues, Work};
use super::params::TraceParams;
use super::point::Point;

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
    At { state: Box<State>, lambda: [f64; 2], towards: Vec<f64> },
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
    system.params.impatient = true;
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

pub(super) struct Run<'p> {
    pub(super) params: &'p TraceParams,
    pub(super) stop: Stop,
    pub(super) here: Point,
    pub(super) before: Option<(Point, f64)>,
    pub(super) step: f64,
    pub(super) curve: Curve,
    pub(super) folds: Vec<Fold>,
    pub(super) fields: Vec<Fields>,
    pub(super) crossings: Vec<Fold>,
    pub(super) snapshot: Snapshot,
    pub(super) halvings: u64,
    /// Steps since the inside's weight in the arclength was last changed.
    pub(super) since_weighed: u32,
    /// A checkpoint waits until terminals alone are coordinates again.
    due: bool,
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
                let here = Point::renewed(system, *state, lambda, params.scale, &towards)?;
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
                    since_weighed: 0,
                    due: false,
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
        let here = Point::renewed(system, state, c.lambda, params.scale, &c.direction)?;
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
            since_weighed: 0,
            due: false,
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
            if let Some(why) = too_hot(self.here.state.hottest(system.device)) {
                self.keep_end(system);
                let here = &self.here;
                return End::Stalled(format!(
                    "{why}; the curve stands at {:.4} V, {:.3e} A/µm",
                    here.lambda[0], here.current
                ));
            }
            self.keep_fields(system);
            let standing = self.standing(system);
            let next = keeper.point(&standing);
            if answered(&standing) {
                self.keep_end(system);
                return End::Reached;
            }
            self.due |= self.curve.len().is_multiple_of(self.params.checkpoint);
            if self.due && !self.here.weighs_inside() {
                self.due = false;
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
        let part = self.params.scale.log_current(stop) / (self.params.fields + 1) as f64;
        if self.here.log_current().abs() >= part * (kept + 1) as f64 {
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
            &self.here.direction.clone(),
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
                direction: self.here.direction.clone(),
                work: self.work(system),
                volts_low: state.volts.lo.clone(),
            }
            .write(),
        };
    }

    pub(super) fn reached(&self, lambda: f64, current: f64) -> bool {
        self.stop.current.is_some_and(|s| current.abs() >= s * (1.0 - 1e-9))
            || self.stop.voltage.is_some_and(|s| lambda.abs() >= s * (1.0 - 1e-9))
    }

    /// Rough share of the way, by current on the plane's scale or by voltage.
    fn done(&self) -> f64 {
        let by_current = self
            .stop
            .current
            .map_or(0.0, |s| self.here.log_current().abs() / self.params.scale.log_current(s));
        let by_voltage = self.stop.voltage.map_or(0.0, |s| self.here.lambda[0].abs() / s);
        by_current.max(by_voltage).clamp(0.0, 1.0)
    }

    /// Record the point that `system` has evaluated.
    pub(super) fn keep(&mut self, system: &System, newton: u32) {
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
