//! Breakdown voltage of one-sided abrupt junctions.

use holdpoint::case::{Avalanche, Constants};
use holdpoint::silicon::{AvalancheLaw, EPS_0, Q, thermal_voltage};

use super::bar::{Bar, lines};
use super::ionization::multiplication;
use super::ledger::{Within, check, line};

const HEAVY: f64 = 1e20;

/// Which side is lightly doped, and decides.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Light {
    N,
    P,
}

/// N [cm⁻³], light side [µm]; ionization integral ∫α_p exp(−∫(α_p − α_n)) = 1 with van
/// Overstraeten-de Man's coefficients in the depletion approximation (V_B is the whole
/// barrier), ε_r = 11.7, holes entering at the field's peak: the light side is p.
const JUNCTIONS: [(f64, f64, f64); 3] =
    [(3e15, 12.0, 123.68), (1e16, 5.0, 56.15), (3e16, 2.5, 29.13)];

/// Barrier [V] at which the ionization integral over the triangular field is one.
fn by_integral(law: &AvalancheLaw, light: Light, n: f64) -> f64 {
    let eps = 11.7 * EPS_0;
    let integral = |e_m: f64| {
        let width = eps * e_m / (Q * n);
        let steps = 4000;
        let h = width / steps as f64;
        // Holes run to +x, to the p side. If that is the heavy one, the field rises
        // along x; if it is the light one, it falls.
        let field = |k: usize| {
            let share = (k as f64 + 0.5) / steps as f64;
            e_m * if light == Light::N { share } else { 1.0 - share }
        };
        let field: Vec<(f64, f64)> = (0..steps).map(|k| (h, field(k))).collect();
        multiplication(law, &field).integral
    };
    let (mut low, mut high) = (1e5, 2e6);
    for _ in 0..60 {
        let e = 0.5 * (low + high);
        if integral(e) < 1.0 { low = e } else { high = e }
    }
    eps * low * low / (2.0 * Q * n)
}

/// Applied voltages [V] at which the current is 10³ and 10⁶ times the leakage at half the
/// voltage; `scale` coarsens the mesh.
fn solved(light: Light, n: f64, light_side: f64, temperature: f64, scale: f64) -> [f64; 2] {
    let rest = r#"
[laws]
narrowing = "none"
lifetime = "constant"
[constants]
shockley-read-hall = { tau_n0 = "1 us", tau_p0 = "1 us" }
[[experiment]]
kind = "snapback"
drive = ["right"]
stop = { current = 1e-7 }
"#;
    let mut x =
        lines(&[0.0, 0.5, 0.5 + light_side], 1e-3 * scale, 1.0 + 0.06 * scale, 0.03 * scale);
    let mut layers = [(-HEAVY, 0.5), (n, light_side)];
    if light == Light::P {
        // p on the left again, so that the right is driven positive: mirrored.
        let span = 0.5 + light_side;
        x = x.iter().rev().map(|x| span - x).collect();
        layers = [(-n, light_side), (HEAVY, 0.5)];
    }
    let bench = Bar { layers: &layers, x, temperature, rest }.bench();
    let curve = bench.run(0).curve;
    // ln I at V on the blocking branch, linear between points.
    let log_current = |v: f64| {
        let k = (1..curve.len()).find(|&k| curve.voltage[k] >= v).expect("traced so far");
        let (v0, v1) = (curve.voltage[k - 1], curve.voltage[k]);
        let (i0, i1) = (curve.current[k - 1].ln(), curve.current[k].ln());
        i0 + (i1 - i0) * (v - v0) / (v1 - v0)
    };
    [3, 6].map(|decades| {
        let rise = f64::from(decades) * 10f64.ln();
        let left = |k: usize| curve.current[k].ln() - log_current(0.5 * curve.voltage[k]) - rise;
        let k = (2..curve.len()).find(|&k| left(k) >= 0.0);
        let k = k.unwrap_or_else(|| panic!("no rise of 1e{decades}: {curve:?}"));
        let share = -left(k - 1) / (left(k) - left(k - 1));
        curve.voltage[k - 1] + share * (curve.voltage[k] - curve.voltage[k - 1])
    })
}

fn barrier(n: f64) -> f64 {
    thermal_voltage(300.0) * (HEAVY * n / 9.65e9f64.powi(2)).ln()
}

#[test]
fn breakdown_voltage() {
    let law = AvalancheLaw::new(Avalanche::VanOverstraeten1970, &Constants::default(), 300.0);
    for (n, side, tabulated) in JUNCTIONS {
        for light in [Light::P, Light::N] {
            let what = |q: &str| format!("{q}, light side {light:?} {n:e} [V]");
            let integral = by_integral(&law, light, n);
            if light == Light::P {
                let source = "ionization integral, tabulated";
                check(
                    source,
                    &what("quadrature here"),
                    tabulated,
                    integral,
                    Within::Relative(1e-3),
                );
            }
            let [v_b, vertical] = solved(light, n, side, 300.0, 1.0);
            let [coarse, _] = solved(light, n, side, 300.0, 2.0);
            line("half the lines", &what("V_B"), v_b, coarse);
            assert!((coarse / v_b - 1.0).abs() < 3e-3, "not converged in the mesh");
            line("10^6 times the leakage", &what("V_B"), v_b, vertical);
            assert!(vertical >= v_b && vertical < 1.01 * v_b, "does not turn vertical");
            let source = "ionization integral";
            let ours = v_b + barrier(n);
            check(source, &what("V_B + V_bi"), integral, ours, Within::Relative(0.02));
            // Sze, Gibbons, Appl. Phys. Lett. 8, 111 (1966), gap 1.12 eV. Fitted to other
            // coefficients: with van Overstraeten-de Man's the integral itself, above, is
            // 23 % below it for light n at 3e15, which no solution can mend.
            let sze_gibbons = 60.0 * (1.12f64 / 1.1).powf(1.5) * (n / 1e16).powf(-0.75);
            if light == Light::N && n < 5e15 {
                line("Sze-Gibbons 1966", &what("V_B"), sze_gibbons, v_b);
            } else {
                let within = Within::Relative(0.20);
                check("Sze-Gibbons 1966", &what("V_B + V_bi"), sze_gibbons, ours, within);
            }
        }
    }
}

/// Phonons take energy from the carriers: breakdown rises with temperature (any data sheet
/// of an avalanche diode).
#[test]
fn breakdown_rises_with_temperature() {
    let [cold, _] = solved(Light::P, 3e16, 2.5, 300.0, 1.0);
    let [hot, _] = solved(Light::P, 3e16, 2.5, 350.0, 1.0);
    line("Crowell-Sze 1966", "V_B at 350 K over 300 K, N = 3e16", 1.0, hot / cold);
    let at = |t| {
        let law = AvalancheLaw::new(Avalanche::VanOverstraeten1970, &Constants::default(), t);
        by_integral(&law, Light::P, 3e16)
    };
    let expected = at(350.0) / at(300.0);
    check("ionization integral", "the same", expected, hot / cold, Within::Relative(0.01));
    assert!(hot > cold);
}
