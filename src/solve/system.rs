//! A device with its outside circuit, solved by full Newton with the terminals bordered.

use crate::discretize::{
    Assembly, Circuit, DENSITY_SCALE, Device, SCALE_T, State, Tie, Tying, add_words, two_sum,
};
use crate::linear::{DirectSolver, LinearError};

use super::border::{Border, BorderedFactors};
use super::plane::{Plane, Terminals};
use super::weights::TestFunctions;

/// base + slope·λ as two words, so that a source follows λ to its last digit.
fn source(base: f64, slope: f64, lambda: [f64; 2]) -> [f64; 2] {
    let s = two_sum(base, slope * lambda[0]);
    two_sum(s[0], s[1] + slope * lambda[1])
}

/// A/cm to A/µm.
pub const PER_UM: f64 = 1e-4;

/// The scalar equation that closes the system for the drive (λ, I).
#[derive(Debug, Clone, PartialEq)]
pub enum Constraint {
    /// λ = value [V].
    Voltage(f64),
    /// Drive current = value [A/µm].
    Current(f64),
    /// A step along the branch.
    Plane(Box<Plane>),
}

/// When Newton is satisfied.
#[derive(Debug, Clone, Copy)]
pub struct NewtonParams {
    /// Largest scaled update of the last step (δψ/V_T, δn/n): after it the error is its
    /// square. Default 1e-5.
    pub update: f64,
    /// |ΣI| allowed, relative to the largest terminal current. Default 2e-12.
    pub imbalance: f64,
    /// and absolute [A/µm]. Default 1e-26.
    pub imbalance_floor: f64,
    /// Steps before giving up. Default 25.
    pub steps: u32,
    /// Largest |δψ| of one step [V]. Default 0.4.
    pub potential_step: f64,
    /// Largest |δT| of one step [K]. Default 60.
    pub temperature_step: f64,
    /// Give up early where a shorter step of the caller's is cheaper than waiting.
    /// Default false.
    pub impatient: bool,
}

impl Default for NewtonParams {
    fn default() -> Self {
        NewtonParams {
            update: 1e-5,
            imbalance: 2e-12,
            imbalance_floor: 1e-26,
            steps: 25,
            potential_step: 0.4,
            temperature_step: 60.0,
            impatient: false,
        }
    }
}

/// What Newton did.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NewtonInfo {
    pub steps: u32,
    /// Scaled update of every step, in order.
    pub updates: Vec<f64>,
    /// Scaled residual (sum of unbalanced continuity / largest current) before each step.
    pub residuals: Vec<f64>,
}

#[derive(Debug, Clone, thiserror::Error)]
pub enum NewtonError {
    #[error("Newton did not converge in {} steps; last scaled update {:.1e}", .info.steps, .info.updates.last().copied().unwrap_or(f64::NAN))]
    NoConvergence { info: NewtonInfo },
    #[error("Newton diverged after {} steps; last scaled update {:.1e}", .info.steps, .info.updates.last().copied().unwrap_or(f64::NAN))]
    Diverged { info: NewtonInfo },
    #[error(transparent)]
    Linear(#[from] LinearError),
}

/// Direction along a branch: derivatives of everything by the constraint's value.
#[derive(Debug, Clone, Default)]
pub struct Tangent {
    /// dψ, dφ_n, dφ_p [V] by node, and with heat dT [K], else empty.
    pub psi: Vec<f64>,
    pub phi_n: Vec<f64>,
    pub phi_p: Vec<f64>,
    pub temperature: Vec<f64>,
    /// Drive voltage and current, voltages and currents by contact.
    pub terminals: Terminals,
}

/// A device, its circuit and the work arrays of Newton.
pub struct System<'a> {
    pub device: &'a Device,
    pub circuit: Circuit,
    pub assembly: Assembly,
    pub params: NewtonParams,
    pub work: Work,
    pub(super) solver: DirectSolver,
    border: Border,
    tests: TestFunctions,
    drive_row: Vec<f64>,
    factors: Option<BorderedFactors>,
}

impl<'a> System<'a> {
    /// Analyse once for a device.
    pub fn new(device: &'a Device, circuit: Circuit) -> Result<System<'a>, LinearError> {
        Ok(System {
            device,
            circuit,
            assembly: Assembly::new(device),
            params: NewtonParams::default(),
            work: Work::default(),
            solver: DirectSolver::new(device.pattern.clone())?,
            border: Border::default(),
            tests: TestFunctions::new(device)?,
            drive_row: Vec::new(),
            factors: None,
        })
    }

    /// Current into the device at contact `k` [A/µm] at the last evaluated state.
    pub fn current(&self, k: usize) -> f64 {
        self.assembly.currents[k] * PER_UM
    }

    /// Drive current [A/µm] at the last evaluated state.
    pub fn drive_current(&self) -> f64 {
        self.circuit.drive.iter().map(|&k| self.current(k)).sum()
    }

    /// |ΣI| and max |I| over the terminals [A/µm] at the last evaluated state.
    pub fn imbalance(&self) -> [f64; 2] {
        let currents = &self.assembly.currents;
        let sum: f64 = currents.iter().sum();
        let largest = currents.iter().fold(0.0f64, |m, c| m.max(c.abs()));
        [sum.abs() * PER_UM, largest * PER_UM]
    }

    /// Contacts with an unknown voltage of their own, in order.
    fn own(&self) -> Vec<usize> {
        (0..self.circuit.ties.len()).filter(|&k| self.circuit.own_unknown(k)).collect()
    }

    /// Put every contact that is not an unknown at its voltage for `lambda`.
    pub fn apply_lambda(&self, state: &mut State, lambda: [f64; 2]) {
        for k in 0..self.circuit.ties.len() {
            match self.circuit.ties[k] {
                Tying::Source { base, slope, resistance: 0.0 } => {
                    state.set_contact(self.device, k, source(base, slope, lambda));
                }
                Tying::Follows(other) => {
                    let inside = state.volts.get(other);
                    let volts = match self.circuit.ties[other] {
                        Tying::Source { base, slope, .. } => source(base, slope, lambda),
                        _ => inside,
                    };
                    state.set_contact(self.device, k, volts);
                }
                _ => {}
            }
        }
    }

    /// Border for the present assembly. Unknown 0 is λ, then the own voltages.
    fn build_border(
        &mut self,
        state: &State,
        lambda: [f64; 2],
        constraint: &Constraint,
    ) -> Vec<f64> {
        let own = self.own();
        let m = own.len() + 1;
        let mut border = Border {
            columns: vec![Vec::new(); m],
            rows: vec![Vec::new(); m],
            corner: vec![0.0; m * m],
        };
        let mut g = vec![0.0; m];
        let vt = self.device.silicon.vt;
        let block = self.device.block() as u32;
        for (k, contact) in self.device.contacts.iter().enumerate() {
            // dV_k by (λ, own voltages).
            let (unknown, slope) = match self.circuit.ties[k] {
                Tying::Follows(other) => match self.circuit.ties[other] {
                    Tying::Source { slope, .. } => (0, slope),
                    _ => (1 + own.iter().position(|&o| o == other).unwrap_or(0), 1.0),
                },
                Tying::Source { slope, resistance: 0.0, .. } => (0, slope),
                _ => (1 + own.iter().position(|&o| o == k).unwrap_or(0), 1.0),
            };
            if slope != 0.0 {
                for &node in &contact.nodes {
                    border.columns[unknown].push((block * node, -slope / vt));
                }
            }
        }
        for (r, &k) in own.iter().enumerate() {
            // Test function 0 is the drive's, the others are the own unknowns'.
            let r = r + 1;
            let mut row = self.tests.row(self.device, &self.assembly, r);
            let own_current = self.tests.current(self.device, &self.assembly, r);
            match self.circuit.ties[k] {
                Tying::Source { base, slope, resistance } => {
                    let ohms = resistance * PER_UM;
                    row.iter_mut().for_each(|v| *v *= ohms);
                    border.rows[r] = row;
                    border.corner[r * m + r] = 1.0;
                    border.corner[r * m] = -slope;
                    let drop = ohms * own_current;
                    let [hi, lo] = source(base, slope, lambda);
                    g[r] = -((state.volts.hi[k] - hi) + (state.volts.lo[k] - lo) + drop);
                }
                _ => {
                    border.rows[r] = row;
                    g[r] = -own_current;
                }
            }
        }
        self.drive_row = self.tests.row(self.device, &self.assembly, 0);
        match constraint {
            Constraint::Voltage(v) => {
                border.corner[0] = 1.0;
                g[0] = (v - lambda[0]) - lambda[1];
            }
            Constraint::Current(i) => {
                border.rows[0] = self.drive_row.iter().map(|v| PER_UM * v).collect();
                g[0] = i - self.drive_current_here();
            }
            Constraint::Plane(plane) => {
                self.plane_row(plane, state, lambda, &own, &mut border, &mut g);
            }
        }
        self.border = border;
        g
    }

    /// Drive current [A/µm] by its test function.
    fn drive_current_here(&self) -> f64 {
        PER_UM * self.tests.current(self.device, &self.assembly, 0)
    }

    /// Test function of contact `k`'s own current: after the drive's and the own unknowns'.
    fn contact_test(&self, k: usize) -> usize {
        1 + self.own().len() + k
    }

    /// The plane's equation. It is linear in the currents about the predicted ones: while
    /// Newton is far from a solution its currents mean nothing, and asinh of them less.
    fn plane_row(
        &self,
        plane: &Plane,
        state: &State,
        lambda: [f64; 2],
        own: &[usize],
        border: &mut Border,
        g: &mut [f64],
    ) {
        let (scale, direction) = (plane.scale, &plane.direction);
        let predicted = plane.predicted_current();
        let slope = direction[1] * scale.slope(predicted);
        border.corner[0] = direction[0] / scale.voltage;
        let mut row: Vec<f64> = self.drive_row.iter().map(|v| slope * PER_UM * v).collect();
        let mut rest = plane.step
            - plane.step * direction[1] * direction[1]
            - direction[0] * ((lambda[0] + lambda[1]) - plane.origin.lambda) / scale.voltage
            - slope * (self.drive_current_here() - predicted);
        for k in 0..plane.open.len() {
            let factor = plane.factor(k);
            if factor == 0.0 {
                continue;
            }
            if plane.open[k] {
                if let Some(at) = own.iter().position(|&o| o == k) {
                    border.corner[1 + at] += factor;
                }
                rest -= factor * (state.volts.hi[k] - plane.origin.volts[k]);
            } else {
                let test = self.contact_test(k);
                self.tests.add_row(self.device, &self.assembly, test, factor * PER_UM, &mut row);
                let here = PER_UM * self.tests.current(self.device, &self.assembly, test);
                rest -= factor * (here - plane.origin.currents[k]);
            }
        }
        border.rows[0] = row;
        g[0] = rest;
    }

    /// Full Newton from `state`, `lambda` to a solution of device, circuit and constraint.
    /// On success the assembly holds residual and currents at the solution.
    pub fn newton(
        &mut self,
        state: &mut State,
        lambda: &mut [f64; 2],
        constraint: &Constraint,
    ) -> Result<NewtonInfo, NewtonError> {
        let mut info = NewtonInfo::default();
        self.apply_lambda(state, *lambda);
        let own = self.own();
        self.update_tests(state)?;
        let mut previous = f64::INFINITY;
        let mut best_imbalance = f64::INFINITY;
        loop {
            let settled = previous < self.params.update;
            self.assembly.evaluate(self.device, state, true);
            let [sum, largest] = self.imbalance();
            let unbalanced = self.assembly.unbalanced * PER_UM;
            info.residuals.push(unbalanced / largest.max(1e-300));
            if !unbalanced.is_finite() {
                return Err(NewtonError::Diverged { info });
            }
            if settled {
                let allowed = self.params.imbalance * largest + self.params.imbalance_floor;
                // Below the noise of the fluxes further steps do not help.
                if sum <= allowed || (previous < 1e-8 && sum >= 0.3 * best_imbalance) {
                    return Ok(info);
                }
                best_imbalance = best_imbalance.min(sum);
            }
            if info.steps >= self.params.steps {
                return Err(NewtonError::NoConvergence { info });
            }
            let g = self.build_border(state, *lambda, constraint);
            self.factor()?;
            let f: Vec<f64> = self.assembly.residual.iter().map(|r| -r).collect();
            let Some(factors) = &self.factors else { continue };
            let s = factors.solve(&mut self.solver, &self.assembly.matrix, &self.border, &f, &g)?;
            let size = self.apply(state, lambda, &own, &s.device, &s.border);
            info.steps += 1;
            self.work.newton_steps += 1;
            info.updates.push(size);
            let lost = if self.params.impatient {
                hopeless(info.steps, size, previous)
            } else {
                info.steps > 8 && size > 1e3 && size > previous
            };
            if !size.is_finite() || lost {
                return Err(NewtonError::Diverged { info });
            }
            previous = size;
        }
    }

    /// Test functions for the drive and for every own unknown at `state`.
    fn update_tests(&mut self, state: &State) -> Result<(), LinearError> {
        self.assembly.evaluate(self.device, state, false);
        let mut groups = vec![self.circuit.drive.clone()];
        groups.extend(self.own().into_iter().map(|k| vec![k]));
        groups.extend((0..self.device.contacts.len()).map(|k| vec![k]));
        self.tests.update(self.device, state, &self.assembly, groups)
    }

    /// Factor the assembled Jacobian with its border.
    fn factor(&mut self) -> Result<(), LinearError> {
        self.solver.factor(&self.assembly.matrix)?;
        self.work.factorizations += 1;
        self.factors =
            Some(BorderedFactors::new(&mut self.solver, &self.assembly.matrix, &self.border)?);
        Ok(())
    }

    /// Evaluate and factor at a solved point, so that [`System::tangent`] is exact there.
    pub fn linearize(
        &mut self,
        state: &State,
        lambda: [f64; 2],
        constraint: &Constraint,
    ) -> Result<(), NewtonError> {
        self.update_tests(state)?;
        self.assembly.evaluate(self.device, state, true);
        self.build_border(state, lambda, constraint);
        self.factor()?;
        Ok(())
    }

    /// Apply an update; returns its scaled size.
    fn apply(
        &self,
        state: &mut State,
        lambda: &mut [f64; 2],
        own: &[usize],
        du: &[f64],
        dy: &[f64],
    ) -> f64 {
        let vt = self.device.silicon.vt;
        let block = self.device.block();
        let mut t = 1.0f64;
        for d in du.chunks_exact(block) {
            t = t.min(self.params.potential_step / (d[0].abs() * vt));
            if let Some(heat) = d.get(3) {
                t = t.min(self.params.temperature_step / (heat.abs() * SCALE_T));
            }
        }
        let mut size = 0.0f64;
        for (i, d) in du.chunks_exact(block).enumerate() {
            let heat = d.get(3).copied().unwrap_or(0.0);
            size = size.max(heat.abs());
            if self.device.ties[i] != Tie::Free {
                if block == 4 {
                    let at = state.temperature[i] + t * heat * SCALE_T;
                    state.set_temperature(self.device, i, at);
                }
                continue;
            }
            size = size.max(d[0].abs());
            if self.device.has_silicon(i) {
                // Densities far below intrinsic carry nothing; judge them on that scale.
                let floor = 1e-8 * self.device.nie[i];
                size = size.max(d[1].abs() * DENSITY_SCALE / (state.n[i] + floor));
                size = size.max(d[2].abs() * DENSITY_SCALE / (state.p[i] + floor));
            }
            let step = [
                t * d[0] * vt,
                t * d[1] * DENSITY_SCALE,
                t * d[2] * DENSITY_SCALE,
                t * heat * SCALE_T,
            ];
            state.correct(self.device, i, step);
        }
        *lambda = add_words(*lambda, t * dy[0]);
        for (r, &k) in own.iter().enumerate() {
            let volts = add_words(state.volts.get(k), t * dy[r + 1]);
            size = size.max(dy[r + 1].abs() / vt);
            state.set_contact(self.device, k, volts);
        }
        self.apply_lambda(state, *lambda);
        size
    }

    /// Tangent at the last Newton step's linearization, by the constraint's value.
    pub fn tangent(&self, state: &State) -> Option<Tangent> {
        let (n, block) = (self.device.nodes(), self.device.block());
        let s = self.factors.as_ref()?.tangent(&self.border, block * n, 0)?;
        let vt = self.device.silicon.vt;
        let own = self.own();
        let mut t = Tangent {
            psi: vec![0.0; n],
            phi_n: vec![0.0; n],
            phi_p: vec![0.0; n],
            temperature: vec![0.0; if block == 4 { n } else { 0 }],
            terminals: Terminals {
                lambda: s.border[0],
                current: 0.0,
                volts: vec![0.0; self.circuit.ties.len()],
                currents: vec![0.0; self.circuit.ties.len()],
            },
        };
        for (i, d) in s.device.chunks_exact(block).enumerate() {
            t.psi[i] = d[0] * vt;
            if let (Some(at), Some(heat)) = (t.temperature.get_mut(i), d.get(3)) {
                *at = heat * SCALE_T;
            }
            if self.device.has_silicon(i) && self.device.ties[i] == Tie::Free {
                let heat = t.temperature.get(i).copied().unwrap_or(0.0);
                let change = [d[1] * DENSITY_SCALE, d[2] * DENSITY_SCALE, heat];
                let [up, down] = state.level_slope(self.device, i, change);
                t.phi_n[i] = t.psi[i] - up;
                t.phi_p[i] = t.psi[i] + down;
            }
        }
        for (r, &k) in own.iter().enumerate() {
            t.terminals.volts[k] = s.border[r + 1];
        }
        let product =
            |row: &[f64]| PER_UM * row.iter().zip(&s.device).map(|(v, x)| v * x).sum::<f64>();
        t.terminals.current = product(&self.drive_row);
        for (k, contact) in self.device.contacts.iter().enumerate() {
            if !contact.is_gate {
                let test = self.contact_test(k);
                t.terminals.currents[k] =
                    product(&self.tests.row(self.device, &self.assembly, test));
            }
        }
        Some(t)
    }
}

/// Newton from a good prediction that still moves like this will not make it in time:
/// halving the step is cheaper than waiting. Measured on the shipped cases, 2026-11.
fn hopeless(steps: u32, size: f64, previous: f64) -> bool {
    let growing = steps >= 3 && size > 3.0 && size > 2.0 * previous;
    growing || (steps >= 4 && size > 20.0) || (steps >= 6 && size > 0.5) || steps > 10
}

/// What the solver did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Work {
    pub newton_steps: u64,
    pub factorizations: u64,
    pub refinements: u64,
    pub gummel_rounds: u64,
    /// Steps of the trace that had to be halved.
    pub halvings: u64,
}
