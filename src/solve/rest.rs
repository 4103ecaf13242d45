//! A device at rest: all its ohmic terminals stand at one voltage, gates anywhere. Nothing
//! flows, both quasi-Fermi potentials are that voltage everywhere, the lattice is at
//! ambient temperature, and Poisson's equation is all that is left. Newton on the full
//! system would look for the charge under a gate through the generation that feeds it, in
//! a system that is singular to working precision; this is exact.

use crate::discretize::{State, Tie};

use super::equilibrium::potential;
use super::scalar::ScalarSystem;
use super::system::{Constraint, NewtonError, NewtonInfo, System};

/// Change of ψ [V_T] at which Poisson's equation is solved: the error is its square.
const TOLERANCE: f64 = 1e-9;

impl System<'_> {
    /// Solve at the constraint's voltage if that leaves the device at rest.
    pub(super) fn at_rest(
        &mut self,
        state: &mut State,
        lambda: &mut [f64; 2],
        constraint: &Constraint,
    ) -> Result<Option<NewtonInfo>, NewtonError> {
        let Constraint::Voltage(drive) = *constraint else { return Ok(None) };
        if !self.own().is_empty() {
            return Ok(None);
        }
        let mut next = state.clone();
        self.apply_lambda(&mut next, [drive, 0.0]);
        let Some(volts) = self.common_voltage(&next) else { return Ok(None) };
        let device = self.device;
        for i in 0..device.nodes() {
            next.set_temperature(device, i, [device.silicon.temperature, 0.0]);
            if device.ties[i] == Tie::Free && device.has_silicon(i) {
                next.phi_n.set(i, volts, 0.0);
                next.phi_p.set(i, volts, 0.0);
            }
        }
        for k in 0..device.contacts.len() {
            let volts = next.volts.get(k);
            next.set_contact(device, k, volts);
        }
        next.refresh(device);
        let mut poisson = ScalarSystem::new(device)?;
        let info = potential(device, &mut next, &mut poisson, TOLERANCE)?;
        *state = next;
        *lambda = [drive, 0.0];
        // For the tangent. Where an isolated charge makes it singular there is none.
        if self.linearize(state, *lambda, constraint).is_err() {
            self.factors = None;
        }
        self.assembly.evaluate(device, state, false);
        Ok(Some(info))
    }

    /// The voltage that all ohmic terminals share to the last digit.
    fn common_voltage(&self, state: &State) -> Option<[f64; 2]> {
        let mut ohmic = (0..self.device.contacts.len())
            .filter(|&k| !self.device.contacts[k].is_gate)
            .map(|k| state.volts.get(k));
        let first = ohmic.next()?;
        ohmic.all(|v| v == first).then_some(first)
    }
}
