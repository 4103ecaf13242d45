//! Arora, Hauser, Roulston, IEEE Trans. Electron Devices 29, 292 (1982).

use holdpoint::case::{Constants, Mobility};
use holdpoint::silicon::{Carrier, MobilityLaw, MobilityPoint};

use super::ledger::{Within, check};

const DOPINGS: [f64; 7] = [1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20];

/// T [K], then electrons and holes [cm²/(V·s)] at each of [`DOPINGS`]: eqs. 8 and 13.
const TABLE: [(f64, [f64; 7], [f64; 7]); 5] = [
    (
        250.0,
        [2007.8, 1977.0, 1762.0, 965.9, 277.3, 122.1, 100.7],
        [670.6, 665.0, 623.2, 422.7, 154.3, 73.8, 62.0],
    ),
    (
        300.0,
        [1337.7, 1322.5, 1218.4, 777.4, 262.1, 114.1, 91.5],
        [460.9, 458.0, 437.5, 330.9, 143.2, 68.8, 56.3],
    ),
    (
        350.0,
        [953.4, 945.0, 888.4, 628.3, 244.8, 107.6, 84.4],
        [338.1, 336.4, 325.1, 263.7, 131.5, 64.7, 51.9],
    ),
    (
        400.0,
        [714.3, 709.2, 675.6, 513.5, 226.9, 102.1, 78.8],
        [260.2, 259.2, 252.3, 214.6, 120.1, 61.1, 48.4],
    ),
    (
        450.0,
        [556.0, 552.7, 531.4, 425.6, 209.4, 97.2, 74.1],
        [207.8, 207.1, 202.7, 178.2, 109.5, 58.1, 45.5],
    ),
];

#[test]
fn mobility_by_doping_and_temperature() {
    for (t, electrons, holes) in TABLE {
        let law = MobilityLaw::new(Mobility::Arora1982, &Constants::default(), t);
        assert!(!law.depends_on_densities());
        for (carrier, row) in [(Carrier::Electron, electrons), (Carrier::Hole, holes)] {
            for (n, published) in DOPINGS.into_iter().zip(row) {
                let ours = law.at(carrier, &MobilityPoint::doped(n, t)).value;
                let what = format!("{carrier:?} {n:e} at {t} K");
                check("Arora 1982", &what, published, ours, Within::Relative(1e-3));
            }
        }
    }
}

/// The rows kept for the ambient temperature and those made for another one agree.
#[test]
fn any_temperature_from_any_ambient() {
    for word in [Mobility::Arora1982, Mobility::Masetti1983, Mobility::Klaassen1992] {
        let [warm, cold] = [400.0, 250.0].map(|t| MobilityLaw::new(word, &Constants::default(), t));
        for carrier in [Carrier::Electron, Carrier::Hole] {
            let at = MobilityPoint {
                donors: 1e17,
                acceptors: 2e16,
                n: 8e16,
                p: 1e5,
                temperature: 400.0,
            };
            assert_eq!(warm.at(carrier, &at), cold.at(carrier, &at), "{word:?}");
        }
    }
}
