//! What a solved point's voltage or current owes to every equation: one transposed solve,
//! after which the derivative by any parameter is a product with the change of the
//! equations (the left null vector at a fold: there the drive voltage at given current, and
//! the current at given voltage, are the fold's own to first order). Source: A. Griewank and
//! G. Reddien, SIAM J. Numer. Anal. 21 (1984) 176, from memory, for folds; the rest is calculus.

use crate::discretize::{Device, State, Tying};
use crate::linear::{DirectSolver, LinearError};

use super::system::{Constraint, NewtonError, PER_UM, System};

/// What is differentiated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goal {
    /// The drive voltage at constant drive current.
    Voltage,
    /// The drive current at constant drive voltage.
    Current,
}

impl Goal {
    /// The constraint that holds the other quantity.
    pub fn constraint(self, voltage: f64, current: f64) -> Constraint {
        match self {
            Goal::Voltage => Constraint::Current(current),
            Goal::Current => Constraint::Voltage(voltage),
        }
    }
}

/// Weights of the equations for one goal.
#[derive(Debug, Clone)]
pub struct Adjoint {
    goal: Goal,
    device: Vec<f64>,
    border: Vec<f64>,
    /// Componentwise backward error of the transposed solve.
    pub backward_error: f64,
}

/// The equations of a device at a state that need not solve them.
#[derive(Debug, Clone)]
pub struct Defect {
    /// Residual of the device by node and equation, of the border, both as Newton's
    /// right-hand side.
    device: Vec<f64>,
    border: Vec<f64>,
    /// [A/µm], by the test function.
    drive_current: f64,
}

impl System<'_> {
    /// A system for a device on a mesh with the same connections: analysis shared.
    pub fn relative<'b>(
        &self,
        device: &'b Device,
        circuit: crate::discretize::Circuit,
    ) -> Result<System<'b>, LinearError> {
        if *device.pattern != *self.device.pattern {
            return System::new(device, circuit);
        }
        let mut system = System::new_with(
            device,
            circuit,
            DirectSolver::with_symbolic(device.pattern.clone(), self.solver.symbolic().clone()),
            self.tests.relative(device),
        );
        system.params = self.params;
        Ok(system)
    }

    /// Weights for `goal` at a solved point, which is linearized with the constraint that
    /// belongs to the goal.
    pub fn adjoint(
        &mut self,
        state: &State,
        lambda: [f64; 2],
        goal: Goal,
    ) -> Result<Adjoint, NewtonError> {
        let current = self.drive_current();
        self.linearize(state, lambda, &goal.constraint(lambda[0], current))?;
        let n = self.device.block() * self.device.nodes();
        let (mut device, mut border) = (vec![0.0; n], vec![0.0; self.border.columns.len()]);
        match goal {
            Goal::Voltage => {
                if let Some(b) = border.first_mut() {
                    *b = 1.0;
                }
            }
            Goal::Current => device = self.drive_row.iter().map(|v| PER_UM * v).collect(),
        }
        let missing = || LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 };
        let factors = self.factors.as_ref().ok_or_else(missing)?;
        let (matrix, edges) = (&self.assembly.matrix, &self.border);
        let backward_error =
            factors.solve_transposed(&mut self.solver, matrix, edges, &mut device, &mut border)?;
        Ok(Adjoint { goal, device, border, backward_error })
    }

    /// The equations at `state` under `constraint`, with the test functions of `with`: those of the point that is differentiated.
    pub fn defect(
        &mut self,
        state: &State,
        lambda: [f64; 2],
        constraint: &Constraint,
        with: &System,
    ) -> Defect {
        self.tests.take_weights(&with.tests);
        self.assembly.evaluate(self.device, state, false);
        let border = self.build_border(state, lambda, constraint);
        Defect {
            device: self.assembly.residual.iter().map(|r| -r).collect(),
            border,
            drive_current: PER_UM * self.tests.current(self.device, &self.assembly, 0),
        }
    }

    /// The state `state` with the ohmic contact `k` lowered by `drop` \[V\]: what a
    /// resistance outside does to it.
    pub fn lowered(&self, state: &State, k: usize, drop: f64) -> State {
        let mut state = state.clone();
        let volts = crate::discretize::add_words(state.volts.get(k), -drop);
        state.set_contact(self.device, k, volts);
        state
    }

    /// The source at contact `k` has no resistance, so the contact has no unknown.
    pub fn is_stiff(&self, k: usize) -> bool {
        matches!(self.circuit.ties.get(k), Some(Tying::Source { resistance: 0.0, .. }))
    }
}

impl Adjoint {
    /// Change of the goal when the equations change from `from` to `to`, to first order.
    pub fn change(&self, from: &Defect, to: &Defect) -> f64 {
        let sum = |w: &[f64], a: &[f64], b: &[f64]| -> f64 {
            w.iter().zip(a.iter().zip(b)).map(|(w, (a, b))| w * (b - a)).sum()
        };
        let implicit = sum(&self.device, &from.device, &to.device)
            + sum(&self.border, &from.border, &to.border);
        match self.goal {
            Goal::Voltage => implicit,
            Goal::Current => implicit + (to.drive_current - from.drive_current),
        }
    }
}
