//! Decoupled iteration: Poisson, then both continuity equations side by side. It starts
//! cold cases and rescues Newton; it converges linearly and slowly at high injection.
//! Source: Gummel, IEEE Trans. Electron Devices 11, 455 (1964).

use crate::discretize::{Assembly, Cell, Device, NONE, State, Tie, generation};
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
    /// potential moves by more than `tolerance` V_T. Returns the last change [V_T] and the
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
            let generated = self.generation(device, state);
            let (frozen, assembly) = (&*state, &self.assembly);
            let (electrons, holes) = (&mut self.electrons, &mut self.holes);
            // Each sees the other's density of the last round: the two are independent.
            let (n, p) = rayon::join(
                || carrier(device, frozen, assembly, &generated, electrons, Carrier::Electron),
                || carrier(device, frozen, assembly, &generated, holes, Carrier::Hole),
            );
            let (n, p) = (n?, p?);
            change = 0.0;
            for i in 0..device.nodes() {
                if device.ties[i] != Tie::Free || !device.has_silicon(i) {
                    continue;
                }
                let (ln_n, ln_p) = (n[i].ln() - state.n[i].ln(), p[i].ln() - state.p[i].ln());
                change = change.max(ln_n.abs()).max(ln_p.abs());
                state.move_densities(device, i, [ln_n, ln_p]);
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

    /// q·(avalanche generation)·area at each node [A/cm], from the last fluxes.
    fn generation(&self, device: &Device, state: &State) -> Vec<f64> {
        let silicon = &device.silicon;
        let mut out = vec![0.0; device.nodes()];
        if silicon.avalanche.is_off() {
            return out;
        }
        for (i, sum) in out.iter_mut().enumerate() {
            let t = state.local(device, i).temperature;
            for q in device.quarters[i].iter().filter(|q| q.area > 0.0) {
                let [x, y] = [q.x_direction, q.y_direction]
                    .map(|d| &self.assembly.edges[device.node_edges[i][d as usize] as usize]);
                let field = [x.field, y.field];
                for (c, current) in [
                    (Carrier::Electron, [x.n.current, y.n.current]),
                    (Carrier::Hole, [x.p.current, y.p.current]),
                ] {
                    if let Some(g) = generation(silicon, c, Cell { current, field }, t) {
                        *sum += q.area * g.rate;
                    }
                }
            }
        }
        out
    }
}

/// One carrier's continuity equation, linear in its density: recombination as
/// coefficient·(n·p_old − nie²), avalanche from the last round. Returns the densities.
fn carrier(
    device: &Device,
    state: &State,
    assembly: &Assembly,
    generated: &[f64],
    system: &mut ScalarSystem,
    carrier: Carrier,
) -> Result<Vec<f64>, LinearError> {
    let electron = carrier == Carrier::Electron;
    let (own, other) = if electron { (&state.n, &state.p) } else { (&state.p, &state.n) };
    system.clear();
    for i in 0..device.nodes() {
        if device.ties[i] != Tie::Free || !device.has_silicon(i) {
            system.add(device, i, 0, 1.0);
            system.rhs[i] = own[i].max(f64::MIN_POSITIVE);
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
            system.add(device, i, 0, Q * size * coefficient * other[i]);
            system.rhs[i] += Q * size * coefficient * nie * nie;
        }
        system.rhs[i] += generated[i];
    }
    let solution = system.solve()?;
    Ok(solution
        .iter()
        .zip(own)
        .map(|(s, old)| if *s > 0.0 { *s } else { (0.1 * old).max(f64::MIN_POSITIVE) })
        .collect())
}
