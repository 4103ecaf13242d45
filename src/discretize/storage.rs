//! What the boxes store: charge of each carrier, heat, and the displacement at the faces.
//! Storage adds to the rows of the stationary equations; increments in time are taken from
//! both words of the potentials, so that a femtocoulomb in 1e20 cm⁻³ keeps its digits.

use crate::silicon::Q;

use super::assemble::Assembly;
use super::contact::ionized;
use super::device::{DIRECTIONS, Device, NONE, Tie};
use super::row::SCALE_T;
use super::state::State;

/// By node: of ψ \[V\], of stored electrons and holes [cm⁻³], of T \[K\] (empty without heat);
/// by contact: of its voltage inside any series resistance \[V\]. As a difference of two
/// states, or per second.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Change {
    pub psi: Vec<f64>,
    pub n: Vec<f64>,
    pub p: Vec<f64>,
    pub temperature: Vec<f64>,
    pub volts: Vec<f64>,
}

impl Change {
    /// Nothing changes.
    pub fn none(device: &Device) -> Change {
        let zeros = vec![0.0; device.nodes()];
        Change {
            psi: zeros.clone(),
            n: zeros.clone(),
            p: zeros.clone(),
            temperature: if device.has_heat() { zeros } else { Vec::new() },
            volts: vec![0.0; device.contacts.len()],
        }
    }

    /// From one state to another. Electrons on ionized donors count as stored with the
    /// free ones, holes on acceptors too: trapping is fast against every transient here.
    pub fn between(device: &Device, from: &State, to: &State) -> Change {
        let mut out = Change::none(device);
        let plain = !device.has_heat() && !device.silicon.degenerate();
        let vt = device.silicon.vt;
        for i in 0..device.nodes() {
            let psi = words_apart(&to.psi, &from.psi, i);
            out.psi[i] = psi;
            if let Some(t) = out.temperature.get_mut(i) {
                *t = words_apart(&to.temperature, &from.temperature, i);
            }
            if !device.has_silicon(i) || device.ties[i] != Tie::Free {
                continue;
            }
            out.n[i] = to.n[i] - from.n[i];
            out.p[i] = to.p[i] - from.p[i];
            if plain {
                let up = (psi - words_apart(&to.phi_n, &from.phi_n, i)) / vt;
                let down = (words_apart(&to.phi_p, &from.phi_p, i) - psi) / vt;
                if up.abs() < 0.5 {
                    out.n[i] = from.n[i] * up.exp_m1();
                }
                if down.abs() < 0.5 {
                    out.p[i] = from.p[i] * down.exp_m1();
                }
            }
            if device.silicon.incomplete() {
                let (a, b) = (ions(device, from, i), ions(device, to, i));
                out.n[i] -= b[0] - a[0];
                out.p[i] -= b[1] - a[1];
            }
        }
        for (k, v) in out.volts.iter_mut().enumerate() {
            *v = words_apart(&to.volts, &from.volts, k);
        }
        out
    }

    /// Every number through `f` with the same number of `other`.
    pub fn with(&self, other: &Change, f: impl Fn(f64, f64) -> f64) -> Change {
        let each = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| f(*a, *b)).collect();
        Change {
            psi: each(&self.psi, &other.psi),
            n: each(&self.n, &other.n),
            p: each(&self.p, &other.p),
            temperature: each(&self.temperature, &other.temperature),
            volts: each(&self.volts, &other.volts),
        }
    }
}

fn words_apart(to: &super::words::Words, from: &super::words::Words, i: usize) -> f64 {
    (to.hi[i] - from.hi[i]) + (to.lo[i] - from.lo[i])
}

fn ions(device: &Device, state: &State, i: usize) -> [f64; 2] {
    let t = state.local(device, i).temperature;
    let [donors, acceptors] = device.dopants[i];
    let at = ionized(&device.silicon, donors, acceptors, [state.n[i], state.p[i]], t);
    [at.donors, at.acceptors]
}

/// One implicit stage in time: rate = `alpha`·(change since `from`) + `history`.
pub struct Stage<'a> {
    pub from: &'a State,
    /// [1/s]
    pub alpha: f64,
    /// Per second.
    pub history: &'a Change,
    /// Pairs made from outside, by node [cm⁻³ s⁻¹]; empty if none.
    pub generation: &'a [f64],
}

/// What storage and displacement make of one stage.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Flowing {
    /// Per second.
    pub rate: Change,
    /// Displacement current into the device by contact [A/cm], gates too.
    pub displacement: Vec<f64>,
    /// Electron and hole current through each contact [A/cm], positive into the device.
    pub carriers: Vec<[f64; 2]>,
    /// Net recombination in all free boxes, avalanche and outside generation counted
    /// negative [A/cm].
    pub recombined: f64,
}

impl Stage<'_> {
    /// Add storage and outside generation to what `assembly` has evaluated at `state`.
    /// Poisson's equation is taken as the change since `from`, where it holds: the charges
    /// in it are then those that are stored, to the last digit.
    pub fn add(
        &self,
        device: &Device,
        state: &State,
        assembly: &mut Assembly,
        jacobian: bool,
    ) -> Flowing {
        let moved = Change::between(device, self.from, state);
        let rate = moved.with(self.history, |d, h| self.alpha * d + h);
        let block = device.block();
        let scale = device.scale();
        let mut recombined = 0.0;
        for i in 0..device.nodes() {
            let row = &mut assembly.residual[block * i..block * (i + 1)];
            let slot = device.slots[i][0];
            let at = block * block * slot as usize;
            let values = &mut assembly.matrix.values;
            if device.ties[i] == Tie::Free {
                let charge = Q * device.area[i] * (moved.p[i] - moved.n[i]);
                row[0] = charge - displaced(device, &moved.psi, i);
            }
            if device.has_silicon(i) && device.ties[i] == Tie::Free {
                recombined += outflow(device, assembly.edges.as_slice(), i)[0] - row[1];
                let area = Q * device.area[i];
                row[1] -= area * rate.n[i];
                row[2] += area * rate.p[i];
                if let Some(g) = self.generation.get(i) {
                    row[1] += area * g;
                    row[2] -= area * g;
                    recombined -= area * g;
                }
                if jacobian {
                    let by = stored_slope(device, state, i);
                    values[at + block + 1] -= area * self.alpha * by[0] * scale[1];
                    values[at + 2 * block + 2] += area * self.alpha * by[1] * scale[2];
                    if block == 4 {
                        values[at + block + 3] -= area * self.alpha * by[2] * SCALE_T;
                        values[at + 2 * block + 3] += area * self.alpha * by[3] * SCALE_T;
                    }
                }
            }
            if let Some(t) = rate.temperature.get(i) {
                let capacity = heat_capacity(device, i);
                row[3] -= capacity * t;
                if jacobian {
                    values[at + 3 * block + 3] -= capacity * self.alpha * SCALE_T;
                }
            }
        }
        let displacement = displacement(device, &rate);
        let carriers = device
            .contacts
            .iter()
            .map(|contact| {
                let mut sum = [0.0; 2];
                for &node in contact.nodes.iter().filter(|_| !contact.is_gate) {
                    let [n, p] = outflow(device, &assembly.edges, node as usize);
                    sum[0] += n;
                    sum[1] += p;
                }
                sum
            })
            .collect();
        Flowing { rate, displacement, carriers, recombined }
    }
}

/// Electron and hole current out of node `i`'s box along its edges [A/cm].
fn outflow(device: &Device, flows: &[super::flow::EdgeFlow], i: usize) -> [f64; 2] {
    let mut out = [0.0; 2];
    for d in 0..DIRECTIONS {
        let e = device.node_edges[i][d];
        if e == NONE {
            continue;
        }
        let (edge, flow) = (&device.edges[e as usize], &flows[e as usize]);
        let s = if edge.a as usize == i { edge.face } else { -edge.face };
        out[0] += s * flow.n.current;
        out[1] += s * flow.p.current;
    }
    out
}

/// Displacement out of node `i`'s box for changes of ψ [C/cm], or per second.
fn displaced(device: &Device, psi: &[f64], i: usize) -> f64 {
    let mut sum = 0.0;
    for d in 0..DIRECTIONS {
        let e = device.node_edges[i][d];
        if let (true, Some(other)) = (e != NONE, device.neighbour(i, d)) {
            sum -= device.edges[e as usize].permittance * (psi[other] - psi[i]);
        }
    }
    sum
}

/// Displacement current out of each contact's nodes [A/cm].
fn displacement(device: &Device, rate: &Change) -> Vec<f64> {
    let of = |&node: &u32| displaced(device, &rate.psi, node as usize);
    device.contacts.iter().map(|c| c.nodes.iter().map(of).sum()).collect()
}

/// d(stored electrons)/dn, d(stored holes)/dp, and both by T.
fn stored_slope(device: &Device, state: &State, i: usize) -> [f64; 4] {
    if !device.silicon.incomplete() {
        return [1.0, 1.0, 0.0, 0.0];
    }
    let t = state.local(device, i).temperature;
    let [donors, acceptors] = device.dopants[i];
    let at = ionized(&device.silicon, donors, acceptors, [state.n[i], state.p[i]], t);
    [1.0 - at.by_density[0], 1.0 - at.by_density[1], -at.by_temperature[0], -at.by_temperature[1]]
}

/// Of node `i`'s box, silicon and oxide [J/(K·cm)].
fn heat_capacity(device: &Device, i: usize) -> f64 {
    let law = &device.silicon.heat;
    let mut oxide = 0.0;
    for &e in &device.node_edges[i][..2] {
        if let Some(edge) = device.edges.get(e as usize) {
            oxide += 0.5 * edge.h * edge.oxide;
        }
    }
    law.silicon_capacity * device.area[i] + law.oxide_capacity * oxide
}
