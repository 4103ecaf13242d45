//! Poisson's equation with the quasi-Fermi potentials held: equilibrium, and the first
//! half of every Gummel round.

use crate::discretize::{Device, NONE, State, Tie, ionized};
use crate::silicon::Q;

use super::scalar::ScalarSystem;
use super::system::{NewtonError, NewtonInfo};

/// Largest change of ψ in one step of the potential solve, in V_T.
const LIMIT: f64 = 20.0;

/// Solve Poisson for ψ with φ_n, φ_p as they are; n and p follow. Damped Newton on a
/// convex problem: it converges from any start.
pub fn potential(
    device: &Device,
    state: &mut State,
    system: &mut ScalarSystem,
    tolerance: f64,
) -> Result<NewtonInfo, NewtonError> {
    let vt = device.silicon.vt;
    let silicon = &device.silicon;
    let mut info = NewtonInfo::default();
    for _ in 0..200 {
        system.clear();
        for i in 0..device.nodes() {
            if device.ties[i] != Tie::Free {
                system.add(device, i, 0, 1.0);
                continue;
            }
            let mut residual = device.fixed_charge[i];
            for (d, &e) in device.node_edges[i].iter().enumerate() {
                if e == NONE {
                    continue;
                }
                let edge = &device.edges[e as usize];
                let drop = state.psi.difference(edge.b as usize, edge.a as usize);
                let s = if edge.a as usize == i { 1.0 } else { -1.0 };
                residual += s * edge.permittance * drop;
                system.add(device, i, 0, -edge.permittance);
                system.add(device, i, d + 1, edge.permittance);
            }
            let q = Q * device.area[i];
            if device.has_silicon(i) {
                let (n, p) = (state.n[i], state.p[i]);
                let here = state.local(device, i);
                // Densities by ψ with the quasi-Fermi potentials held.
                let (by_n, by_p) = (n / state.filling(i, 0).slope, p / state.filling(i, 1).slope);
                if silicon.incomplete() {
                    let [donors, acceptors] = device.dopants[i];
                    let ions = ionized(silicon, donors, acceptors, [n, p], here.temperature);
                    residual += q * ((p - ions.acceptors) - (n - ions.donors));
                    let [bound_n, bound_p] = ions.by_density.map(|d| 1.0 - d);
                    system.add(device, i, 0, -q * (bound_p * by_p + bound_n * by_n) / here.vt);
                } else {
                    residual += q * (p - n + device.net[i]);
                    system.add(device, i, 0, -q * (by_p + by_n) / here.vt);
                }
            }
            system.rhs[i] = -residual;
        }
        let delta = system.solve()?.to_vec();
        let mut size = 0.0f64;
        for (i, d) in delta.iter().enumerate() {
            if device.ties[i] == Tie::Free {
                let x = d / vt;
                size = size.max(x.abs());
                // Logarithmic limit: full steps when small, bounded when far.
                let limited = x.signum()
                    * if x.abs() > 1.0 { (1.0 + x.abs().ln()).min(LIMIT) } else { x.abs() };
                state.psi.add(i, limited * vt);
            }
        }
        state.refresh(device);
        info.steps += 1;
        info.updates.push(size);
        if !size.is_finite() {
            return Err(NewtonError::Diverged { info });
        }
        if size < tolerance {
            return Ok(info);
        }
    }
    Err(NewtonError::NoConvergence { info })
}

/// Thermal equilibrium: every contact at 0 V, both quasi-Fermi potentials exactly 0.
pub fn equilibrium(device: &Device) -> Result<(State, NewtonInfo), NewtonError> {
    let mut state = State::neutral(device);
    let mut system = ScalarSystem::new(device)?;
    let info = potential(device, &mut state, &mut system, 1e-10)?;
    Ok((state, info))
}
