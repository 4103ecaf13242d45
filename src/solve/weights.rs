//! Test functions for terminal currents. With weights w = 1 on a terminal, 0 on the
//! others, I = Σ_edges (w_a − w_b)·J·face for any w in between. Taking w harmonic for the
//! present conductance puts its fall where the device conducts least: the derivative of
//! the current is then free of cancellation, while differences of a nanoampere between
//! nodes of 1e20 cm⁻³ would lose every digit of it.

use crate::discretize::{Assembly, Device, NONE, State, Tie};
use crate::linear::LinearError;

use super::scalar::ScalarSystem;

/// Weights for groups of terminals.
pub struct TestFunctions {
    /// Contacts of each group.
    pub groups: Vec<Vec<usize>>,
    weights: Vec<Vec<f64>>,
    system: ScalarSystem,
}

/// Conductances below this share of the largest do not matter for the weights.
const SMALLEST: f64 = 1e-200;

impl TestFunctions {
    /// No groups yet.
    pub fn new(device: &Device) -> Result<TestFunctions, LinearError> {
        Ok(TestFunctions {
            groups: Vec::new(),
            weights: Vec::new(),
            system: ScalarSystem::new(device)?,
        })
    }

    /// Weights for `groups` at the state that `assembly` has evaluated.
    pub fn update(
        &mut self,
        device: &Device,
        state: &State,
        assembly: &Assembly,
        groups: Vec<Vec<usize>>,
    ) -> Result<(), LinearError> {
        let (n, columns) = (device.nodes(), groups.len());
        let system = &mut self.system;
        system.matrix.values.fill(0.0);
        system.rhs = vec![0.0; n * columns];
        for i in 0..n {
            let free = device.ties[i] == Tie::Free && device.has_silicon(i);
            if !free {
                system.add(device, i, 0, 1.0);
                if let Tie::Ohmic(k) = device.ties[i] {
                    for (c, group) in groups.iter().enumerate() {
                        if group.contains(&(k as usize)) {
                            system.rhs[c * n + i] = 1.0;
                        }
                    }
                }
                continue;
            }
            let mut sum = 0.0;
            for (d, &e) in device.node_edges[i].iter().enumerate() {
                if e == NONE {
                    continue;
                }
                let (edge, flow) = (&device.edges[e as usize], &assembly.edges[e as usize]);
                if edge.face == 0.0 {
                    continue;
                }
                let (a, b) = (edge.a as usize, edge.b as usize);
                let electrons = (flow.n.rate[0] * state.n[a]).min(flow.n.rate[1] * state.n[b]);
                let holes = (flow.p.rate[0] * state.p[a]).min(flow.p.rate[1] * state.p[b]);
                let g = edge.face * (electrons + holes) + SMALLEST;
                system.add(device, i, d + 1, -g);
                sum += g;
            }
            system.add(device, i, 0, sum);
        }
        let solution = system.solve_columns(columns)?;
        self.weights =
            solution.chunks(n).map(|w| w.iter().map(|v| v.clamp(0.0, 1.0)).collect()).collect();
        self.groups = groups;
        Ok(())
    }

    /// Weight of each node for group `g`: 1 on its contacts, 0 on all others.
    pub(super) fn weight(&self, g: usize) -> &[f64] {
        &self.weights[g]
    }

    /// Current into the device through group `g` [A/cm], at the evaluated state.
    pub fn current(&self, device: &Device, assembly: &Assembly, g: usize) -> f64 {
        let w = &self.weights[g];
        device
            .edges
            .iter()
            .zip(&assembly.edges)
            .map(|(edge, flow)| {
                let dw = w[edge.a as usize] - w[edge.b as usize];
                if dw == 0.0 { 0.0 } else { dw * edge.face * (flow.n.current + flow.p.current) }
            })
            .sum()
    }

    /// Derivative of that current by the scaled unknowns; length block·nodes.
    pub fn row(&self, device: &Device, assembly: &Assembly, g: usize) -> Vec<f64> {
        let mut row = vec![0.0; device.block() * device.nodes()];
        self.add_row(device, assembly, g, 1.0, &mut row);
        row
    }

    /// The same, times `factor`, added to `row`.
    pub fn add_row(
        &self,
        device: &Device,
        assembly: &Assembly,
        g: usize,
        factor: f64,
        row: &mut [f64],
    ) {
        let w = &self.weights[g];
        let (block, scale) = (device.block(), device.scale());
        for (edge, flow) in device.edges.iter().zip(&assembly.edges) {
            let (a, b) = (edge.a as usize, edge.b as usize);
            let f = factor * (w[a] - w[b]) * edge.face;
            if f == 0.0 {
                continue;
            }
            for (end, node) in [a, b].into_iter().enumerate() {
                let own = &mut row[block * node..block * (node + 1)];
                let by = flow.n.by[end].iter().zip(&flow.p.by[end]);
                for (v, ((n, p), scale)) in own.iter_mut().zip(by.zip(&scale)) {
                    *v += f * (n + p) * scale;
                }
            }
        }
    }
}
