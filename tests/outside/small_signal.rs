//! Small-signal admittances against junction theory and against what they must obey.

use std::f64::consts::TAU;

use holdpoint::discretize::State;
use holdpoint::experiment::Figures;
use holdpoint::silicon::{Q, thermal_voltage};
use holdpoint::solve::{Admittance, SmallSignal, System};
use holdpoint::trace::walk;

use super::bar::{Bar, Bench, lines};
use super::ledger::{Within, check};

const NI: f64 = 9.65e9;
const EPS: f64 = 11.7 * 8.854_187_812_8e-14;
/// S/µm of a bar 1 µm thick to S/cm².
const PER_AREA: f64 = 1e8;

fn at<'b>(bench: &'b Bench, volts: f64) -> (System<'b>, State) {
    let mut system = bench.system("left");
    let (mut state, mut lambda) = (bench.equilibrium.clone(), 0.0);
    walk(&mut system, &mut state, &mut lambda, volts, 0.5).expect("bias");
    (system, state)
}

/// Entry left-left [S/cm²] at each frequency.
fn own(bench: &Bench, volts: f64, frequencies: &[f64]) -> Vec<[f64; 2]> {
    let (mut system, state) = at(bench, volts);
    let mut signal = SmallSignal::new(&mut system, &state).expect("linear system");
    let k = bench.contact("left");
    let n = bench.device.contacts.len();
    frequencies
        .iter()
        .map(|f| {
            let y = signal.admittance(TAU * f).expect("admittance");
            [y.real[k * n + k], y.imaginary[k * n + k]].map(|v| PER_AREA * v)
        })
        .collect()
}

/// C = √(q ε N/(2 (V_bi − V − 2kT/q))) of a one-sided abrupt junction: S. M. Sze,
/// K. K. Ng, Physics of Semiconductor Devices, 3rd ed. (2007), section 2.2.
fn depletion(na: f64, nd: f64, volts: f64) -> f64 {
    let vt = thermal_voltage(300.0);
    let barrier = vt * (na * nd / (NI * NI)).ln() - volts - 2.0 * vt;
    (Q * EPS * na * nd / (na + nd) / (2.0 * barrier)).sqrt()
}

#[test]
fn depletion_capacitance_and_its_quasi_static_limit() {
    let source = "Sze, Ng (2007), sec. 2.2, abrupt junction";
    let (na, nd) = (1e18, 1e16);
    let x = lines(&[0.0, 2.0, 6.0], 2e-4, 1.06, 0.05);
    let laws = "[laws]\nnarrowing = \"none\"\navalanche = \"none\"\n";
    let layers = [(-na, 2.0), (nd, 4.0)];
    let bench = Bar { layers: &layers, x, temperature: 300.0, rest: laws }.bench();
    // Electrons that the bar has lost [C/cm²]: the right terminal has taken them.
    let lost = |v: f64| {
        let (_, state) = at(&bench, v);
        let sum: f64 = (0..bench.device.nodes()).map(|i| -bench.device.area[i] * state.n[i]).sum();
        Q * sum / 1e-4
    };
    for (volts, tolerance) in [(0.0, 0.05), (-1.0, 0.02), (-5.0, 0.02)] {
        let f = 1e5;
        let y = own(&bench, volts, &[f]);
        let c = y[0][1] / (TAU * f);
        let what = format!("C of 1e18/1e16 at {volts} V, 100 kHz [F/cm²]");
        check(source, &what, depletion(na, nd, volts), c, Within::Relative(tolerance));
        let d = 2e-3;
        let slow = -(lost(volts + d) - lost(volts - d)) / (2.0 * d);
        let what = format!("the same against −dQ/dV by differences of {d} V [F/cm²]");
        check("charge of two stationary states", &what, slow, c, Within::Relative(1e-5));
    }
}

/// Y = G √(1 + iωτ) of a long diode at low injection: Sze, Ng (2007), section 2.4.
#[test]
fn diffusion_admittance_of_a_long_diode() {
    let tau = 1e-5;
    let laws = "[laws]\nmobility = \"constant\"\nsaturation = \"none\"\nnarrowing = \"none\"\n\
         avalanche = \"none\"\nrecombination = [\"shockley-read-hall\"]\nlifetime = \"constant\"\n\
         [constants]\nmobility = { mu_n = 1400, mu_p = 450 }\n\
         shockley-read-hall = { tau_n0 = 1e-5, tau_p0 = 1e-5 }\n";
    let x = lines(&[0.0, 2.0, 1002.0], 1e-3, 1.06, 5.0);
    let layers = [(-1e20, 2.0), (1e16, 1000.0)];
    let bench = Bar { layers: &layers, x, temperature: 300.0, rest: laws }.bench();
    let volts = 0.6;
    let wt = [1e-3, 0.1, 1.0, 10.0];
    let frequencies = wt.map(|w| w / tau / TAU);
    // The n side's resistance ρ·length is in series [Ω·cm²]: y/(1 − y r) is the junction's.
    let r = 0.1 / (Q * 1400.0 * 1e16);
    let y: Vec<[f64; 2]> = own(&bench, volts, &frequencies)
        .into_iter()
        .map(|[re, im]| {
            let (a, b) = (1.0 - re * r, -im * r);
            let size = a * a + b * b;
            [(re * a + im * b) / size, (im * a - re * b) / size]
        })
        .collect();
    let g = y[0][0];
    let junction = depletion(1e20, 1e16, volts);
    for (w, y) in wt.into_iter().zip(&y).skip(1) {
        // √(1 + i w) in its real and imaginary part.
        let size = (1.0 + w * w).sqrt();
        let [re, im] = [(0.5 * (size + 1.0)).sqrt(), (0.5 * (size - 1.0)).sqrt()];
        let source = "Sze, Ng (2007), sec. 2.4, diffusion admittance √(1 + iωτ)";
        let what = format!("conductance over that at rest, ωτ = {w}");
        check(source, &what, re, y[0] / g, Within::Relative(0.02));
        let what = format!("susceptance over the conductance at rest, ωτ = {w}, depletion off");
        check(source, &what, im, (y[1] - w / tau * junction) / g, Within::Relative(0.02));
    }
}

fn worst(y: &Admittance, n: usize, at: impl Fn(usize, usize) -> [(f64, usize); 2]) -> f64 {
    let mut worst = 0.0f64;
    for part in [&y.real, &y.imaginary] {
        for i in 0..n {
            for j in 0..n {
                worst = at(i, j).iter().map(|(f, k)| f * part[*k]).sum::<f64>().abs().max(worst);
            }
        }
    }
    worst
}

/// All terminals at one small voltage draw nothing; what is drawn at all of them together
/// is nothing; at rest Y is symmetric (L. Onsager, Phys. Rev. 37 (1931) 405).
#[test]
fn sums_and_reciprocity() {
    let text =
        include_str!("../../meshes/tern180-pad.toml").replace("nodes = 8000", "nodes = 2000");
    let (head, _) = text.split_once("[[experiment]]").expect("experiments");
    let text = format!(
        "{head}[[experiment]]\nkind = \"capacitance\"\nfrequencies = [1e3, 1e10]\n\
         [[experiment]]\nkind = \"capacitance\"\nbias = {{ anode = 3.3, well-tap = 3.3 }}\n\
         open = [\"n-drain\", \"p-drain\"]\nfrequencies = [1e3, 1e10]\n"
    );
    let bench = Bench::new(&text);
    let n = bench.device.contacts.len();
    for (k, place) in ["at rest", "at 3.3 V"].into_iter().enumerate() {
        let outcome = bench.run(k);
        let Figures::Named(sheet) = &outcome.figures else { panic!("{:?}", outcome.figures) };
        let frequencies = sheet.numbers_at("frequency_Hz").to_vec();
        let all = |name: &str| sheet.numbers_at(name).chunks(n * n).map(<[f64]>::to_vec);
        for ((f, real), c) in frequencies.iter().zip(all("g_S_per_um")).zip(all("c_F_per_um")) {
            let imaginary = c.iter().map(|c| TAU * f * c).collect();
            let y = Admittance { real, imaginary };
            let size = (0..n * n).map(|k| y.real[k].hypot(y.imaginary[k])).fold(0.0, f64::max);
            let sums = |column: bool| {
                let of = |part: &[f64], i: usize| {
                    let at = |j: usize| if column { j * n + i } else { i * n + j };
                    (0..n).map(|j| part[at(j)]).sum::<f64>().abs()
                };
                let each = (0..n).map(|i| of(&y.real, i).max(of(&y.imaginary, i)));
                each.fold(0.0, f64::max) / size
            };
            let source = "conservation of charge";
            let what = format!("currents of all terminals together, {place}, {f:e} Hz, over |Y|");
            check(source, &what, 0.0, sums(true), Within::Absolute(1e-10));
            let what = format!("all terminals at one voltage, {place}, {f:e} Hz, over |Y|");
            check("gauge", &what, 0.0, sums(false), Within::Absolute(1e-10));
            if k == 0 {
                let odd = worst(&y, n, |i, j| [(1.0, i * n + j), (-1.0, j * n + i)]) / size;
                let what = format!("Y − Yᵀ {place}, {f:e} Hz, over |Y|");
                check("Onsager (1931)", &what, 0.0, odd, Within::Absolute(1e-10));
            }
        }
    }
}
