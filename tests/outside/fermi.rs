//! Fermi-Dirac integrals against values of 14 digits, computed from the polylogarithm
//! F_j(η) = −Li_{j+1}(−e^η) (NIST Digital Library of Mathematical Functions, 25.12.16).

use holdpoint::silicon::FermiIntegrals;

use super::ledger::{Within, check};

/// η, F_1/2, F_−1/2.
const TABLE: [(f64, f64, f64); 12] = [
    (-10.0, 4.5399201052641e-5, 4.5398472360805e-5),
    (-4.0, 0.018198203508367, 0.018081922991399),
    (-2.0, 0.12929851332008, 0.12366562180121),
    (-1.0, 0.32779515926071, 0.29402761761145),
    (0.0, 0.76514702462541, 0.60489864342163),
    (1.0, 1.5756407761513, 1.0270571254744),
    (2.0, 2.8237212774016, 1.4642945890876),
    (3.0, 4.4875474213517, 1.8534850886015),
    (4.0, 6.5115675927548, 2.1858696906238),
    (5.0, 8.8442088952430, 2.4729876224829),
    (10.0, 24.084656964638, 3.5527792395366),
    (20.0, 67.491512221659, 5.0410185075353),
];

#[test]
fn integrals() {
    for (eta, half, minus_half) in TABLE {
        let f = FermiIntegrals::at(eta);
        let within = Within::Relative(3e-13);
        check("polylogarithm", &format!("F_1/2({eta})"), half, f.half, within);
        check("polylogarithm", &format!("F_-1/2({eta})"), minus_half, f.minus_half, within);
    }
    // Singh, Semiconductor Devices, example 2.14: n = 0.76 N_c at η = 0.
    check("Singh ex. 2.14", "n/N_c", 0.76, FermiIntegrals::at(0.0).half, Within::Absolute(0.006));
}

#[test]
fn inverse() {
    let table = [
        (0.01, -4.60163514694),
        (0.1, -2.26727910689),
        (0.5, -0.517589732939),
        (1.0, 0.348747361104),
        (2.0, 1.38157305877),
        (5.0, 3.26953602807),
        (10.0, 5.45625191452),
    ];
    for (u, eta) in table {
        let (ours, f) = FermiIntegrals::inverse(u);
        let what = format!("eta at n/N_c = {u}");
        check("polylogarithm", &what, eta, ours, Within::Relative(1e-11));
        check("itself", &format!("F_1/2 of it, {u}"), u, f.half, Within::Relative(1e-14));
    }
    // Far from degeneracy η = ln u, far in it Sommerfeld's; from the smallest density that a
    // state may hold to more than all of silicon's atoms.
    for u in [1e-120, 1e-40, 1e-9, 1e-3, 30.0, 300.0, 3e3f64] {
        let (eta, f) = FermiIntegrals::inverse(u);
        assert!((f.half / u - 1.0).abs() < 1e-12 && eta.is_finite(), "{u}: {eta} {f:?}");
    }
}

/// Both sides of each switch of the approximation agree.
#[test]
fn no_steps() {
    for eta in [-36.0, -2.0, 2.0, 8.0, 24.0, 72.0f64] {
        let (a, b) = (FermiIntegrals::at(eta.next_down()), FermiIntegrals::at(eta.next_up()));
        for (what, x, y) in [
            ("F_1/2", a.half, b.half),
            ("F_-1/2", a.minus_half, b.minus_half),
            ("F_-3/2", a.minus_three_halves, b.minus_three_halves),
        ] {
            check("continuity", &format!("{what} at {eta}"), x, y, Within::Relative(1e-12));
        }
    }
}
