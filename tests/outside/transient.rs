//! Time integration against textbook transients, its own order, and its charge ledger.

use holdpoint::silicon::{Q, thermal_voltage};
use holdpoint::trace::{
    Feed, Feeds, Load, Moment, Shower, TimeParams, Watch, Wave, run_time, stored,
};

use super::bar::{Bar, Bench, lines};
use super::ledger::{Within, check};

fn laws(tau: &str) -> String {
    format!(
        "[laws]\nmobility = \"constant\"\nsaturation = \"none\"\nnarrowing = \"none\"\n\
     avalanche = \"none\"\nrecombination = [\"shockley-read-hall\"]\nlifetime = \"constant\"\n\
     [constants]\nmobility = {{ mu_n = 1400, mu_p = 450 }}\n\
     shockley-read-hall = {{ tau_n0 = {tau}, tau_p0 = {tau} }}\n"
    )
}

fn voltage(wave: Wave, resistance: f64) -> Feed {
    Feed::Voltage { wave, resistance }
}

fn grounded(bench: &Bench, left: Feed, shower: Option<Shower>) -> Feeds {
    let mut terminals = vec![voltage(Wave::constant(0.0), 0.0); bench.device.contacts.len()];
    terminals[bench.contact("left")] = left;
    Feeds { terminals, shower, loads: Vec::new() }
}

/// p+n junction, one-sided, `n_side` µm of `donors`.
fn diode(donors: f64, n_side: f64, finest: f64, growth: f64, largest: f64) -> Bench {
    let rest = &laws(if n_side > 100.0 { "1e-5" } else { "1e-6" });
    let x = lines(&[0.0, 2.0, 2.0 + n_side], finest, growth, largest);
    let layers = [(-1e20, 2.0), (donors, n_side)];
    Bar { layers: &layers, x, temperature: 300.0, rest }.bench()
}

/// Largest |ΣI| over the largest |I| that was met.
struct Seen {
    imbalance: f64,
    times: Vec<f64>,
    volts: Vec<f64>,
    newton: u32,
}

fn run(bench: &Bench, feeds: &Feeds, end: f64, params: &TimeParams) -> (Moment, Seen) {
    let mut system = bench.system("left");
    let left = bench.contact("left");
    let mut moment = Moment::stationary(&mut system, feeds, 0.0, bench.equilibrium.clone());
    let mut seen = Seen { imbalance: 0.0, times: vec![0.0], volts: vec![0.0], newton: 0 };
    let mut largest = 0.0f64;
    let mut sum = 0.0f64;
    run_time(&mut system, feeds, &mut moment, end, params, &mut |m| {
        let i = &m.at_terminals.current;
        largest = i.iter().fold(largest, |l, i| l.max(i.abs()));
        sum = sum.max(i.iter().sum::<f64>().abs());
        seen.times.push(m.time);
        seen.volts.push(m.state.volts.hi[left]);
        seen.newton += m.newton;
        assert!(m.state.n.iter().chain(&m.state.p).all(|d| *d >= 0.0), "a density below zero");
        Watch::GoOn
    })
    .unwrap_or_else(|e| panic!("{e}"));
    seen.imbalance = sum / largest;
    (moment, seen)
}

/// Per carrier: what the ledger says went in is what is stored.
fn conserved(bench: &Bench, moment: &Moment) -> f64 {
    let (from, to) =
        (stored(&bench.device, &bench.equilibrium), stored(&bench.device, &moment.state));
    let gained = moment.ledger.gained();
    let worst = (0..2).map(|c| ((to[c] - from[c]) - gained[c]).abs()).fold(0.0, f64::max);
    worst / moment.ledger.moved
}

/// A reverse-biased junction's capacitance charged through a resistor by a small step is an
/// exponential with τ = RC, C the charge that a slow change of the voltage moves.
#[test]
fn junction_behind_a_resistor() {
    let bench = diode(1e16, 1.5, 2e-3, 1.15, 0.1);
    let (low, high) = (-2.0, -2.002);
    let slow = 1e-3;
    // Slowly to `low`, then slowly to `high`: the charge of the second part.
    let charge = |to: f64| {
        let feeds = grounded(&bench, voltage(Wave::ramp(0.0, slow, 0.0, to), 0.0), None);
        let params = TimeParams { tolerance: 1e-4, ..TimeParams::default() };
        let (moment, _) = run(&bench, &feeds, 2.0 * slow, &params);
        let [from, now] = [&bench.equilibrium, &moment.state].map(|s| stored(&bench.device, s));
        now[0] - from[0]
    };
    let c = (charge(high) - charge(low)) / (high - low);
    assert!(c.abs() > 1e-18, "{c}");
    let c = c.abs();
    let r = 1e-8 / c;
    let step =
        Wave { times: vec![0.0, 1e-6, 3e-6, 3e-6 + 1e-13], values: vec![0.0, low, low, high] };
    let feeds = grounded(&bench, voltage(step, r), None);
    let params = TimeParams { tolerance: 1e-6, ..TimeParams::default() };
    let (_, seen) = run(&bench, &feeds, 3e-6 + 3e-8, &params);
    let mut worst = 0.0f64;
    for (t, v) in seen.times.iter().zip(&seen.volts) {
        let t = t - 3e-6;
        if t > 2e-13 {
            let exact = high + (low - high) * (-t / 1e-8).exp();
            worst = worst.max((v - exact).abs() / (high - low).abs());
        }
    }
    println!("RC of a junction: C = {c:.4e} F/µm, worst error {worst:.2e} of the step");
    assert!(worst < 2e-3, "{worst}");
}

/// A resistor bar with a capacitance to ground, fed through a resistance and an inductance:
/// the terminal rings as the textbook's second-order circuit does, and what the source
/// gives is what is stored and turned into heat.
#[test]
fn ringing_of_a_terminal() {
    let x = lines(&[0.0, 10.0], 0.1, 1.2, 0.5);
    let bench = Bar { layers: &[(1e15, 10.0)], x, temperature: 300.0, rest: &laws("1e-6") }.bench();
    let (r, inductance, capacitance, step) = (20.0, 1e-8, 1e-13, 0.1);
    // ρ·length over 1 µm of thickness [S/µm].
    let g = Q * 1400.0 * 1e15 * 1e-4 / 10.0;
    // One implicit Euler step takes the rise: it must be short against the ringing.
    let rise = 1e-15;
    let mut feeds = grounded(&bench, voltage(Wave::ramp(0.0, rise, 0.0, step), r), None);
    let left = bench.contact("left");
    feeds.loads = vec![Load::default(); bench.device.contacts.len()];
    feeds.loads[left] = Load { inductance, capacitance };
    // The bar is a capacitor too: ε·thickness/length [F/µm].
    let whole = capacitance + 11.7 * 8.854_187_8e-14 * 1e-4 / 10.0;
    let sigma = 0.5 * (r / inductance + g / whole);
    let lc = inductance * whole;
    let omega = ((1.0 + r * g) / lc - sigma * sigma).sqrt();
    let exact = |t: f64| {
        let t = (t - 0.5 * rise).max(0.0);
        let (sin, cos) = (omega * t).sin_cos();
        step / (1.0 + r * g) * (1.0 - (-sigma * t).exp() * (cos + sigma / omega * sin))
    };
    // Worst error over the step; energy given by the source, and stored or turned to heat.
    let ring = |h: f64| {
        let mut system = bench.system("left");
        let rest = bench.equilibrium.clone();
        let mut moment = Moment::stationary(&mut system, &feeds, 0.0, rest);
        let params = TimeParams { fixed: Some(h), ..TimeParams::default() };
        let (mut worst, mut energy, mut last) = (0.0f64, [0.0f64; 3], [0.0; 4]);
        run_time(&mut system, &feeds, &mut moment, 1.5e-9, &params, &mut |m| {
            let (v, i) = (m.state.volts.hi[left], m.branches.current[left]);
            worst = worst.max((v - exact(m.time)).abs() / step);
            let source = feeds.terminals[left].wave().expect("a source").at(m.time);
            let power = [source * i, r * i * i, v * m.at_terminals.current[left]];
            for ((sum, now), before) in energy.iter_mut().zip(power).zip(last) {
                *sum += 0.5 * (m.time - last[3]) * (now + before);
            }
            last = [power[0], power[1], power[2], m.time];
            Watch::GoOn
        })
        .unwrap_or_else(|e| panic!("{e}"));
        let (v, i) = (moment.state.volts.hi[left], moment.branches.current[left]);
        let stored = 0.5 * capacitance * v * v + 0.5 * inductance * i * i;
        (worst, energy[0], energy[1] + energy[2] + stored)
    };
    let [coarse, fine] = [4e-12, 1e-12].map(ring);
    let source = "second-order circuit, closed form";
    let what = "ringing of a terminal behind R and L with C: worst error over the step";
    check(source, what, 0.0, fine.0, Within::Absolute(2e-3));
    let order = (coarse.0 / fine.0).log2() / 2.0;
    check(source, "the same: order in the step of time", 2.0, order, Within::AtLeast(1.9));
    let what = "energy given by the source against stored and turned into heat [J/µm]";
    check("conservation of energy", what, fine.1, fine.2, Within::Relative(1e-3));
}

/// Global error against a much finer solution falls by four when the step halves.
#[test]
fn second_order() {
    let bench = diode(1e15, 10.0, 2e-3, 1.2, 0.2);
    // A rise through a resistor, under light that dies away: carriers, circuit and
    // generation all take part.
    let wave = Wave::ramp(0.0, 64e-9, 0.0, 0.7);
    let pairs = vec![1e13; bench.device.nodes()];
    let shower = Shower { pairs, start: 0.0, decay: 30e-9 };
    let feeds = grounded(&bench, voltage(wave, 1e5), Some(shower));
    let end = |h: f64| {
        let params = TimeParams { fixed: Some(h), ..TimeParams::default() };
        let (moment, seen) = run(&bench, &feeds, 64e-9, &params);
        assert!(seen.imbalance < 1e-9, "{}", seen.imbalance);
        let share = conserved(&bench, &moment);
        assert!(share < 1e-8, "charge lost: {share:e}");
        moment.state.volts.hi[bench.contact("left")]
    };
    let exact = end(1e-9 / 32.0);
    let errors = [1.0, 0.5, 0.25, 0.125].map(|h| (end(1e-9 * h) - exact).abs());
    println!(
        "errors {errors:?}, orders {:?}",
        errors.windows(2).map(|e| (e[0] / e[1]).log2()).collect::<Vec<_>>()
    );
    let order = (errors[1] / errors[3]).log2() / 2.0;
    assert!(order > 1.85, "order {order}, {errors:?}");
}

/// Storage time of a long-base junction: erf √(t_s/τ_p) = I_F/(I_F + I_R); R. H. Kingston,
/// Proc. IRE 42 (1954) 829; H. J. Kuno, IEEE Trans. Electron Devices 11 (1964) 8.
#[test]
fn storage_time() {
    // L_p = 108 µm; low injection.
    let bench = diode(1e16, 1000.0, 2e-3, 1.12, 10.0);
    let tau = 1e-5;
    let forward = 8e-10;
    for ratio in [0.25, 0.5, 1.0] {
        let on = 12.0 * tau;
        let current = Wave {
            times: vec![0.0, 1e-9, on, on + 1e-10],
            values: vec![0.0, forward, forward, -ratio * forward],
        };
        let feeds = grounded(&bench, Feed::Current(current), None);
        let (moment, seen) = run(&bench, &feeds, on + 1.1 * tau, &TimeParams::default());
        let share = conserved(&bench, &moment);
        // The holes at the junction's edge are gone where a hundredth is left. (The voltage
        // takes longer to zero: the junction's own charge has to follow.)
        let last_on = seen.times.iter().rposition(|t| *t <= on * (1.0 + 1e-9)).expect("on");
        let gone = seen.volts[last_on] - thermal_voltage(300.0) * f64::ln(100.0);
        let k = (last_on..seen.volts.len()).find(|&k| seen.volts[k] < gone).expect("recovery");
        let [t, v] = [&seen.times, &seen.volts].map(|s| [s[k - 1], s[k]]);
        let at = t[0] + (t[1] - t[0]) * (v[0] - gone) / (v[0] - v[1]);
        let target = 1.0 / (1.0 + ratio);
        let (mut low, mut high) = (0.0, 5.0);
        for _ in 0..60 {
            let mid = 0.5 * (low + high);
            if erf(f64::sqrt(mid)) < target { low = mid } else { high = mid }
        }
        let ours = (at - on) / tau;
        println!(
            "storage time, I_R/I_F = {ratio}: {ours:.4} τ, formula {low:.4} τ ({:+.1} %); {} moments, {} Newton steps, ΣI {:.1e}, charge {share:.1e}",
            100.0 * (ours / low - 1.0),
            seen.times.len(),
            seen.newton,
            seen.imbalance
        );
        assert!((ours / low - 1.0).abs() < 0.06, "{ours} against {low}");
        assert!(seen.imbalance < 1e-8, "ΣI {}", seen.imbalance);
        assert!(share < 1e-8, "charge lost: {share:e}");
    }
}

/// By its series, good to 1e-12 for arguments below 3.
fn erf(x: f64) -> f64 {
    let (mut term, mut sum) = (x, x);
    for k in 1..80 {
        let k = k as f64;
        term *= -x * x / k;
        sum += term / (2.0 * k + 1.0);
    }
    sum * std::f64::consts::FRAC_2_SQRT_PI
}
