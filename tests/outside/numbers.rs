//! The Bernoulli function and the Scharfetter-Gummel flux.

use holdpoint::case::{Constants, Saturation};
use holdpoint::discretize::{Ends, bernoulli, bernoulli_pair, flux};
use holdpoint::silicon::{Carrier, SaturationLaw, thermal_voltage};

use super::ledger::{Within, check, line};

/// x, B(x), B′(x) to 17 digits; computed with 30 digits from the definition.
#[allow(clippy::excessive_precision)] // as published
const BERNOULLI: [(f64, f64, f64); 16] = [
    (-40.0, 40.0, -0.99999999999999983),
    (-10.0, 10.000454019910097, -0.99959136146750493),
    (-5.0, 5.0339182745315212, -0.97263529050534395),
    (-1.0, 1.5819767068693264, -0.66130311266153411),
    (-0.1, 1.0508331944775050, -0.51666111309457693),
    (-1e-3, 1.0005000833333319, -0.50016666666111111),
    (1e-6, 0.99999950000008333, -0.49999983333333333),
    (1e-3, 0.99950008333333194, -0.49983333333888889),
    (0.1, 0.95083319447750496, -0.48333888690542307),
    (1.0, 0.58197670686932642, -0.33869688733846589),
    (2.0, 0.31303528549933130, -0.20551318773348958),
    (5.0, 3.3918274531521155e-2, -2.7364709494656052e-2),
    (10.0, 4.5401991009687768e-4, -4.0863853249506635e-4),
    (40.0, 1.6993417021166356e-16, -1.6568581595637197e-16),
    (100.0, 3.720075976020836e-42, -3.6828752162606276e-42),
    (700.0, 6.9017735806318396e-302, -6.8919139040880798e-302),
];

#[test]
fn bernoulli_function() {
    let source = "definition, 30 digits";
    for (x, value, derivative) in BERNOULLI {
        let b = bernoulli(x);
        check(source, &format!("B({x})"), value, b.value, Within::Relative(1e-14));
        check(source, &format!("B'({x})"), derivative, b.derivative, Within::Relative(1e-14));
        let [forward, backward] = bernoulli_pair(x);
        check(source, &format!("pair B({x})"), value, forward.value, Within::Relative(1e-14));
        check(
            source,
            &format!("pair B(-{x})"),
            value + x,
            backward.value,
            // The reference is a difference for x < 0: its own rounding is of size |x|.
            Within::Absolute(1e-14 * (value + x).abs() + if x < 0.0 { 8e-15 * -x } else { 0.0 }),
        );
        check(
            source,
            &format!("pair B'({x})"),
            derivative,
            forward.derivative,
            Within::Relative(1e-14),
        );
    }
}

/// Both branches of every switch inside `bernoulli` meet.
#[test]
fn bernoulli_is_smooth_at_its_switches() {
    for x in [-40.0, -0.5, 0.5, 40.0f64] {
        let step = 1e-9 * x.abs();
        let (low, high) = (x - step, x + step);
        let (a, b) = (bernoulli(low), bernoulli(high));
        let expected = a.value + 0.5 * (high - low) * (a.derivative + b.derivative);
        // Twice the accuracy that the function promises.
        assert!((b.value - expected).abs() <= 2e-14 * a.value, "at {x}");
        let slope = (b.derivative - a.derivative).abs();
        assert!(slope <= 4.0 * step + 1e-14 * a.derivative.abs(), "B' jumps by {slope:e} at {x}");
    }
}

const H: f64 = 1e-5;
const MU_N: f64 = 1000.0;
const MU_P: f64 = 400.0;

/// Δψ [V], densities at a and b [cm⁻³], J_n, J_p [A/cm²], h = 1e-5 cm, 300 K:
/// Scharfetter and Gummel, IEEE Trans. Electron Devices 16, 64 (1969), evaluated with 30
/// digits.
#[allow(clippy::excessive_precision)]
const FLUXES: [(f64, f64, f64, f64, f64); 5] = [
    (0.0, 1e16, 2e16, 4141.947, -1656.7788),
    (1e-3, 1e16, 1e16, -160.2176634, -64.08706536),
    (0.1, 1e16, 1e10, -16363.7105881675, 136.771290560482),
    (-0.1, 1e16, 1e10, -341.928226401205, 6545.48423526702),
    (0.3, 1e5, 1e17, 4.38588639663755, -192262.950434751),
];

/// The flux with the quasi-Fermi drop that the two densities imply.
fn current(carrier: Carrier, drop: f64, at_a: f64, at_b: f64) -> f64 {
    let vt = thermal_voltage(300.0);
    let sign = if carrier == Carrier::Electron { 1.0 } else { -1.0 };
    // n = n_i exp((ψ − φ)/V_T): φ_b − φ_a = Δψ − V_T ln(n_b/n_a); holes mirrored.
    let quasi_fermi = drop / vt - sign * (at_b / at_a).ln();
    let ends = Ends { drop, drift: drop / vt, quasi_fermi, at_a, at_b, enhancement: 1.0 };
    let mu = if carrier == Carrier::Electron { MU_N } else { MU_P };
    flux(carrier, &SaturationLaw::None, ends, mu, H, 300.0).current
}

#[test]
fn scharfetter_gummel_fluxes() {
    for (drop, a, b, j_n, j_p) in FLUXES {
        let what = format!("{drop} V, {a:e} to {b:e}");
        let source = "Scharfetter-Gummel 1969";
        // Published with 13 digits at most; the first rows are exact decimals of the SI.
        let within = Within::Relative(1e-12);
        check(
            source,
            &format!("J_n, {what}"),
            j_n,
            current(Carrier::Electron, drop, a, b),
            digits(j_n, within),
        );
        check(
            source,
            &format!("J_p, {what}"),
            j_p,
            current(Carrier::Hole, drop, a, b),
            digits(j_p, within),
        );
    }
}

/// A reference printed with fewer digits than the tolerance counts by half its last digit.
fn digits(reference: f64, within: Within) -> Within {
    let text = format!("{reference}");
    let decimals = text.split('.').nth(1).map_or(0, str::len) as i32;
    let half = 0.5 * 10f64.powi(-decimals);
    match within {
        Within::Relative(t) => Within::Absolute((t * reference.abs()).max(half)),
        other @ (Within::Absolute(_) | Within::AtLeast(_) | Within::Factor(_)) => other,
    }
}

#[test]
fn fluxes_vanish_exactly_without_a_quasi_fermi_drop() {
    let vt = thermal_voltage(300.0);
    for drop in [-3.3, -0.7, -1e-3, 0.0, 1e-9, 0.02, 0.9, 5.0f64] {
        for carrier in [Carrier::Electron, Carrier::Hole] {
            let sign = if carrier == Carrier::Electron { 1.0 } else { -1.0 };
            let at_b = 1e15 * (sign * drop / vt).exp();
            let ends = Ends {
                drop,
                drift: drop / vt,
                quasi_fermi: 0.0,
                at_a: 1e15,
                at_b,
                enhancement: 1.0,
            };
            let f = flux(carrier, &SaturationLaw::None, ends, 1000.0, H, 300.0);
            assert_eq!(f.current, 0.0, "{carrier:?} at {drop} V");
        }
    }
    line("zero-current invariant", "largest flux at equal quasi-Fermi levels", 0.0, 0.0);
    // Equal densities: pure drift, q µ c E, holes the same sense.
    let drift = -holdpoint::silicon::Q * MU_N * 1e16 * 0.25 / H;
    check(
        "pure drift",
        "J_n at equal densities, 0.25 V",
        drift,
        current(Carrier::Electron, 0.25, 1e16, 1e16),
        Within::Relative(1e-13),
    );
}

/// Derivatives of the flux against central differences, velocity saturation on: each
/// density moved with its quasi-Fermi level, each potential alone.
#[test]
fn flux_derivatives() {
    let vt = thermal_voltage(300.0);
    let canali = SaturationLaw::new(Saturation::Canali1975, &Constants::default(), 300.0);
    let (mut worst, mut count) = (0.0f64, 0);
    for carrier in [Carrier::Electron, Carrier::Hole] {
        let sign = if carrier == Carrier::Electron { 1.0 } else { -1.0 };
        let of = |drop: f64, a: f64, b: f64| {
            let quasi_fermi = drop / vt - sign * (b / a).ln();
            let ends =
                Ends { drop, drift: drop / vt, quasi_fermi, at_a: a, at_b: b, enhancement: 1.0 };
            flux(carrier, &canali, ends, 900.0, H, 300.0)
        };
        for drop in [-1.0, -0.2, -0.01, 0.003, 0.05, 0.6f64] {
            for (a, b) in [(1e16, 1e16), (1e17, 1e5), (3e12, 2e18f64)] {
                let f = of(drop, a, b);
                let central = |lower: f64, upper: f64, step: f64| (upper - lower) / (2.0 * step);
                let s = 1e-5;
                let by_a = central(
                    of(drop, a * (1.0 - s), b).current,
                    of(drop, a * (1.0 + s), b).current,
                    s,
                );
                let by_b = central(
                    of(drop, a, b * (1.0 - s)).current,
                    of(drop, a, b * (1.0 + s)).current,
                    s,
                );
                let h = 1e-5 * drop.abs();
                let by_v = central(of(drop - h, a, b).current, of(drop + h, a, b).current, h);
                let scale = f.current.abs() + (f.by_a * a).abs() + (f.by_b * b).abs();
                for (analytic, difference) in
                    [(f.by_a * a, by_a), (f.by_b * b, by_b), (f.by_potential * drop, by_v * drop)]
                {
                    worst = worst.max((analytic - difference).abs() / scale.max(analytic.abs()));
                    count += 1;
                }
            }
        }
    }
    line("central differences", &format!("worst of {count} flux derivatives"), 0.0, worst);
    assert!(worst < 1e-8, "{worst:e}");
}
