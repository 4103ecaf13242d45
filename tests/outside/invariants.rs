//! What must hold whatever the material constants: equilibrium, reciprocity, symmetries,
//! order of convergence, conservation, agreement of the solvers.

use holdpoint::discretize::State;
use holdpoint::solve::{Constraint, Gummel};
use holdpoint::trace::walk;

use super::bar::{Bar, Bench, lines};
use super::ledger::{Within, check, line};

/// A three-terminal strip in 2D: emitter, base from above, collector.
fn npn(rest: &str) -> Bench {
    Bench::new(&format!(
        "{}\n{rest}",
        include_str!("../../meshes/npn-strip.toml").replace("nodes = 3000", "nodes = 1200")
    ))
}

fn diode_text(swap: bool, mirror: bool, rest: &str) -> String {
    let sign = if swap { -1.0 } else { 1.0 };
    let mut x = lines(&[0.0, 1.0, 6.0, 7.0], 2e-3, 1.15, 0.1);
    let mut layers = vec![(-1e19 * sign, 1.0), (1e16 * sign, 5.0), (1e19 * sign, 1.0)];
    if mirror {
        x = x.iter().rev().map(|x| 7.0 - x).collect();
        layers.reverse();
    }
    Bar { layers: &layers, x, temperature: 300.0, rest }.text()
}

#[test]
fn no_current_in_equilibrium() {
    for (name, text) in [
        ("four-layer-bar", include_str!("../../meshes/four-layer-bar.toml").to_string()),
        ("npn-strip", include_str!("../../meshes/npn-strip.toml").to_string()),
        (
            "tern180-pad",
            include_str!("../../meshes/tern180-pad.toml").replace("nodes = 8000", "nodes = 2500"),
        ),
    ] {
        let bench = Bench::new(&text);
        let mut assembly = holdpoint::discretize::Assembly::new(&bench.device);
        assembly.evaluate(&bench.device, &bench.equilibrium, false);
        // Flat quasi-Fermi levels carry exactly nothing.
        let largest = assembly.currents.iter().fold(0.0f64, |m, c| m.max(c.abs()));
        line(
            "equilibrium",
            &format!("largest terminal current, {name} [A/um]"),
            0.0,
            largest * 1e-4,
        );
        assert_eq!(largest, 0.0, "{name}");
        // And Newton, started there, stays within the limit.
        let drive = bench.device.contacts[0].name.clone();
        let mut system = bench.system(&drive);
        let (mut state, mut lambda) = (bench.equilibrium.clone(), [0.0; 2]);
        system.newton(&mut state, &mut lambda, &Constraint::Voltage(0.0)).expect("equilibrium");
        let [_, largest] = system.imbalance();
        line("equilibrium", &format!("after Newton, {name} [A/um]"), 0.0, largest);
        assert!(largest <= 1e-25, "{name}: {largest:e}");
    }
}

/// Currents with one terminal at ±v and the others at 0 V.
fn response(bench: &Bench, drive: usize, v: f64) -> Vec<f64> {
    let name = bench.device.contacts[drive].name.clone();
    let at = |v: f64| {
        let mut system = bench.system(&name);
        let (mut state, mut lambda) = (bench.equilibrium.clone(), 0.0);
        walk(&mut system, &mut state, &mut lambda, v, 0.5).expect("a small bias");
        (0..bench.device.contacts.len()).map(|k| system.current(k)).collect::<Vec<_>>()
    };
    at(v).iter().zip(at(-v)).map(|(p, m)| (p - m) / (2.0 * v)).collect()
}

/// Derivatives of all terminal currents by one terminal's voltage, at equilibrium.
fn small_signal(bench: &Bench, drive: usize) -> Vec<f64> {
    let name = bench.device.contacts[drive].name.clone();
    let mut system = bench.system(&name);
    system
        .linearize(&bench.equilibrium, [0.0; 2], &Constraint::Voltage(0.0))
        .expect("the Jacobian of equilibrium");
    system.tangent(&bench.equilibrium).expect("linearized").terminals.currents
}

/// G_ij = G_ji at equilibrium (Onsager, Phys. Rev. 37, 405 (1931)), by a finite voltage.
#[test]
fn reciprocity_of_a_microvolt() {
    // Odd part of a 1 µV response: cubic terms are (v/V_T)² = 1.5e-9. Without avalanche:
    // α|J| is of first order in the voltage, once on one side of it and once on the other.
    let bench = npn(NO_AVALANCHE);
    reciprocal("1 uV", (0..3).map(|k| response(&bench, k, 1e-6)).collect());
}

/// The same by the Jacobian, where nothing may ionize.
#[test]
fn reciprocity_of_the_derivative() {
    for (what, laws) in [("no avalanche", NO_AVALANCHE), ("with avalanche", "")] {
        let bench = npn(laws);
        reciprocal(what, (0..3).map(|k| small_signal(&bench, k)).collect());
    }
}

fn reciprocal(what: &str, g: Vec<Vec<f64>>) {
    let largest = g.iter().flatten().fold(0.0f64, |m, v| m.max(v.abs()));
    for (i, j) in [(0, 1), (0, 2), (1, 2)] {
        let relative = (g[i][j] - g[j][i]).abs() / g[i][j].abs().max(1e-9 * largest);
        line(
            "Onsager 1931",
            &format!("|G_{i}{j} - G_{j}{i}|/|G| of {:.3e} A/um/V, {what}", g[i][j]),
            0.0,
            relative,
        );
        assert!(relative <= 1e-6, "G_{i}{j} {:e}, G_{j}{i} {:e}", g[i][j], g[j][i]);
    }
}

const FORWARD: &str = "[[experiment]]\nkind = \"bias\"\ndrive = [\"left\"]\nat = [0.3, 0.6, 0.8]\n";

#[test]
fn mirrored_case_carries_the_same_current() {
    let here = Bench::new(&diode_text(false, false, FORWARD));
    let there = Bench::new(&diode_text(false, true, &FORWARD.replace("left", "right")));
    let (a, b) = (here.run(0), there.run(0));
    for ((v, i), (_, j)) in here.currents(&a, "left").into_iter().zip(there.currents(&b, "right")) {
        check("left-right symmetry", &format!("I at {v} V [A/um]"), i, j, Within::Relative(1e-9));
    }
}

/// Donors for acceptors, electrons for holes, all constants equal: the currents change
/// their sign.
#[test]
fn carrier_symmetry() {
    let laws = "[laws]\nmobility = \"constant\"\nlifetime = \"constant\"\n[constants]\n\
        mobility = { mu_n = 700, mu_p = 700 }\n\
        canali-1975 = { v_n = 1e7, v_p = 1e7, beta_n = 1.2, beta_p = 1.2, beta_n_exponent = 0, beta_p_exponent = 0, v_n_exponent = 0, v_p_exponent = 0 }\n\
        shockley-read-hall = { tau_n0 = 1e-7, tau_p0 = 1e-7 }\nauger = { c_n = 2e-31, c_p = 2e-31 }\n\
        van-overstraeten-1970 = { a_n = 7e5, b_n = 1.2e6, a_p_low = 7e5, b_p_low = 1.2e6, a_p_high = 7e5, b_p_high = 1.2e6 }\n";
    let bias = |at: &str| {
        format!("{laws}[[experiment]]\nkind = \"bias\"\ndrive = [\"left\"]\nat = [{at}]\n")
    };
    let here = Bench::new(&diode_text(false, false, &bias("-20, -5, 0.3, 0.6, 0.8")));
    let there = Bench::new(&diode_text(true, false, &bias("20, 5, -0.3, -0.6, -0.8")));
    let (a, b) = (here.run(0), there.run(0));
    for ((v, i), (_, j)) in here.currents(&a, "left").into_iter().zip(there.currents(&b, "left")) {
        check(
            "donor-acceptor symmetry",
            &format!("I at {v} V [A/um]"),
            i,
            -j,
            Within::Relative(1e-9),
        );
    }
}

/// A terminal given as two pieces that own the same nodes as the whole.
#[test]
fn splitting_a_terminal_changes_nothing() {
    let whole = include_str!("../../meshes/npn-strip.toml");
    let x = lines(&[0.0, 1.0, 1.4, 1.6, 2.0, 4.0, 5.0], 0.01, 1.3, 0.2);
    let y = lines(&[0.0, 0.2, 2.0], 0.02, 1.4, 0.4);
    let whole = whole.replace("nodes = 3000", &format!("x = {x:?}\ny = {y:?}"));
    let k = x.iter().position(|v| *v > 1.5).unwrap();
    let split = whole.replace(
        "touches = [{ from = 1.4, to = 1.6 }]",
        &format!(
            "touches = [{{ from = 1.4, to = {:?} }}, {{ from = {:?}, to = 1.6 }}]",
            x[k - 1],
            x[k]
        ),
    );
    assert_ne!(whole, split);
    let (a, b) = (Bench::new(&whole), Bench::new(&split));
    assert_eq!(a.mesh.terminals[1].nodes, b.mesh.terminals[1].nodes);
    let (oa, ob) = (a.run(0), b.run(0));
    for terminal in ["emitter", "base", "collector"] {
        assert_eq!(a.currents(&oa, terminal), b.currents(&ob, terminal), "{terminal}");
    }
    line("two pieces, same nodes", "largest difference of a current", 0.0, 0.0);
}

/// Forward currents of a diode on lines halved three times.
fn refined(narrowing: &str) -> Vec<f64> {
    let rest = format!(
        "[laws]\nlifetime = \"constant\"\nnarrowing = \"{narrowing}\"\n[constants]\nshockley-read-hall = {{ tau_n0 = 1e-7, tau_p0 = 1e-7 }}\n"
    );
    let mut x = lines(&[0.0, 1.0, 3.0], 0.01, 1.2, 0.1);
    let mut currents = Vec::new();
    for _ in 0..4 {
        let layers = [(-1e17, 1.0), (1e16, 2.0)];
        let bench = Bar { layers: &layers, x: x.clone(), temperature: 300.0, rest: &rest }.bench();
        bench.sweep("left", &[0.6], |_, system, _| currents.push(system.drive_current()));
        let middle: Vec<f64> = x.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect();
        x.extend(middle);
        x.sort_by(f64::total_cmp);
    }
    currents
}

/// Second order, with narrowing on the abrupt junction too.
#[test]
fn order_of_convergence() {
    for narrowing in ["none", "slotboom-1977"] {
        let currents = refined(narrowing);
        for w in currents.windows(3) {
            let order = ((w[1] - w[0]) / (w[2] - w[1])).abs().log2();
            let what = format!("order, narrowing {narrowing}");
            check("box method, second order", &what, 2.0, order, Within::AtLeast(1.8));
        }
    }
}

#[test]
fn currents_are_conserved_on_a_whole_curve() {
    let text =
        include_str!("../../meshes/four-layer-bar.toml").replace("nodes = 3200", "nodes = 800");
    let curve = Bench::new(&text).run(0).curve;
    let mut worst = 0.0f64;
    for (sum, largest) in curve.imbalance.iter().zip(&curve.largest) {
        assert!(*sum <= (1e-10 * largest).max(1e-24), "{sum:e} of {largest:e}");
        worst = worst.max(sum / largest.max(1e-14));
    }
    line("Kirchhoff", "largest |sum I|/max(I, 1e-14) over the curve", 0.0, worst);
}

/// The decoupled iteration and Newton end in the same state.
#[test]
fn gummel_and_newton_agree() {
    gummel_and_newton(NO_AVALANCHE);
}

#[test]
fn gummel_and_newton_agree_with_avalanche() {
    gummel_and_newton("");
}

const NO_AVALANCHE: &str = "[laws]\navalanche = \"none\"\n";

fn gummel_and_newton(laws: &str) {
    let bench = Bench::new(&diode_text(false, false, laws));
    let vt = bench.device.silicon.vt;
    for v in [0.5, -2.0] {
        let mut newton: Option<State> = None;
        let system = bench.system("left");
        bench.sweep("left", &[v], |_, _, state| newton = Some(state.clone()));
        let newton = newton.unwrap();
        let mut state = bench.equilibrium.clone();
        system.apply_lambda(&mut state, [v, 0.0]);
        let mut gummel = Gummel::new(&bench.device).expect("analysis");
        let (change, _) = gummel.iterate(&bench.device, &mut state, 400, 1e-9).expect("Gummel");
        assert!(change < 1e-9, "not converged: {change:e}");
        let mut worst = 0.0f64;
        for i in 0..bench.device.nodes() {
            worst = worst.max((state.psi.hi[i] - newton.psi.hi[i]).abs() / vt);
            // Densities that carry anything.
            for (a, b) in [(state.n[i], newton.n[i]), (state.p[i], newton.p[i])] {
                worst = worst.max((a - b).abs() / (b + 1e-3 * bench.device.nie[i]));
            }
        }
        line("Gummel 1964", &format!("largest difference to Newton at {v} V"), 0.0, worst);
        assert!(worst < 1e-5, "at {v} V: {worst:e}");
    }
}

/// Newton's last steps: u_{k+1} ≤ C u_k².
#[test]
fn newton_is_quadratic_at_the_end() {
    newton_is_quadratic(NO_AVALANCHE, 10.0, 0);
}

/// Avalanche couples the carriers through net currents, whose relative errors exceed those
/// of the densities: the order is the same, the constant larger. Breakdown from −10 V on leaves
/// 1e-10 to 4e-6 of a step of 5e-5 to rounding, in three elimination orders tried and with one
/// or three sweeps of refinement. In two of the orders one of the 22 points then needed a step
/// or two more. So two may, if they end at rounding; a wrong derivative would
/// show at most points.
#[test]
fn newton_is_quadratic_at_the_end_with_avalanche() {
    newton_is_quadratic("", 100.0, 2);
}

fn newton_is_quadratic(laws: &str, constant: f64, most_rounded: usize) {
    let (mut points, mut rounded, mut worst) = (0, 0, 0.0f64);
    let reverse: Vec<f64> = (1..=10).map(|k| -2.0 * f64::from(k)).collect();
    let forward: Vec<f64> = (1..=12).map(|k| 0.08 * f64::from(k)).collect();
    let bench = Bench::new(&diode_text(false, false, laws));
    for at in [reverse, forward] {
        let mut system = bench.system("left");
        let (mut state, mut lambda) = (bench.equilibrium.clone(), 0.0);
        for v in at {
            walk(&mut system, &mut state, &mut lambda, v, 0.5).expect("bias");
            // Disturb by a small step of the voltage and watch Newton come back.
            let (mut s, mut l) = (state.clone(), [v, 0.0]);
            (system.params.update, system.params.chords) = (1e-9, false);
            let info = system.newton(&mut s, &mut l, &Constraint::Voltage(v + 0.01));
            (system.params.update, system.params.chords) = (1e-5, true);
            let updates = info.expect("a nearby bias").updates;
            points += 1;
            // Below 1e-7 a step's rounding shows in leakage currents beside 1e19 cm⁻³.
            let last = updates.windows(2).rev().find(|w| w[0] > 1e-7).expect("two steps");
            if last[1] > constant * last[0] * last[0] {
                let end = updates.last().expect("two steps");
                assert!(*end < 1e-13, "at {v} V: {updates:?}");
                rounded += 1;
                continue;
            }
            worst = worst.max(last[1] / (last[0] * last[0]));
        }
    }
    assert!(rounded <= most_rounded, "{rounded} points");
    assert!(points >= 20);
    line("Newton", &format!("largest u'/u^2 at {points} bias points"), 0.0, worst);
}
