//! A trigger, holding or critical point taken up again: on the device it was found on, or
//! on one that differs a little.

use crate::case::{Case, Experiment, ExperimentKind};
use crate::discretize::{Device, State, Words};
use crate::solve::{Goal, System};
use crate::trace::FoldKind;

use super::outcome::{Criterion, Figures, Outcome};
use super::setup::{Setup, SetupError};

/// The setup of an experiment that follows a branch. Errors: another kind, terminals that
/// the device does not have.
pub fn branch_setup<'a>(
    case: &'a Case,
    device: &'a Device,
    experiment: &'a Experiment,
) -> Result<Setup<'a>, SetupError> {
    match &experiment.kind {
        ExperimentKind::Snapback { drive, .. } => Setup::new(case, device, experiment, drive),
        ExperimentKind::Injection { into, .. } => {
            Setup::new(case, device, experiment, std::slice::from_ref(into))
        }
        other => Err(SetupError::NotAvailable { experiment: other.word() }),
    }
}

/// What makes a point stand out on its branch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// Drive voltage at a maximum or minimum.
    Voltage(FoldKind),
    /// Drive current at a maximum or minimum.
    Current(FoldKind),
    /// The voltage that the injector is reconnected to.
    Level,
}

impl Mark {
    /// The quantity that the point answers.
    pub fn goal(self) -> Goal {
        match self {
            Mark::Voltage(_) => Goal::Voltage,
            _ => Goal::Current,
        }
    }

    /// Sign of the second derivative along the branch; 0 where none is asked for.
    fn bends(self) -> f64 {
        match self {
            Mark::Voltage(FoldKind::VoltageMinimum) | Mark::Current(FoldKind::CurrentMinimum) => {
                1.0
            }
            Mark::Voltage(_) | Mark::Current(_) => -1.0,
            Mark::Level => 0.0,
        }
    }
}

/// A marked point of a branch.
#[derive(Clone)]
pub struct FoldPoint {
    pub mark: Mark,
    pub state: State,
    /// Drive voltage in two words \[V\].
    pub lambda: [f64; 2],
    /// Drive current [A/µm].
    pub current: f64,
    /// d²V/d(ln I)² \[V\] or d²I/dV² [A/(µm·V²)]; 0 at a level.
    pub bend: f64,
}

/// Relative exactness of the current at a voltage fold, and of the voltage [V] at a current
/// fold.
const TOLERANCE: f64 = 1e-8;
/// What is enough after some rounds: slopes have noise.
const ROUGH: f64 = 1e-5;
const ROUNDS: usize = 30;

impl FoldPoint {
    /// The point `label` (trigger, holding, critical) of an outcome, from the fields stored
    /// there. `None` if the outcome has no such point or its state does not fit the device.
    pub fn stored(device: &Device, outcome: &Outcome, label: &str) -> Option<FoldPoint> {
        let (mark, fold) = match (&outcome.figures, label) {
            (Figures::Snapback { trigger, .. }, "trigger") => {
                (Mark::Voltage(FoldKind::VoltageMaximum), trigger.as_ref().ok()?)
            }
            (Figures::Snapback { holding, .. }, "holding") => {
                (Mark::Voltage(FoldKind::VoltageMinimum), holding.as_ref().ok()?)
            }
            (Figures::Injection { criterion, critical, .. }, "critical") => {
                let fold = critical.as_ref().ok()?;
                let mark = match criterion {
                    Criterion::Fold => Mark::Current(fold.kind),
                    Criterion::Reconnect => Mark::Level,
                };
                (mark, fold)
            }
            _ => return None,
        };
        let fields = outcome.fields.iter().find(|f| f.label == label)?;
        let mut volts = Words::zeros(device.contacts.len());
        if fold.at_terminals.voltage.len() != volts.hi.len() {
            return None;
        }
        volts.hi.clone_from(&fold.at_terminals.voltage);
        let state = State::from_words(device, &fields.state, &volts)?;
        let lambda = [fold.voltage, 0.0];
        Some(FoldPoint { mark, state, lambda, current: fold.current, bend: 0.0 })
    }

    /// Solve for the marked point on `system`, from here: a secant on the exact slope of the
    /// branch. Errors in words: no convergence, or no such point near (it may have met its
    /// partner).
    pub fn settle(&self, system: &mut System) -> Result<FoldPoint, String> {
        let goal = self.mark.goal();
        let mut here = self.clone();
        let first = here.place();
        here.solve(system, first)?;
        if self.mark == Mark::Level {
            return Ok(here);
        }
        let (mut last, mut last_slope) = (first, here.slope(system, goal)?);
        let mut x = first + here.probe();
        for round in 0..ROUNDS {
            here.solve(system, x)?;
            let slope = here.slope(system, goal)?;
            // Between points too close to each other the second derivative is noise.
            if (x - last).abs() > 0.05 * here.probe() {
                here.bend = (slope - last_slope) / (x - last);
                (last, last_slope) = (x, slope);
            }
            let bend = here.bend;
            if bend == 0.0 || !bend.is_finite() {
                return Err("the branch does not bend here".to_string());
            }
            let far = here.far();
            let step = (-slope / bend).clamp(-far, far);
            // A fold of the other kind is not this one's continuation.
            let step = if bend * self.mark.bends() < 0.0 { -far.copysign(step) } else { step };
            let exact = if round < 6 { TOLERANCE } else { ROUGH };
            if step.abs() < exact {
                return if bend * self.mark.bends() > 0.0 {
                    Ok(here)
                } else {
                    Err("the fold is of the other kind".to_string())
                };
            }
            x += step;
            if !x.is_finite() || (x - first).abs() > 12.0 * far {
                break;
            }
        }
        Err("no fold of this kind is near".to_string())
    }

    /// Coordinate along the branch: ln |I|, or V.
    fn place(&self) -> f64 {
        match self.mark.goal() {
            Goal::Voltage => self.current.abs().max(1e-300).ln(),
            Goal::Current => self.lambda[0] + self.lambda[1],
        }
    }

    /// First step of the secant, and the largest.
    fn probe(&self) -> f64 {
        if self.mark.goal() == Goal::Voltage { 1e-3 } else { 1e-4 }
    }

    fn far(&self) -> f64 {
        if self.mark.goal() == Goal::Voltage { 0.4 } else { 0.05 }
    }

    /// Solve at coordinate `x`.
    fn solve(&mut self, system: &mut System, x: f64) -> Result<(), String> {
        let goal = self.mark.goal();
        let (voltage, current) = match goal {
            Goal::Voltage => (self.lambda[0], x.exp().copysign(self.current)),
            Goal::Current => (x, self.current),
        };
        if goal == Goal::Current {
            self.lambda = [x, 0.0];
        }
        system
            .newton(&mut self.state, &mut self.lambda, &goal.constraint(voltage, current))
            .map_err(|e| e.to_string())?;
        self.current = system.drive_current();
        Ok(())
    }

    /// Slope of the answered quantity by the coordinate.
    fn slope(&self, system: &mut System, goal: Goal) -> Result<f64, String> {
        let constraint = goal.constraint(self.lambda[0], self.current);
        system.linearize(&self.state, self.lambda, &constraint).map_err(|e| e.to_string())?;
        let t = system.tangent(&self.state).ok_or("no tangent")?;
        Ok(match goal {
            Goal::Voltage => t.terminals.lambda * self.current,
            Goal::Current => t.terminals.current,
        })
    }

    /// d(slope)/d(coordinate) at this point on `system`, by a small central step; the state
    /// stays.
    pub fn curvature(&self, system: &mut System) -> Result<f64, String> {
        let (goal, x, d) = (self.mark.goal(), self.place(), 10.0 * self.probe());
        let mut at = |x: f64| {
            let mut p = self.clone();
            p.solve(system, x)?;
            p.slope(system, goal)
        };
        Ok((at(x + d)? - at(x - d)?) / (2.0 * d))
    }

    /// Solved at this point's coordinate on `system`, a fold or not, with the slope of the
    /// branch there. Errors: no convergence.
    pub fn held(&self, system: &mut System) -> Result<(FoldPoint, f64), String> {
        let mut p = self.clone();
        p.solve(system, self.place())?;
        let slope = p.slope(system, self.mark.goal())?;
        Ok((p, slope))
    }

    /// The same state on another device with as many nodes and contacts; its contacts are
    /// set anew. `None` if it does not fit.
    pub fn on(&self, device: &Device) -> Option<FoldPoint> {
        let state = State::from_words(device, &self.state.words(), &self.state.volts)?;
        Some(FoldPoint { state, ..self.clone() })
    }
}
