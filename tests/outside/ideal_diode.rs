//! Saturation current, ideality and generation current against the diode formulas.

use holdpoint::silicon::{Q, thermal_voltage};

use super::bar::{Bar, Bench, PER_AREA, depletion_width, lines};
use super::ledger::{Within, check, line};

const NI: f64 = 9.65e9;
/// Neamen, example 8.2: D_n = 25, D_p = 10 cm²/s, both lifetimes 5e-7 s.
const D_N: f64 = 25.0;
const D_P: f64 = 10.0;
const TAU: f64 = 5e-7;
const N: f64 = 1e16;

/// Laws for constant diffusivities, and Shockley-Read-Hall with constant lifetimes `tau`,
/// or no recombination at all.
fn laws(d_n: f64, d_p: f64, tau: Option<f64>) -> String {
    let vt = thermal_voltage(300.0);
    let recombination = if tau.is_some() { "[\"shockley-read-hall\"]" } else { "[]" };
    let tau = tau.unwrap_or(1e-6);
    format!(
        "[laws]\nmobility = \"constant\"\nsaturation = \"none\"\nnarrowing = \"none\"\n\
         avalanche = \"none\"\nrecombination = {recombination}\nlifetime = \"constant\"\n\
         [constants]\nmobility = {{ mu_n = {:e}, mu_p = {:e} }}\n\
         shockley-read-hall = {{ tau_n0 = {tau:e}, tau_p0 = {tau:e} }}\n",
        d_n / vt,
        d_p / vt
    )
}

/// p (left, driven), n (right), `p_side` and `n_side` thick [µm].
fn diode(na: f64, nd: f64, p_side: f64, n_side: f64, largest: f64, rest: &str) -> Bench {
    let x = lines(&[0.0, p_side, p_side + n_side], 1e-3, 1.06, largest);
    Bar { layers: &[(-na, p_side), (nd, n_side)], x, temperature: 300.0, rest }.bench()
}

/// Ideality dV/d(ln J)/V_T by neighbouring points.
fn ideality(a: (f64, f64), b: (f64, f64)) -> f64 {
    // ln(e^x − 1) = x + ln(1 − e^−x): compare with the −1 of the diode law kept.
    let vt = thermal_voltage(300.0);
    let law = |v: f64| v / vt + (-(-v / vt).exp()).ln_1p();
    (law(b.0) - law(a.0)) / (b.1 / a.1).ln()
}

/// Long diode: N_A = N_D = 1e16, both sides 300 µm (8.5 and 13 diffusion lengths). With
/// these lifetimes recombination in the depletion region is part of the current, and the
/// formula does not have it; Shockley's own derivation is of the diffusion currents at the
/// depletion region's edges: electrons at x_p plus holes at x_n.
#[test]
fn long_diode() {
    let side = 300.0;
    let bench = diode(N, N, side, side, 2.0, &laws(D_N, D_P, Some(TAU)));
    let (l_n, l_p) = ((D_N * TAU).sqrt(), (D_P * TAU).sqrt());
    let formula = Q * NI * NI * (D_N / (l_n * N) + D_P / (l_p * N));
    assert!((formula / 1.722e-11 - 1.0).abs() < 5e-4, "the formula's own number");
    let vt = thermal_voltage(300.0);
    let v_bi = vt * (N * N / (NI * NI)).ln();
    let eps = bench.device.silicon.eps_silicon;
    let mut points = Vec::new();
    let at: Vec<f64> = (0..=10).map(|k| 0.30 + 0.02 * k as f64).collect();
    bench.sweep("left", &at, |v, system, state| {
        // What the formula calls V: the split at the junction, the applied voltage less
        // the drop in 600 µm of 1e16 silicon (0.4 mV at 0.5 V).
        let middle = bench.mesh.node(bench.line(side), 0).unwrap();
        let applied = v;
        let v = vt * state.split(&bench.device, middle);
        assert!((0.0..1e-3).contains(&(applied - v)), "{applied} V, {v} V at the junction");
        let half = 0.5e4 * depletion_width(eps, N, N, v_bi - v);
        let electrons = bench.through(system, bench.line(side - half))[0];
        let holes = bench.through(system, bench.line(side + half))[1];
        let total = system.current(0);
        points.push((v, PER_AREA * (electrons + holes), PER_AREA * total));
    });
    for &(v, diffusion, total) in &points {
        let j_s = diffusion / (v / vt).exp_m1();
        let what = format!("J_s, long diode at {v:.2} V [A/cm^2]");
        check("Neamen ex. 8.2, n_i = 9.65e9", &what, 1.722e-11, j_s, Within::Relative(0.02));
        line(
            "Neamen ex. 8.2",
            &format!("total over diffusion at {v:.2} V"),
            1.0,
            total / diffusion,
        );
        assert!(total > diffusion, "the depletion region recombines");
    }
    for pair in points.windows(2) {
        let n = ideality((pair[0].0, pair[0].1), (pair[1].0, pair[1].1));
        let what = format!("ideality of the diffusion current at {:.2} V", pair[1].0);
        check("Shockley 1949", &what, 1.0, n, Within::Absolute(0.005));
    }
}

/// Short diode without recombination: J = q n_i² (D_n/(N_A W_p′) + D_p/(N_D W_n′)), primes
/// for the quasi-neutral widths.
#[test]
fn short_diode() {
    let vt = thermal_voltage(300.0);
    for (na, nd, p_side, n_side) in
        [(1e16, 1e16, 5.0, 5.0), (1e18, 1e16, 2.0, 4.0), (1e17, 1e15, 3.0, 12.0)]
    {
        let bench = diode(na, nd, p_side, n_side, 0.05, &laws(D_N, D_P, None));
        let v_bi = vt * (na * nd / (NI * NI)).ln();
        let eps = bench.device.silicon.eps_silicon;
        let mut points = Vec::new();
        let at: Vec<f64> = (0..=4).map(|k| 0.20 + 0.05 * k as f64).collect();
        bench.sweep("left", &at, |v, system, _| points.push((v, PER_AREA * system.current(0))));
        for &(v, j) in &points {
            let w = depletion_width(eps, na, nd, v_bi - v);
            let w_p = 1e-4 * p_side - w * nd / (na + nd);
            let w_n = 1e-4 * n_side - w * na / (na + nd);
            let j_s = Q * NI * NI * (D_N / (na * w_p) + D_P / (nd * w_n));
            let what = format!("J_s, short diode {na:e}/{nd:e} at {v:.2} V [A/cm^2]");
            check("short-diode formula", &what, j_s, j / (v / vt).exp_m1(), Within::Relative(0.02));
        }
        for pair in points.windows(2) {
            let what = format!("ideality, short diode {na:e}/{nd:e} at {:.2} V", pair[1].0);
            check("Shockley 1949", &what, 1.0, ideality(pair[0], pair[1]), Within::Absolute(0.005));
        }
    }
}

/// Generation in reverse bias. The books' J = q n_i W/(2τ) takes the whole depletion
/// region as empty; a trap generates at its full rate only where n and p are below n_i,
/// that is away from the edges by the depths at which the band bends by kT/q ln(N/n_i).
/// Those strips do not depend on the bias, so J against W has the books' slope, and with
/// them taken off, W gives J itself.
#[test]
fn generation_current() {
    let vt = thermal_voltage(300.0);
    // Sze ex. 4.6: 5e16/1e16, τ_g = τ_n + τ_p = 5e-7 s, −4 V: W = 0.867 µm, 2.68e-7 A/cm²
    // (ε_r = 11.9). Neamen ex. 8.7: 1e16/1e16, both 5e-7 s, barrier 5 V: 1.14 µm,
    // 2.73e-7 A/cm² (n_i = 1.5e10).
    let examples = [
        ("Sze ex. 4.6", 5e16, 1e16, NI, 11.9, 2.5e-7, 4.0, 0.867, 2.68e-7),
        ("Neamen ex. 8.7", 1e16, 1e16, 1.5e10, 11.7, 5e-7, 4.3, 1.14, 2.73e-7),
    ];
    for (source, na, nd, ni, eps_r, tau, v, w_book, j_book) in examples {
        let rest = format!(
            "{}intrinsic = {{ ni_300 = {ni:e} }}\ndielectric = {{ silicon = {eps_r:?} }}\n",
            laws(D_N, D_P, Some(tau))
        );
        let bench = diode(na, nd, 20.0, 20.0, 0.1, &rest);
        let eps = bench.device.silicon.eps_silicon;
        let v_bi = vt * (na * nd / (ni * ni)).ln();
        let width = |v: f64| depletion_width(eps, na, nd, v_bi + v);
        // One-sided widths over which each majority falls to n_i.
        let strip = |n: f64| (2.0 * eps * vt * (n / ni).ln() / (Q * n)).sqrt();
        let mut j = Vec::new();
        let at = [v, v + 1.0, 20.0, 30.0, 100.0];
        bench.sweep("right", &at, |v, system, _| {
            let total = PER_AREA * system.current(bench.contact("right"));
            j.push((v, total));
        });
        line(source, "W [um]", w_book, 1e4 * width(v));
        line(source, "J_gen by the book's W [A/cm^2]", j_book, Q * ni * width(v) / (2.0 * tau));
        line(source, "J, solved [A/cm^2]", j_book, j[0].1);
        // The neutral sides' own diffusion current is in the solution, not in J_gen.
        let diffusion = |v: f64| {
            let l = |d: f64| (d * tau).sqrt();
            let side = 20e-4 - 0.5 * width(v);
            Q * ni
                * ni
                * (D_N / (l(D_N) * (side / l(D_N)).tanh() * na)
                    + D_P / (l(D_P) * (side / l(D_P)).tanh() * nd))
        };
        for &(v, total) in &j[..3] {
            let w = width(v) - strip(na) - strip(nd);
            let expected = Q * ni * w / (2.0 * tau) + diffusion(v);
            let what = format!("J at -{v} V, W less the strips [A/cm^2]");
            check(source, &what, expected, total, Within::Relative(0.10));
        }
        for pair in [(0, 1), (0, 3)] {
            let ((v_a, j_a), (v_b, j_b)) = (j[pair.0], j[pair.1]);
            let slope = (j_b - j_a) / (width(v_b) - width(v_a));
            let what = format!("dJ/dW between -{v_a} and -{v_b} V [A/cm^3]");
            check(source, &what, Q * ni / (2.0 * tau), slope, Within::Relative(0.10));
        }
    }
}
