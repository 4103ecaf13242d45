//! Band-gap narrowing against published tables.

use holdpoint::case::{Constants, Laws, Narrowing};
use holdpoint::silicon::{NarrowingLaw, Silicon};

use super::ledger::{Within, check};

const DOPINGS: [f64; 6] = [1e15, 1e16, 1e17, 1e18, 1e19, 1e20];

/// ΔE_g [meV] at each of [`DOPINGS`].
#[test]
fn narrowing_by_doping() {
    let tables = [
        (
            Narrowing::Slotboom1977,
            "Slotboom-de Graaff 1976",
            [0.49, 0.96, 6.36, 42.40, 83.38, 124.66],
        ),
        (
            Narrowing::Klaassen1992,
            "Klaassen-Slotboom-de Graaff 1992",
            [0.35, 0.66, 3.40, 29.06, 60.50, 92.23],
        ),
        (Narrowing::DelAlamo1985, "del Alamo 1985", [0.0, 0.0, 0.0, 6.67, 49.73, 92.79]),
    ];
    for (word, source, row) in tables {
        let law = NarrowingLaw::new(word, &Constants::default());
        for (n, mev) in DOPINGS.into_iter().zip(row) {
            let what = format!("narrowing at {n:e} [meV]");
            check(source, &what, mev, 1e3 * law.at(n), Within::Absolute(0.01));
        }
        assert_eq!(law.at(0.0), 0.0);
    }
    assert_eq!(NarrowingLaw::new(Narrowing::None, &Constants::default()).at(1e19), 0.0);
}

#[test]
fn effective_intrinsic_density() {
    let tables = [
        (
            Narrowing::Slotboom1977,
            "Slotboom-de Graaff 1976",
            [1.0094, 1.0186, 1.1310, 2.2707, 5.0159, 11.146],
        ),
        (
            Narrowing::Klaassen1992,
            "Klaassen-Slotboom-de Graaff 1992",
            [1.0069, 1.0129, 1.0680, 1.7543, 3.2224, 5.9527],
        ),
    ];
    for (narrowing, source, row) in tables {
        let laws = Laws { narrowing, ..Laws::default() };
        let silicon = Silicon::new(&laws, &Constants::default(), 300.0);
        for (n, ratio) in DOPINGS.into_iter().zip(row) {
            let ours = silicon.effective_intrinsic(n, 300.0).value / silicon.ni;
            check(source, &format!("n_ie/n_i at {n:e}"), ratio, ours, Within::Relative(1e-4));
        }
    }
}

/// Klaassen's fit against independent ones for n-type, Boltzmann statistics: Cuevas et al.
/// 1996, 14 meV ln(N/1.4e17), and Yan, Cuevas, J. Appl. Phys. 114, 044508 (2013),
/// 12.96 meV ln(N/1e17).
#[test]
fn klaassen_against_later_fits() {
    let law = NarrowingLaw::new(Narrowing::Klaassen1992, &Constants::default());
    for n in [1e18, 3e18, 1e19, 3e19, 1e20f64] {
        for (source, published) in [
            ("Cuevas 1996", 14.0 * (n / 1.4e17).ln()),
            ("Yan-Cuevas 2013", 12.96 * (n / 1e17).ln()),
        ] {
            let what = format!("narrowing at {n:e} [meV]");
            check(source, &what, published, 1e3 * law.at(n), Within::Absolute(4.0));
        }
    }
}
