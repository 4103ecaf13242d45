//! Heat: conduction through silicon and oxide, Joule and recombination heat, and the ways
//! out to the ambient.

use crate::case::HeatPaths;
use crate::mesh::{Material, Mesh};

use super::assemble::EdgeFlow;
use super::device::{DIRECTIONS, Device, Edge, NONE, Tie};
use super::flow::VT_BY_T;
use super::row::{Row, SCALE_T, Source};
use super::state::State;

/// Ways out of the cut.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatLoss {
    /// From each node to the ambient [W/(K·cm)].
    pub to_ambient: Vec<f64>,
}

const CM: f64 = 1e-4;

impl HeatLoss {
    /// The outer faces of the mesh through the resistances of the case. A face of an ohmic
    /// terminal's node takes `terminals` if that is given, else what its side takes.
    pub fn new(mesh: &Mesh, ties: &[Tie], paths: &HeatPaths) -> HeatLoss {
        let (nx, ny) = (mesh.nx(), mesh.ny());
        let mut to_ambient = vec![0.0; mesh.nodes()];
        let solid = |i: isize, j: isize| {
            i >= 0
                && j >= 0
                && (i as usize) + 1 < nx
                && (j as usize) + 1 < ny
                && mesh.cell(i as usize, j as usize) != Material::Void
        };
        let mut open = |i: usize, j: usize, half: f64, side: Option<f64>| {
            let Some(node) = mesh.node(i, j) else { return };
            let resistance = match (ties[node], paths.terminals) {
                (Tie::Ohmic(_), Some(r)) => Some(r),
                _ => side,
            };
            if let Some(r) = resistance {
                to_ambient[node] += half * CM / r;
            }
        };
        for j in 0..ny - 1 {
            for i in 0..nx - 1 {
                let (si, sj) = (i as isize, j as isize);
                if !solid(si, sj) {
                    continue;
                }
                let (wide, high) =
                    (0.5 * (mesh.x[i + 1] - mesh.x[i]), 0.5 * (mesh.y[j + 1] - mesh.y[j]));
                let faces = [
                    (solid(si, sj - 1), [(i, j), (i + 1, j)], wide, paths.surface),
                    (solid(si, sj + 1), [(i, j + 1), (i + 1, j + 1)], wide, paths.back),
                    (solid(si - 1, sj), [(i, j), (i, j + 1)], high, None),
                    (solid(si + 1, sj), [(i + 1, j), (i + 1, j + 1)], high, None),
                ];
                for (inner, ends, half, side) in faces {
                    if !inner {
                        for (a, b) in ends {
                            open(a, b, half, side);
                        }
                    }
                }
            }
        }
        HeatLoss { to_ambient }
    }
}

/// Thermal conductance of an edge [W/(K·cm)] and its derivative by T at the edge.
fn conductance(device: &Device, edge: &Edge, temperature: f64) -> [f64; 2] {
    let law = &device.silicon.heat;
    let silicon = law.conductivity(temperature);
    let (face, oxide) = (edge.face / edge.h, edge.oxide / edge.h);
    [silicon.value * face + law.oxide_conductivity * oxide, silicon.derivative * face]
}

/// dφ_n and dφ_p at node `i` by its own (ψ, n, p, T).
///
/// At a contact both are its voltage, ψ less the neutral offset at T. Written by the
/// densities they would be the same, but beside a minority that a contact holds at its
/// equilibrium, 1e-20 of its neighbour's in a forward bias at 233 K, J V_T/n swamps all
/// else in the row.
fn level_derivatives(device: &Device, state: &State, i: usize) -> [[f64; 4]; 2] {
    let local = state.local(device, i);
    if matches!(device.ties[i], Tie::Ohmic(_)) {
        return [[1.0, 0.0, 0.0, -device.neutral(i, local).offset_by_t]; 2];
    }
    let zeta = state.zeta(device, i);
    let of = |c: usize, density: f64, sign: f64| {
        let slope = state.filling(i, c).slope;
        let mut d = [1.0, 0.0, 0.0, 0.0];
        // φ = ψ − V_T ζ_n, ψ + V_T ζ_p.
        d[1 + c] = sign * local.vt * slope / density;
        d[3] = sign * (VT_BY_T * zeta[c] + local.vt * local.zeta_by_t(c, slope));
        d
    };
    [of(0, state.n[i], -1.0), of(1, state.p[i], 1.0)]
}

/// The heat equation of node `i` [W/cm], what flows in counting positive; `source` is the
/// node's net recombination.
pub fn add_heat<const N: usize>(
    device: &Device,
    state: &State,
    edges: &[EdgeFlow],
    i: usize,
    source: &Source<N>,
    jacobian: bool,
    row: &mut Row<N>,
) {
    let Some(loss) = &device.heat else { return };
    let t = &state.temperature;
    let leak = loss.to_ambient[i];
    row.value[3] -= leak * ((t.hi[i] - device.silicon.temperature) + t.lo[i]);
    row.by[0][3][3] -= leak * SCALE_T;
    let scale = device.scale();
    for d in 0..DIRECTIONS {
        let e = device.node_edges[i][d];
        if e == NONE {
            continue;
        }
        let (edge, flow) = (&device.edges[e as usize], &edges[e as usize]);
        let (a, b) = (edge.a as usize, edge.b as usize);
        let other = if a == i { b } else { a };
        let [g, by_t] = conductance(device, edge, 0.5 * (t.hi[a] + t.hi[b]));
        let fall = t.difference(other, i);
        row.value[3] += g * fall;
        if jacobian {
            let bend = 0.5 * by_t * fall;
            row.by[0][3][3] += (bend - g) * SCALE_T;
            row.by[d + 1][3][3] += (bend + g) * SCALE_T;
        }
        if edge.face == 0.0 {
            continue;
        }
        // Half of −J·Δφ to each end.
        let half = 0.5 * edge.face;
        let levels = [state.phi_n.difference(b, a), state.phi_p.difference(b, a)];
        let flows = [&flow.n, &flow.p];
        row.value[3] -= half * (flows[0].current * levels[0] + flows[1].current * levels[1]);
        if !jacobian {
            continue;
        }
        for (end, node, sign) in [(0, a, -1.0), (1, b, 1.0)] {
            let slot = if node == i { 0 } else { d + 1 };
            let by_level = level_derivatives(device, state, node);
            for c in 0..2 {
                for u in 0..N {
                    let v =
                        flows[c].by[end][u] * levels[c] + flows[c].current * sign * by_level[c][u];
                    row.by[slot][3][u] -= half * v * scale[u];
                }
            }
        }
    }
    if !device.has_silicon(i) || device.ties[i] != Tie::Free {
        return;
    }
    // Net recombination gives up q(φ_p − φ_n) a pair.
    let split = state.phi_p.difference_to(&state.phi_n, i);
    row.value[3] += source.value * split;
    if jacobian {
        for (to, from) in row.by.iter_mut().zip(&source.by) {
            for u in 0..N {
                to[3][u] += from[u] * split;
            }
        }
        let [n, p] = level_derivatives(device, state, i);
        for u in 0..N {
            row.by[0][3][u] += source.value * (p[u] - n[u]) * scale[u];
        }
    }
}
