//! Residual and exact Jacobian of Poisson and both continuity equations, by rows of the
//! mesh in parallel. Every node gathers from its edges, so results do not depend on the
//! number of threads.

use rayon::prelude::*;

use crate::linear::BlockMatrix;

use super::device::{Device, NONE, Tie};
pub use super::flow::{EdgeFlow, Ionizing, UNKNOWNS};
use super::plain::Plain;
use super::row::{node_row, tied_row};
use super::state::State;

/// Edges below which a second thread costs more than it saves (common practice, no source).
pub const EDGES_A_TASK: usize = 2048;

/// Residual and Jacobian of one state, with the terminal currents that follow from it.
pub struct Assembly {
    pub edges: Vec<EdgeFlow>,
    /// Poisson [C/cm], electron and hole continuity [A/cm], with heat the heat equation
    /// [W/cm], node by node.
    pub residual: Vec<f64>,
    pub matrix: BlockMatrix,
    /// Current into the device at each contact [A/cm]; gates carry none.
    pub currents: Vec<f64>,
    /// Sum of |electron| + |hole| continuity residuals over free nodes [A/cm].
    pub unbalanced: f64,
}

impl Assembly {
    /// Workspace for a device.
    pub fn new(device: &Device) -> Assembly {
        Assembly {
            edges: vec![EdgeFlow::default(); device.edges.len()],
            residual: vec![0.0; device.block() * device.nodes()],
            matrix: BlockMatrix::new(device.pattern.clone()),
            currents: vec![0.0; device.contacts.len()],
            unbalanced: 0.0,
        }
    }

    /// Evaluate at `state`; the Jacobian too if `jacobian`.
    pub fn evaluate(&mut self, device: &Device, state: &State, jacobian: bool) {
        self.evaluate_with(device, state, jacobian, Ionizing::Fluxes);
    }

    /// Evaluate with a choice of the currents that ionize; `jacobian` not with
    /// [`Ionizing::CarriedByChord`], whose derivatives are old.
    pub fn evaluate_with(
        &mut self,
        device: &Device,
        state: &State,
        jacobian: bool,
        ionizing: Ionizing,
    ) {
        let plain = Plain::new(device);
        self.edges.par_chunks_mut(256).enumerate().for_each(|(c, out)| {
            if let Some(plain) = &plain {
                let edges = &device.edges[256 * c..256 * c + out.len()];
                plain.flows(state, edges, out, ionizing);
                return;
            }
            for (flow, edge) in out.iter_mut().zip(&device.edges[256 * c..]) {
                flow.renew(EdgeFlow::new(device, state, edge), ionizing);
            }
        });
        if device.has_heat() {
            self.rows::<4>(device, state, jacobian);
        } else {
            self.rows::<3>(device, state, jacobian);
        }
    }

    /// The ionizing currents [A/cm²], edge by edge; empty without avalanche.
    pub fn ionizing(&self, device: &Device) -> Vec<[f64; 2]> {
        if device.silicon.avalanche.is_off() {
            return Vec::new();
        }
        self.edges.iter().map(|flow| flow.ionizing).collect()
    }

    /// Take over what [`Assembly::ionizing`] gave; whether there was something for each edge.
    pub fn take_ionizing(&mut self, currents: &[[f64; 2]]) -> bool {
        let fits = currents.len() == self.edges.len();
        if fits {
            self.edges.iter_mut().zip(currents).for_each(|(flow, &c)| flow.ionizing = c);
        }
        fits
    }

    /// Carry the ionizing currents along a fraction `t` of the step `du` (scaled unknowns,
    /// node by node) that the present linearization gave.
    pub fn carry(&mut self, device: &Device, du: &[f64], t: f64) {
        if device.silicon.avalanche.is_off() {
            return;
        }
        let (block, scale) = (device.block(), device.scale());
        let step = |i: u32| {
            let own = &du[block * i as usize..block * (i as usize + 1)];
            let mut step = [0.0; UNKNOWNS];
            for ((s, d), unit) in step.iter_mut().zip(own).zip(scale) {
                *s = d * unit;
            }
            step
        };
        let edges = self.edges.par_iter_mut().zip(&device.edges).with_min_len(EDGES_A_TASK);
        edges.filter(|(_, edge)| edge.face > 0.0).for_each(|(flow, edge)| {
            flow.carry([step(edge.a), step(edge.b)], t);
        });
    }

    fn rows<const N: usize>(&mut self, device: &Device, state: &State, jacobian: bool) {
        let edges = &self.edges;
        let pattern = &device.pattern;
        let (block, chunk) = (N * N, 64);
        // Rows of `values` per node differ in length: cut the array along node chunks.
        let mut pieces = Vec::with_capacity(device.nodes() / chunk + 1);
        let mut rest = self.matrix.values.as_mut_slice();
        let mut rest_residual = self.residual.as_mut_slice();
        for first in (0..device.nodes()).step_by(chunk) {
            let last = (first + chunk).min(device.nodes());
            let (values, tail) =
                rest.split_at_mut(block * (pattern.start[last] - pattern.start[first]));
            let (residual, tail_residual) = rest_residual.split_at_mut(N * (last - first));
            pieces.push((first, last, values, residual));
            rest = tail;
            rest_residual = tail_residual;
        }
        pieces.into_par_iter().for_each(|(first, last, values, residual)| {
            let base = pattern.start[first];
            if jacobian {
                values.fill(0.0);
            }
            for i in first..last {
                let row = match device.ties[i] {
                    Tie::Free => node_row::<N>(device, state, edges, i, jacobian),
                    _ => tied_row::<N>(device, state, edges, i, jacobian),
                };
                residual[N * (i - first)..N * (i - first + 1)].copy_from_slice(&row.value);
                if !jacobian {
                    continue;
                }
                for (slot, by) in row.by.iter().enumerate() {
                    let k = device.slots[i][slot];
                    if k != NONE {
                        let at = block * (k as usize - base);
                        values[at..at + block].copy_from_slice(by.as_flattened());
                    }
                }
            }
        });
        self.unbalanced = 0.0;
        for r in self.residual.chunks_exact(N) {
            self.unbalanced += r[1].abs() + r[2].abs();
        }
        self.terminal_currents::<N>(device, state);
    }

    /// Electron and hole current into the device at contact `k` [A/cm] in the state last
    /// evaluated; gates carry none.
    pub fn carriers(&self, device: &Device, state: &State, k: usize) -> [f64; 2] {
        let Some(contact) = device.contacts.get(k).filter(|c| !c.is_gate) else {
            return [0.0; 2];
        };
        let mut sum = [0.0; 2];
        for &node in &contact.nodes {
            let row = node_row::<3>(device, state, &self.edges, node as usize, false);
            sum[0] += row.value[1];
            sum[1] += row.value[2];
        }
        sum
    }

    fn terminal_currents<const N: usize>(&mut self, device: &Device, state: &State) {
        for (k, contact) in device.contacts.iter().enumerate() {
            self.currents[k] = if contact.is_gate {
                0.0
            } else {
                let of = |&node: &u32| {
                    let row = node_row::<N>(device, state, &self.edges, node as usize, false);
                    row.value[1] + row.value[2]
                };
                contact.nodes.iter().map(of).sum()
            };
        }
    }
}
