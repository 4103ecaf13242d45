//! The space in which a branch is followed: drive voltage, drive current, and in smaller
//! weight what the other terminals do. The last part matters where voltage and current of
//! the drive turn almost together, while the inside of the device changes a lot.

use crate::discretize::{Circuit, Device, Tying, Words};

/// Units of the continuation space: V_s \[V\] and I₀ [A/µm].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneScale {
    pub voltage: f64,
    pub current: f64,
    /// Weight of the other terminals' coordinates.
    pub others: f64,
}

impl PlaneScale {
    /// asinh(I/I₀).
    pub fn log_current(&self, current: f64) -> f64 {
        (current / self.current).asinh()
    }

    /// d asinh(I/I₀)/dI.
    pub fn slope(&self, current: f64) -> f64 {
        1.0 / current.hypot(self.current)
    }
}

/// What a point or a tangent is at the terminals.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Terminals {
    /// Drive voltage \[V\] and drive current [A/µm].
    pub lambda: f64,
    pub current: f64,
    /// By contact: inside voltages \[V\] and currents [A/µm].
    pub volts: Vec<f64>,
    pub currents: Vec<f64>,
}

impl Terminals {
    /// Coordinates of a small change `self` about a point with drive current `current`
    /// and largest terminal current `largest`: \[δλ/V_s, δ asinh(I/I₀), then by contact
    /// its current over `largest` if it carries one, its voltage if it is open\].
    pub fn coordinates(
        &self,
        scale: PlaneScale,
        current: f64,
        largest: f64,
        open: &[bool],
    ) -> Vec<f64> {
        let mut out = vec![self.lambda / scale.voltage, self.current * scale.slope(current)];
        for (k, &open) in open.iter().enumerate() {
            out.push(if open {
                scale.others * self.volts[k] / scale.voltage
            } else {
                scale.others * self.currents[k] / (largest + scale.current)
            });
        }
        out
    }
}

/// A hyperplane across the branch: Σ direction·(change of the coordinates) = step, where
/// the drive current counts linearly about the one predicted at `step`.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    pub scale: PlaneScale,
    /// Unit vector of coordinates.
    pub direction: Vec<f64>,
    pub origin: Terminals,
    /// Largest terminal current at the origin [A/µm].
    pub largest: f64,
    pub open: Vec<bool>,
    pub step: f64,
    /// The inside's part, where terminals alone do not tell points apart.
    pub inside: Option<Inside>,
}

/// The inside's part of a plane: Σ factor·(change), linear in potentials and densities.
#[derive(Debug, Clone, PartialEq)]
pub struct Inside {
    /// By node: of ψ [1/V], n and p \[cm³\].
    pub factor: Vec<[f64; 3]>,
    /// At the origin: ψ \[V\], n and p [cm⁻³].
    pub psi: Words,
    pub densities: [Vec<f64>; 2],
}

impl Plane {
    /// The drive current expected at `step`: linear in asinh(I/I₀).
    pub fn predicted_current(&self) -> f64 {
        let w = self.scale.log_current(self.origin.current) + self.step * self.direction[1];
        self.scale.current * w.sinh()
    }

    /// Factor of contact `k`'s current (or voltage if open) in the plane's equation.
    pub fn factor(&self, k: usize) -> f64 {
        let unit = if self.open[k] {
            1.0 / self.scale.voltage
        } else {
            1.0 / (self.largest + self.scale.current)
        };
        self.direction[2 + k] * self.scale.others * unit
    }
}

/// Which contacts are open: their voltage is a coordinate, their current is not.
pub fn open_contacts(device: &Device, circuit: &Circuit) -> Vec<bool> {
    (0..device.contacts.len()).map(|k| circuit.ties[k] == Tying::Open).collect()
}
