//! Lateral bipolar transistors and junctions against the formulas of their limits of
//! validity: injection efficiency, base transport, ideality, high injection.

use holdpoint::silicon::{Q, thermal_voltage};

use super::bar::{Bar, Bench, PER_AREA, depletion_width, lines};
use super::ledger::{Within, check};

const NI: f64 = 9.65e9;

/// Constant diffusivities [cm²/s]; lifetimes [s] of Shockley-Read-Hall or no recombination.
fn laws(d_n: f64, d_p: f64, tau: Option<f64>, narrowing: &str) -> String {
    let vt = thermal_voltage(300.0);
    let recombination = if tau.is_some() { "[\"shockley-read-hall\"]" } else { "[]" };
    let tau = tau.unwrap_or(1e-6);
    format!(
        "[laws]\nmobility = \"constant\"\nsaturation = \"none\"\nnarrowing = \"{narrowing}\"\n\
         avalanche = \"none\"\nrecombination = {recombination}\nlifetime = \"constant\"\n\
         [constants]\nmobility = {{ mu_n = {:e}, mu_p = {:e} }}\n\
         shockley-read-hall = {{ tau_n0 = {tau:e}, tau_p0 = {tau:e} }}\n",
        d_n / vt,
        d_p / vt
    )
}

/// A lateral npn: emitter, base and collector beside each other down to `depth`, the base
/// contacted from above through a small p+ region that keeps its electrons off the metal.
/// Lengths µm, densities cm⁻³.
struct Lateral {
    emitter: (f64, f64),
    base: (f64, f64),
    collector: (f64, f64),
    depth: f64,
}

impl Lateral {
    fn bench(&self, rest: &str) -> Bench {
        let (e, b, c) = (self.emitter, self.base, self.collector);
        let junctions = [e.1, e.1 + b.1];
        let span = junctions[1] + c.1;
        let middle = junctions[0] + 0.5 * b.1;
        let fixed = [
            0.0,
            junctions[0],
            middle - 0.15,
            middle - 0.03,
            middle + 0.03,
            middle + 0.15,
            junctions[1],
            span,
        ];
        let x = lines(&fixed, 3e-3, 1.25, 0.06);
        let mut y = lines(&[0.0, 0.3, self.depth], 0.02, 1.4, 0.12 * self.depth);
        y.dedup();
        let mut text =
            format!("temperature = 300\n[wafer]\nspan = {span:?}\nthickness = {:?}\n", self.depth);
        let mut layer = |name: &str, kind: &str, peak: f64, from: f64, to: f64, bottom: f64| {
            text += &format!(
                "[[diffusion]]\nname = \"{name}\"\n{kind} = {peak:e}\nfrom = {from:?}\nto = {to:?}\nshape = \"box\"\nbottom = {bottom:?}\n"
            );
        };
        layer("emitter", "donors", e.0, 0.0, junctions[0], self.depth);
        layer("base", "acceptors", b.0, junctions[0], junctions[1], self.depth);
        layer("collector", "donors", c.0, junctions[1], span, self.depth);
        layer("p+", "acceptors", 1e20, middle - 0.15, middle + 0.15, 0.3);
        text += &format!(
            "[[terminal]]\nname = \"emitter\"\ntouches = [{{ side = \"left\" }}]\n\
             [[terminal]]\nname = \"base\"\ntouches = [{{ from = {:?}, to = {:?} }}]\n\
             [[terminal]]\nname = \"collector\"\ntouches = [{{ side = \"right\" }}]\n\
             [grid]\nx = {x:?}\ny = {y:?}\n",
            middle - 0.03,
            middle + 0.03
        );
        Bench::new(&(text + rest))
    }
}

/// β = (D_n N_E W_E)/(D_p N_B W_B) exp(−ΔΔE_g/kT): Gummel numbers of uniform regions, ideal
/// emitter contact, no recombination. W_B is the neutral base: the metallurgical one less the
/// depletion approximation's layers.
#[test]
fn injection_efficiency() {
    const N_B: f64 = 1e17;
    const N_E: f64 = 1e19;
    const N_C: f64 = 1e16;
    let (d_n, d_p, w_e) = (18.0, 3.0, 0.5);
    let vt = thermal_voltage(300.0);
    // Slotboom's form with Klaassen's constants of 1992 (6.92 meV, 1.3e17).
    let klaassen = "slotboom-1977 = { v_1 = 6.92e-3, n_0 = 1.3e17, c = 0.5 }\n";
    for (narrowing, constants, published) in
        [("none", "", 300.0), ("slotboom-1977", klaassen, 32.96)]
    {
        let w_b = 1.12;
        let at = "[[experiment]]\nkind = \"bias\"\ndrive = [\"base\"]\nat = [0.40, 0.45, 0.50]\nbias = { collector = 1.0 }\n";
        let rest = laws(d_n, d_p, None, narrowing) + constants + at;
        let npn =
            Lateral { emitter: (N_E, w_e), base: (N_B, w_b), collector: (N_C, 1.5), depth: 80.0 };
        let bench = npn.bench(&rest);
        let outcome = bench.run(0);
        let (base, collector) =
            (bench.currents(&outcome, "base"), bench.currents(&outcome, "collector"));
        let eps = bench.device.silicon.eps_silicon;
        for ((v, i_b), (_, i_c)) in base.into_iter().zip(collector) {
            // Barriers less 2kT/q for the majority tails; narrowing moves them by millivolts.
            let layer = |other: f64, v: f64| {
                let barrier = vt * (N_B * other / (NI * NI)).ln() - v - 2.0 * vt;
                1e4 * depletion_width(eps, N_B, other, barrier) * other / (N_B + other)
            };
            let neutral = w_b - layer(N_E, v) - layer(N_C, v - 1.0);
            let what = format!("beta at V_BE = {v:.2} V, narrowing {narrowing}");
            // The table's own number is for a neutral base of 1 µm.
            check(
                "uniform-base npn",
                &what,
                published,
                i_c / i_b * neutral,
                Within::Relative(0.02),
            );
        }
    }
}

/// α_T = 1/cosh(W/L): the part of the electrons that cross W of neutral base before an ideal
/// sink. Taken between two points inside the base, no depletion edge is in it.
#[test]
fn base_transport() {
    let (n_b, d_n) = (1e16, 25.0);
    for ratio in [0.08, 0.1, 0.2, 0.5, 1.0, 2.0] {
        let (start, w) = (1.5, 8.0f64);
        let tau = (w * 1e-4 / ratio).powi(2) / d_n;
        let x = lines(&[0.0, 0.5, start, start + w], 2e-3, 1.2, 0.04);
        let rest = laws(d_n, 10.0, Some(tau), "none");
        let layers = [(1e19, 0.5), (-n_b, start + w - 0.5)];
        let bench = Bar { layers: &layers, x, temperature: 300.0, rest: &rest }.bench();
        let mut alpha = f64::NAN;
        let (first, last) = (bench.line(start), bench.mesh.nx() - 2);
        // Currents live on the middles of intervals.
        let middle = |i: usize| 0.5 * (bench.mesh.x[i] + bench.mesh.x[i + 1]);
        bench.sweep("right", &[0.35], |_, system, _| {
            alpha = bench.through(system, last)[0] / bench.through(system, first)[0];
        });
        let l = w / ratio;
        let end = start + w;
        let expected = ((end - middle(last)) / l).cosh() / ((end - middle(first)) / l).cosh();
        let what = format!("alpha_T = 1/cosh(W/L), W/L = {:.4}", (end - middle(first)) / l);
        check("base transport", &what, expected, alpha, Within::Relative(1e-3));
    }
}

/// Recombination in the depletion region of a symmetric junction, trap at mid gap, equal
/// lifetimes: U = (n_i/τ) sinh(v/2)/(cosh ξ + b), v = V/V_T, b = exp(−v/2), ξ the potential
/// about the plane n = p; ∫U dx = ∫U V_T dξ/F with the field from the first integral of
/// Poisson's equation, F² = (2qN V_T/ε)(u + e^−u − 1), u the distance in potential from the
/// neutral side. With F constant the integral is Sah's, Noyce's and Shockley's (Proc. IRE 45,
/// 1228 (1957)), ideality 2. To it come the diffusion currents of two short sides, ideality 1.
#[test]
fn idealities() {
    let vt = thermal_voltage(300.0);
    let (n, d_n, d_p, tau, side) = (1e17, 25.0, 10.0, 1e-8, 2.0);
    let x = lines(&[0.0, side, 2.0 * side], 5e-4, 1.08, 0.03);
    let rest = laws(d_n, d_p, Some(tau), "none");
    let bench =
        Bar { layers: &[(-n, side), (n, side)], x, temperature: 300.0, rest: &rest }.bench();
    let eps = bench.device.silicon.eps_silicon;
    let v_bi = vt * (n * n / (NI * NI)).ln();
    let formula = |volts: f64| {
        let (w, v) = (depletion_width(eps, n, n, v_bi - volts - 2.0 * vt), volts / vt);
        let half = 0.5 * (v_bi - volts) / vt;
        let b = (-0.5 * v).exp();
        // Up to one V_T from the neutral sides, which are counted by themselves.
        let steps = 2000;
        let h = (half - 1.0) / f64::from(steps);
        let one_side: f64 = (0..steps)
            .map(|k| {
                let xi = (f64::from(k) + 0.5) * h;
                let u = half - xi;
                let field = (2.0 * Q * n * vt / eps * (u + (-u).exp_m1())).sqrt();
                h * vt / field / (xi.cosh() + b)
            })
            .sum();
        let depleted = Q * NI / tau * (0.5 * v).sinh() * 2.0 * one_side;
        let neutral = 1e-4 * side - 0.5 * w;
        let flow = |d: f64| {
            let l = (d * tau).sqrt();
            d / (l * (neutral / l).tanh())
        };
        depleted + Q * NI * NI / n * (flow(d_n) + flow(d_p)) * v.exp_m1()
    };
    let at: Vec<f64> = (0..=13).map(|k| 0.15 + 0.04 * f64::from(k)).collect();
    let mut solved = Vec::new();
    bench.sweep("left", &at, |v, system, _| solved.push((v, PER_AREA * system.current(0))));
    let ideality = |a: (f64, f64), b: (f64, f64)| (b.0 - a.0) / vt / (b.1 / a.1).ln();
    for pair in solved.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let what = format!("J at {:.2} V [A/cm^2]", b.0);
        check("Sah, Noyce, Shockley 1957", &what, formula(b.0), b.1, Within::Relative(0.01));
        let expected = ideality((a.0, formula(a.0)), (b.0, formula(b.0)));
        let what = format!("ideality between {:.2} and {:.2} V", a.0, b.0);
        check(
            "Sah, Noyce, Shockley 1957",
            &what,
            expected,
            ideality(a, b),
            Within::Absolute(0.005),
        );
    }
    let (low, high) = (ideality(solved[0], solved[1]), ideality(solved[12], solved[13]));
    assert!((1.75..2.0).contains(&low), "the depletion region's: {low}");
    assert!((1.0..1.06).contains(&high), "the neutral sides': {high}");
}

/// High injection (Webster, Proc. IRE 42, 914 (1954)). In a uniform base without hole
/// current, J_C = (q D_n N_B/W)(2ν − ln(1 + ν)) with ν = n(0)/N_B, while the emitter's hole
/// current goes with n p = N_B² ν(1 + ν): β/β₀ = (2ν − ln(1 + ν))/(ν(1 + ν)), in the limit
/// 2/ν, so that β falls as 1/I_C. ν follows from β/β₀ alone; I_C must be what it says.
#[test]
fn high_injection() {
    let (n_b, w) = (2e16, 2.5);
    let (d_n, d_p) = (18.0, 3.0);
    let depth = 4.0;
    let at: Vec<f64> = (0..=13).map(|k| 0.45 + 0.04 * f64::from(k)).collect();
    let experiment = format!(
        "[[experiment]]\nkind = \"bias\"\ndrive = [\"base\", \"collector\"]\nat = {at:?}\n"
    );
    let rest = laws(d_n, d_p, None, "none") + &experiment;
    let npn = Lateral { emitter: (2e19, 0.5), base: (n_b, w), collector: (1e18, 0.5), depth };
    let bench = npn.bench(&rest);
    let outcome = bench.run(0);
    let (base, collector) =
        (bench.currents(&outcome, "base"), bench.currents(&outcome, "collector"));
    let points: Vec<(f64, f64, f64)> =
        base.iter().zip(&collector).map(|(b, c)| (b.0, c.1, c.1 / b.1)).collect();
    let beta_0 = points[0].2;
    let charge = |nu: f64| 2.0 * nu - nu.ln_1p();
    // ν from β/β₀, which falls with ν from 1.
    let injection = |ratio: f64| {
        let (mut low, mut high) = (1e-9f64, 1e9f64);
        for _ in 0..200 {
            let nu = (low * high).sqrt();
            if charge(nu) / (nu * (1.0 + nu)) > ratio { low = nu } else { high = nu }
        }
        low
    };
    let mut last = 0.0;
    let scale = Q * d_n * n_b / (w * 1e-4) * depth * 1e-8;
    for pair in points.windows(2).filter(|p| p[0].2 < 0.6 * beta_0) {
        let (a, b) = (pair[0], pair[1]);
        let nu = [a, b].map(|p| injection(p.2 / beta_0));
        let slope = (b.2 / a.2).ln() / (b.1 / a.1).ln();
        let expected = (b.2 / a.2).ln() / (charge(nu[1]) / charge(nu[0])).ln();
        let what = format!("d ln beta/d ln I_C at {:.2e} A/um (nu {:.1})", b.1, nu[1]);
        check("Webster 1954", &what, expected, slope, Within::Absolute(0.03));
        let what = format!("I_C [A/um] of nu {:.1}", nu[1]);
        check("Webster 1954", &what, scale * charge(nu[1]), b.1, Within::Relative(0.10));
        last = slope;
    }
    assert!((-1.0..-0.85).contains(&last), "towards 1/I_C: {last}");
}
