//! The charge ledger of a transient: currents and recombination summed with the weights of
//! the integration itself, so that what went in and what is stored agree to rounding.

use crate::discretize::{Device, Flowing, State, Tie};
use crate::silicon::Q;
use crate::solve::PER_UM;

/// Charges since the beginning [C/µm].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ledger {
    /// Electron and hole charge through each contact, positive currents into the device.
    pub carriers: Vec<[f64; 2]>,
    /// By displacement, at each contact.
    pub displaced: Vec<f64>,
    /// Net recombination, avalanche and outside generation counted negative.
    pub recombined: f64,
    /// Magnitudes of everything above added up: the charge that was moved.
    pub moved: f64,
}

impl Ledger {
    /// Nothing yet.
    pub fn new(device: &Device) -> Ledger {
        Ledger {
            carriers: vec![[0.0; 2]; device.contacts.len()],
            displaced: vec![0.0; device.contacts.len()],
            ..Ledger::default()
        }
    }

    /// Add what flowed, each for a weight [s].
    pub(super) fn add(&mut self, parts: &[(f64, &Flowing)]) {
        for (weight, flowing) in parts {
            let w = weight * PER_UM;
            for (sum, c) in self.carriers.iter_mut().zip(&flowing.carriers) {
                sum[0] += w * c[0];
                sum[1] += w * c[1];
                self.moved += (w * c[0]).abs() + (w * c[1]).abs();
            }
            for (sum, d) in self.displaced.iter_mut().zip(&flowing.displacement) {
                *sum += w * d;
            }
            self.recombined += w * flowing.recombined;
            self.moved += (w * flowing.recombined).abs();
        }
    }

    /// Gain of stored electrons and holes in the free boxes that this ledger asks for
    /// [C/µm of their positive number]: electrons by −ΣI_n − U, holes by ΣI_p − U.
    pub fn gained(&self) -> [f64; 2] {
        let sum = |c: usize| self.carriers.iter().map(|q| q[c]).sum::<f64>();
        [-sum(0) - self.recombined, sum(1) - self.recombined]
    }
}

/// Free electrons and holes stored in the free boxes [C/µm of their positive number].
pub fn stored(device: &Device, state: &State) -> [f64; 2] {
    let mut sum = [0.0; 2];
    for i in 0..device.nodes() {
        if device.has_silicon(i) && device.ties[i] == Tie::Free {
            let area = Q * PER_UM * device.area[i];
            sum[0] += area * state.n[i];
            sum[1] += area * state.p[i];
        }
    }
    sum
}
