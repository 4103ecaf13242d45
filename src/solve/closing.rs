//! The scalar equations that close the device's: terminals with a voltage of their own, and
//! the constraint on the drive.

use rayon::prelude::*;

use crate::discretize::{State, Tying, two_sum};

use super::plane::Plane;
use super::system::{Constraint, PER_UM, System};
use super::weights::weighted_row;
use crate::linear::Border;

/// base + slope·λ as two words, so that a source follows λ to its last digit.
pub(super) fn source(base: f64, slope: f64, lambda: [f64; 2]) -> [f64; 2] {
    let s = two_sum(base, slope * lambda[0]);
    two_sum(s[0], s[1] + slope * lambda[1])
}

impl System<'_> {
    /// Border for the present assembly. Unknown 0 is λ, then the own voltages.
    pub(super) fn build_border(
        &mut self,
        state: &State,
        lambda: [f64; 2],
        constraint: &Constraint,
    ) -> Vec<f64> {
        // Test function 0 is the drive's, the next are the own unknowns'.
        let tests = 0..=self.own().len();
        let row = |r| self.tests.row(self.device, &self.assembly, r);
        let rows: Vec<Vec<f64>> = tests.into_par_iter().map(row).collect();
        let (border, g) = self.close(state, lambda, constraint, Some(&rows));
        self.drive_row = rows.into_iter().next().unwrap_or_default();
        self.border = border;
        g
    }

    /// Residual of the closing equations; the border stays as it is.
    pub(super) fn closing_residual(
        &self,
        state: &State,
        lambda: [f64; 2],
        constraint: &Constraint,
    ) -> Vec<f64> {
        self.close(state, lambda, constraint, None).1
    }

    /// Border and right-hand side of the closing equations; the border without its rows
    /// unless those of the test functions are given.
    fn close(
        &self,
        state: &State,
        lambda: [f64; 2],
        constraint: &Constraint,
        rows: Option<&[Vec<f64>]>,
    ) -> (Border, Vec<f64>) {
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
            let r = r + 1;
            let mut row = rows.map_or_else(Vec::new, |rows| rows[r].clone());
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
        match constraint {
            Constraint::Voltage(v) => {
                border.corner[0] = 1.0;
                g[0] = (v - lambda[0]) - lambda[1];
            }
            Constraint::Current(i) => {
                if let Some(rows) = rows {
                    border.rows[0] = rows[0].iter().map(|v| PER_UM * v).collect();
                }
                g[0] = i - self.drive_current_here();
            }
            Constraint::Plane(plane) => {
                g[0] = self.plane_row(plane, state, lambda, &own, &mut border, rows.is_some());
            }
        }
        (border, g)
    }

    /// Drive current [A/µm] by its test function.
    fn drive_current_here(&self) -> f64 {
        PER_UM * self.tests.current(self.device, &self.assembly, 0)
    }

    /// Test function of contact `k`'s own current: after the drive's and the own unknowns'.
    pub(super) fn contact_test(&self, k: usize) -> usize {
        1 + self.own().len() + k
    }

    /// The plane's equation: its right-hand side. It is linear in the currents about the predicted ones: while
    /// Newton is far from a solution its currents mean nothing, and asinh of them less.
    fn plane_row(
        &self,
        plane: &Plane,
        state: &State,
        lambda: [f64; 2],
        own: &[usize],
        border: &mut Border,
        rows: bool,
    ) -> f64 {
        let (scale, direction) = (plane.scale, &plane.direction);
        let predicted = plane.predicted_current();
        let slope = direction[1] * scale.slope(predicted);
        border.corner[0] = direction[0] / scale.voltage;
        // All currents in it by one weight, the sum of theirs.
        let drive = if rows { self.tests.weight(0) } else { &[] };
        let mut weight: Vec<f64> = drive.iter().map(|w| slope * PER_UM * w).collect();
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
                let own = self.tests.weight(test);
                weight.iter_mut().zip(own).for_each(|(w, own)| *w += factor * PER_UM * own);
                let here = PER_UM * self.tests.current(self.device, &self.assembly, test);
                rest -= factor * (here - plane.origin.currents[k]);
            }
        }
        if rows {
            border.rows[0] = weighted_row(self.device, &self.assembly, &weight);
        }
        if let Some(inside) = &plane.inside {
            let (block, scale) = (self.device.block(), self.device.scale());
            let [n, p] = &inside.densities;
            for (i, factor) in inside.factor.iter().enumerate() {
                let moved =
                    [state.psi.difference_to(&inside.psi, i), state.n[i] - n[i], state.p[i] - p[i]];
                for (u, (factor, moved)) in factor.iter().zip(moved).enumerate() {
                    if let Some(v) = border.rows[0].get_mut(block * i + u) {
                        *v += factor * scale[u];
                    }
                    rest -= factor * moved;
                }
            }
        }
        rest
    }
}
