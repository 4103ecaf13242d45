//! One implicit stage of a transient: full Newton on device, storage and circuit.

use crate::discretize::{Flowing, Ionizing, Stage, State, Tying};
use crate::linear::Border;

use super::closing::source;
use super::system::{NewtonError, NewtonInfo, PER_UM, System};

/// |ΣI| that a stage may leave, relative to the largest terminal current.
const IMBALANCE: f64 = 1e-10;

/// Relative error that a stage may leave in any density: far below that of the step in
/// time, and small enough for the balance of the currents, which is checked beside it.
const LEFT: f64 = 1e-8;

/// Scaled update below which the next step takes the factors at hand.
const CHORD: f64 = 2e-2;

/// A chord step that contracts less than this is followed by a Newton step.
const SLOWEST: f64 = 0.1;

/// The error left after an update of size `size`, `previous` before it. A Newton step
/// leaves its square. A chord step leaves what it contracts by; the first one after a
/// Newton step knows half of that from its size (see `chord.rs`). Nothing is known after
/// a first chord step with the factors of another stage.
fn left(is_chord: bool, after_newton: bool, size: f64, previous: f64) -> f64 {
    match (is_chord, after_newton) {
        (false, _) => size * size,
        (true, true) => 2.0 * size * size / previous,
        (true, false) => size * size / previous.min(1.0),
    }
}

/// A solved stage.
#[derive(Debug, Clone, Default)]
pub struct Staged {
    pub info: NewtonInfo,
    pub flowing: Flowing,
}

impl Staged {
    /// Total current into the device by contact, displacement included [A/µm].
    pub fn currents(&self) -> Vec<f64> {
        let each = self.flowing.carriers.iter().zip(&self.flowing.displacement);
        each.map(|(c, d)| PER_UM * (c[0] + c[1] + d)).collect()
    }
}

/// What stands outside the device beside the sources, by contact; lists may be short.
#[derive(Debug, Clone, Copy, Default)]
pub struct Outside<'a> {
    /// Current forced into open contacts, displacement included [A/µm].
    pub forced: &'a [f64],
    /// Capacitances to ground [F/µm].
    pub capacitance: &'a [f64],
}

impl System<'_> {
    /// Solve `stage` from the guess `state`. Sources stand at their `base`; a contact that
    /// is open carries `outside.forced[k]`, shared with its capacitance. `again` says that the last
    /// stage solved had the same `alpha` and a state nearby: its factors are tried first.
    /// Errors: as [`System::newton`].
    pub fn staged(
        &mut self,
        state: &mut State,
        stage: &Stage,
        outside: &Outside,
        again: bool,
    ) -> Result<Staged, NewtonError> {
        let mut out = Staged::default();
        self.apply_lambda(state, [0.0; 2]);
        let own = self.own();
        // Any weights are right; those of the stage before are as good for one nearby.
        if !own.is_empty() && !again {
            self.update_tests(state, false, Ionizing::Fluxes)?;
        }
        let mut lambda = [0.0; 2];
        let (mut previous, mut best, mut error) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
        let mut ionizing = Ionizing::Fluxes;
        let mut chord = again && self.factors.is_some();
        let mut after_newton = false;
        loop {
            self.assembly.evaluate_with(self.device, state, !chord, ionizing);
            ionizing = Ionizing::Carried;
            out.flowing = stage.add(self.device, state, &mut self.assembly, !chord);
            if !self.assembly.unbalanced.is_finite() {
                return Err(NewtonError::Diverged { info: out.info });
            }
            if error < LEFT {
                let currents = out.currents();
                let largest = currents.iter().fold(0.0f64, |m, c| m.max(c.abs()));
                let sum = currents.iter().sum::<f64>().abs();
                let allowed = IMBALANCE * largest + self.params.imbalance_floor;
                // Below the noise of fluxes and storage further steps do not help.
                if sum <= allowed || sum >= 0.3 * best {
                    return Ok(out);
                }
                best = best.min(sum);
            }
            if out.info.steps >= self.params.steps {
                return Err(NewtonError::NoConvergence { info: out.info });
            }
            let mut g = self.staged_border(state, stage, &out.flowing, outside, chord);
            if !chord {
                self.factor()?;
            }
            let mut f: Vec<f64> = self.assembly.residual.iter().map(|r| -r).collect();
            let Some(factors) = &mut self.factors else { continue };
            let (matrix, border) = (&self.assembly.matrix, &self.border);
            let solved = factors.solve(&mut self.solver, matrix, border, &mut f, &mut g)?;
            self.work.solved(&solved);
            let size = self.apply(state, &mut lambda, &own, &f, &g);
            out.info.steps += 1;
            self.work.newton_steps += 1;
            out.info.updates.push(size);
            let steps = out.info.steps;
            error = left(chord, after_newton, size, previous);
            after_newton = !chord;
            // Near the solution the last factors do: they gain what the state has moved.
            chord = size < CHORD && (!chord || size < SLOWEST * previous);
            let lost = (steps > 4 && size > 20.0) || (steps > 3 && size > 3.0 && size > previous);
            if !size.is_finite() || lost {
                return Err(NewtonError::Diverged { info: out.info });
            }
            previous = size;
        }
    }

    /// Border of a stage: an idle unknown in the place of λ, then the own voltages.
    fn staged_border(
        &mut self,
        state: &State,
        stage: &Stage,
        flowing: &Flowing,
        outside: &Outside,
        chord: bool,
    ) -> Vec<f64> {
        let own = self.own();
        let m = own.len() + 1;
        let mut border = Border {
            columns: vec![Vec::new(); m],
            rows: vec![Vec::new(); m],
            corner: vec![0.0; m * m],
        };
        border.corner[0] = 1.0;
        let mut g = vec![0.0; m];
        let (vt, block) = (self.device.silicon.vt, self.device.block());
        let place = |k: usize| own.iter().position(|&o| o == k);
        for (k, contact) in self.device.contacts.iter().enumerate() {
            let leader = match self.circuit.ties[k] {
                // The outside of a leader behind a resistance is its source: no unknown.
                Tying::Follows(other) => match self.circuit.ties[other] {
                    Tying::Source { .. } => continue,
                    _ => other,
                },
                _ => k,
            };
            let Some(at) = place(leader) else { continue };
            for &node in &contact.nodes {
                border.columns[1 + at].push((block as u32 * node, -1.0 / vt));
            }
        }
        for (r, &k) in own.iter().enumerate() {
            let r = r + 1;
            let mut row = self.tests.row(self.device, &self.assembly, r);
            let mut current = self.tests.current(self.device, &self.assembly, r);
            let w = self.tests.weight(r);
            for edge in &self.device.edges {
                let (a, b) = (edge.a as usize, edge.b as usize);
                let through = -(w[a] - w[b]) * edge.permittance;
                if through != 0.0 {
                    current += through * (flowing.rate.psi[b] - flowing.rate.psi[a]);
                    row[block * b] += through * stage.alpha * vt;
                    row[block * a] -= through * stage.alpha * vt;
                }
            }
            // The capacitance takes its part of the current; A/cm as the device's.
            let capacitance = outside.capacitance.get(k).copied().unwrap_or(0.0) / PER_UM;
            current += capacitance * flowing.rate.volts.get(k).copied().unwrap_or(0.0);
            match self.circuit.ties[k] {
                Tying::Source { base, slope, resistance } => {
                    let ohms = resistance * PER_UM;
                    row.iter_mut().for_each(|v| *v *= ohms);
                    border.corner[r * m + r] = 1.0 + ohms * capacitance * stage.alpha;
                    let [hi, lo] = source(base, slope, [0.0; 2]);
                    let volts = &state.volts;
                    g[r] = -((volts.hi[k] - hi) + (volts.lo[k] - lo) + ohms * current);
                }
                _ => {
                    let forced = outside.forced.get(k).copied().unwrap_or(0.0);
                    g[r] = forced / PER_UM - current;
                    border.corner[r * m + r] = capacitance * stage.alpha;
                }
            }
            border.rows[r] = row;
        }
        if !chord {
            self.border = border;
        }
        g
    }
}
