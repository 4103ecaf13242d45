//! Majority conduction: a uniform bar, the constriction before a strip and the spreading
//! resistance of a strip against conformal mapping; what a base sees against the sheet
//! resistance times squares.

use holdpoint::discretize::Assembly;
use holdpoint::experiment::{Majority, Source, Way};
use holdpoint::silicon::{Carrier, Q};

use super::bar::{Bench, lines};
use super::ledger::{Within, check};

const DONORS: f64 = 1e16;

/// A uniform n block `span` by `thickness` µm; `touches` of terminal "strip", and a back
/// contact if wanted.
fn block(span: f64, thickness: f64, touches: &str, back: bool, x: &[f64], y: &[f64]) -> Bench {
    let mut text = format!(
        "temperature = 300\n[wafer]\nspan = {span:?}\nthickness = {thickness:?}\ndonors = {DONORS:e}\n\
         [[terminal]]\nname = \"strip\"\ntouches = [{touches}]\n"
    );
    if back {
        text += "[[terminal]]\nname = \"back\"\ntouches = [{ side = \"back\" }]\n";
    }
    text += "[laws]\nmobility = \"constant\"\nnarrowing = \"none\"\n[constants]\nmobility = { mu_n = 1000, mu_p = 400 }\n";
    text += &format!("[grid]\nx = {x:?}\ny = {y:?}\n");
    Bench::new(&text)
}

/// ρ of the block [Ω·µm].
fn resistivity() -> f64 {
    1e4 / (Q * 1000.0 * DONORS)
}

fn majority<'b>(bench: &'b Bench, taps: &[usize]) -> Majority<'b> {
    let mut assembly = Assembly::new(&bench.device);
    assembly.evaluate(&bench.device, &bench.equilibrium, false);
    Majority::new(&bench.device, &bench.equilibrium, &assembly, Carrier::Electron, taps)
}

/// A current spread evenly over the nodes at one depth.
fn evenly(bench: &Bench, depth: f64) -> Vec<Source> {
    let at = |i: &usize| (bench.device.position[*i][1] - depth).abs() < 1e-9;
    let nodes: Vec<usize> = (0..bench.device.nodes()).filter(at).collect();
    let all: f64 = nodes.iter().map(|&i| bench.device.area[i]).sum();
    nodes.iter().map(|&n| Source { node: n, share: bench.device.area[n] / all }).collect()
}

#[test]
fn uniform_bar() {
    let (x, y) = (lines(&[0.0, 2.0], 0.5, 1.0, 0.5), lines(&[0.0, 10.0], 0.1, 1.3, 1.0));
    let bench = block(2.0, 10.0, "{ from = 0, to = 2 }", false, &x, &y);
    let majority = majority(&bench, &[0]);
    let expected = resistivity() * 10.0 / 2.0;
    for series in [0.0, 500.0] {
        let ways = [Way { contact: 0, resistance: series }];
        let ours = majority.resistance(&evenly(&bench, 10.0), &ways).unwrap();
        let what = format!("uniform bar, {series} ohm um in series [ohm um]");
        check("rho L/A", &what, expected + series, ours, Within::Relative(1e-3));
    }
}

/// A strip of width 2a across the middle of the end of a bar 2w wide: (ρ/π) ln(1/sin(πa/2w))
/// beyond the bar's own resistance, by ζ = sin(πz/2w).
#[test]
fn constriction_before_a_strip() {
    let (w, a, length) = (2.0, 0.5, 12.0);
    let x = lines(&[0.0, w - a, w + a, 2.0 * w], 2e-3, 1.15, 0.1);
    let y = lines(&[0.0, length], 2e-3, 1.15, 0.5);
    let touches = format!("{{ from = {:?}, to = {:?} }}", w - a, w + a);
    let bench = block(2.0 * w, length, &touches, false, &x, &y);
    let majority = majority(&bench, &[0]);
    let ours = majority.resistance(&evenly(&bench, length), &[Way { contact: 0, resistance: 0.0 }]);
    let rho = resistivity();
    let own = rho * length / (2.0 * w);
    let narrow = -(0.5 * std::f64::consts::PI * a / w).sin().ln() * rho / std::f64::consts::PI;
    let ours = ours.unwrap();
    check(
        "conformal mapping",
        "bar with a constriction [ohm um]",
        own + narrow,
        ours,
        Within::Relative(1e-3),
    );
    check(
        "conformal mapping",
        "constriction alone [ohm um]",
        narrow,
        ours - own,
        Within::Relative(1e-2),
    );
}

/// Complete elliptic integral of the first kind by the arithmetic-geometric mean.
fn elliptic(k: f64) -> f64 {
    let (mut a, mut b) = (1.0, (1.0 - k * k).sqrt());
    for _ in 0..40 {
        (a, b) = (0.5 * (a + b), (a * b).sqrt());
    }
    0.5 * std::f64::consts::PI / a
}

/// A strip of width 2a on a layer of thickness t over a conducting back:
/// R = ρ K(k')/(2K(k)), k = tanh(πa/2t), the layer wide against t.
#[test]
fn spreading_resistance_of_a_strip() {
    let (t, span) = (2.0, 16.0);
    for a in [0.25, 1.0] {
        let (left, right) = (0.5 * span - a, 0.5 * span + a);
        let x = lines(&[0.0, left, right, span], 2e-3, 1.15, 0.4);
        let y = lines(&[0.0, t], 2e-3, 1.15, 0.1);
        let touches = format!("{{ from = {left:?}, to = {right:?} }}");
        let bench = block(span, t, &touches, true, &x, &y);
        let k = (0.5 * std::f64::consts::PI * a / t).tanh();
        let expected = resistivity() * elliptic((1.0 - k * k).sqrt()) / (2.0 * elliptic(k));
        let [strip, back] = ["strip", "back"].map(|n| bench.contact(n));
        let ours = majority(&bench, &[back]).between(strip, back).unwrap();
        let what = format!("strip {} um wide on {t} um [ohm um]", 2.0 * a);
        check("K(k')/2K(k)", &what, expected, ours, Within::Relative(5e-3));
    }
}
