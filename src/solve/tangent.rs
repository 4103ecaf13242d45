//! The direction in which a solved state moves along its branch.

use rayon::prelude::*;

use crate::discretize::{DENSITY_SCALE, SCALE_T, State, Tie};

use super::plane::Terminals;
use super::system::{PER_UM, System};

/// Direction along a branch: derivatives of everything by the constraint's value.
#[derive(Debug, Clone, Default)]
pub struct Tangent {
    /// dψ, dφ_n, dφ_p \[V\] by node, and with heat dT \[K\], else empty.
    pub psi: Vec<f64>,
    pub phi_n: Vec<f64>,
    pub phi_p: Vec<f64>,
    pub temperature: Vec<f64>,
    /// Drive voltage and current, voltages and currents by contact.
    pub terminals: Terminals,
}

impl System<'_> {
    /// Tangent at the point last solved, by the constraint's value. If its Jacobian is not
    /// the factored one, the factors refine the answer; if they are too old, they are made
    /// anew.
    pub fn tangent(&mut self, state: &State) -> Option<Tangent> {
        let (n, block) = (self.device.nodes(), self.device.block());
        let factors = self.factors.as_ref()?;
        let (device, border) = match self.stale {
            None => factors.unit(block * n, 0)?,
            Some(tolerance) => {
                let (matrix, border) = (&self.assembly.matrix, &self.border);
                let sweeps = &mut self.work.tangent_sweeps;
                match factors.unit_near(&mut self.solver, matrix, border, 0, tolerance, sweeps) {
                    Some(near) => near,
                    None => {
                        self.factor().ok()?;
                        self.factors.as_ref()?.unit(block * n, 0)?
                    }
                }
            }
        };
        let vt = self.device.silicon.vt;
        let own = self.own();
        let mut t = Tangent {
            psi: vec![0.0; n],
            phi_n: vec![0.0; n],
            phi_p: vec![0.0; n],
            temperature: vec![0.0; if block == 4 { n } else { 0 }],
            terminals: Terminals {
                lambda: border[0],
                current: 0.0,
                volts: vec![0.0; self.circuit.ties.len()],
                currents: vec![0.0; self.circuit.ties.len()],
            },
        };
        for (i, d) in device.chunks_exact(block).enumerate() {
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
            t.terminals.volts[k] = border[r + 1];
        }
        let product =
            |row: &[f64]| PER_UM * row.iter().zip(&device).map(|(v, x)| v * x).sum::<f64>();
        t.terminals.current = product(&self.drive_row);
        let currents = t.terminals.currents.par_iter_mut().zip(&self.device.contacts).enumerate();
        currents.filter(|(_, (_, contact))| !contact.is_gate).for_each(|(k, (current, _))| {
            *current = product(&self.tests.row(self.device, &self.assembly, self.contact_test(k)));
        });
        Some(t)
    }
}
