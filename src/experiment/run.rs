//! Runs one experiment on a device from its equilibrium.

use std::time::Instant;

use crate::case::{Case, Experiment, ExperimentKind, Role, Sign, Stop};
use crate::discretize::{Circuit, Device, State, too_hot};
use crate::solve::{Constraint, System};
use crate::trace::{
    Branch, Curve, End, Keeper, Next, Snapshot, Standing, Start, TraceParams, Work, fields, follow,
    terminal_values, walk,
};

use super::capacitance::capacitance;
use super::figures::{Injector, injection_figures, is_critical, snapback_figures};
use super::flow::flow;
use super::gains::{Asked, gains};
use super::outcome::{BiasPoint, Criterion, Figures, Outcome, Status};
use super::overvoltage::{Raise, overvoltage};
use super::pulse::pulse;
use super::resistances::resistances;
use super::setup::{Setup, SetupError};
use super::sheet::Sheet;
use super::stress::stress;
use super::strike::strike;
use super::supply_ramp::{PowerUp, supply_ramp};
use super::warnings::warnings;

/// What does not depend on the experiment.
#[derive(Debug, Clone, Copy, Default)]
pub struct RunOptions {
    /// Fields of this many points are kept beside the folds.
    pub fields: usize,
}

/// Current at which a trace without a `stop` ends [A/µm].
pub const DEFAULT_STOP: f64 = 1e-2;

/// Run `experiment` from `equilibrium`. `resume` is an interrupted outcome of the same
/// experiment. Trouble after the start ends in the outcome's status, with everything
/// traced so far.
pub fn run_experiment(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    options: RunOptions,
    resume: Option<Outcome>,
    keeper: &mut dyn Keeper,
) -> Result<Outcome, SetupError> {
    let started = Instant::now();
    let mut outcome = match &experiment.kind {
        ExperimentKind::Snapback { drive, stop } => {
            let setup = Setup::new(case, device, experiment, drive)?;
            let plan = Plan { setup, stop: stop_of(*stop), options, injection: None };
            plan.trace(device, equilibrium, resume, keeper)
        }
        ExperimentKind::Injection { into, sign, stop, .. } => {
            let setup = Setup::new(case, device, experiment, std::slice::from_ref(into))?;
            let injection = Injector::new(case, &setup, into, *sign);
            let plan = Plan { setup, stop: stop_of(*stop), options, injection: Some(injection) };
            // Interrupted while it was confirmed: that begins anew.
            let resume =
                resume.filter(|o| o.snapshot.as_ref().is_some_and(|s| !s.control.is_empty()));
            let mut traced = plan.trace(device, equilibrium, resume, keeper);
            if traced.status != Status::Interrupted {
                stress(case, device, equilibrium, experiment, injection, &mut traced, keeper)?;
            }
            traced
        }
        ExperimentKind::Bias { drive, at } => {
            let setup = Setup::new(case, device, experiment, drive)?;
            bias(&setup, device, equilibrium, at, keeper)
        }
        ExperimentKind::Pulse { into, shape, settle } => {
            let asked = (into.as_str(), shape, *settle);
            pulse(case, device, equilibrium, experiment, asked, keeper)?
        }
        ExperimentKind::SupplyRamp { drive, to, rise, settle } => {
            let power = PowerUp { drive, to: *to, rise: *rise, settle: *settle };
            supply_ramp(case, device, equilibrium, experiment, &power, keeper)?
        }
        ExperimentKind::Strike { track, settle } => {
            strike(case, device, equilibrium, experiment, track, *settle, keeper)?
        }
        ExperimentKind::Gains { supply, idle, stop } => {
            let asked = Asked { supply: *supply, idle: *idle, stop: *stop };
            gains(case, device, equilibrium, experiment, asked, keeper)?
        }
        ExperimentKind::Resistances { supply } => {
            resistances(case, device, equilibrium, experiment, *supply, keeper)?
        }
        ExperimentKind::Overvoltage { drive, supply, to } => {
            let raise = Raise { drive, supply: *supply, to: *to };
            overvoltage(case, device, equilibrium, experiment, raise, keeper)?
        }
        ExperimentKind::Capacitance { frequencies } => {
            capacitance(case, device, equilibrium, experiment, frequencies, keeper)?
        }
    };
    outcome.kind = experiment.kind.word().to_string();
    outcome.wall += started.elapsed().as_secs_f64();
    outcome.warnings = warnings(device, &outcome);
    outcome.flow = flow(case, device, experiment, &outcome);
    Ok(outcome)
}

fn stop_of(stop: Stop) -> Stop {
    if stop.current.is_none() && stop.voltage.is_none() {
        Stop { current: Some(DEFAULT_STOP), voltage: None }
    } else {
        stop
    }
}

impl Injector {
    fn new(case: &Case, setup: &Setup, into: &str, sign: Sign) -> Injector {
        let role = case.terminals.iter().find(|t| t.name == into).map_or(Role::None, |t| t.role);
        let criterion = match role {
            Role::Anode | Role::Cathode => Criterion::Reconnect,
            _ => Criterion::Fold,
        };
        let supply = match role {
            _ if setup.is_held(into) => setup.held_at(into),
            Role::Anode => case.verdict.map_or_else(|| setup.largest_bias(None), |v| v.supply),
            _ => 0.0,
        };
        let sign = if sign == Sign::Positive { 1.0 } else { -1.0 };
        Injector { sign, criterion, supply }
    }
}

struct Plan<'a> {
    setup: Setup<'a>,
    stop: Stop,
    options: RunOptions,
    injection: Option<Injector>,
}

/// An injection curve ends where its current has come back to this share of the critical one.
const PAST: f64 = 0.95;

/// Largest step of a bias ramp [V].
const RAMP_STEP: f64 = 0.5;

/// Bring the device from equilibrium to a circuit's full bias.
pub(super) fn ramp<'d>(
    device: &'d Device,
    equilibrium: &State,
    circuit: Circuit,
    largest_bias: f64,
) -> Result<(System<'d>, State), String> {
    let mut system = System::new(device, circuit).map_err(|e| e.to_string())?;
    let mut state = equilibrium.clone();
    let mut lambda = 0.0;
    if largest_bias > 0.0 {
        walk(&mut system, &mut state, &mut lambda, 1.0, RAMP_STEP / largest_bias)
            .map_err(|e| format!("the bias could not be applied: {e}"))?;
    }
    Ok((system, state))
}

impl Plan<'_> {
    fn trace(
        &self,
        device: &Device,
        equilibrium: &State,
        resume: Option<Outcome>,
        keeper: &mut dyn Keeper,
    ) -> Outcome {
        let level = self
            .injection
            .as_ref()
            .filter(|i| i.criterion == Criterion::Reconnect)
            .map(|i| i.supply);
        let params = TraceParams { fields: self.options.fields, level, ..TraceParams::default() };
        let (mut before, mut wall) = (Work::default(), 0.0);
        let branch = match resume {
            Some(outcome) if outcome.snapshot.is_some() => {
                wall = outcome.wall;
                System::new(device, self.setup.driven()).map_err(|e| e.to_string()).and_then(
                    |mut system| {
                        let branch = Branch {
                            curve: outcome.curve,
                            folds: outcome.folds,
                            fields: outcome.fields,
                            crossings: Vec::new(),
                            end: End::Interrupted,
                            work: outcome.work,
                            snapshot: outcome.snapshot.unwrap_or_default(),
                        };
                        let start = Start::Resume { branch: Box::new(branch) };
                        self.follow(&mut system, start, &params, keeper)
                    },
                )
            }
            _ => self.start(device, equilibrium, &mut before).and_then(|(mut system, start)| {
                system.work = before;
                self.follow(&mut system, start, &params, keeper)
            }),
        };
        self.outcome(device, branch, wall)
    }

    /// Ramp, then find where the trace begins and which way it goes.
    fn start<'d>(
        &self,
        device: &'d Device,
        equilibrium: &State,
        work: &mut Work,
    ) -> Result<(System<'d>, Start), String> {
        let reconnect = self.injection.as_ref().filter(|i| i.criterion == Criterion::Reconnect);
        let drive_at = match (&self.injection, reconnect) {
            (None, _) => Some(0.0),
            (Some(_), Some(i)) => Some(i.supply),
            (Some(_), None) => None,
        };
        let largest = self.setup.largest_bias(drive_at);
        let (ramped, mut state) = ramp(device, equilibrium, self.setup.ramp(drive_at), largest)?;
        *work = ramped.work;
        let mut system = System::new(device, self.setup.driven()).map_err(|e| e.to_string())?;
        let injector = self.setup.drive.first().copied().unwrap_or(0);
        let mut lambda = match drive_at {
            Some(v) => [v, 0.0],
            None => state.volts.get(injector),
        };
        let constraint = match drive_at {
            Some(v) => Constraint::Voltage(v),
            None => Constraint::Current(0.0),
        };
        system
            .newton(&mut state, &mut lambda, &constraint)
            .map_err(|e| format!("the starting point could not be solved: {e}"))?;
        *work += system.work;
        // Everything so far comes before the curve's first point.
        work.walk_steps = work.newton_steps;
        let towards = match &self.injection {
            None => vec![1.0, 0.0],
            Some(i) => vec![0.0, i.sign],
        };
        Ok((system, Start::At { state: Box::new(state), lambda, towards }))
    }

    fn follow(
        &self,
        system: &mut System,
        start: Start,
        params: &TraceParams,
        keeper: &mut dyn Keeper,
    ) -> Result<Branch, String> {
        let done = |standing: &Standing| self.answered(standing);
        follow(system, start, self.stop, params, &done, keeper).map_err(|e| e.to_string())
    }

    /// An injection is answered once the path is well past its critical point.
    fn answered(&self, s: &Standing) -> bool {
        let Some(i) = &self.injection else { return false };
        let Some(&now) = s.curve.current.last() else { return false };
        match i.criterion {
            Criterion::Fold => s
                .folds
                .iter()
                .filter(|f| is_critical(f, i.sign))
                .any(|f| now * i.sign < PAST * f.current * i.sign),
            Criterion::Reconnect => {
                let v = &s.curve.voltage;
                v.len() > 2 && !s.folds.is_empty() && (v[v.len() - 1] - i.supply) * i.sign < 0.0
            }
        }
    }

    fn outcome(&self, device: &Device, branch: Result<Branch, String>, wall: f64) -> Outcome {
        let drive = self.setup.drive.iter().map(|&k| device.contacts[k].name.clone()).collect();
        let (branch, failed) = match branch {
            Ok(b) => (b, None),
            Err(reason) => (Branch::empty(device), Some(reason)),
        };
        let status = match (&failed, &branch.end) {
            (Some(reason), _) => Status::Stopped(reason.clone()),
            (None, End::Reached) => Status::Complete,
            (None, End::Stalled(reason)) => Status::Stopped(reason.clone()),
            (None, End::Interrupted) => Status::Interrupted,
        };
        let Branch { curve, folds, mut fields, crossings, work, snapshot, .. } = branch;
        // Before its first checkpoint a trace begins anew: a start renewed from its own
        // tangent would differ in the last bits from one that was not interrupted.
        let resumable =
            status == Status::Interrupted && curve.len() >= TraceParams::default().checkpoint;
        let figures = match &self.injection {
            None => snapback_figures(&curve, &folds, &status, &mut fields),
            Some(i) => injection_figures(&curve, &folds, &crossings, &status, *i, &mut fields),
        };
        Outcome {
            kind: String::new(),
            drive,
            snapshot: resumable.then_some(snapshot),
            status,
            curve,
            folds,
            figures,
            bars: None,
            fields,
            flow: Sheet::new(),
            warnings: Vec::new(),
            work,
            wall,
        }
    }
}

/// Plain DC at each voltage in turn.
fn bias(
    setup: &Setup,
    device: &Device,
    equilibrium: &State,
    at: &[f64],
    keeper: &mut dyn Keeper,
) -> Outcome {
    let mut outcome = Outcome {
        kind: String::new(),
        drive: setup.drive.iter().map(|&k| device.contacts[k].name.clone()).collect(),
        status: Status::Complete,
        curve: Branch::empty(device).curve,
        folds: Vec::new(),
        figures: Figures::Bias { points: Vec::new() },
        bars: None,
        fields: Vec::new(),
        flow: Sheet::new(),
        warnings: Vec::new(),
        work: Work::default(),
        wall: 0.0,
        snapshot: None,
    };
    let mut points = Vec::new();
    let ramped = ramp(device, equilibrium, setup.ramp(Some(0.0)), setup.largest_bias(None))
        .and_then(|(system, state)| {
            let work = system.work;
            let mut system = System::new(device, setup.driven()).map_err(|e| e.to_string())?;
            system.work = Work { walk_steps: work.newton_steps, ..work };
            Ok((system, state))
        });
    let (mut system, mut state) = match ramped {
        Ok(pair) => pair,
        Err(reason) => {
            outcome.status = Status::Stopped(reason);
            return outcome;
        }
    };
    let mut lambda = 0.0;
    for (k, &v) in at.iter().enumerate() {
        let before = system.work;
        if let Err(e) = walk(&mut system, &mut state, &mut lambda, v, RAMP_STEP) {
            outcome.status = Status::Stopped(e.to_string());
            break;
        }
        let values = terminal_values(&system, &state, lambda);
        keep_point(&mut outcome.curve, &system, v, &values, before);
        points.push(BiasPoint { applied: v, at_terminals: values });
        if let Some(why) = too_hot(state.hottest(device)) {
            outcome.status = Status::Stopped(format!("{why}, at {v} V"));
            break;
        }
        let standing = Standing {
            curve: &outcome.curve,
            folds: &[],
            fields: &[],
            work: system.work,
            done: (k + 1) as f64 / at.len() as f64,
        };
        if keeper.point(&standing) == Next::Interrupt {
            outcome.status = Status::Interrupted;
            break;
        }
    }
    if !points.is_empty() {
        let current = system.drive_current();
        outcome.fields.push(fields(&mut system, &state, "end", lambda, current));
    }
    if outcome.status == Status::Interrupted {
        outcome.snapshot = Some(Snapshot::default());
    }
    outcome.work = system.work;
    outcome.figures = Figures::Bias { points };
    outcome
}

fn keep_point(
    curve: &mut Curve,
    system: &System,
    applied: f64,
    values: &crate::trace::TerminalValues,
    before: Work,
) {
    let [sum, largest] = system.imbalance();
    curve.voltage.push(applied);
    curve.current.push(system.drive_current());
    curve.at_terminals.push(values.clone());
    curve.imbalance.push(sum);
    curve.largest.push(largest);
    // The point's own solve; the way to it counts as a walk.
    let [all, way] = [
        system.work.newton_steps - before.newton_steps,
        system.work.walk_steps - before.walk_steps,
    ];
    curve.newton.push((all - way) as u32);
}
