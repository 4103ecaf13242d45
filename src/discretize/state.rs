//! The state of a device: potentials in two words, densities that follow from them.

use rayon::prelude::*;

use crate::silicon::{RecombinationPoint, Slope};

use super::device::{Device, Tie};
use super::flow::VT_BY_T;
use super::local::{Filling, Local};
use super::words::{Words, add_words};

/// ψ, φ_n, φ_p at every node \[V\]; n, p [cm⁻³] are functions of them; V inside each contact;
/// with heat the lattice temperature at every node \[K\].
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    pub psi: Words,
    pub phi_n: Words,
    pub phi_p: Words,
    pub n: Vec<f64>,
    pub p: Vec<f64>,
    /// Voltage of each contact, inside any series resistance \[V\].
    pub volts: Words,
    /// Lattice temperature \[K\], so that a rise of a nanokelvin keeps its digits; empty
    /// without heat (ambient everywhere).
    pub temperature: Words,
    /// The laws at those temperatures; empty without heat.
    local: Vec<Local>,
    /// How full the bands are; empty with Boltzmann statistics.
    filling: Vec<[Filling; 2]>,
}

/// Lattice temperatures that a step of the solver may try [K]; solutions beyond
/// [`HOTTEST`] are refused by the trace.
const TEMPERATURES: [f64; 2] = [200.0, 2500.0];

/// Hottest lattice that counts as solved \[K\].
pub const HOTTEST: f64 = 1200.0;

/// Why a point hotter than that is the last one, `None` if it is not.
pub fn too_hot(hottest: f64) -> Option<String> {
    (hottest > HOTTEST).then(|| {
        format!(
            "the lattice is at {hottest:.0} K, beyond the {HOTTEST:.0} K up to which the laws are used (silicon melts at 1687 K): ask for less current, or give heat a shorter way out in [heat]"
        )
    })
}

/// A node after a correction: ψ, φ_n, φ_p \[V\] in two words each; n, p [cm⁻³].
struct Corrected {
    levels: [[f64; 2]; 3],
    densities: [f64; 2],
}

/// Nodes below which a second thread costs more than it saves (common practice, no source).
const NODES_A_TASK: usize = 1024;

/// Smallest density that is kept [cm⁻³]: far below any that carries current, far above
/// where a product underflows.
const FLOOR: f64 = 1e-100;

impl State {
    /// Every contact at 0 V, quasi-Fermi potentials 0, ψ charge-neutral in silicon.
    pub fn neutral(device: &Device) -> State {
        let mut state = State::at_rest(device);
        let n = device.nodes();
        for i in 0..n {
            if device.has_silicon(i) {
                let x = 0.5 * device.net[i] / device.nie[i];
                state.psi.set(i, [device.silicon.vt * x.asinh(), 0.0], 0.0);
            }
        }
        for k in 0..device.contacts.len() {
            state.set_contact(device, k, [0.0, 0.0]);
        }
        state.refresh(device);
        state
    }

    /// Everything zero, the lattice at ambient temperature.
    fn at_rest(device: &Device) -> State {
        let n = device.nodes();
        let heated = if device.has_heat() { n } else { 0 };
        let degenerate = if device.silicon.degenerate() { n } else { 0 };
        State {
            psi: Words::zeros(n),
            phi_n: Words::zeros(n),
            phi_p: Words::zeros(n),
            n: vec![0.0; n],
            p: vec![0.0; n],
            volts: Words::zeros(device.contacts.len()),
            temperature: Words {
                hi: vec![device.silicon.temperature; heated],
                lo: vec![0.0; heated],
            },
            local: device.ambient[..heated].to_vec(),
            filling: vec![[Filling::DILUTE; 2]; degenerate],
        }
    }

    /// Put contact `k` at a voltage (two words): its nodes' ψ, φ follow exactly.
    pub fn set_contact(&mut self, device: &Device, k: usize, volts: [f64; 2]) {
        self.volts.set(k, volts, 0.0);
        let contact = &device.contacts[k];
        for (m, &node) in contact.nodes.iter().enumerate() {
            let i = node as usize;
            if contact.is_gate {
                self.psi.set(i, volts, contact.offset[m]);
                continue;
            }
            let at = match self.local.get(i) {
                Some(local) => device.neutral(i, local),
                None => device.neutral_at[k][m],
            };
            self.psi.set(i, volts, at.offset);
            self.phi_n.set(i, volts, 0.0);
            self.phi_p.set(i, volts, 0.0);
            [self.n[i], self.p[i]] = at.densities;
            if let Some(f) = self.filling.get_mut(i) {
                *f = at.filling;
            }
        }
    }

    /// Recompute n and p from the potentials.
    pub fn refresh(&mut self, device: &Device) {
        for i in 0..device.nodes() {
            self.refresh_node(device, i);
        }
    }

    fn refresh_node(&mut self, device: &Device, i: usize) {
        if !device.has_silicon(i) || matches!(device.ties[i], Tie::Ohmic(_)) {
            return;
        }
        let [n, p] = self.zeta(device, i).map(|z| z.clamp(-500.0, 500.0));
        let local = *self.local(device, i);
        if let Some(f) = self.filling.get_mut(i) {
            let (electrons, holes) = (local.density(0, n), local.density(1, p));
            [self.n[i], self.p[i]] = [electrons.0, holes.0];
            *f = [electrons.1, holes.1];
        } else {
            self.n[i] = local.nie.value * n.exp();
            self.p[i] = local.nie.value * p.exp();
        }
    }

    /// The laws at node `i`, at its temperature.
    pub fn local<'s>(&'s self, device: &'s Device, i: usize) -> &'s Local {
        self.local.get(i).unwrap_or(&device.ambient[i])
    }

    /// How full the band of carrier `c` (0 electrons, 1 holes) is at node `i`.
    pub fn filling(&self, i: usize, c: usize) -> Filling {
        self.filling.get(i).map_or(Filling::DILUTE, |f| f[c])
    }

    /// (ψ − φ_n)/V_T and (φ_p − ψ)/V_T at node `i`.
    pub fn zeta(&self, device: &Device, i: usize) -> [f64; 2] {
        let vt = self.local(device, i).vt;
        let up = self.psi.difference_to(&self.phi_n, i);
        let down = self.phi_p.difference_to(&self.psi, i);
        [up / vt, down / vt]
    }

    /// Mean lattice temperature of two nodes \[K\].
    pub fn mean_temperature(&self, device: &Device, a: usize, b: usize) -> f64 {
        match (self.temperature.hi.get(a), self.temperature.hi.get(b)) {
            (Some(x), Some(y)) => 0.5 * (x + y),
            _ => device.silicon.temperature,
        }
    }

    /// Hottest lattice temperature \[K\].
    pub fn hottest(&self, device: &Device) -> f64 {
        self.temperature.hi.iter().copied().fold(device.silicon.temperature, f64::max)
    }

    /// Put the lattice at node `i` at a temperature \[K\] (two words); ψ, φ stay, densities
    /// follow when refreshed. Without heat nothing happens.
    pub fn set_temperature(&mut self, device: &Device, i: usize, temperature: [f64; 2]) {
        let Some(local) = self.local.get_mut(i) else { return };
        let [low, high] = TEMPERATURES;
        let t = if temperature[0] < low {
            [low, 0.0]
        } else if temperature[0] > high {
            [high, 0.0]
        } else {
            temperature
        };
        self.temperature.set(i, t, 0.0);
        *local = Local::new(&device.silicon, device.total[i], device.narrowing[i], t[0]);
    }

    /// Heat the lattice at node `i` by `rise` \[K\].
    pub fn heat(&mut self, device: &Device, i: usize, rise: f64) {
        if i < self.local.len() {
            self.set_temperature(device, i, add_words(self.temperature.get(i), rise));
        }
    }

    /// Add corrections (δψ \[V\], δn, δp [cm⁻³], δT \[K\]) node by node: at the free nodes, of
    /// the others to the temperature only. They are independent and run side by side.
    pub fn correct_all(&mut self, device: &Device, step: impl Fn(usize) -> [f64; 4] + Sync) {
        let n = device.nodes();
        if !self.is_plain() {
            for i in 0..n {
                let d = step(i);
                if device.ties[i] == Tie::Free {
                    self.correct(device, i, d);
                } else {
                    self.heat(device, i, d[3]);
                }
            }
            return;
        }
        let nodes = (0..n).into_par_iter().with_min_len(NODES_A_TASK);
        let mut corrected = Vec::new();
        nodes
            .map(|i| (device.ties[i] == Tie::Free).then(|| self.corrected(device, i, step(i))))
            .collect_into_vec(&mut corrected);
        for (i, next) in corrected.into_iter().enumerate() {
            if let Some(next) = next {
                self.put(i, next);
            }
        }
    }

    /// Add a correction (δψ \[V\], δn, δp [cm⁻³], δT \[K\]) at a free node; densities stay
    /// positive: none falls below a tenth of itself in one step.
    pub fn correct(&mut self, device: &Device, i: usize, d: [f64; 4]) {
        if self.is_plain() {
            self.put(i, self.corrected(device, i, d));
            return;
        }
        self.psi.add(i, d[0]);
        if device.has_silicon(i) {
            let ln = self.log_changes(device, i, d);
            let change = self.level_changes(device, i, ln, d[3]);
            self.phi_n.add(i, d[0] - change[0]);
            self.phi_p.add(i, d[0] + change[1]);
        }
        self.heat(device, i, d[3]);
        self.refresh_node(device, i);
    }

    /// Without heat and with Boltzmann statistics.
    fn is_plain(&self) -> bool {
        self.local.is_empty() && self.filling.is_empty()
    }

    fn put(&mut self, i: usize, Corrected { levels: [psi, phi_n, phi_p], densities }: Corrected) {
        self.psi.set(i, psi, 0.0);
        self.phi_n.set(i, phi_n, 0.0);
        self.phi_p.set(i, phi_p, 0.0);
        [self.n[i], self.p[i]] = densities;
    }

    /// A free node corrected, if plain.
    fn corrected(&self, device: &Device, i: usize, d: [f64; 4]) -> Corrected {
        let psi = add_words(self.psi.get(i), d[0]);
        let (phi_n, phi_p) = (self.phi_n.get(i), self.phi_p.get(i));
        if !device.has_silicon(i) {
            return Corrected { levels: [psi, phi_n, phi_p], densities: [self.n[i], self.p[i]] };
        }
        let change = self.log_changes(device, i, d).map(|l| device.silicon.vt * l);
        let levels = [psi, add_words(phi_n, d[0] - change[0]), add_words(phi_p, d[0] + change[1])];
        let (vt, nie) = (device.ambient[i].vt, device.ambient[i].nie.value);
        let [up, down] = [(levels[0], levels[1]), (levels[2], levels[0])]
            .map(|(a, b)| ((a[0] - b[0]) + (a[1] - b[1])) / vt);
        let densities = [up, down].map(|zeta| nie * zeta.clamp(-500.0, 500.0).exp());
        Corrected { levels, densities }
    }

    /// Changes of ln n and ln p at a node of silicon.
    fn log_changes(&self, device: &Device, i: usize, d: [f64; 4]) -> [f64; 2] {
        let up = d[0] / self.local(device, i).vt;
        let log_ratio = |density: f64, change: f64, up: f64| {
            let limited = log_step(change / density, up);
            // Keep the density itself within what doubles hold.
            limited.max((FLOOR / density).ln().min(0.0)).min(200.0)
        };
        [log_ratio(self.n[i], d[1], up), log_ratio(self.p[i], d[2], -up)]
    }

    /// Changes of V_T ζ, where not plain, that change ln n and ln p by `ln` and T by `dt`: to
    /// first order where they are small, so that they are as exact as the step itself; in full
    /// where they are not.
    fn level_changes(&self, device: &Device, i: usize, ln: [f64; 2], dt: f64) -> [f64; 2] {
        let local = self.local(device, i);
        let zeta = self.zeta(device, i);
        let density = [self.n[i], self.p[i]];
        let dt = if self.local.is_empty() { 0.0 } else { dt };
        let far = dt.abs() > 5.0;
        let next = (far && dt != 0.0).then(|| {
            let t = (local.temperature + dt).clamp(TEMPERATURES[0], TEMPERATURES[1]);
            Local::new(&device.silicon, device.total[i], device.narrowing[i], t)
        });
        [0, 1].map(|c| {
            let slope = self.filling(i, c).slope;
            let full = next.as_ref().or((slope > 1.0 && ln[c].abs() > 0.25).then_some(local));
            match full {
                Some(to) => {
                    let wanted = (density[c] * ln[c].exp()).max(FLOOR);
                    to.vt * to.zeta(c, wanted) - local.vt * zeta[c]
                }
                None => local.vt * slope * ln[c] + self.level_by_t(device, i, c) * dt,
            }
        })
    }

    /// d(V_T ζ)/dT of carrier `c` at fixed density.
    fn level_by_t(&self, device: &Device, i: usize, c: usize) -> f64 {
        let local = self.local(device, i);
        let zeta = self.zeta(device, i);
        VT_BY_T * zeta[c] + local.vt * local.zeta_by_t(c, self.filling(i, c).slope)
    }

    /// Changes of V_T ζ for a change (δn, δp \[cm⁻³\], δT \[K\]), to first order:
    /// φ_n moves by δψ minus the first, φ_p by δψ plus the second.
    pub fn level_slope(&self, device: &Device, i: usize, d: [f64; 3]) -> [f64; 2] {
        let vt = self.local(device, i).vt;
        let density = [self.n[i], self.p[i]];
        [0, 1].map(|c| {
            let by_t = if d[2] == 0.0 { 0.0 } else { self.level_by_t(device, i, c) * d[2] };
            vt * (d[c] / density[c]) * self.filling(i, c).slope + by_t
        })
    }

    /// (φ_p − φ_n)/V_T at a node.
    pub fn split(&self, device: &Device, i: usize) -> f64 {
        self.phi_p.difference_to(&self.phi_n, i) / self.local(device, i).vt
    }

    /// What recombination at node `i` is asked for: np − n_eq² = n_eq² expm1(split) with
    /// n_eq = n_ie √(γ_n γ_p), γ = F(η)/exp η, and d ln n_eq/dn, /dp.
    pub fn recombination_point(&self, device: &Device, i: usize) -> (RecombinationPoint, [f64; 2]) {
        let local = self.local(device, i);
        let (n, p) = (self.n[i], self.p[i]);
        let excess = self.split(device, i).exp_m1();
        let (mut nie, mut by) = (local.nie, [0.0; 2]);
        if let (Some(f), Some(bands)) = (self.filling.get(i), &local.bands) {
            let mut ln = 0.0;
            let mut by_t = local.ln_nie_by_t();
            for (c, density) in [n, p].into_iter().enumerate() {
                // ln γ = ln(n/N) − η.
                ln += 0.5 * ((density / bands[c].states.value).ln() - f[c].eta);
                by[c] = 0.5 * (1.0 - f[c].slope) / density;
                by_t += 0.5 * (f[c].slope - 1.0) * local.ln_states_by_t(c);
            }
            let value = nie.value * ln.exp();
            nie = Slope { value, derivative: value * by_t };
        }
        let at = RecombinationPoint {
            n,
            p,
            excess,
            nie,
            tau: local.tau,
            temperature: local.temperature,
        };
        (at, by)
    }

    /// The words, for checkpoints and result files.
    pub fn words(&self) -> StateWords {
        StateWords {
            potential: self.psi.hi.clone(),
            electron: self.phi_n.hi.clone(),
            hole: self.phi_p.hi.clone(),
            potential_low: self.psi.lo.clone(),
            electron_low: self.phi_n.lo.clone(),
            hole_low: self.phi_p.lo.clone(),
            temperature: self.temperature.hi.clone(),
            temperature_low: self.temperature.lo.clone(),
        }
    }

    /// Back from words and contact voltages; `None` if the lengths do not fit the device.
    pub fn from_words(device: &Device, words: &StateWords, volts: &Words) -> Option<State> {
        let n = device.nodes();
        let pair = |hi: &Vec<f64>, lo: &Vec<f64>| {
            (hi.len() == n && lo.len() == n).then(|| Words { hi: hi.clone(), lo: lo.clone() })
        };
        if volts.hi.len() != device.contacts.len() {
            return None;
        }
        let mut state = State {
            psi: pair(&words.potential, &words.potential_low)?,
            phi_n: pair(&words.electron, &words.electron_low)?,
            phi_p: pair(&words.hole, &words.hole_low)?,
            volts: volts.clone(),
            ..State::at_rest(device)
        };
        let (hi, lo) = (&words.temperature, &words.temperature_low);
        if hi.len() != state.local.len() || lo.len() != state.local.len() {
            return None;
        }
        for (i, (&hi, &lo)) in hi.iter().zip(lo).enumerate() {
            state.set_temperature(device, i, [hi, lo]);
        }
        for k in 0..device.contacts.len() {
            state.set_contact(device, k, volts.get(k));
        }
        state.refresh(device);
        Some(state)
    }
}

/// Change of ln n for a relative change `r` = δn/n, where the potential alone changes it by
/// `up` = δψ/V_T (for holes −δψ/V_T). To first order it is r; to second order it depends on
/// what holds the density. A carrier held by its fluxes takes the step in n, ln(1 + r): its
/// equation is linear in n. A carrier in equilibrium with a neutral side takes it in
/// exp(−φ_n/V_T) = n·exp(−ψ/V_T) (the variable of Slotboom, IEEE Trans. Electron Devices
/// 20, 669 (1973)), ln n + up + ln(1 + r − up): a majority's currents are linear in φ, and
/// the r²/2 between the two, times 1e17 cm⁻³, would be larger than any leakage. The smaller
/// of r and r − up tells which.
fn log_step(r: f64, up: f64) -> f64 {
    let additive = |x: f64| if x > -0.9 { x.ln_1p() } else { 0.1f64.ln() };
    let rest = r - up;
    if rest.abs() < r.abs() { up + additive(rest) } else { additive(r) }
}

/// ψ, φ_n, φ_p per node \[V\], each as a sum of two words, and with heat the lattice
/// temperature; length: nodes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StateWords {
    pub potential: Vec<f64>,
    pub electron: Vec<f64>,
    pub hole: Vec<f64>,
    pub potential_low: Vec<f64>,
    pub electron_low: Vec<f64>,
    pub hole_low: Vec<f64>,
    /// Lattice temperature \[K\]; empty without heat.
    pub temperature: Vec<f64>,
    pub temperature_low: Vec<f64>,
}
