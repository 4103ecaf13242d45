//! A uniformly doped bar as a resistor.

use holdpoint::case::{Constants, ElectronRow, Mobility};
use holdpoint::silicon::{Carrier, MobilityLaw, MobilityPoint, Q};

use super::bar::{Bar, PER_AREA, lines};
use super::ledger::{Within, check, line};

const LENGTH: f64 = 10.0;
const DOPINGS: [f64; 12] =
    [1e14, 3e14, 1e15, 3e15, 1e16, 3e16, 1e17, 3e17, 1e18, 3.6e18, 1e19, 2e19];

/// ASTM F723-99 / SEMI MF723, ρ [Ω·cm] from the dopant density, 23 °C; after Thurber,
/// Mattis, Liu, Filliben, J. Electrochem. Soc. 127, 1807 and 2291 (1980).
fn astm_f723(acceptors: bool, n: f64) -> f64 {
    if acceptors {
        return 1.305e16 / n + 1.133e17 / (n * (1.0 + (2.58e-19 * n).powf(-0.737)));
    }
    let x = n.log10() - 16.0;
    let a = [-3.0769, 2.2108, -0.62272, 0.057501];
    let b = [-0.68157, 0.19833, -0.018376];
    let top = a[0] + x * (a[1] + x * (a[2] + x * a[3]));
    let bottom = 1.0 + x * (b[0] + x * (b[1] + x * b[2]));
    6.242e18 / n * 10f64.powf(top / bottom)
}

/// ρ [Ω·cm] of a solved bar at 1 mV, 300 K.
fn solved(net: f64) -> f64 {
    let rest = r#"
[laws]
narrowing = "none"
avalanche = "none"
saturation = "none"
[constants]
masetti-1983 = { electrons = "phosphorus" }
[[experiment]]
kind = "bias"
drive = ["left"]
at = [0.001]
"#;
    let x = lines(&[0.0, LENGTH], 0.1, 1.3, 1.0);
    let bench = Bar { layers: &[(net, LENGTH)], x, temperature: 300.0, rest }.bench();
    let (v, i) = bench.currents(&bench.run(0), "left")[0];
    // E/J: 1 mV over the length, A/cm².
    (v / (LENGTH * 1e-4)) / (i * PER_AREA)
}

/// The formulas above reproduce the standard's tabulated values.
#[test]
fn the_standard_as_printed() {
    let table = [
        (1e14, 130.97, 42.871),
        (1e15, 13.306, 4.4819),
        (1e16, 1.4434, 0.52291),
        (1e17, 0.20215, 0.083831),
        (1e18, 0.043555, 0.023559),
        (1e19, 8.8719e-3, 5.7754e-3),
        (1e20, 1.1689e-3, 7.7010e-4),
    ];
    for (n, b, p) in table {
        check("ASTM F723", &format!("rho, B {n:e}"), b, astm_f723(true, n), Within::Relative(1e-4));
        check(
            "ASTM F723",
            &format!("rho, P {n:e}"),
            p,
            astm_f723(false, n),
            Within::Relative(1e-4),
        );
    }
}

#[test]
fn resistance_is_rho_l_over_a() {
    let constants = Constants::with_electrons(ElectronRow::Phosphorus);
    let law = MobilityLaw::new(Mobility::Masetti1983, &constants, 300.0);
    for n in DOPINGS {
        for acceptors in [true, false] {
            let ours = solved(if acceptors { -n } else { n });
            let carrier = if acceptors { Carrier::Hole } else { Carrier::Electron };
            let expected = 1.0 / (Q * law.at(carrier, &MobilityPoint::doped(n, 300.0)).value * n);
            let what = format!("rho, {} {n:e} [ohm cm]", if acceptors { "B" } else { "P" });
            check("R = rho L/A, own mobility", &what, expected, ours, Within::Relative(1e-6));
        }
    }
    // A worked figure: P, 1e17, µ = 721.3, 10 µm long, 1 µm × 1 µm: 8653.1 Ω;
    // the mobility has four digits.
    let ohms = solved(1e17) * LENGTH * 1e-4 / 1e-8;
    check(
        "worked example, Masetti 721.3",
        "R, P 1e17 [ohm]",
        8653.1,
        ohms,
        Within::Relative(0.05 / 721.3),
    );
}

#[test]
fn resistivity_against_astm_f723() {
    let mut worst = 0.0f64;
    for n in DOPINGS {
        for acceptors in [true, false] {
            let ours = solved(if acceptors { -n } else { n });
            let what = format!("rho, {} {n:e} [ohm cm]", if acceptors { "B" } else { "P" });
            let published = astm_f723(acceptors, n);
            check("ASTM F723", &what, published, ours, Within::Relative(0.12));
            worst = worst.max((ours / published - 1.0).abs());
        }
    }
    line("ASTM F723", "largest distance", 0.0, worst);
    // Sze, Semiconductor Devices, example 3.2: N_D = 1e16, µ = 1300: 0.48 Ω·cm.
    check("Sze ex. 3.2", "rho, n-type 1e16 [ohm cm]", 0.48, solved(1e16), Within::Relative(0.12));
}
