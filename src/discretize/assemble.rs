//! Residual and exact Jacobian of Poisson and both continuity equations, by rows of the
//! mesh in parallel. Every node gathers from its edges, so results do not depend on the
//! number of threads.

use rayon::prelude::*;

use crate::linear::BlockMatrix;
use crate::silicon::{Carrier, Q};

use super::avalanche::{Cell, Generation, generation};
use super::device::{DIRECTIONS, Device, NONE, Tie};
use super::flux::{Ends, Flux, flux};
use super::state::State;

/// Column scales of the linear system: its unknowns are δψ/V_T, δn/N, δp/N.
pub const DENSITY_SCALE: f64 = 1e17;

/// Both carriers' fluxes on an edge, and the field along it [V/cm].
#[derive(Debug, Clone, Copy, Default)]
pub struct EdgeFlow {
    pub n: Flux,
    pub p: Flux,
    pub field: f64,
    /// ψ_b − ψ_a [V].
    pub drop: f64,
}

/// Residual and Jacobian of one state, with the terminal currents that follow from it.
pub struct Assembly {
    pub edges: Vec<EdgeFlow>,
    /// Poisson [C/cm], electron and hole continuity [A/cm], node by node.
    pub residual: Vec<f64>,
    pub matrix: BlockMatrix,
    /// Current into the device at each contact [A/cm]; gates carry none.
    pub currents: Vec<f64>,
    /// Sum of |electron| + |hole| continuity residuals over free nodes [A/cm].
    pub unbalanced: f64,
}

/// One node's three equations with derivatives by its own and its neighbours' unknowns.
struct Row {
    value: [f64; 3],
    /// [slot][equation·3 + unknown], slot 0 = itself.
    by: [[f64; 9]; 5],
}

impl Assembly {
    /// Workspace for a device.
    pub fn new(device: &Device) -> Assembly {
        Assembly {
            edges: vec![EdgeFlow::default(); device.edges.len()],
            residual: vec![0.0; 3 * device.nodes()],
            matrix: BlockMatrix::new(device.pattern.clone()),
            currents: vec![0.0; device.contacts.len()],
            unbalanced: 0.0,
        }
    }

    /// Evaluate at `state`; the Jacobian too if `jacobian`.
    pub fn evaluate(&mut self, device: &Device, state: &State, jacobian: bool) {
        self.flows(device, state);
        let edges = &self.edges;
        let pattern = &device.pattern;
        // Rows of `values` per node differ in length: cut the array along node chunks.
        let chunk = 64;
        let mut pieces = Vec::with_capacity(device.nodes() / chunk + 1);
        let mut rest = self.matrix.values.as_mut_slice();
        let mut rest_residual = self.residual.as_mut_slice();
        for first in (0..device.nodes()).step_by(chunk) {
            let last = (first + chunk).min(device.nodes());
            let (values, tail) =
                rest.split_at_mut(9 * (pattern.start[last] - pattern.start[first]));
            let (residual, tail_residual) = rest_residual.split_at_mut(3 * (last - first));
            pieces.push((first, last, values, residual));
            rest = tail;
            rest_residual = tail_residual;
        }
        pieces.into_par_iter().for_each(|(first, last, values, residual)| {
            let base = pattern.start[first];
            for i in first..last {
                let r = &mut residual[3 * (i - first)..3 * (i - first) + 3];
                let own = 9 * (pattern.start[i] - base)..9 * (pattern.start[i + 1] - base);
                if device.ties[i] != Tie::Free {
                    r.fill(0.0);
                    if jacobian {
                        values[own].fill(0.0);
                        unit_diagonal(device, i, base, values);
                    }
                    continue;
                }
                let row = node_row(device, state, edges, i, jacobian);
                r.copy_from_slice(&row.value);
                if jacobian {
                    values[own].fill(0.0);
                    for (slot, by) in row.by.iter().enumerate() {
                        let k = device.slots[i][slot];
                        if k != NONE {
                            let at = 9 * (k as usize - base);
                            values[at..at + 9].copy_from_slice(by);
                        }
                    }
                }
            }
        });
        self.unbalanced = 0.0;
        for i in 0..device.nodes() {
            self.unbalanced += self.residual[3 * i + 1].abs() + self.residual[3 * i + 2].abs();
        }
        self.terminal_currents(device, state);
    }

    fn flows(&mut self, device: &Device, state: &State) {
        let vt = device.silicon.vt;
        let (saturation, t) = (&device.silicon.saturation, device.silicon.temperature);
        self.edges.par_chunks_mut(256).enumerate().for_each(|(c, out)| {
            for (flow, edge) in out.iter_mut().zip(&device.edges[256 * c..]) {
                let (a, b) = (edge.a as usize, edge.b as usize);
                let drop = state.psi.difference(b, a);
                *flow = EdgeFlow { drop, field: -drop / edge.h, ..EdgeFlow::default() };
                if edge.face > 0.0 {
                    let electrons = Ends {
                        drop,
                        drift: drop / vt + edge.d_ln_nie,
                        quasi_fermi: state.phi_n.difference(b, a) / vt,
                        at_a: state.n[a],
                        at_b: state.n[b],
                    };
                    let holes = Ends {
                        drop,
                        drift: drop / vt - edge.d_ln_nie,
                        quasi_fermi: state.phi_p.difference(b, a) / vt,
                        at_a: state.p[a],
                        at_b: state.p[b],
                    };
                    flow.n = flux(Carrier::Electron, saturation, electrons, edge.mu_n, edge.h, t);
                    flow.p = flux(Carrier::Hole, saturation, holes, edge.mu_p, edge.h, t);
                }
            }
        });
    }

    fn terminal_currents(&mut self, device: &Device, state: &State) {
        for (k, contact) in device.contacts.iter().enumerate() {
            self.currents[k] = if contact.is_gate {
                0.0
            } else {
                let of = |&node: &u32| {
                    let row = node_row(device, state, &self.edges, node as usize, false);
                    row.value[1] + row.value[2]
                };
                contact.nodes.iter().map(of).sum()
            };
        }
    }
}

fn unit_diagonal(device: &Device, i: usize, base: usize, values: &mut [f64]) {
    let at = 9 * (device.slots[i][0] as usize - base);
    for u in 0..3 {
        values[at + 4 * u] = 1.0;
    }
}

/// The three equations of node `i`, as if it were free.
fn node_row(device: &Device, state: &State, edges: &[EdgeFlow], i: usize, jacobian: bool) -> Row {
    let vt = device.silicon.vt;
    let scale = [vt, DENSITY_SCALE, DENSITY_SCALE];
    let mut row = Row { value: [0.0; 3], by: [[0.0; 9]; 5] };
    for d in 0..DIRECTIONS {
        let e = device.node_edges[i][d];
        if e == NONE {
            continue;
        }
        let (edge, flow) = (&device.edges[e as usize], &edges[e as usize]);
        // Outflow: + along the edge if i is its first node.
        let s = if edge.a as usize == i { 1.0 } else { -1.0 };
        row.value[0] += s * edge.permittance * flow.drop;
        row.value[1] += s * flow.n.current * edge.face;
        row.value[2] += s * flow.p.current * edge.face;
        if jacobian {
            row.by[0][0] -= edge.permittance * vt;
            row.by[d + 1][0] += edge.permittance * vt;
            for (equation, f) in [(1, &flow.n), (2, &flow.p)] {
                let at = 3 * equation;
                let by_other_potential = f.by_potential * edge.face * vt;
                row.by[d + 1][at] += by_other_potential;
                row.by[0][at] -= by_other_potential;
                let (own, other) = if s > 0.0 { (f.by_a, f.by_b) } else { (-f.by_b, -f.by_a) };
                row.by[0][at + equation] += own * edge.face * DENSITY_SCALE;
                row.by[d + 1][at + equation] += other * edge.face * DENSITY_SCALE;
            }
        }
    }
    if !device.has_silicon(i) {
        // Oxide: no carriers; their equations are trivial.
        row.by[0][4] = 1.0;
        row.by[0][8] = 1.0;
        return row;
    }
    let (n, p, area) = (state.n[i], state.p[i], device.area[i]);
    row.value[0] += Q * area * (p - n + device.net[i]);
    let excess = state.split(device, i).exp_m1();
    let r = device.silicon.recombination.rate(&device.recombination_point(i, n, p, excess));
    row.value[1] -= Q * area * r.rate;
    row.value[2] += Q * area * r.rate;
    if jacobian {
        row.by[0][1] -= Q * area * DENSITY_SCALE;
        row.by[0][2] += Q * area * DENSITY_SCALE;
        let (by_n, by_p) = (Q * area * r.by_n * DENSITY_SCALE, Q * area * r.by_p * DENSITY_SCALE);
        row.by[0][4] -= by_n;
        row.by[0][5] -= by_p;
        row.by[0][7] += by_n;
        row.by[0][8] += by_p;
    }
    if !device.silicon.avalanche.is_off() {
        for q in &device.quarters[i] {
            if q.area > 0.0 {
                add_avalanche(device, edges, i, q, &scale, jacobian, &mut row);
            }
        }
    }
    row
}

/// Generation in one quarter of a node's box, with its derivatives by the unknowns at
/// the two edges' ends.
fn add_avalanche(
    device: &Device,
    edges: &[EdgeFlow],
    i: usize,
    quarter: &super::device::Quarter,
    scale: &[f64; 3],
    jacobian: bool,
    row: &mut Row,
) {
    let directions = [quarter.x_direction as usize, quarter.y_direction as usize];
    let ids = directions.map(|d| device.node_edges[i][d] as usize);
    let flows = [&edges[ids[0]], &edges[ids[1]]];
    for (carrier, unknown) in [(Carrier::Electron, 1), (Carrier::Hole, 2)] {
        let pick = |k: usize| if unknown == 1 { &flows[k].n } else { &flows[k].p };
        let cell = Cell {
            current: [pick(0).current, pick(1).current],
            field: [flows[0].field, flows[1].field],
        };
        let Some(g): Option<Generation> = generation(&device.silicon, carrier, cell) else {
            continue;
        };
        row.value[1] += quarter.area * g.rate;
        row.value[2] -= quarter.area * g.rate;
        if !jacobian {
            continue;
        }
        for k in 0..2 {
            let edge = &device.edges[ids[k]];
            let f = pick(k);
            // E = −(ψ_b − ψ_a)/h.
            let by_drop = g.by_current[k] * f.by_potential - g.by_field[k] / edge.h;
            let first = edge.a as usize == i;
            let slot = directions[k] + 1;
            let mut add = |slot: usize, u: usize, v: f64| {
                let v = quarter.area * v * scale[u];
                row.by[slot][3 + u] += v;
                row.by[slot][6 + u] -= v;
            };
            let (slot_a, slot_b) = if first { (0, slot) } else { (slot, 0) };
            add(slot_b, 0, by_drop);
            add(slot_a, 0, -by_drop);
            add(slot_a, unknown, g.by_current[k] * f.by_a);
            add(slot_b, unknown, g.by_current[k] * f.by_b);
        }
    }
}
