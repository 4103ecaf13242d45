//! Breakdown voltage of one-sided abrupt junctions.

use holdpoint::case::{Avalanche, Constants};
use holdpoint::discretize::State;
use holdpoint::silicon::{AvalancheLaw, EPS_0, Q, thermal_voltage};
use holdpoint::solve::Constraint;

use super::bar::{Bar, lines};
use super::ionization::multiplication;
use super::ledger::{Within, check, line};

/// Heavy side [cm⁻³]; see `little_leakage_beside_a_heavy_side` for why not more.
const HEAVY: f64 = 1e18;

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

/// Barrier [V] at which the ionization integral is one over the depletion approximation's
/// field, which falls from its peak to zero on both sides (`heavy` infinite: on one).
fn by_integral(law: &AvalancheLaw, temperature: f64, light: Light, n: f64, heavy: f64) -> f64 {
    let eps = 11.7 * EPS_0;
    let integral = |e_m: f64| {
        let steps = 4000;
        let width = |n: f64| eps * e_m / (Q * n);
        let falling = |n: f64, k: usize| {
            (width(n) / steps as f64, e_m * (1.0 - (k as f64 + 0.5) / steps as f64))
        };
        // Holes run to +x, to the p side.
        let (n_side, p_side) = if light == Light::N { (n, heavy) } else { (heavy, n) };
        let field: Vec<(f64, f64)> = (0..steps)
            .rev()
            .map(|k| falling(n_side, k))
            .chain((0..steps).map(|k| falling(p_side, k)))
            .collect();
        multiplication(law, temperature, &field).integral
    };
    let (mut low, mut high) = (1e5, 2e6);
    for _ in 0..60 {
        let e = 0.5 * (low + high);
        if integral(e) < 1.0 { low = e } else { high = e }
    }
    eps * low * low / (2.0 * Q) * (1.0 / n + 1.0 / heavy)
}

const LAWS: &str = r#"
[laws]
narrowing = "none"
lifetime = "constant"
[constants]
shockley-read-hall = { tau_n0 = "1 ns", tau_p0 = "1 ns" }
[[experiment]]
kind = "snapback"
drive = ["right"]
stop = { current = 1e-6 }
"#;

/// Applied voltages [V] at which the current is 10³ and 10⁴ times the leakage at half the
/// voltage; `scale` coarsens the mesh.
fn solved(light: Light, n: f64, light_side: f64, temperature: f64, scale: f64) -> [f64; 2] {
    let mut x =
        lines(&[0.0, 0.5, 0.5 + light_side], 1e-3 * scale, 1.0 + 0.06 * scale, 0.03 * scale);
    let mut layers = [(-HEAVY, 0.5), (n, light_side)];
    if light == Light::P {
        // p on the left again, so that the right is driven positive: mirrored.
        let span = 0.5 + light_side;
        x = x.iter().rev().map(|x| span - x).collect();
        layers = [(-n, light_side), (HEAVY, 0.5)];
    }
    let bench = Bar { layers: &layers, x, temperature, rest: LAWS }.bench();
    let outcome = bench.run(0);
    let (curve, end) = (&outcome.curve, outcome.fields.last().expect("fields of the end"));
    // ln I at V on the blocking branch, linear between points.
    let log_current = |v: f64| {
        let k = (1..curve.len()).find(|&k| curve.voltage[k] >= v).expect("traced so far");
        let (v0, v1) = (curve.voltage[k - 1], curve.voltage[k]);
        let (i0, i1) = (curve.current[k - 1].ln(), curve.current[k].ln());
        i0 + (i1 - i0) * (v - v0) / (v1 - v0)
    };
    let leakage = log_current(0.5 * end.voltage).exp();
    // From the end of the trace down to the current asked for: the voltage there is solved,
    // not read off between points.
    let mut system = bench.system("right");
    let mut volts = bench.equilibrium.volts.clone();
    volts.hi[bench.contact("right")] = end.voltage;
    let mut state = State::from_words(&bench.device, &end.state, &volts).expect("state");
    let (mut lambda, mut current) = ([end.voltage, 0.0], end.current);
    let [high, low] = [1e4, 1e3].map(|factor| {
        let goal = factor * leakage;
        assert!(goal < end.current, "the current has risen by {factor:e}");
        while current > goal {
            current = (0.5 * current).max(goal);
            let constraint = Constraint::Current(current);
            system.newton(&mut state, &mut lambda, &constraint).expect("on the vertical branch");
        }
        lambda[0]
    });
    [low, high]
}

/// Barrier without bias less the majority tails' 2kT/q, as the depletion approximation
/// takes it (Sze, Physics of Semiconductor Devices).
fn barrier(n: f64) -> f64 {
    let vt = thermal_voltage(300.0);
    vt * (HEAVY * n / 9.65e9f64.powi(2)).ln() - 2.0 * vt
}

#[test]
fn breakdown_voltage() {
    let law = AvalancheLaw::new(Avalanche::VanOverstraeten1970, &Constants::default(), 300.0);
    for (n, side, tabulated) in JUNCTIONS {
        for light in [Light::P, Light::N] {
            let what = |q: &str| format!("{q}, light side {light:?} {n:e} [V]");
            let integral = by_integral(&law, 300.0, light, n, HEAVY);
            if light == Light::P {
                let source = "ionization integral, tabulated";
                let ours = by_integral(&law, 300.0, light, n, f64::INFINITY);
                check(
                    source,
                    &what("quadrature, one-sided"),
                    tabulated,
                    ours,
                    Within::Relative(1e-3),
                );
            }
            let [v_b, vertical] = solved(light, n, side, 300.0, 1.0);
            let [coarse, _] = solved(light, n, side, 300.0, 2.0);
            line("half the lines", &what("V_B"), v_b, coarse);
            assert!((coarse / v_b - 1.0).abs() < 3e-3, "not converged in the mesh");
            line("10^4 times the leakage", &what("V_B"), v_b, vertical);
            assert!(vertical > v_b && vertical < 1.005 * v_b, "does not turn vertical");
            let source = "ionization integral";
            let ours = v_b + barrier(n);
            check(source, &what("V_B + V_bi - 2kT/q"), integral, ours, Within::Relative(0.02));
            // Sze, Gibbons, Appl. Phys. Lett. 8, 111 (1966), gap 1.12 eV. Fitted to other
            // coefficients: with van Overstraeten-de Man's the integral itself, above, is
            // 23 % below it for light n at 3e15, which no solution can mend.
            let sze_gibbons = 60.0 * (1.12f64 / 1.1).powf(1.5) * (n / 1e16).powf(-0.75);
            if light == Light::N && n < 5e15 {
                line("Sze-Gibbons 1966", &what("V_B"), sze_gibbons, v_b);
            } else {
                let within = Within::Relative(0.20);
                check("Sze-Gibbons 1966", &what("V_B + V_bi - 2kT/q"), sze_gibbons, ours, within);
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
        by_integral(&law, t, Light::P, 3e16, HEAVY)
    };
    let expected = at(350.0) / at(300.0);
    check("ionization integral", "the same", expected, hot / cold, Within::Relative(0.01));
    assert!(hot > cold);
}

/// Holes spill from 1e20 into a field of 5e5 V/cm, where drift and diffusion cancel to 1e-14
/// of either. During Newton's steps the sign of their net current, and with it
/// max(E·J, 0), is arbitrary: avalanche switches on and off there and Newton cycles.
#[test]
fn little_leakage_beside_a_heavy_side() {
    for temperature in [300.0, 350.0] {
        let x = lines(&[0.0, 0.5, 3.0], 1e-3, 1.06, 0.03);
        let layers = [(-1e20, 0.5), (3e16, 2.5)];
        let rest = LAWS.replace("1 ns", "1 us");
        let curve = Bar { layers: &layers, x, temperature, rest: &rest }.bench().run(0).curve;
        line("limit", &format!("points in reverse at {temperature} K"), 160.0, curve.len() as f64);
        assert!(curve.len() <= 160);
    }
}
