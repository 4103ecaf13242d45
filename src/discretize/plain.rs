//! Flows along many edges at once with Boltzmann statistics at the ambient temperature:
//! the same formulas as [`super::flux`], on arrays of one quantity each, without branches,
//! so that they run in vector registers. The instruction set is chosen at run time; none
//! changes a bit.

use pulp::{Arch, Simd, WithSimd};

use crate::silicon::lanes::{exp, exp_m1};
use crate::silicon::{AmbientKlaassen, AmbientSaturation, Carrier, Q};

use super::device::{Device, Edge};
use super::flow::{CarrierFlow, EdgeFlow, Ionizing, UNKNOWNS};
use super::state::State;

/// Edges at once.
const LANES: usize = 32;

type Lanes = [f64; LANES];

/// The laws of a device at its ambient temperature.
pub struct Plain {
    machine: Arch,
    vt: f64,
    mobility: [Option<AmbientKlaassen>; 2],
    saturation: [Option<AmbientSaturation>; 2],
}

/// What the flows of some edges depend on.
struct Input {
    drop: Lanes,
    per_h: Lanes,
    /// Difference of ln n_ie, b − a.
    d_ln_nie: Lanes,
    /// φ_b − φ_a [V] by carrier.
    quasi_fermi: [Lanes; 2],
    /// Densities of each carrier at a and at b.
    density: [[Lanes; 2]; 2],
    /// Donors and acceptors as they scatter, or the two mobilities by the doping.
    by_doping: [Lanes; 2],
}

/// One carrier's flow on some edges.
struct Output {
    current: Lanes,
    /// ∂J/∂ψ_b; by ψ_a it is the negative.
    by_psi: Lanes,
    /// K B(∓Δ), K B(±Δ).
    rate: [Lanes; 2],
    /// By n and by p at a and at b through the mobility.
    by_mobility: [[Lanes; 2]; 2],
}

impl Output {
    const ZERO: Output = Output {
        current: [0.0; LANES],
        by_psi: [0.0; LANES],
        rate: [[0.0; LANES]; 2],
        by_mobility: [[[0.0; LANES]; 2]; 2],
    };
}

impl Plain {
    /// The laws of `device`; `None` if its flows need more than this.
    pub fn new(device: &Device) -> Option<Plain> {
        if device.has_heat() || device.silicon.degenerate() {
            return None;
        }
        let carriers = [Carrier::Electron, Carrier::Hole];
        Some(Plain {
            machine: Arch::new(),
            vt: device.silicon.vt,
            mobility: carriers.map(|c| device.silicon.mobility.ambient(c)),
            saturation: carriers.map(|c| device.silicon.saturation.ambient(c)),
        })
    }

    /// Flows along `edges`, as [`EdgeFlow::renew`].
    pub fn flows(&self, state: &State, edges: &[Edge], out: &mut [EdgeFlow], ionizing: Ionizing) {
        let mut input = Input {
            drop: [0.0; LANES],
            per_h: [0.0; LANES],
            d_ln_nie: [0.0; LANES],
            quasi_fermi: [[0.0; LANES]; 2],
            density: [[[0.0; LANES]; 2]; 2],
            by_doping: [[0.0; LANES]; 2],
        };
        let mut output = [Output::ZERO, Output::ZERO];
        for (edges, out) in edges.chunks(LANES).zip(out.chunks_mut(LANES)) {
            self.gather(state, edges, &mut input);
            let [n, p] = &mut output;
            self.machine.dispatch(Run { laws: self, input: &input, carrier: 0, out: n });
            self.machine.dispatch(Run { laws: self, input: &input, carrier: 1, out: p });
            for (l, (edge, flow)) in edges.iter().zip(out).enumerate() {
                let drop = input.drop[l];
                let mut next =
                    EdgeFlow { drop, field: -drop * input.per_h[l], ..EdgeFlow::default() };
                if edge.face > 0.0 {
                    next.n = output[0].flow(l, 0);
                    next.p = output[1].flow(l, 1);
                    next.ionizing = [next.n.current, next.p.current];
                }
                flow.renew(next, ionizing);
            }
        }
    }

    fn gather(&self, state: &State, edges: &[Edge], to: &mut Input) {
        let levels = [&state.phi_n, &state.phi_p];
        let densities = [&state.n, &state.p];
        for (l, edge) in edges.iter().enumerate() {
            let (a, b) = (edge.a as usize, edge.b as usize);
            to.drop[l] = state.psi.difference(b, a);
            to.per_h[l] = 1.0 / edge.h;
            to.d_ln_nie[l] = edge.d_ln_nie;
            for c in 0..2 {
                to.quasi_fermi[c][l] = levels[c].difference(b, a);
                to.density[c][0][l] = densities[c][a];
                to.density[c][1][l] = densities[c][b];
                let local = self.mobility[c].is_some();
                to.by_doping[c][l] =
                    if local { edge.scatterers[c] } else { [edge.mu_n, edge.mu_p][c] };
            }
        }
    }
}

impl Output {
    fn flow(&self, l: usize, c: usize) -> CarrierFlow {
        let mut by = [[0.0; UNKNOWNS]; 2];
        let (sign, by_psi) = (if c == 0 { 1.0 } else { -1.0 }, self.by_psi[l]);
        for (end, by) in by.iter_mut().enumerate() {
            let outward = if end == 0 { -1.0 } else { 1.0 };
            by[0] = outward * by_psi;
            by[1] = self.by_mobility[end][0][l];
            by[2] = self.by_mobility[end][1][l];
            by[1 + c] += outward * sign * self.rate[end][l];
        }
        CarrierFlow { current: self.current[l], by, rate: self.rate.map(|r| r[l]) }
    }
}

/// One carrier's laws on the edges of `input`.
struct Run<'a> {
    laws: &'a Plain,
    input: &'a Input,
    carrier: usize,
    out: &'a mut Output,
}

impl WithSimd for Run<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let (c, vt) = (self.carrier, self.laws.vt);
        let mut mu = self.input.by_doping[c];
        let mut log_slopes = [[0.0; LANES]; 2];
        if let Some(law) = &self.laws.mobility[c] {
            low_field(law, self.input, c, &mut mu, &mut log_slopes);
        }
        let (mut by_mu_0, mut by_log_field) = ([1.0; LANES], [0.0; LANES]);
        if let Some(law) = &self.laws.saturation[c] {
            saturate(law, self.input, &mut mu, &mut by_mu_0, &mut by_log_field);
        }
        let sign = if c == 0 { 1.0 } else { -1.0 };
        currents(self.input, c, sign, vt, [&mu, &by_log_field], self.out);
        if self.laws.mobility[c].is_some() {
            through_mobility(self.input, [&mu, &by_mu_0], &log_slopes, self.out);
        }
    }
}

/// Klaassen's mobility at the geometric means of the densities: `mu`, and half of its
/// derivatives by ln n and by ln p of the means.
#[inline(always)]
fn low_field(
    law: &AmbientKlaassen,
    input: &Input,
    c: usize,
    mu: &mut Lanes,
    log_slopes: &mut [Lanes; 2],
) {
    let [[n_a, n_b], [p_a, p_b]] = &input.density;
    // Ions of the other sign attract.
    let (attracting, repelling) = (&input.by_doping[c], &input.by_doping[1 - c]);
    for l in 0..LANES {
        let n = (n_a[l] * n_b[l]).sqrt();
        let p = (p_a[l] * p_b[l]).sqrt();
        let others = if c == 0 { p } else { n };
        let [value, by_others, by_both] = law.at(attracting[l], repelling[l], others, n + p);
        mu[l] = value;
        let own = by_both;
        let other = by_both + by_others;
        let (by_n, by_p) = if c == 0 { (own, other) } else { (other, own) };
        log_slopes[0][l] = 0.5 * by_n * n;
        log_slopes[1][l] = 0.5 * by_p * p;
    }
}

#[inline(always)]
fn saturate(
    law: &AmbientSaturation,
    input: &Input,
    mu: &mut Lanes,
    by_mu_0: &mut Lanes,
    by_log_field: &mut Lanes,
) {
    for l in 0..LANES {
        let [value, by_0, by_field] = law.at(mu[l], input.drop[l].abs() * input.per_h[l]);
        mu[l] = value;
        by_mu_0[l] = by_0;
        by_log_field[l] = by_field;
    }
}

/// B(y), B′(y) for y ≥ 0: the series of [`super::bernoulli`] and, from 1/2 on, by e^−y.
#[inline(always)]
fn bernoulli(y: f64) -> [f64; 2] {
    let s = y * y;
    let odd = y
        * (1.0 / 6.0
            + s * (-1.0 / 180.0
                + s * (1.0 / 5040.0
                    + s * (-1.0 / 151200.0
                        + s * (1.0 / 4790016.0
                            + s * (-691.0 / 108972864000.0 + s * (1.0 / 5337446400.0)))))));
    let even = 1.0
        + s * (1.0 / 12.0
            + s * (-1.0 / 720.0
                + s * (1.0 / 30240.0
                    + s * (-1.0 / 1209600.0
                        + s * (1.0 / 47900160.0
                            + s * (-691.0 / 1307674368000.0 + s * (1.0 / 74724249600.0)))))));
    let e = exp(-y);
    let rest = 1.0 - e;
    let far = e / rest;
    let near = y < 0.5;
    let value = if near { even - 0.5 * y } else { y * far };
    let derivative = if near { odd - 0.5 } else { far * (rest - y) / rest };
    [value, derivative]
}

/// n·B(Δ)·expm1(Δφ) along the edge, see [`super::flux`].
#[inline(always)]
fn currents(
    input: &Input,
    c: usize,
    sign: f64,
    vt: f64,
    [mu, by_log_field]: [&Lanes; 2],
    out: &mut Output,
) {
    let [at_a, at_b] = &input.density[c];
    for l in 0..LANES {
        let drop = input.drop[l];
        let k = Q * vt * mu[l] * input.per_h[l];
        let x = sign * (drop / vt) + input.d_ln_nie[l];
        let y = x.abs();
        let [small, by_small] = bernoulli(y);
        let (large, by_large) = (small + y, -by_small - 1.0);
        let up = x >= 0.0;
        let (forward, by_forward) = if up { (small, by_small) } else { (large, by_large) };
        let (backward, by_backward) = if up { (large, by_large) } else { (small, by_small) };
        let e = sign * (input.quasi_fermi[c][l] / vt);
        let falling = exp_m1(-e.abs());
        let drive = if e > 0.0 { at_a[l] * backward } else { -at_b[l] * forward } * falling;
        let current = sign * k * drive;
        out.current[l] = current;
        out.rate[0][l] = k * backward;
        out.rate[1][l] = k * forward;
        let by_drift = k * (at_b[l] * by_forward + at_a[l] * by_backward);
        let flat = drop == 0.0;
        let per_drop = 1.0 / if flat { 1.0 } else { mu[l] * drop };
        let by_mobility = current * by_log_field[l] * if flat { 0.0 } else { per_drop };
        out.by_psi[l] = by_drift / vt + by_mobility;
    }
}

/// By the densities through the low-field mobility: d√(c_a c_b)/dc_a = √(c_a c_b)/2c_a.
#[inline(always)]
fn through_mobility(
    input: &Input,
    [mu, by_mu_0]: [&Lanes; 2],
    log_slopes: &[Lanes; 2],
    out: &mut Output,
) {
    let [[n_a, n_b], [p_a, p_b]] = &input.density;
    let [[a_by_n, a_by_p], [b_by_n, b_by_p]] = &mut out.by_mobility;
    for l in 0..LANES {
        let by_mu = out.current[l] / mu[l] * by_mu_0[l];
        let (by_ln_n, by_ln_p) = (by_mu * log_slopes[0][l], by_mu * log_slopes[1][l]);
        a_by_n[l] = by_ln_n / n_a[l];
        b_by_n[l] = by_ln_n / n_b[l];
        a_by_p[l] = by_ln_p / p_a[l];
        b_by_p[l] = by_ln_p / p_b[l];
    }
}
