//! Incomplete ionization: Altermatt, Schenk, Heiser et al., J. Appl. Phys. 100, 113714 and
//! 113715 (2006).

use holdpoint::case::{Constants, ElectronRow};
use holdpoint::silicon::IonizationLaw;

use super::ledger::{Within, check};

/// Share that is ionized in neutral silicon of one dopant [cm⁻³]: n = N·share(n), by
/// bisection (the share falls with n).
fn neutral(law: &IonizationLaw, donors: bool, dopants: f64, t: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..80 {
        let x = 0.5 * (low + high);
        let share = if donors {
            law.donors(dopants, x * dopants, t)
        } else {
            law.acceptors(dopants, x * dopants, t)
        };
        if share.value > x { low = x } else { high = x }
    }
    low
}

fn smallest(law: &IonizationLaw, donors: bool) -> f64 {
    (0..=400)
        .map(|k| neutral(law, donors, 10f64.powf(17.0 + k as f64 / 100.0 * 0.75), 300.0))
        .fold(1.0, f64::min)
}

#[test]
fn ionized_share_at_300_k() {
    let law = |row| IonizationLaw::new(&Constants::with_electrons(row));
    let (phosphorus, arsenic) = (law(ElectronRow::Phosphorus), law(ElectronRow::Arsenic));
    // Solved outside from Table I, N_c and N_v of Green 1990; in brackets read off the
    // paper's figure: 0.766, 0.656, 0.739.
    for (what, table, figure, ours) in [
        ("P", 0.756, 0.766, smallest(&phosphorus, true)),
        ("As", 0.661, 0.656, smallest(&arsenic, true)),
        ("B", 0.727, 0.739, smallest(&phosphorus, false)),
    ] {
        let source = "Altermatt 2006";
        check(source, &format!("smallest share, {what}"), table, ours, Within::Absolute(2e-3));
        let what = format!("smallest share, {what}, read off");
        check(source, &what, figure, ours, Within::Absolute(0.02));
    }
    for (n, share) in [(1.2e18, 0.752), (4.2e18, 0.741), (6.5e18, 0.795)] {
        let ours = neutral(&phosphorus, false, n, 300.0);
        check("Altermatt 2006", &format!("share, B {n:e}"), share, ours, Within::Absolute(2e-3));
    }
    // Points read off the figure, B.
    for (n, share) in [(1e17, 0.943), (3e17, 0.866), (1e18, 0.768), (1e19, 0.870)] {
        let ours = neutral(&phosphorus, false, n, 300.0);
        let what = format!("share, B {n:e}, read off");
        check("Altermatt 2006", &what, share, ours, Within::Absolute(0.02));
    }
    // Above the metal-insulator transition everything is ionized.
    for donors in [true, false] {
        let ours = neutral(&phosphorus, donors, 3e20, 300.0);
        check("metal", "share at 3e20", 1.0, ours, Within::Absolute(2e-3));
    }
}

/// A lone level: Neamen, Semiconductor Physics and Devices, example 4.7: N_D = 1e16, 45 meV,
/// g = 2, N_c = 2.8e19: 0.40 to 0.41 % neutral.
#[test]
fn a_lone_level() {
    let mut constants = Constants::with_electrons(ElectronRow::Phosphorus);
    constants.set("altermatt-2006", "e_d", 0.045);
    constants.set("altermatt-2006", "n_c", 2.8e19);
    let neutral = 100.0 * (1.0 - neutral(&IonizationLaw::new(&constants), true, 1e16, 300.0));
    check("Neamen ex. 4.7", "neutral share [%]", 0.405, neutral, Within::Absolute(0.01));
}
