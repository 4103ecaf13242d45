//! Incomplete ionization of dopants: Altermatt, Schenk, Heiser, J. Appl. Phys. 100, 113714
//! and 113715 (2006), parameters of Table I of the second part (Table III does not give
//! the published figure).

use crate::case::Constants;

use super::dual::Dual;
use super::{K_B, Q};

/// Both dopants' levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IonizationLaw {
    donors: Level,
    acceptors: Level,
}

/// One dopant: its level moves up and its bound states vanish as the density grows, so
/// that above the metal-insulator transition all dopants are ionized.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Level {
    /// Of a lone dopant [eV].
    energy: f64,
    n_ref: f64,
    c: f64,
    n_b: f64,
    d: f64,
    /// Over the degeneracy of the level.
    weight: f64,
    /// Density of states [cm⁻³] at 300 K and its power of T.
    states: f64,
    states_exponent: f64,
}

/// Ionized share (0 to 1) and its derivatives by the majority density \[cm³\] and T [K⁻¹].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IonizedShare {
    pub value: f64,
    pub by_density: f64,
    pub by_temperature: f64,
}

impl Level {
    /// 1 − b n/(n + g n₁) with n₁ = N exp(−E/kT).
    fn share(&self, dopants: f64, density: f64, temperature: f64) -> IonizedShare {
        let dopants = dopants.max(0.0);
        let energy = self.energy / (1.0 + (dopants / self.n_ref).powf(self.c));
        let bound = 1.0 / (1.0 + (dopants / self.n_b).powf(self.d));
        let n = Dual::<2>::variable(density.max(0.0), 0);
        let t = Dual::<2>::variable(temperature, 1);
        let states = self.weight * self.states * (t / 300.0).powf(self.states_exponent);
        let empty = states * (-(energy * Q / K_B) / t).exp();
        let share = 1.0 - bound * n / (n + empty);
        let [by_density, by_temperature] = share.by;
        IonizedShare { value: share.value, by_density, by_temperature }
    }
}

impl IonizationLaw {
    /// With the constants in force.
    pub fn new(constants: &Constants) -> IonizationLaw {
        let get = |key: &str| constants.get("altermatt-2006", key);
        let level = |s: &str, band: &str, degeneracy: f64| Level {
            energy: get(&format!("e_{s}")),
            n_ref: get(&format!("n_ref_{s}")),
            c: get(&format!("c_{s}")),
            n_b: get(&format!("n_b_{s}")),
            d: get(&format!("d_{s}")),
            weight: 1.0 / degeneracy,
            states: get(&format!("n_{band}")),
            states_exponent: get(&format!("n_{band}_exponent")),
        };
        IonizationLaw { donors: level("d", "c", 2.0), acceptors: level("a", "v", 4.0) }
    }

    /// Share of `donors` [cm⁻³] that are ionized beside `n` electrons [cm⁻³] at T \[K\].
    pub fn donors(&self, donors: f64, n: f64, temperature: f64) -> IonizedShare {
        self.donors.share(donors, n, temperature)
    }

    /// Share of `acceptors` [cm⁻³] that are ionized beside `p` holes [cm⁻³] at T \[K\].
    pub fn acceptors(&self, acceptors: f64, p: f64, temperature: f64) -> IonizedShare {
        self.acceptors.share(acceptors, p, temperature)
    }
}
