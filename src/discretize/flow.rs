//! Both carriers' flows along an edge of the device, with derivatives by the unknowns at
//! its ends.

use crate::silicon::{Carrier, K_B, MobilityPoint, Q, thermal_voltage};

use super::device::{Device, Edge, Tie};
use super::flux::{Ends, flux};
use super::local::Filling;
use super::state::State;

/// dV_T/dT [V/K].
pub const VT_BY_T: f64 = K_B / Q;

/// Unknowns of a node: potential, electrons, holes, lattice temperature.
pub const UNKNOWNS: usize = 4;

/// One carrier's current density along an edge, positive from a to b.
#[derive(Debug, Clone, Copy, Default)]
pub struct CarrierFlow {
    /// [A/cm²]
    pub current: f64,
    /// By ψ \[V\], n, p [cm⁻³], T \[K\] at a and at b, the others held.
    pub by: [[f64; UNKNOWNS]; 2],
    /// What the densities at a and at b count for at fixed mobility and enhancement
    /// [A·cm], both positive: J = ±(rate\[1\]·c_b − rate\[0\]·c_a).
    pub rate: [f64; 2],
}

/// Both carriers' flows on an edge, and the field along it [V/cm].
#[derive(Debug, Clone, Copy, Default)]
pub struct EdgeFlow {
    pub n: CarrierFlow,
    pub p: CarrierFlow,
    pub field: f64,
    /// ψ_b − ψ_a \[V\].
    pub drop: f64,
    /// Electron and hole current density that ionizes [A/cm²]: see [`Ionizing`].
    pub ionizing: [f64; 2],
}

/// Which edge currents ionize. Generation has a kink where a current vanishes, and the
/// current of a majority that spills into a high field is a hair's difference of drift and
/// diffusion: after a Newton step of relative size u the fluxes of the new state are off by
/// u² of either. The currents that the linear step predicted obey continuity instead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ionizing {
    /// The fluxes of the state.
    Fluxes,
    /// Those of [`EdgeFlow::carry`]; generation is linear in the fluxes about them. The same
    /// equations at a solution: flux law and continuity as a mixed system, the currents
    /// eliminated.
    Carried,
    /// The same between solves with one factored Jacobian: derivatives of the flows stay
    /// those of that Jacobian. Along newer ones a step would carry currents that it does
    /// not conserve, and a majority's derivatives times a hair are more than a leakage.
    CarriedByChord,
}

/// Low-field mobility on an edge [cm²/(V·s)].
struct LowField {
    value: f64,
    /// By n and p at a and at b.
    by_density: [[f64; 2]; 2],
    by_temperature: f64,
}

/// Mean diffusion enhancement between two fillings a and b.
struct Enhancement {
    value: f64,
    /// By ln n at a and at b.
    by_ln: [f64; 2],
}

/// What bends the drift beyond potential and n_ie where temperature or degeneracy vary.
#[derive(Default)]
struct Bend {
    /// Added to Δ ln n_ie.
    value: f64,
    /// By this carrier's density and by T, at a and at b; `by_temperature` holds what
    /// n_ie and V_T do too, `by_own` what the enhancement does not.
    by_own: [f64; 2],
    by_temperature: [f64; 2],
    by_enhancement: f64,
}

impl EdgeFlow {
    /// Flows along `edge` at `state`.
    pub fn new(device: &Device, state: &State, edge: &Edge) -> EdgeFlow {
        let drop = state.psi.difference(edge.b as usize, edge.a as usize);
        let mut flow = EdgeFlow { drop, field: -drop / edge.h, ..EdgeFlow::default() };
        if edge.face > 0.0 {
            flow.n = carrier_flow(device, state, edge, drop, Carrier::Electron);
            flow.p = carrier_flow(device, state, edge, drop, Carrier::Hole);
            flow.ionizing = [flow.n.current, flow.p.current];
            if device.has_heat() {
                for (end, node) in [edge.a, edge.b].into_iter().enumerate() {
                    flow.hold_contact(device, state, end, node as usize);
                }
            }
        }
        flow
    }

    /// A contact's densities follow its temperature alone: say so in the derivatives.
    /// Through ln n they hold J over a minority that may be 1e-20 of its neighbour's, and
    /// such an entry swamps its row, though what it multiplies vanishes with it.
    fn hold_contact(&mut self, device: &Device, state: &State, end: usize, node: usize) {
        if !matches!(device.ties[node], Tie::Ohmic(_)) {
            return;
        }
        let by_t = device.neutral(node, state.local(device, node)).densities_by_t;
        for f in [&mut self.n, &mut self.p] {
            let by = &mut f.by[end];
            by[3] += by[1] * by_t[0] + by[2] * by_t[1];
            (by[1], by[2]) = (0.0, 0.0);
        }
    }

    /// Flows at another state, with the ionizing currents, and for a chord the derivatives,
    /// that were here.
    pub fn renew(&mut self, mut next: EdgeFlow, ionizing: Ionizing) {
        if ionizing != Ionizing::Fluxes {
            next.ionizing = self.ionizing;
        }
        if ionizing == Ionizing::CarriedByChord {
            (next.n.by, next.p.by) = (self.n.by, self.p.by);
        }
        *self = next;
    }

    /// Carry the ionizing currents along a fraction `t` of a step: changes of ψ, n, p, T at
    /// a and at b that the linearization at these flows gave.
    pub fn carry(&mut self, step: [[f64; UNKNOWNS]; 2], t: f64) {
        for (c, f) in [self.n, self.p].into_iter().enumerate() {
            let (mut next, mut size) = (f.current, 0.0);
            for (by, d) in f.by.iter().zip(&step) {
                for (by, d) in by.iter().zip(d) {
                    next += by * d;
                    size += (by * d).abs();
                }
            }
            // Where the step's own rounding swamps the current, the old one is better.
            if f64::EPSILON * size < 0.02 * next.abs() {
                self.ionizing[c] += t * (next - self.ionizing[c]);
            }
        }
    }
}

fn carrier_flow(
    device: &Device,
    state: &State,
    edge: &Edge,
    drop: f64,
    carrier: Carrier,
) -> CarrierFlow {
    let (a, b) = (edge.a as usize, edge.b as usize);
    let (c, sign, own, level) = match carrier {
        Carrier::Electron => (0, 1.0, &state.n, &state.phi_n),
        Carrier::Hole => (1, -1.0, &state.p, &state.phi_p),
    };
    let temperature = state.mean_temperature(device, a, b);
    let low = low_field(device, state, edge, carrier, temperature);
    let plain = !device.has_heat() && !device.silicon.degenerate();
    let vt = thermal_voltage(temperature);
    let (enhancement, bend, d_ln_nie) = if plain {
        (Enhancement { value: 1.0, by_ln: [0.0; 2] }, Bend::default(), edge.d_ln_nie)
    } else {
        let e = enhancement(device, state, [a, b], c);
        let [la, lb] = [a, b].map(|i| state.local(device, i));
        let bend = bend(device, state, [a, b], c, &e);
        (e, bend, (lb.nie.value / la.nie.value).ln())
    };
    let ends = Ends {
        drop,
        drift: drop / vt + sign * (d_ln_nie + bend.value),
        quasi_fermi: level.difference(b, a) / vt,
        at_a: own[a],
        at_b: own[b],
        enhancement: enhancement.value,
    };
    let f = flux(carrier, &device.silicon.saturation, ends, low.value, edge.h, temperature);
    let mut out = CarrierFlow {
        current: f.current,
        by: [[0.0; UNKNOWNS]; 2],
        rate: [f.by_a.abs(), f.by_b.abs()],
    };
    out.by[0][0] = -f.by_potential;
    out.by[1][0] = f.by_potential;
    out.by[0][1 + c] = f.by_a;
    out.by[1][1 + c] = f.by_b;
    if device.local_mobility {
        for (by, low) in out.by.iter_mut().zip(low.by_density) {
            by[1] += f.by_mu_0 * low[0];
            by[2] += f.by_mu_0 * low[1];
        }
    }
    if !plain {
        let by_enhancement = f.by_enhancement + sign * f.by_drift * bend.by_enhancement;
        // V_T at the edge, under the drop.
        let by_vt = -f.by_drift * drop / (vt * vt) * 0.5 * VT_BY_T;
        for (e, i) in [a, b].into_iter().enumerate() {
            let density = own[i];
            let by_ln = by_enhancement * enhancement.by_ln[e];
            out.by[e][1 + c] += by_ln / density + sign * f.by_drift * bend.by_own[e];
            if device.has_heat() {
                let local = state.local(device, i);
                out.by[e][3] += 0.5 * (f.by_temperature + f.by_mu_0 * low.by_temperature)
                    + by_vt
                    + sign * f.by_drift * bend.by_temperature[e]
                    // The enhancement depends on n/N.
                    - by_ln * local.ln_states_by_t(c);
            }
        }
    }
    out
}

/// Mobility on the edge. Laws that look at the carriers see the geometric mean of their
/// densities at the ends: the value at the midpoint of an edge across which ψ falls
/// linearly, as the doping is the midpoint's. The arithmetic mean would give a depleted
/// edge half the density of its heavy end, 1e19 cm⁻³ where there may be none at all.
fn low_field(
    device: &Device,
    state: &State,
    edge: &Edge,
    carrier: Carrier,
    temperature: f64,
) -> LowField {
    if !device.local_mobility && !device.has_heat() {
        let value = if carrier == Carrier::Electron { edge.mu_n } else { edge.mu_p };
        return LowField { value, by_density: [[0.0; 2]; 2], by_temperature: 0.0 };
    }
    let (a, b) = (edge.a as usize, edge.b as usize);
    let mean = |d: &[f64]| (d[a] * d[b]).sqrt();
    let (n, p) = (mean(&state.n), mean(&state.p));
    let [donors, acceptors] = edge.dopants;
    let point = MobilityPoint { donors, acceptors, n, p, temperature };
    let mu = device.silicon.mobility.at(carrier, &point);
    // d√(c_a c_b)/dc_a = √(c_a c_b)/2c_a.
    let by = |i: usize| [0.5 * mu.by_n * n / state.n[i], 0.5 * mu.by_p * p / state.p[i]];
    LowField { value: mu.value, by_density: [by(a), by(b)], by_temperature: mu.by_temperature }
}

/// Below this difference of ln(n/N) the enhancement comes from its series.
const NEAR: f64 = 1e-3;

fn enhancement(device: &Device, state: &State, nodes: [usize; 2], c: usize) -> Enhancement {
    if !device.silicon.degenerate() {
        return Enhancement { value: 1.0, by_ln: [0.0; 2] };
    }
    let [a, b] = nodes.map(|i| state.filling(i, c));
    let d_ln = d_ln_density(state, nodes, c) - d_ln_states(device, state, nodes, c);
    mean_slope(a, b, d_ln)
}

/// Mean of dη/d ln F between two fillings, `d_ln` apart in ln F(η).
fn mean_slope(a: Filling, b: Filling, d_ln: f64) -> Enhancement {
    if d_ln.abs() < NEAR {
        // Euler and Maclaurin's trapezoid: the rest is of fourth order in d_ln.
        let (middle, bend) = (0.5 * (a.slope + b.slope), (b.curve - a.curve) / 6.0);
        return Enhancement {
            value: middle - 0.5 * d_ln * bend,
            by_ln: [0.5 * a.curve + bend, 0.5 * b.curve - bend],
        };
    }
    let value = (b.eta - a.eta) / d_ln;
    Enhancement { value, by_ln: [(value - a.slope) / d_ln, (b.slope - value) / d_ln] }
}

fn d_ln_density(state: &State, [a, b]: [usize; 2], c: usize) -> f64 {
    let own = if c == 0 { &state.n } else { &state.p };
    (own[b] / own[a]).ln()
}

fn d_ln_states(device: &Device, state: &State, [a, b]: [usize; 2], c: usize) -> f64 {
    match (state.local(device, a).bands, state.local(device, b).bands) {
        (Some(x), Some(y)) if device.has_heat() => (y[c].states.value / x[c].states.value).ln(),
        _ => 0.0,
    }
}

/// From J = −qµn∇φ with φ = ψ ∓ V_T ζ on an edge whose ends differ in temperature: the
/// drift is Δψ/V_T ± (Δ ln n_ie + (g − 1) Δ ln N − ζ̄ ΔV_T/V_T).
fn bend(
    device: &Device,
    state: &State,
    nodes: [usize; 2],
    c: usize,
    enhancement: &Enhancement,
) -> Bend {
    if !device.has_heat() {
        return Bend::default();
    }
    let [a, b] = nodes;
    let [la, lb] = nodes.map(|i| state.local(device, i));
    let vt = 0.5 * (la.vt + lb.vt);
    let d_vt = lb.vt - la.vt;
    let zeta = nodes.map(|i| state.zeta(device, i)[c]);
    let middle = 0.5 * (zeta[0] + zeta[1]);
    let d_ln_states = d_ln_states(device, state, nodes, c);
    let own = if c == 0 { &state.n } else { &state.p };
    let share = d_vt / vt;
    let mut out = Bend {
        value: (enhancement.value - 1.0) * d_ln_states - share * middle,
        by_enhancement: d_ln_states,
        ..Bend::default()
    };
    for (e, (i, end)) in [(a, -1.0), (b, 1.0)].into_iter().enumerate() {
        let local = state.local(device, i);
        let slope = state.filling(i, c).slope;
        out.by_own[e] = -share * 0.5 * slope / own[i];
        out.by_temperature[e] = end
            * (local.ln_nie_by_t() + (enhancement.value - 1.0) * local.ln_states_by_t(c))
            - middle / vt * VT_BY_T * (end - 0.5 * share)
            - share * 0.5 * local.zeta_by_t(c, slope);
    }
    out
}
