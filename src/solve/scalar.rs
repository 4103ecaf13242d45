//! One-unknown-per-node systems on the device's edges: Poisson and the decoupled
//! continuity equations.

use std::sync::Arc;

use crate::discretize::{Device, NONE};
use crate::linear::{BlockMatrix, DirectSolver, LinearError};

/// A scalar system with the device's coupling pattern.
pub struct ScalarSystem {
    pub matrix: BlockMatrix,
    pub rhs: Vec<f64>,
    solver: DirectSolver,
}

impl ScalarSystem {
    /// Analyse once for a device.
    pub fn new(device: &Device) -> Result<ScalarSystem, LinearError> {
        let pattern = Arc::new(device.pattern.with_block(1));
        Ok(ScalarSystem {
            matrix: BlockMatrix::new(pattern.clone()),
            rhs: vec![0.0; pattern.rows],
            solver: DirectSolver::new(pattern)?,
        })
    }

    /// The same for a device with the same pattern: analysis shared.
    pub fn relative(&self, device: &Device) -> ScalarSystem {
        let pattern = Arc::new(device.pattern.with_block(1));
        ScalarSystem {
            matrix: BlockMatrix::new(pattern.clone()),
            rhs: vec![0.0; pattern.rows],
            solver: DirectSolver::with_symbolic(pattern, self.solver.symbolic().clone()),
        }
    }

    /// All zero.
    pub fn clear(&mut self) {
        self.matrix.values.fill(0.0);
        self.rhs.fill(0.0);
    }

    /// Add `v` to the coefficient of node `i`'s neighbour in slot `slot` (0 = itself).
    pub fn add(&mut self, device: &Device, i: usize, slot: usize, v: f64) {
        let k = device.slots[i][slot];
        if k != NONE {
            self.matrix.values[k as usize] += v;
        }
    }

    /// Solve; the solution replaces the right-hand side.
    pub fn solve(&mut self) -> Result<&[f64], LinearError> {
        self.solve_columns(1)
    }

    /// Solve for several right-hand sides, one after the other in `rhs`.
    pub fn solve_columns(&mut self, columns: usize) -> Result<&[f64], LinearError> {
        self.solve_aided(columns, true)
    }

    /// The same without a general-purpose LU's help, if the caller knows what to do.
    pub(super) fn try_columns(&mut self, columns: usize) -> Result<&[f64], LinearError> {
        self.solve_aided(columns, false)
    }

    fn solve_aided(&mut self, columns: usize, aided: bool) -> Result<&[f64], LinearError> {
        self.solver.aid(aided);
        self.solver.factor(&self.matrix)?;
        self.solver.solve(&self.matrix, &mut self.rhs, columns)?;
        Ok(&self.rhs)
    }
}
