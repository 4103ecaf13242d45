//! The equations of one node with derivatives by its own and its neighbours' unknowns.
//! `N` is 3 (Poisson, electrons, holes) or 4 (heat too).

use crate::silicon::{Carrier, Q};

use super::assemble::EdgeFlow;
use super::avalanche::{Cell, Generation, generation};
use super::contact::ionized;
use super::device::{DIRECTIONS, Device, NONE, Quarter, Tie};
use super::heat::add_heat;
use super::state::State;

/// Scales of the linear system's columns: its unknowns are δψ/V_T, δn/N, δp/N, δT/10 K.
pub const DENSITY_SCALE: f64 = 1e17;
/// \[K\]: it changes ln n_ie by about as much as V_T changes ln n.
pub const SCALE_T: f64 = 10.0;

impl Device {
    /// Units of a node's unknowns in the linear system.
    pub fn scale(&self) -> [f64; 4] {
        [self.silicon.vt, DENSITY_SCALE, DENSITY_SCALE, SCALE_T]
    }
}

/// One node's equations; slot 0 is itself, then the neighbours by direction.
pub struct Row<const N: usize> {
    /// Poisson [C/cm], electron and hole continuity [A/cm], heat [W/cm].
    pub value: [f64; N],
    /// \[slot\]\[equation\]\[unknown\], per scaled unknown.
    pub by: [[[f64; N]; N]; 5],
}

/// Net recombination in a node's box, avalanche counted negative [A/cm].
pub struct Source<const N: usize> {
    pub value: f64,
    /// \[slot\]\[unknown\], per scaled unknown.
    pub by: [[f64; N]; 5],
}

/// The equations of node `i`, as if it were free.
pub fn node_row<const N: usize>(
    device: &Device,
    state: &State,
    edges: &[EdgeFlow],
    i: usize,
    jacobian: bool,
) -> Row<N> {
    let scale = device.scale();
    let mut row = Row { value: [0.0; N], by: [[[0.0; N]; N]; 5] };
    for d in 0..DIRECTIONS {
        let e = device.node_edges[i][d];
        if e == NONE {
            continue;
        }
        let (edge, flow) = (&device.edges[e as usize], &edges[e as usize]);
        // Outflow: + along the edge if i is its first node.
        let (s, own) = if edge.a as usize == i { (1.0, 0) } else { (-1.0, 1) };
        row.value[0] += s * edge.permittance * flow.drop;
        row.value[1] += s * flow.n.current * edge.face;
        row.value[2] += s * flow.p.current * edge.face;
        if jacobian {
            row.by[0][0][0] -= edge.permittance * scale[0];
            row.by[d + 1][0][0] += edge.permittance * scale[0];
            for (equation, f) in [(1, &flow.n), (2, &flow.p)] {
                for (u, unit) in scale.iter().enumerate().take(N) {
                    row.by[0][equation][u] += s * f.by[own][u] * edge.face * unit;
                    row.by[d + 1][equation][u] += s * f.by[1 - own][u] * edge.face * unit;
                }
            }
        }
    }
    let mut source = Source { value: 0.0, by: [[0.0; N]; 5] };
    if device.has_silicon(i) {
        add_charge(device, state, i, jacobian, &mut row);
        source = net_recombination(device, state, edges, i, jacobian);
        row.value[1] -= source.value;
        row.value[2] += source.value;
        if jacobian {
            for (to, from) in row.by.iter_mut().zip(&source.by) {
                for u in 0..N {
                    to[1][u] -= from[u];
                    to[2][u] += from[u];
                }
            }
        }
    } else {
        // Oxide: no carriers; their equations are trivial.
        row.by[0][1][1] = 1.0;
        row.by[0][2][2] = 1.0;
    }
    if N == 4 {
        add_heat(device, state, edges, i, &source, jacobian, &mut row);
    }
    row
}

/// The equations of a node that a terminal ties: its unknowns follow the terminal's
/// voltage and, at an ohmic one, the lattice temperature, which stays free.
pub fn tied_row<const N: usize>(
    device: &Device,
    state: &State,
    edges: &[EdgeFlow],
    i: usize,
    jacobian: bool,
) -> Row<N> {
    let mut row = Row { value: [0.0; N], by: [[[0.0; N]; N]; 5] };
    for u in 0..3 {
        row.by[0][u][u] = 1.0;
    }
    if N == 4 {
        let source = Source { value: 0.0, by: [[0.0; N]; 5] };
        add_heat(device, state, edges, i, &source, jacobian, &mut row);
        if jacobian && matches!(device.ties[i], Tie::Ohmic(_)) {
            let at = device.neutral(i, state.local(device, i));
            let scale = device.scale();
            let by = [at.offset_by_t, at.densities_by_t[0], at.densities_by_t[1]];
            for u in 0..3 {
                row.by[0][u][3] = -by[u] * SCALE_T / scale[u];
            }
        }
    }
    row
}

/// Space charge of carriers and ionized dopants, and the fixed charge of interfaces.
fn add_charge<const N: usize>(
    device: &Device,
    state: &State,
    i: usize,
    jacobian: bool,
    row: &mut Row<N>,
) {
    let (n, p, area) = (state.n[i], state.p[i], device.area[i]);
    row.value[0] += device.fixed_charge[i];
    if !device.silicon.incomplete() {
        row.value[0] += Q * area * (p - n + device.net[i]);
        if jacobian {
            row.by[0][0][1] -= Q * area * DENSITY_SCALE;
            row.by[0][0][2] += Q * area * DENSITY_SCALE;
        }
        return;
    }
    let t = state.local(device, i).temperature;
    let [donors, acceptors] = device.dopants[i];
    let ions = ionized(&device.silicon, donors, acceptors, [n, p], t);
    row.value[0] += Q * area * ((p - ions.acceptors) - (n - ions.donors));
    if jacobian {
        row.by[0][0][1] -= Q * area * (1.0 - ions.by_density[0]) * DENSITY_SCALE;
        row.by[0][0][2] += Q * area * (1.0 - ions.by_density[1]) * DENSITY_SCALE;
        if N == 4 {
            let by_t = ions.by_temperature[0] - ions.by_temperature[1];
            row.by[0][0][3] += Q * area * by_t * SCALE_T;
        }
    }
}

/// Recombination in the volume and at oxide interfaces, minus avalanche.
fn net_recombination<const N: usize>(
    device: &Device,
    state: &State,
    edges: &[EdgeFlow],
    i: usize,
    jacobian: bool,
) -> Source<N> {
    let mut source = Source { value: 0.0, by: [[0.0; N]; 5] };
    let silicon = &device.silicon;
    let scale = device.scale();
    let (at, ln_by) = state.recombination_point(device, i);
    let volume = silicon.recombination.rate(&at);
    let face = device.interface[i];
    let surface = (face > 0.0 && !silicon.surface.is_off()).then(|| silicon.surface.rate(&at));
    for (size, r) in [(device.area[i], Some(volume)), (face, surface)] {
        let Some(r) = r else { continue };
        source.value += Q * size * r.rate;
        if jacobian {
            let by_nie = r.by_nie * at.nie.value;
            let by =
                [0.0, r.by_n + by_nie * ln_by[0], r.by_p + by_nie * ln_by[1], r.by_temperature];
            for u in 1..N {
                source.by[0][u] += Q * size * by[u] * scale[u];
            }
        }
    }
    if !silicon.avalanche.is_off() {
        for q in &device.quarters[i] {
            if q.area > 0.0 {
                add_avalanche(device, state, edges, i, q, jacobian, &mut source);
            }
        }
    }
    source
}

/// Generation in one quarter of a node's box, with its derivatives by the unknowns at
/// the two edges' ends.
fn add_avalanche<const N: usize>(
    device: &Device,
    state: &State,
    edges: &[EdgeFlow],
    i: usize,
    quarter: &Quarter,
    jacobian: bool,
    source: &mut Source<N>,
) {
    let scale = device.scale();
    let directions = [quarter.x_direction as usize, quarter.y_direction as usize];
    let ids = directions.map(|d| device.node_edges[i][d] as usize);
    let flows = [&edges[ids[0]], &edges[ids[1]]];
    let temperature = state.local(device, i).temperature;
    for (c, carrier) in [Carrier::Electron, Carrier::Hole].into_iter().enumerate() {
        let of = |flow: &EdgeFlow| if carrier == Carrier::Electron { flow.n } else { flow.p };
        let pair = flows.map(of);
        let ionizing = flows.map(|f| f.ionizing[c]);
        let cell = Cell { current: ionizing, field: [flows[0].field, flows[1].field] };
        let Some(g): Option<Generation> = generation(&device.silicon, carrier, cell, temperature)
        else {
            continue;
        };
        let ahead = |k: usize| g.by_current[k] * (pair[k].current - ionizing[k]);
        source.value -= quarter.area * (g.rate + ahead(0) + ahead(1));
        if !jacobian {
            continue;
        }
        if N == 4 {
            source.by[0][3] -= quarter.area * g.by_temperature * SCALE_T;
        }
        for k in 0..2 {
            let edge = &device.edges[ids[k]];
            let slot = directions[k] + 1;
            let slots = if edge.a as usize == i { [0, slot] } else { [slot, 0] };
            // E = −(ψ_b − ψ_a)/h.
            let by_psi = [g.by_field[k] / edge.h, -g.by_field[k] / edge.h];
            for end in 0..2 {
                for (u, unit) in scale.iter().enumerate().take(N) {
                    let mut v = g.by_current[k] * pair[k].by[end][u];
                    if u == 0 {
                        v += by_psi[end];
                    }
                    source.by[slots[end]][u] -= quarter.area * v * unit;
                }
            }
        }
    }
}
