//! Small signals about a stationary state: (J + iωM) x = b with the exact Jacobian J and
//! the storage M of the transient equations. The complex system is solved as a real one of
//! twice the unknowns per node, real and imaginary part side by side, by the block solver
//! itself: its error is measured and refined, at every frequency alike. (Splitting ωM off
//! and iterating with J's factors fails once ωM outweighs J: S. E. Laux, IEEE Trans.
//! Electron Devices 32 (1985) 2028.)

use std::sync::Arc;

use nalgebra::DMatrix;

use crate::discretize::{Change, Ionizing, Stage, State};
use crate::linear::{BlockMatrix, DirectSolver, LinearError};

use super::system::{PER_UM, System};

/// A device linearized at one state.
pub struct SmallSignal {
    block: usize,
    /// Real blocks of J and of M, in the device's pattern.
    jacobian: Vec<f64>,
    storage: Vec<f64>,
    /// By contact: rows of a linear system whose unknowns follow it, and by how much a volt
    /// moves them.
    follows: Vec<(Vec<u32>, f64)>,
    /// By contact: derivative of its conduction current, and of its displacement per iω, by
    /// the scaled unknowns [A/cm].
    conduction: Vec<Vec<f64>>,
    displacement: Vec<Vec<f64>>,
    solver: DirectSolver,
    matrix: BlockMatrix,
}

/// G + iωC of all terminals [S/µm]: entry i·n + j is the current into i per volt at j.
#[derive(Debug, Clone, PartialEq)]
pub struct Admittance {
    pub real: Vec<f64>,
    pub imaginary: Vec<f64>,
}

impl SmallSignal {
    /// Linearize at a solved `state`, under the bias that `system` has.
    ///
    /// # Errors
    /// As of the test functions' linear systems.
    pub fn new(system: &mut System, state: &State) -> Result<SmallSignal, LinearError> {
        let device = system.device;
        system.update_tests(state, true, Ionizing::Fluxes)?;
        let block = device.block();
        let contacts = 0..device.contacts.len();
        let conduction: Vec<Vec<f64>> = contacts
            .clone()
            .map(|k| system.tests.row(device, &system.assembly, system.contact_test(k)))
            .collect();
        let displacement = contacts
            .clone()
            .map(|k| {
                let mut weight = system.tests.weight(system.contact_test(k)).to_vec();
                // A gate's current is the displacement at its own nodes.
                if device.contacts[k].is_gate {
                    weight.fill(0.0);
                    device.contacts[k].nodes.iter().for_each(|&n| weight[n as usize] = 1.0);
                }
                let mut row = vec![0.0; block * device.nodes()];
                for edge in &device.edges {
                    let (a, b) = (edge.a as usize, edge.b as usize);
                    let through = (weight[a] - weight[b]) * edge.permittance * device.silicon.vt;
                    row[block * a] += through;
                    row[block * b] -= through;
                }
                row
            })
            .collect();
        let follows =
            contacts.map(|k| (device.contacts[k].nodes.clone(), 1.0 / device.silicon.vt)).collect();
        let jacobian = system.assembly.matrix.values.clone();
        system.assembly.matrix.values.fill(0.0);
        let none = Change::none(device);
        let stage = Stage { from: state, alpha: 1.0, history: &none, generation: &[] };
        stage.add(device, state, &mut system.assembly, true);
        let storage = system.assembly.matrix.values.clone();
        // The system is left as at a solved point.
        system.assembly.evaluate(device, state, true);
        let pattern = Arc::new(device.pattern.with_block(2 * block));
        Ok(SmallSignal {
            block,
            jacobian,
            storage,
            follows,
            conduction,
            displacement,
            solver: DirectSolver::new(pattern.clone())?,
            matrix: BlockMatrix::new(pattern),
        })
    }

    /// Admittances between all contacts, as the device has them inside any resistance, at
    /// `omega` \[1/s\].
    ///
    /// # Errors
    /// A singular system.
    pub fn admittance(&mut self, omega: f64) -> Result<Admittance, LinearError> {
        let b = self.block;
        let whole = self.matrix.values.chunks_exact_mut(4 * b * b);
        let parts = self.jacobian.chunks_exact(b * b).zip(self.storage.chunks_exact(b * b));
        for (to, (real, stored)) in whole.zip(parts) {
            for u in 0..b {
                for v in 0..b {
                    let (g, c) = (real[b * u + v], omega * stored[b * u + v]);
                    let at = 4 * b * u + 2 * v;
                    to[at] = g;
                    to[at + 1] = -c;
                    to[at + 2 * b] = c;
                    to[at + 2 * b + 1] = g;
                }
            }
        }
        self.solver.factor(&self.matrix)?;
        let (contacts, n) = (self.follows.len(), self.solver.unknowns());
        let mut x = vec![0.0; contacts * n];
        for ((nodes, per_volt), column) in self.follows.iter().zip(x.chunks_exact_mut(n.max(1))) {
            for &node in nodes {
                column[2 * b * node as usize] = *per_volt;
            }
        }
        self.solver.solve(&self.matrix, &mut x, contacts)?;
        let mut out = Admittance {
            real: Vec::with_capacity(contacts * contacts),
            imaginary: Vec::with_capacity(contacts * contacts),
        };
        for (current, charge) in self.conduction.iter().zip(&self.displacement) {
            for column in x.chunks_exact(n.max(1)) {
                let (mut real, mut imaginary) = (0.0, 0.0);
                for ((x, i), q) in column.chunks_exact(2).zip(current).zip(charge) {
                    real += i * x[0] - omega * q * x[1];
                    imaginary += i * x[1] + omega * q * x[0];
                }
                out.real.push(PER_UM * real);
                out.imaginary.push(PER_UM * imaginary);
            }
        }
        Ok(out)
    }
}

impl Admittance {
    /// The same seen through `resistances` [Ω·µm] in series with each terminal:
    /// (1 + Y R)⁻¹ Y. `None` if that does not exist.
    pub fn behind(&self, resistances: &[f64]) -> Option<Admittance> {
        if resistances.iter().all(|r| *r == 0.0) {
            return Some(self.clone());
        }
        let n = resistances.len();
        let part = |i: usize, j: usize| {
            let at = (i % n) * n + j % n;
            match (i < n, j < n) {
                (true, true) | (false, false) => self.real[at],
                (true, false) => -self.imaginary[at],
                (false, true) => self.imaginary[at],
            }
        };
        let y = DMatrix::from_fn(2 * n, 2 * n, part);
        let whole = DMatrix::from_fn(2 * n, 2 * n, |i, j| {
            f64::from(u8::from(i == j)) + part(i, j) * resistances[j % n]
        });
        let seen = whole.lu().solve(&y)?;
        let of = |from: usize| (0..n * n).map(|k| seen[(from + k / n, k % n)]).collect::<Vec<_>>();
        Some(Admittance { real: of(0), imaginary: of(n) })
    }
}
