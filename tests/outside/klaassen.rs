//! Unified mobility: Klaassen, Solid-State Electron. 35, 953 and 961 (1992).

use holdpoint::case::{Constants, ElectronRow, Mobility};
use holdpoint::silicon::{Carrier, MobilityLaw, MobilityPoint};

use super::ledger::{Within, check, line};

const NI: f64 = 9.65e9;

/// Phosphorus row, ambient `t` [K].
fn law(t: f64) -> MobilityLaw {
    let constants = Constants::with_electrons(ElectronRow::Phosphorus);
    MobilityLaw::new(Mobility::Klaassen1992, &constants, t)
}

/// Electron and hole mobility with `excess` pairs [cm⁻³] over equilibrium.
fn mobilities(donors: f64, acceptors: f64, excess: f64, t: f64) -> [f64; 2] {
    let major = donors.max(acceptors);
    let minor = NI * NI / major;
    let (n, p) = if donors > acceptors { (major, minor) } else { (minor, major) };
    let at = MobilityPoint { donors, acceptors, n: n + excess, p: p + excess, temperature: t };
    [Carrier::Electron, Carrier::Hole].map(|c| law(t).at(c, &at).value)
}

/// Boron-doped, complete ionization: tables of an on-line photovoltaics mobility
/// calculator, stored with the open-source library `semiconductor`: T [K], acceptors, excess
/// pairs [cm⁻³], electron and hole mobility with three or four digits.
const STORED: [(f64, f64, f64, f64, f64); 15] = [
    (300.0, 1e12, 1e14, 1401.0, 468.4),
    (300.0, 1e16, 1e14, 1106.0, 429.0),
    (300.0, 1e20, 1e14, 200.3, 49.30),
    (300.0, 1e14, 1e10, 1396.0, 468.8),
    (300.0, 1e14, 1e15, 1345.0, 459.9),
    (300.0, 1e14, 1e16, 1166.0, 429.2),
    (300.0, 1e14, 1e17, 797.8, 354.7),
    (300.0, 1e14, 1e18, 500.4, 279.1),
    (300.0, 1e14, 1e19, 415.4, 265.2),
    (300.0, 1e14, 1e20, 423.4, 282.6),
    (450.0, 1e14, 1e10, 557.5, 188.9),
    (450.0, 1e14, 1e16, 523.1, 183.1),
    (450.0, 1e14, 1e17, 436.3, 167.9),
    (450.0, 1e14, 1e18, 312.1, 143.2),
    (450.0, 1e14, 1e20, 257.1, 139.8),
];

#[test]
fn stored_tables_of_boron_doped_silicon() {
    let source = "PV mobility calculator, Klaassen 1992";
    for (t, acceptors, excess, electrons, holes) in STORED {
        let [n, p] = mobilities(0.0, acceptors, excess, t);
        let what = |c: &str| format!("{c}, {t} K, N_A {acceptors:e}, excess {excess:e}");
        check(source, &what("electrons"), electrons, n, Within::Relative(1e-3));
        check(source, &what("holes"), holes, p, Within::Relative(1e-3));
    }
    // The calculator's default: ionized 9.9e15, p = 1.09e16, n = 1e15.
    let at =
        MobilityPoint { donors: 0.0, acceptors: 9.9e15, n: 1e15, p: 1.09e16, temperature: 300.0 };
    for (c, published) in [(Carrier::Electron, 1099.0), (Carrier::Hole, 426.9)] {
        let what = format!("{c:?}, the calculator's default");
        check(source, &what, published, law(300.0).at(c, &at).value, Within::Relative(1e-3));
    }
}

/// Ambipolar diffusivity of the same tables [cm²/s]: D_a = (n + p)/(n/D_p + p/D_n).
#[test]
fn ambipolar_diffusivity() {
    let vt = holdpoint::silicon::thermal_voltage(300.0);
    for (excess, d_n, d_p, d_a) in [(1e15, 34.78, 11.89, 18.15), (1e18, 12.94, 7.214, 9.263)] {
        let [dn, dp] = mobilities(0.0, 1e14, excess, 300.0).map(|mu| mu * vt);
        let (n, p) = (excess, 1e14 + excess);
        let ambipolar = (n + p) / (n / dp + p / dn);
        let source = "PV mobility calculator, Klaassen 1992";
        for (what, published, ours) in [("D_n", d_n, dn), ("D_p", d_p, dp), ("D_a", d_a, ambipolar)]
        {
            let what = format!("{what}, excess {excess:e}");
            check(source, &what, published, ours, Within::Relative(1.5e-3));
        }
    }
}

/// Low injection, 300 K: majority and minority electrons and holes by doping. The table was
/// computed outside from the corrected formulas; minority holes in n-type from 1e19 up are
/// the least certain (the stored tables cover boron only).
#[test]
fn majority_and_minority() {
    let table = [
        (1e14, 1403.6, 467.7, 468.8, 1396.2),
        (1e15, 1362.1, 457.2, 462.0, 1332.0),
        (1e16, 1183.8, 416.5, 429.3, 1106.8),
        (1e17, 721.3, 315.3, 317.4, 676.1),
        (1e18, 277.0, 194.6, 152.9, 329.8),
        (1e19, 114.8, 145.4, 70.8, 211.2),
        (1e20, 73.6, 159.1, 49.3, 200.3),
    ];
    let source = "Klaassen 1992, corrected";
    for (n, n_major, p_minor, p_major, n_minor) in table {
        let [in_n, in_p] = [mobilities(n, 0.0, 0.0, 300.0), mobilities(0.0, n, 0.0, 300.0)];
        // Half the last digit printed counts where it is more than 5e-4.
        let within = |v: f64, r: f64| Within::Absolute((r * v).max(0.051));
        let loose = if n >= 1e19 { 0.1 } else { 5e-4 };
        for (what, published, ours, r) in [
            ("majority electrons", n_major, in_n[0], 5e-4),
            ("minority holes", p_minor, in_n[1], loose),
            ("majority holes", p_major, in_p[1], 5e-4),
            ("minority electrons", n_minor, in_p[0], 5e-4),
        ] {
            check(source, &format!("{what} at {n:e}"), published, ours, within(published, r));
        }
        // Below clustering the majority is Caughey-Thomas with Masetti's parameters.
        if n <= 1e18 {
            let simple =
                |max: f64, min: f64, r: f64, a: f64| min + (max - min) / (1.0 + (n / r).powf(a));
            for (what, published, ours) in [
                ("electrons", simple(1414.0, 68.5, 9.20e16, 0.711), in_n[0]),
                ("holes", simple(470.5, 44.9, 2.23e17, 0.719), in_p[1]),
            ] {
                let what = format!("majority {what} at {n:e}");
                check("Caughey-Thomas form", &what, published, ours, Within::Relative(1e-3));
            }
        }
    }
}

#[test]
fn temperature_dependence_at_1e17() {
    let table = [
        (250.0, 391.7, 792.2, 819.7),
        (350.0, 253.9, 570.7, 614.7),
        (400.0, 203.3, 479.4, 515.8),
        (450.0, 164.3, 402.7, 430.8),
    ];
    for (t, p_major, n_minor, n_major) in table {
        let [in_n, in_p] = [mobilities(1e17, 0.0, 0.0, t), mobilities(0.0, 1e17, 0.0, t)];
        for (what, published, ours) in [
            ("majority holes", p_major, in_p[1]),
            ("minority electrons", n_minor, in_p[0]),
            ("majority electrons", n_major, in_n[0]),
        ] {
            let what = format!("{what} at {t} K");
            check("Klaassen 1992, corrected", &what, published, ours, Within::Relative(5e-4));
        }
    }
}

/// G(P) has its minimum where the law is clamped: G and its derivatives go on there.
/// Minority electrons in 1e20 boron would be 6 % off without the clamp.
#[test]
fn continuous_through_the_clamp() {
    let law = law(300.0);
    let at = |acceptors: f64| {
        let p = acceptors;
        let at = MobilityPoint { donors: 0.0, acceptors, n: 1.0, p, temperature: 300.0 };
        law.at(Carrier::Electron, &at)
    };
    let (mut largest, mut before) = (0.0f64, at(1e19));
    for k in 1..=4000 {
        // Through the clamp, which lies at a few 1e19.
        let now = at(1e19 * 10f64.powf(k as f64 / 4000.0));
        largest = largest.max((now.value / before.value - 1.0).abs());
        let size = before.by_p.abs().max(1e-19);
        assert!((now.by_p - before.by_p).abs() < 0.02 * size, "derivative jumps at step {k}");
        before = now;
    }
    line("clamp of G(P)", "largest relative step over 1/4000 decade", 0.0, largest);
    assert!(largest < 1e-3);
    // Nothing at all: the lattice alone.
    let nothing = MobilityPoint { donors: 0.0, acceptors: 0.0, n: 0.0, p: 0.0, temperature: 300.0 };
    let ours = law.at(Carrier::Hole, &nothing);
    check("Klaassen 1992", "holes, intrinsic", 470.5, ours.value, Within::Relative(1e-6));
    assert!(ours.by_n.is_finite() && ours.by_p.is_finite() && ours.by_temperature.is_finite());
}
