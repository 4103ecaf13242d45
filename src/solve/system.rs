//! A device with its outside circuit, solved by full Newton with the terminals bordered.

use crate::discretize::{
    Assembly, Circuit, DENSITY_SCALE, Device, Ionizing, SCALE_T, State, Tying, add_words,
};
use crate::linear::{Border, BorderedFactors, DirectSolver, LinearError};

use super::chord::{Chord, START, TANGENT};
use super::closing::source;
use super::plane::Plane;
use super::size::{hopeless, scaled_size};
use super::weights::TestFunctions;
use super::work::Work;

/// A/cm to A/µm.
pub const PER_UM: f64 = 1e-4;

/// The scalar equation that closes the system for the drive (λ, I).
#[derive(Debug, Clone, PartialEq)]
pub enum Constraint {
    /// λ = value \[V\].
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
    /// and absolute [A/µm]. Default 2e-25.
    pub imbalance_floor: f64,
    /// Steps before giving up. Default 25.
    pub steps: u32,
    /// Largest |δψ| of one step \[V\]. Default 0.4.
    pub potential_step: f64,
    /// Largest |δT| of one step \[K\]. Default 60.
    pub temperature_step: f64,
    /// Give up early where a shorter step of the caller's is cheaper than waiting.
    /// Default false.
    pub impatient: bool,
    /// End with chord steps where they contract fast enough. Default true.
    pub chords: bool,
}

impl Default for NewtonParams {
    fn default() -> Self {
        NewtonParams {
            update: 1e-5,
            imbalance: 2e-12,
            imbalance_floor: 2e-25,
            steps: 25,
            potential_step: 0.4,
            temperature_step: 60.0,
            impatient: false,
            chords: true,
        }
    }
}

/// What Newton did.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NewtonInfo {
    pub steps: u32,
    /// Chord steps: solves with an older factorization, counted apart.
    pub chords: u32,
    /// Scaled update of every step of either kind, in order.
    pub updates: Vec<f64>,
    /// Scaled residual (sum of unbalanced continuity / largest current) before each step.
    pub residuals: Vec<f64>,
}

impl NewtonInfo {
    /// Newton steps until their update was small enough for chord steps, with a fraction:
    /// how hard the solve was, as a continuous number.
    pub fn effort(&self) -> f64 {
        let Some(k) = self.updates.iter().position(|u| *u < START) else {
            return self.updates.len() as f64 + 1.0;
        };
        let here = self.updates[k];
        match k.checked_sub(1).and_then(|k| self.updates.get(k)) {
            Some(&last) => k as f64 + (last / START).ln() / (last / here.max(1e-300)).ln(),
            None => 1.0,
        }
    }
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

/// A device, its circuit and the work arrays of Newton.
pub struct System<'a> {
    pub device: &'a Device,
    pub circuit: Circuit,
    pub assembly: Assembly,
    pub params: NewtonParams,
    pub work: Work,
    pub(super) solver: DirectSolver,
    pub(super) border: Border,
    pub(super) tests: TestFunctions,
    pub(super) drive_row: Vec<f64>,
    pub(super) factors: Option<BorderedFactors>,
    /// The assembled Jacobian is newer than the factors: how exact a tangent is wanted.
    pub(super) stale: Option<f64>,
    /// The edges hold the ionizing currents that the next Newton iteration starts with.
    pub(super) carried: bool,
}

impl<'a> System<'a> {
    /// Analyse once for a device.
    pub fn new(device: &'a Device, circuit: Circuit) -> Result<System<'a>, LinearError> {
        let (solver, tests) = rayon::join(
            || DirectSolver::new(device.pattern.clone()),
            || TestFunctions::new(device),
        );
        Ok(System::new_with(device, circuit, solver?, tests?))
    }

    pub(super) fn new_with(
        device: &'a Device,
        circuit: Circuit,
        solver: DirectSolver,
        tests: TestFunctions,
    ) -> System<'a> {
        System {
            device,
            circuit,
            assembly: Assembly::new(device),
            params: NewtonParams::default(),
            work: Work::default(),
            solver,
            border: Border::default(),
            tests,
            drive_row: Vec::new(),
            factors: None,
            stale: None,
            carried: false,
        }
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
    pub(super) fn own(&self) -> Vec<usize> {
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

    /// Have the next [`System::newton`] start with these ionizing currents, edge by edge, as
    /// [`Assembly::ionizing`] gave them at a solution nearby. The fluxes of a predicted
    /// state are off by more than a leakage is.
    pub fn carry_from(&mut self, ionizing: &[[f64; 2]]) {
        self.carried = self.assembly.take_ionizing(ionizing);
    }

    /// Full Newton from `state`, `lambda` to a solution of device, circuit and constraint.
    /// On success the assembly holds residual and currents at the solution.
    pub fn newton(
        &mut self,
        state: &mut State,
        lambda: &mut [f64; 2],
        constraint: &Constraint,
    ) -> Result<NewtonInfo, NewtonError> {
        let ionizing =
            if std::mem::take(&mut self.carried) { Ionizing::Carried } else { Ionizing::Fluxes };
        if let Some(info) = self.at_rest(state, lambda, constraint)? {
            return Ok(info);
        }
        let mut info = NewtonInfo::default();
        self.apply_lambda(state, *lambda);
        let own = self.own();
        self.update_tests(state, true, ionizing)?;
        let mut evaluated = true;
        let mut previous = f64::INFINITY;
        let mut best_imbalance = f64::INFINITY;
        let mut chord = Chord::default();
        loop {
            // One step alone, however small, shows no contraction: just past a fold that lies
            // within the last step of a trace the next one is a thousand times larger.
            let alone = info.updates.len() == 1 && previous > self.params.update.powi(2);
            let settled = previous < self.params.update
                && chord.is_sure(previous, self.params.update)
                && !alone;
            if !std::mem::take(&mut evaluated) {
                let ionizing =
                    if chord.next { Ionizing::CarriedByChord } else { Ionizing::Carried };
                self.assembly.evaluate_with(self.device, state, !chord.next, ionizing);
            }
            let [sum, largest] = self.imbalance();
            let unbalanced = self.assembly.unbalanced * PER_UM;
            info.residuals.push(unbalanced / largest.max(1e-300));
            if !unbalanced.is_finite() {
                return Err(NewtonError::Diverged { info });
            }
            if settled {
                let allowed = self.params.imbalance * largest + self.params.imbalance_floor;
                // Below the noise of the fluxes further steps do not help.
                let noise = previous < 1e-8 && !chord.is_far() && sum >= 0.3 * best_imbalance;
                if sum <= allowed || noise {
                    if chord.is_far() {
                        self.refresh_linearization(state, *lambda, constraint, TANGENT);
                    }
                    return Ok(info);
                }
                if previous < 1e-8 && chord.is_far() {
                    // Only with new factors is it noise that keeps the rest alive.
                    (chord, previous) = (Chord::default(), f64::INFINITY);
                    continue;
                }
                best_imbalance = best_imbalance.min(sum);
            }
            if info.steps >= self.params.steps {
                return Err(NewtonError::NoConvergence { info });
            }
            let is_chord = chord.next;
            let mut f: Vec<f64> = self.assembly.residual.iter().map(|r| -r).collect();
            let mut g = if is_chord {
                self.closing_residual(state, *lambda, constraint)
            } else {
                let g = self.build_border(state, *lambda, constraint);
                self.factor_for(&f)?;
                g
            };
            let Some(factors) = &mut self.factors else { continue };
            let (matrix, border) = (&self.assembly.matrix, &self.border);
            let solved = factors.solve(&mut self.solver, matrix, border, &mut f, &mut g)?;
            self.work.solved(&solved);
            let size = self.apply(state, lambda, &own, &f, &g);
            info.updates.push(size);
            if is_chord {
                info.chords += 1;
                self.work.chord_steps += 1;
            } else {
                info.steps += 1;
                self.work.newton_steps += 1;
            }
            chord.after(is_chord, size, previous);
            chord.next &= self.params.chords;
            let lost = if is_chord {
                false
            } else if self.params.impatient {
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

    /// Test functions for the drive and for every own unknown at `state`, which is evaluated.
    pub(super) fn update_tests(
        &mut self,
        state: &State,
        jacobian: bool,
        ionizing: Ionizing,
    ) -> Result<(), LinearError> {
        self.assembly.evaluate_with(self.device, state, jacobian, ionizing);
        let mut groups = vec![self.circuit.drive.clone()];
        groups.extend(self.own().into_iter().map(|k| vec![k]));
        groups.extend((0..self.device.contacts.len()).map(|k| vec![k]));
        self.tests.update(self.device, state, &self.assembly, groups)
    }

    /// Factor the assembled Jacobian with its border.
    pub(super) fn factor(&mut self) -> Result<(), LinearError> {
        self.factor_for(&[])
    }

    /// The same, with `f` solved for on the way (empty: none).
    fn factor_for(&mut self, f: &[f64]) -> Result<(), LinearError> {
        let before = self.solver.work().pivoted_fronts;
        self.solver.factor(&self.assembly.matrix)?;
        self.work.factorizations += 1;
        self.work.pivoted_fronts += self.solver.work().pivoted_fronts - before;
        self.stale = None;
        let matrix = &self.assembly.matrix;
        self.factors =
            Some(BorderedFactors::with_first(&mut self.solver, matrix, &self.border, f)?);
        Ok(())
    }

    /// Evaluate and factor at a solved point, so that [`System::tangent`] is exact there.
    pub fn linearize(
        &mut self,
        state: &State,
        lambda: [f64; 2],
        constraint: &Constraint,
    ) -> Result<(), NewtonError> {
        self.update_tests(state, true, Ionizing::Fluxes)?;
        self.build_border(state, lambda, constraint);
        self.factor()?;
        Ok(())
    }

    /// Apply an update; returns its scaled size.
    pub(super) fn apply(
        &mut self,
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
        self.assembly.carry(self.device, du, t);
        let size = scaled_size(self.device, state, du, dy.get(1..).unwrap_or_default());
        state.correct_all(self.device, |i| {
            let d = &du[block * i..block * (i + 1)];
            let heat = d.get(3).copied().unwrap_or(0.0);
            [t * d[0] * vt, t * d[1] * DENSITY_SCALE, t * d[2] * DENSITY_SCALE, t * heat * SCALE_T]
        });
        *lambda = add_words(*lambda, t * dy[0]);
        for (r, &k) in own.iter().enumerate() {
            let volts = add_words(state.volts.get(k), t * dy[r + 1]);
            state.set_contact(self.device, k, volts);
        }
        self.apply_lambda(state, *lambda);
        size
    }
}
