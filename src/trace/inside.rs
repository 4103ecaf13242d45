//! The inside of the device as a coordinate of the arclength, beside the terminals.

use crate::discretize::{Device, Tie};
use crate::solve::Inside;

use super::point::{Point, dot, scaled};

/// A density's scale: far below intrinsic it carries nothing.
fn density_scale(device: &Device, i: usize, density: f64) -> f64 {
    density + 1e-8 * device.nie[i]
}

impl Point {
    /// The same point with `weight` on the inside: where all terminals turn back together
    /// while the inside goes on (a filament that moves from node to node), it alone tells
    /// the points before from those after.
    pub fn weighing(mut self, device: &Device, weight: f64) -> Point {
        self.inside = weight;
        let (t, s) = (&self.tangent, &self.state);
        let moves = |i: usize| {
            if device.ties[i] != Tie::Free {
                return [0.0; 3];
            }
            if !device.has_silicon(i) {
                return [t.psi[i], 0.0, 0.0];
            }
            let share = |density| density / density_scale(device, i, density);
            let (up, down) = (t.psi[i] - t.phi_n[i], t.phi_p[i] - t.psi[i]);
            [t.psi[i], up * share(s.n[i]), down * share(s.p[i])]
        };
        self.moves = (0..device.nodes()).map(moves).collect();
        let length = self.along(&self).sqrt();
        self.stretched(1.0 / length)
    }

    pub(super) fn stretched(mut self, factor: f64) -> Point {
        self.direction.iter_mut().for_each(|x| *x *= factor);
        self.moves.iter_mut().flatten().for_each(|x| *x *= factor);
        self.tangent = scaled(self.tangent, factor);
        self
    }

    /// Whether more flows than a leakage, whose densities are known to few digits.
    pub(super) fn beyond_leakage(&self) -> bool {
        self.largest > 0.1 * self.scale.current
    }

    /// Whether it may help to weigh the inside.
    pub fn may_weigh_inside(&self) -> bool {
        !self.weighs_inside() && self.beyond_leakage()
    }

    /// Whether the inside counts in the arclength.
    pub fn weighs_inside(&self) -> bool {
        self.inside > 0.0
    }

    /// Mean square of the inside's movement over the terminals'.
    pub fn inner_share(&self) -> f64 {
        let moves = self.moves.as_flattened();
        let unit = self.scale.voltage * self.scale.voltage * self.moves.len() as f64;
        dot(moves, moves) / (unit * dot(&self.direction, &self.direction))
    }

    /// Product of the directions here and at `other`, in the units here.
    pub(super) fn along(&self, other: &Point) -> f64 {
        let unit = self.inside / self.scale.voltage;
        dot(&self.direction, &other.direction)
            + unit * unit * dot(self.moves.as_flattened(), other.moves.as_flattened())
    }

    /// The inside's part of the hyperplane across the branch here, if it counts.
    pub(super) fn inside_of_plane(&self, device: &Device) -> Option<Inside> {
        self.weighs_inside().then(|| {
            let unit = (self.inside / self.scale.voltage).powi(2);
            let (s, vt) = (&self.state, device.silicon.vt);
            let factor = |(i, [psi, n, p]): (usize, &[f64; 3])| {
                let per = |density| unit * vt / density_scale(device, i, density);
                [unit * psi, per(s.n[i]) * n, per(s.p[i]) * p]
            };
            Inside {
                factor: self.moves.iter().enumerate().map(factor).collect(),
                psi: s.psi.clone(),
                densities: [s.n.clone(), s.p.clone()],
            }
        })
    }

    /// Square of how far the inside of `other` is from here [V²], summed over the nodes.
    pub(super) fn moved(&self, device: &Device, other: &Point) -> f64 {
        let (a, b) = (&self.state, &other.state);
        let of = |i: usize| {
            let psi = b.psi.difference_to(&a.psi, i);
            if device.ties[i] != Tie::Free || !device.has_silicon(i) {
                return psi * psi;
            }
            let ln = |from: f64, to: f64| {
                (to / from).ln() * device.silicon.vt * from / density_scale(device, i, from)
            };
            let (n, p) = (ln(a.n[i], b.n[i]), ln(a.p[i], b.p[i]));
            psi * psi + n * n + p * p
        };
        (0..device.nodes()).map(of).sum()
    }
}
