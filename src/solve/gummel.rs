//! Decoupled iteration: Poisson, then both continuity equations side by side. It starts
//! cold cases and rescues Newton; it converges linearly and slowly at high injection.
//! Source: Gummel, IEEE Trans. Electron Devices 11, 455 (1964).

use crate::discretize::{Assembly, Device, NONE, State, Tie};
use crate::linear::LinearError;
use crate::silicon::{Carrier, Q};

use super::equilibrium::potential;
use super::scalar::ScalarSystem;
use super::system::NewtonError;

/// Work space of the decoupled iteration.
pub struct Gummel {
    poisson: ScalarSystem,
    electrons: ScalarSystem,
    holes: ScalarSystem,
    assembly: Assembly,
}

impl Gummel {
    /// Analyse once for a device.
    pub fn new(device: &Device) -> Result<Gummel, LinearError> {
        Ok(Gummel {
            poisson: ScalarSystem::new(device)?,
            electrons: ScalarSystem::new(device)?,
            holes: ScalarSystem::new(device)?,
            assembly: Assembly::new(device),
        })
    }

    /// Up to `rounds` rounds from `state`, contacts as they are, until no quasi-Fermi
    /// potential moves by more than `tolerance` V_T. Returns the last change \[V_T\] and the
    /// number of rounds.
    pub fn iterate(
        &mut self,
        device: &Device,
        state: &mut State,
        rounds: u32,
        tolerance: f64,
    ) -> Result<(f64, u32), NewtonError> {
        let mut change = f64::INFINITY;
        for round in 1..=rounds {
            potential(device, state, &mut self.poisson, 1e-6)?;
            self.assembly.evaluate(device, state, false);
            let (frozen, assembly) = (&*state, &self.assembly);
            let (electrons, holes) = (&mut self.electrons, &mut self.holes);
            // Each sees the other's density of the last round: the two are independent.
            let (n, p) = rayon::join(
                || carrier(device, frozen, assembly, electrons, Carrier::Electron),
                || carrier(device, frozen, assembly, holes, Carrier::Hole),
            );
            let (n, p) = (n?, p?);
            change = 0.0;
            for i in 0..device.nodes() {
                if device.ties[i] != Tie::Free || !device.has_silicon(i) {
                    continue;
                }
                for relative in [n[i] / state.n[i], p[i] / state.p[i]] {
                    change = change.max(relative.max(-0.9).ln_1p().abs());
                }
                state.correct(device, i, [0.0, n[i], p[i], 0.0]);
            }
            if !change.is_finite() {
                return Err(NewtonError::Diverged { info: Default::default() });
            }
            if change < tolerance {
                return Ok((change, round));
            }
        }
        Ok((change, rounds))
    }
}

/// One carrier's continuity equation, linear in its density: recombination as
/// coefficient·(n·p_old − nie²), avalanche from the last round. Solved for the change of
/// the density [cm⁻³], so that currents that are small differences keep their digits.
fn carrier(
    device: &Device,
    state: &State,
    assembly: &Assembly,
    system: &mut ScalarSystem,
    carrier: Carrier,
) -> Result<Vec<f64>, LinearError> {
    let electron = carrier == Carrier::Electron;
    let other = if electron { &state.p } else { &state.n };
    let block = device.block();
    system.clear();
    for (i, &other) in other.iter().enumerate() {
        if device.ties[i] != Tie::Free || !device.has_silicon(i) {
            system.add(device, i, 0, 1.0);
            continue;
        }
        for (d, &e) in device.node_edges[i].iter().enumerate() {
            if e == NONE {
                continue;
            }
            let edge = &device.edges[e as usize];
            if edge.face == 0.0 {
                continue;
            }
            let flow = &assembly.edges[e as usize];
            let [at_a, at_b] = if electron { flow.n.rate } else { flow.p.rate };
            // Outflow of carriers from i: K (c_i B(−Δ_i) − c_o B(Δ_i)).
            let (mine, theirs) = if edge.a as usize == i { (at_a, at_b) } else { (at_b, at_a) };
            system.add(device, i, 0, mine * edge.face);
            system.add(device, i, d + 1, -theirs * edge.face);
        }
        let (at, _) = state.recombination_point(device, i);
        let (nie, excess) = (at.nie.value, at.excess);
        let volume = device.silicon.recombination.rate(&at);
        let surface = device.silicon.surface.rate(&at);
        for (size, r) in [(device.area[i], volume), (device.interface[i], surface)] {
            // rate/(np − nie²), by its limit in equilibrium.
            let coefficient = if excess.abs() > 1e-8 {
                r.rate / (nie * nie * excess)
            } else {
                r.by_n / state.p[i].max(f64::MIN_POSITIVE)
            };
            system.add(device, i, 0, Q * size * coefficient * other);
        }
        // The outflow of carriers that is too large, by the clean fluxes.
        let [electrons, holes] = [1, 2].map(|k| assembly.residual[block * i + k]);
        system.rhs[i] = if electron { electrons } else { -holes };
    }
    Ok(system.solve()?.to_vec())
}
