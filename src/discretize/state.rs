//! The state of a device: potentials in two words, densities that follow from them.

use super::device::{Device, Tie};
use super::words::Words;

/// ψ, φ_n, φ_p at every node [V]; n, p [cm⁻³] are functions of them; V inside each contact.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    pub psi: Words,
    pub phi_n: Words,
    pub phi_p: Words,
    pub n: Vec<f64>,
    pub p: Vec<f64>,
    /// Voltage of each contact, inside any series resistance [V].
    pub volts: Words,
}

/// Smallest density that is kept [cm⁻³]: far below any that carries current, far above
/// where a product underflows.
const FLOOR: f64 = 1e-100;

impl State {
    /// Every contact at 0 V, quasi-Fermi potentials 0, ψ charge-neutral in silicon.
    pub fn neutral(device: &Device) -> State {
        let n = device.nodes();
        let mut state = State {
            psi: Words::zeros(n),
            phi_n: Words::zeros(n),
            phi_p: Words::zeros(n),
            n: vec![0.0; n],
            p: vec![0.0; n],
            volts: Words::zeros(device.contacts.len()),
        };
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

    /// Put contact `k` at a voltage (two words): its nodes' ψ, φ follow exactly.
    pub fn set_contact(&mut self, device: &Device, k: usize, volts: [f64; 2]) {
        self.volts.set(k, volts, 0.0);
        let contact = &device.contacts[k];
        for (m, &node) in contact.nodes.iter().enumerate() {
            let i = node as usize;
            self.psi.set(i, volts, contact.offset[m]);
            if !contact.is_gate {
                self.phi_n.set(i, volts, 0.0);
                self.phi_p.set(i, volts, 0.0);
                let [n, p] = device.contact_densities[k][m];
                self.n[i] = n;
                self.p[i] = p;
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
        let vt = device.silicon.vt;
        let nie = device.nie[i];
        let up = (self.psi.hi[i] - self.phi_n.hi[i]) + (self.psi.lo[i] - self.phi_n.lo[i]);
        let down = (self.phi_p.hi[i] - self.psi.hi[i]) + (self.phi_p.lo[i] - self.psi.lo[i]);
        self.n[i] = nie * (up / vt).clamp(-500.0, 500.0).exp();
        self.p[i] = nie * (down / vt).clamp(-500.0, 500.0).exp();
    }

    /// Add a correction (δψ [V], δn, δp [cm⁻³]) at a free node; densities stay positive:
    /// none falls below a tenth of itself in one step.
    pub fn correct(&mut self, device: &Device, i: usize, d: [f64; 3]) {
        self.psi.add(i, d[0]);
        if !device.has_silicon(i) {
            return;
        }
        let vt = device.silicon.vt;
        let log_ratio = |density: f64, change: f64| {
            let limited = log_step(change / density);
            // Keep the density itself within what doubles hold.
            limited.max((FLOOR / density).ln().min(0.0)).min(200.0)
        };
        let (ln_n, ln_p) = (log_ratio(self.n[i], d[1]), log_ratio(self.p[i], d[2]));
        self.phi_n.add(i, d[0] - vt * ln_n);
        self.phi_p.add(i, d[0] + vt * ln_p);
        self.refresh_node(device, i);
    }

    /// ln(np/nie²) = (φ_p − φ_n)/V_T at a node.
    pub fn split(&self, device: &Device, i: usize) -> f64 {
        ((self.phi_p.hi[i] - self.phi_n.hi[i]) + (self.phi_p.lo[i] - self.phi_n.lo[i]))
            / device.silicon.vt
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
            n: vec![0.0; n],
            p: vec![0.0; n],
            volts: volts.clone(),
        };
        for k in 0..device.contacts.len() {
            state.set_contact(device, k, volts.get(k));
        }
        state.refresh(device);
        Some(state)
    }
}

/// Change of ln n for a relative change `r` = δn/n. Large changes are additive, ln(1 + r):
/// a linear equation for a minority is then solved in one step. Small ones are r itself,
/// the same to first order: currents are linear in φ, and the r²/2 between the two, times
/// a majority of 1e17 cm⁻³, would be a current larger than any leakage.
fn log_step(r: f64) -> f64 {
    let additive = if r > -0.9 { r.ln_1p() } else { 0.1f64.ln() };
    let t = ((r.abs() - 0.25) / 0.75).clamp(0.0, 1.0);
    (1.0 - t) * r + t * additive
}

/// ψ, φ_n, φ_p per node [V], each as a sum of two words; length: nodes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StateWords {
    pub potential: Vec<f64>,
    pub electron: Vec<f64>,
    pub hole: Vec<f64>,
    pub potential_low: Vec<f64>,
    pub electron_low: Vec<f64>,
    pub hole_low: Vec<f64>,
}
