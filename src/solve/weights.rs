//! Test functions for terminal currents. With weights w = 1 on a terminal, 0 on the
//! others, I = Σ_edges (w_a − w_b)·J·face for any w in between. Taking w harmonic for the
//! present conductance puts its fall where the device conducts least: the derivative of
//! the current is then free of cancellation, while differences of a nanoampere between
//! nodes of 1e20 cm⁻³ would lose every digit of it.

use rayon::prelude::*;

use crate::discretize::{Assembly, Device, EDGES_A_TASK, Edge, EdgeFlow, NONE, State, Tie};
use crate::linear::LinearError;

use super::scalar::ScalarSystem;

/// Weights for groups of terminals.
pub struct TestFunctions {
    /// Contacts of each group.
    pub groups: Vec<Vec<usize>>,
    weights: Vec<Vec<f64>>,
    system: ScalarSystem,
}

/// Added to every conductance, so that none is zero.
const SMALLEST: f64 = 1e-200;
/// Added instead, as a share of the largest, where regions that conduct well lie between
/// edges that conduct so little that to working precision nothing ties them: any weights
/// are right there, but some must be found.
const NARROW: f64 = 1e-12;
/// By how much a weight may lie outside of 0 to 1.
const OUTSIDE: f64 = 1e-3;

impl TestFunctions {
    /// No groups yet.
    pub fn new(device: &Device) -> Result<TestFunctions, LinearError> {
        Ok(TestFunctions {
            groups: Vec::new(),
            weights: Vec::new(),
            system: ScalarSystem::new(device)?,
        })
    }

    /// For a device on a mesh with the same connections: analysis shared, no groups yet.
    pub(super) fn relative(&self, device: &Device) -> TestFunctions {
        TestFunctions {
            groups: Vec::new(),
            weights: Vec::new(),
            system: self.system.relative(device),
        }
    }

    /// The groups and weights of `other`, of a device with as many nodes.
    pub(super) fn take_weights(&mut self, other: &TestFunctions) {
        self.groups.clone_from(&other.groups);
        self.weights.clone_from(&other.weights);
    }

    /// Weights for `groups` at the state that `assembly` has evaluated.
    pub fn update(
        &mut self,
        device: &Device,
        state: &State,
        assembly: &Assembly,
        groups: Vec<Vec<usize>>,
    ) -> Result<(), LinearError> {
        let conductance = conductances(device, state, assembly);
        // Laplace's equation is linear: a group's weight is the sum of its terminals'.
        let carries = |k: usize| device.contacts.get(k).is_some_and(|c| !c.is_gate);
        let mut parts: Vec<usize> = groups.concat().into_iter().filter(|&k| carries(k)).collect();
        parts.sort_unstable();
        parts.dedup();
        self.assemble(device, &conductance, SMALLEST, &parts);
        if self.system.try_columns(parts.len()).is_err() || !self.lies_between() {
            let largest = conductance.iter().copied().fold(0.0, f64::max);
            self.assemble(device, &conductance, NARROW * largest + SMALLEST, &parts);
            self.system.solve_columns(parts.len())?;
        }
        let n = device.nodes();
        let solution = &self.system.rhs;
        let weight = |group: &Vec<usize>| {
            let mut sum = vec![0.0; n];
            for (c, _) in parts.iter().enumerate().filter(|(_, k)| group.contains(k)) {
                let part = &solution[c * n..(c + 1) * n];
                sum.iter_mut().zip(part).for_each(|(s, w)| *s += w.clamp(0.0, 1.0));
            }
            sum.iter_mut().for_each(|w| *w = w.min(1.0));
            sum
        };
        self.weights = groups.par_iter().map(weight).collect();
        // Whatever the solve left there: with other values it is another current.
        for (w, group) in self.weights.iter_mut().zip(&groups) {
            for (k, contact) in device.contacts.iter().enumerate() {
                if !contact.is_gate {
                    let value = f64::from(u8::from(group.contains(&k)));
                    contact.nodes.iter().for_each(|&i| w[i as usize] = value);
                }
            }
        }
        self.groups = groups;
        Ok(())
    }

    /// Laplace's solution lies between its boundary values, 0 and 1. If not, the matrix was
    /// singular to working precision though its backward error did not show it: values of
    /// 1e20 in a region that nothing ties cover any error at the terminals.
    fn lies_between(&self) -> bool {
        self.system.rhs.iter().all(|w| (-OUTSIDE..=1.0 + OUTSIDE).contains(w))
    }

    /// Laplace's equation on the conductances [A·cm] by edge, `extra` added to each, with a
    /// right-hand side for each of the terminals `parts`.
    fn assemble(&mut self, device: &Device, conductance: &[f64], extra: f64, parts: &[usize]) {
        let n = device.nodes();
        let system = &mut self.system;
        system.matrix.values.fill(0.0);
        system.rhs = vec![0.0; n * parts.len()];
        for i in 0..n {
            if device.ties[i] != Tie::Free || !device.has_silicon(i) {
                system.add(device, i, 0, 1.0);
                if let Tie::Ohmic(k) = device.ties[i]
                    && let Some(c) = parts.iter().position(|&part| part == k as usize)
                {
                    system.rhs[c * n + i] = 1.0;
                }
                continue;
            }
            let mut sum = 0.0;
            for (d, &e) in device.node_edges[i].iter().enumerate() {
                if e == NONE || device.edges[e as usize].face == 0.0 {
                    continue;
                }
                let g = conductance[e as usize] + extra;
                system.add(device, i, d + 1, -g);
                sum += g;
            }
            system.add(device, i, 0, sum);
        }
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
        weighted_row(device, assembly, &self.weights[g])
    }
}

/// Derivative by the scaled unknowns of Σ_edges (w_a − w_b)·J·face; length block·nodes.
pub(super) fn weighted_row(device: &Device, assembly: &Assembly, w: &[f64]) -> Vec<f64> {
    let (block, scale) = (device.block(), device.scale());
    let mut row = vec![0.0; block * device.nodes()];
    for (edge, flow) in device.edges.iter().zip(&assembly.edges) {
        let (a, b) = (edge.a as usize, edge.b as usize);
        let f = (w[a] - w[b]) * edge.face;
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
    row
}

/// What each edge conducts with both carriers, by the end that has fewer of them.
fn conductances(device: &Device, state: &State, assembly: &Assembly) -> Vec<f64> {
    let of = |(edge, flow): (&Edge, &EdgeFlow)| {
        let (a, b) = (edge.a as usize, edge.b as usize);
        let electrons = (flow.n.rate[0] * state.n[a]).min(flow.n.rate[1] * state.n[b]);
        let holes = (flow.p.rate[0] * state.p[a]).min(flow.p.rate[1] * state.p[b]);
        edge.face * (electrons + holes)
    };
    let edges = device.edges.par_iter().zip(&assembly.edges).with_min_len(EDGES_A_TASK);
    edges.map(of).collect()
}
