//! Two-dimensional invariants: mirrored and polarity-swapped cross-sections, terminals in
//! pieces, a strip against its one-dimensional bar, and positive densities everywhere.

use holdpoint::experiment::{Figures, Outcome, RunOptions, run_experiment};
use holdpoint::trace::KeepNothing;

use super::bar::{Bar, Bench, lines};
use super::ledger::{Within, check, line};

const SPAN: f64 = 12.0;

/// A parasitic path: substrate tap, n+ source, well edge, p+ source, well tap.
#[derive(Clone, Copy, Default)]
struct Path {
    /// Left and right changed over.
    mirror: bool,
    /// Donors for acceptors.
    swap: bool,
    /// The n+ source's terminal in two pieces that own the same nodes.
    split: bool,
}

impl Path {
    /// [from, to] or, mirrored, its image.
    fn stretch(self, from: f64, to: f64) -> String {
        let (a, b) = if self.mirror { (SPAN - to, SPAN - from) } else { (from, to) };
        format!("from = {a:?}, to = {b:?}")
    }

    fn text(self, rest: &str) -> String {
        let [donors, acceptors] =
            if self.swap { ["acceptors", "donors"] } else { ["donors", "acceptors"] };
        let mut text = format!(
            "temperature = 300\n[wafer]\nspan = {SPAN:?}\nthickness = 3\n{acceptors} = 1e16\n"
        );
        let mut piece = |name: &str, kind: &str, peak: f64, at: [f64; 2], fall: [f64; 2]| {
            let ends = self.stretch(at[0], at[1]).replace(", ", "\n");
            text += &format!(
                "[[well]]\nname = \"{name}\"\n{kind} = {peak:e}\n{ends}\nfalloff = {:?}\nspread = {:?}\n",
                fall[0], fall[1]
            );
        };
        piece("n-well", donors, 1e17, [6.0, SPAN], [0.9, 0.3]);
        piece("p-well", acceptors, 1e17, [0.0, 6.0], [0.9, 0.3]);
        piece("substrate tap", acceptors, 1e20, [0.5, 1.5], [0.14, 0.1]);
        piece("n+ source", donors, 1e20, [3.5, 4.75], [0.14, 0.1]);
        piece("p+ source", acceptors, 1e20, [7.25, 8.5], [0.14, 0.1]);
        piece("well tap", donors, 1e20, [10.5, 11.5], [0.14, 0.1]);
        let mut x =
            lines(&[0.0, 0.5, 1.5, 3.5, 4.75, 6.0, 7.25, 8.5, 10.5, 11.5, SPAN], 0.1, 2.0, 0.5);
        let k = x.iter().position(|v| *v > 4.2).expect("a line");
        let pieces =
            if self.split { vec![(3.7, x[k - 1]), (x[k], 4.55)] } else { vec![(3.7, 4.55)] };
        for (name, role, pieces) in [
            ("low tap", "substrate-tap", vec![(0.7, 1.3)]),
            ("low source", "cathode", pieces),
            ("high source", "anode", vec![(7.45, 8.3)]),
            ("high tap", "well-tap", vec![(10.7, 11.3)]),
        ] {
            // The roles name polarities.
            let role = if self.swap { "none" } else { role };
            let touches: Vec<String> =
                pieces.iter().map(|p| format!("{{ {} }}", self.stretch(p.0, p.1))).collect();
            text += &format!(
                "[[terminal]]\nname = \"{name}\"\nrole = \"{role}\"\ntouches = [{}]\n",
                touches.join(", ")
            );
        }
        if self.mirror {
            x = x.iter().rev().map(|x| SPAN - x).collect();
        }
        let y = lines(&[0.0, 0.3, 3.0], 0.04, 1.8, 0.6);
        text + rest + &format!("[grid]\nx = {x:?}\ny = {y:?}\n") + SNAPBACK
    }
}

const SNAPBACK: &str = "[[experiment]]\nkind = \"snapback\"\ndrive = [\"high source\", \"high tap\"]\nstop = { current = 1e-3 }\n";

/// The snapback with the fields of up to 200 points.
fn run(bench: &Bench) -> Outcome {
    run_experiment(
        &bench.case,
        &bench.device,
        &bench.equilibrium,
        &bench.case.experiments[0],
        RunOptions { fields: 200 },
        None,
        &mut KeepNothing,
    )
    .expect("setup")
}

/// Trigger and holding point: (V, I) each.
fn folds(outcome: &Outcome) -> [(f64, f64); 2] {
    match &outcome.figures {
        Figures::Snapback { trigger: Ok(t), holding: Ok(h), .. } => {
            [(t.voltage, t.current), (h.voltage, h.current)]
        }
        other => panic!("no folds: {other:?}"),
    }
}

fn compare_folds(source: &str, a: [(f64, f64); 2], b: [(f64, f64); 2]) {
    for (name, (a, b)) in ["trigger", "holding"].into_iter().zip(a.into_iter().zip(b)) {
        // Folds are located to 1e-9 of arclength; the current along them is the square root.
        check(source, &format!("{name} voltage [V]"), a.0, b.0, Within::Relative(1e-8));
        check(source, &format!("{name} current [A/um]"), a.1, b.1, Within::Relative(1e-4));
    }
}

/// Mirrored, and with a terminal in two pieces: the same folds. On the way, every density of
/// every kept state is positive.
#[test]
fn folds_do_not_depend_on_how_the_path_is_drawn() {
    let whole = Bench::new(&Path::default().text(""));
    let outcome = run(&whole);
    positive(&whole, &outcome);
    let here = folds(&outcome);
    let mirrored = Bench::new(&Path { mirror: true, ..Path::default() }.text(""));
    compare_folds("left-right symmetry, 2D", here, folds(&run(&mirrored)));
    let split = Bench::new(&Path { split: true, ..Path::default() }.text(""));
    assert_eq!(whole.mesh.terminals[1].nodes, split.mesh.terminals[1].nodes);
    compare_folds("terminal in two pieces, 2D", here, folds(&run(&split)));
}

/// Equal constants for both carriers; every terminal current of the swapped cross-section at
/// negated voltages is the negative.
#[test]
fn swapped_cross_section_carries_the_negative_current() {
    let laws = "[laws]\nmobility = \"constant\"\nlifetime = \"constant\"\n[constants]\n\
        mobility = { mu_n = 500, mu_p = 500 }\n\
        canali-1975 = { v_n = 1e7, v_p = 1e7, beta_n = 1.2, beta_p = 1.2, beta_n_exponent = 0, beta_p_exponent = 0, v_n_exponent = 0, v_p_exponent = 0 }\n\
        shockley-read-hall = { tau_n0 = 1e-7, tau_p0 = 1e-7 }\nauger = { c_n = 2e-31, c_p = 2e-31 }\n\
        van-overstraeten-1970 = { a_n = 7e5, b_n = 1.2e6, a_p_low = 7e5, b_p_low = 1.2e6, a_p_high = 7e5, b_p_high = 1.2e6 }\n";
    let here = Bench::new(&Path::default().text(laws));
    let there = Bench::new(&Path { swap: true, ..Path::default() }.text(laws));
    // Blocking (well tap up) and forward (source up): the latter in an on-state at 0.9 V.
    for (drive, at) in [("high tap", [2.0, 8.0]), ("high source", [0.5, 0.9])] {
        let currents = |bench: &Bench, sign: f64| {
            let mut all = Vec::new();
            let at = at.map(|v| sign * v);
            bench.sweep(drive, &at, |_, system, _| {
                all.push((0..4).map(|k| system.current(k)).collect::<Vec<_>>());
            });
            all
        };
        let pairs = currents(&here, 1.0).into_iter().zip(currents(&there, -1.0));
        for (v, (a, b)) in at.into_iter().zip(pairs) {
            let k = here.contact(drive);
            let what = format!("I of {drive} at {v} V [A/um]");
            check("donor-acceptor symmetry, 2D", &what, a[k], -b[k], Within::Relative(1e-9));
            let largest = a.iter().fold(0.0f64, |m, i| m.max(i.abs()));
            for (i, j) in a.iter().zip(&b) {
                assert!((i + j).abs() <= 1e-9 * largest, "{drive} at {v} V: {a:?} {b:?}");
            }
        }
    }
}

/// Nothing varies along y: a strip 3 µm thick on uneven lines carries three times the current
/// of the bar of 1 µm, and its potential does not depend on y.
#[test]
fn strip_and_bar_agree() {
    let x = lines(&[0.0, 1.0, 3.0, 4.0], 4e-3, 1.2, 0.1);
    let layers = [(-1e19, 1.0), (1e16, 2.0), (1e19, 1.0)];
    let text = Bar { layers: &layers, x, temperature: 300.0, rest: "" }.text();
    let thick = text
        .replace("thickness = 1\n", "thickness = 3\n")
        .replace("y = [0.0, 1.0]", "y = [0.0, 0.1, 0.4, 0.5, 1.7, 2.9, 3.0]");
    assert!(thick.contains("thickness = 3") && thick.contains("1.7"));
    let (bar, strip) = (Bench::new(&text), Bench::new(&thick));
    for at in [[0.5, 0.8], [-5.0, -20.0]] {
        let mut one = Vec::new();
        bar.sweep("left", &at, |_, system, _| one.push(system.current(0)));
        let mut three = Vec::new();
        let mut spread = 0.0f64;
        strip.sweep("left", &at, |_, system, state| {
            three.push(system.current(0));
            for i in 0..strip.mesh.nx() {
                let top = strip.mesh.node(i, 0).unwrap();
                for j in 1..strip.mesh.ny() {
                    let below = strip.mesh.node(i, j).unwrap();
                    spread = spread.max(state.psi.difference(below, top).abs());
                }
            }
        });
        for ((v, i), j) in at.iter().zip(one).zip(three) {
            let what = format!("I of a strip of 3 um at {v} V [A/um]");
            check("strip and bar", &what, 3.0 * i, j, Within::Relative(1e-9));
        }
        line("strip and bar", "largest difference of psi across [V]", 0.0, spread);
        assert!(spread < 1e-10, "{spread:e} V");
    }
}

/// Densities of the states that a trace keeps, and of the states of a reverse ramp.
fn positive(bench: &Bench, outcome: &Outcome) {
    assert!(outcome.fields.len() > 40, "{} states", outcome.fields.len());
    let mut smallest = f64::INFINITY;
    let mut see = |n: &[f64], p: &[f64]| {
        for i in (0..bench.device.nodes()).filter(|&i| bench.device.has_silicon(i)) {
            for density in [n[i], p[i]] {
                assert!(density > 0.0 && density.is_finite(), "{density:e} at node {i}");
                smallest = smallest.min(density);
            }
        }
    };
    for f in &outcome.fields {
        see(&f.electrons, &f.holes);
    }
    let at: Vec<f64> = (1..=16).map(|k| 0.5 * f64::from(k)).collect();
    bench.sweep("high tap", &at, |_, _, state| see(&state.n, &state.p));
    println!(
        "positivity: {} states, smallest density {smallest:e} cm^-3",
        outcome.fields.len() + at.len()
    );
}
