//! The assembled Jacobian against central differences of the residual, on random physical
//! states and for every combination of laws.

use holdpoint::case::{
    self, Avalanche, Case, Dopants, Heat, HeatPaths, Laws, Lifetime, Mobility, Narrowing,
    Saturation, Statistics,
};
use holdpoint::discretize::{Assembly, DENSITY_SCALE, Device, State, Tie};
use holdpoint::linear::BlockMatrix;
use holdpoint::mesh::{self, Mesh};
use holdpoint::structure::Structure;

const TEXT: &str = r#"
temperature = "125 degC"
[wafer]
span = 4
thickness = 2
acceptors = 1e16
[[well]]
name = "well"
donors = 2e17
from = 2
to = 4
falloff = 0.8
spread = 0.3
[[diffusion]]
name = "n+"
donors = 1e20
from = 0.6
to = 1.2
falloff = 0.12
spread = 0.09
[[diffusion]]
name = "p+"
acceptors = 1e20
from = 2.8
to = 3.4
falloff = 0.12
spread = 0.09
[[trench]]
from = 1.7
to = 2.2
depth = 0.3
[[gate]]
name = "gate"
from = 0.2
to = 0.5
oxide = "7 nm"
plate = "n+ poly"
[[terminal]]
name = "cathode"
role = "cathode"
touches = [{ from = 0.7, to = 1.1 }]
[[terminal]]
name = "anode"
role = "anode"
touches = [{ from = 2.9, to = 3.3 }]
[[terminal]]
name = "back"
role = "substrate-tap"
touches = [{ side = "back" }]
[grid]
x = [0.0, 0.2, 0.35, 0.5, 0.6, 0.7, 0.9, 1.1, 1.3, 1.5, 1.7, 1.95, 2.2, 2.5, 2.8, 2.9, 3.1, 3.3, 3.6, 4.0]
y = [-0.007, -0.0035, 0.0, 0.02, 0.06, 0.12, 0.2, 0.3, 0.4, 0.7, 1.2, 2.0]
"#;

/// Small linear congruential generator: the same states on every machine.
struct Random(u64);
impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        ((self.0 >> 11) as f64) / (1u64 << 53) as f64
    }
    fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.next()
    }
}

fn read() -> Case {
    case::read_str(TEXT, "jacobian.toml").map(|r| r.0).unwrap_or_else(|p| panic!("{p:?}"))
}

/// True if a field near node `i` is (nearly) zero: there |E|^β has no second derivative, so
/// that differences of any step say little.
fn near_kink(device: &Device, state: &State, i: usize) -> bool {
    let touches = |e: &holdpoint::discretize::Edge| {
        let near =
            |n: u32| n as usize == i || (0..4).any(|d| device.neighbour(i, d) == Some(n as usize));
        near(e.a) || near(e.b)
    };
    device.edges.iter().filter(|e| touches(e)).any(|e| {
        let drop = state.psi.difference(e.b as usize, e.a as usize).abs();
        drop > 0.0 && drop < 1e-2 * device.silicon.vt
    })
}

/// A state with fields, currents and splits as in blocking, triggering and conducting
/// devices: random smooth parts plus noise. With heat the lattice between 260 and 1150 K.
fn random_state(device: &Device, r: &mut Random) -> State {
    let mut s = State::neutral(device);
    let (mean, hot) = (r.between(350.0, 900.0), r.between(0.0, 80.0));
    if device.has_heat() {
        for i in 0..device.nodes() {
            let (x, y) = device.pattern.places[i];
            let smooth = mean + hot * ((x as f64 / 7.0).sin() + (y as f64 / 4.0).cos());
            s.set_temperature(device, i, [smooth + r.between(-5.0, 5.0), 0.0]);
        }
        for k in 0..device.contacts.len() {
            s.set_contact(device, k, [0.0, 0.0]);
        }
    }
    let vt = device.silicon.vt;
    let (tilt_x, tilt_y) = (r.between(-6.0, 6.0), r.between(-3.0, 3.0));
    let split = r.between(-25.0, 25.0);
    for i in 0..device.nodes() {
        if device.ties[i] != Tie::Free {
            continue;
        }
        let (x, y) = device.pattern.places[i];
        let smooth = tilt_x * x as f64 / 20.0 + tilt_y * y as f64 / 12.0;
        s.psi.add(i, smooth + vt * r.between(-3.0, 3.0));
        if device.has_silicon(i) {
            s.phi_n.add(i, smooth + 0.5 * split * vt + vt * r.between(-3.0, 3.0));
            s.phi_p.add(i, smooth - 0.5 * split * vt + vt * r.between(-3.0, 3.0));
        }
    }
    s.refresh(device);
    s
}

/// Shift one scaled unknown of node `i` by `h`, the others held; at an ohmic node only the
/// lattice temperature, which the others follow.
fn shifted(device: &Device, state: &State, i: usize, unknown: usize, h: f64) -> State {
    let mut s = state.clone();
    let scale = device.scale()[unknown];
    let silicon = device.has_silicon(i);
    let before = *s.local(device, i);
    let mut densities = [s.n[i], s.p[i]];
    match unknown {
        0 => {
            for level in [&mut s.psi, &mut s.phi_n, &mut s.phi_p] {
                level.add(i, h * scale);
            }
            s.refresh(device);
            return s;
        }
        1 | 2 => densities[unknown - 1] += h * scale,
        _ => {
            s.heat(device, i, h * scale);
            if let Tie::Ohmic(k) = device.ties[i] {
                let volts = s.volts.get(k as usize);
                s.set_contact(device, k as usize, volts);
                return s;
            }
        }
    }
    if silicon {
        let after = *s.local(device, i);
        let held = [state.n[i], state.p[i]];
        let moved = [0, 1].map(|c| {
            if unknown < 3 && before.bands.is_none() {
                // Without the rounding of two logarithms.
                before.vt * ((densities[c] - held[c]) / held[c]).ln_1p()
            } else {
                after.vt * after.zeta(c, densities[c]) - before.vt * before.zeta(c, held[c])
            }
        });
        if unknown != 2 {
            s.phi_n.add(i, -moved[0]);
        }
        if unknown != 1 {
            s.phi_p.add(i, moved[1]);
        }
    }
    s.refresh(device);
    s
}

/// Entry of the Jacobian, or the total derivative by the temperature of an ohmic node.
fn exact(
    device: &Device,
    base: &Assembly,
    k: usize,
    i: usize,
    equation: usize,
    unknown: usize,
) -> f64 {
    let b = device.block();
    let entry = |u: usize| base.matrix.values[b * b * k + b * equation + u];
    let own = device.slots[i][0] as usize;
    let mut sum = entry(unknown);
    if device.ties[i] != Tie::Free && unknown == 3 {
        for u in 0..3 {
            sum -= entry(u) * base.matrix.values[b * b * own + b * u + 3];
        }
    }
    sum
}

/// Largest relative difference over all entries of the rows around `i`.
fn check_node(device: &Device, state: &State, base: &Assembly, i: usize) -> f64 {
    let mut worst = 0.0f64;
    let pattern = &device.pattern;
    let b = device.block();
    let size_of = |c: usize| [1.0, state.n[c] / DENSITY_SCALE, state.p[c] / DENSITY_SCALE, 1.0];
    for unknown in 0..b {
        let tied = device.ties[i] != Tie::Free;
        if (unknown == 1 || unknown == 2) && !device.has_silicon(i) || unknown < 3 && tied {
            continue;
        }
        let size = size_of(i)[unknown];
        let evaluate = |step: f64| {
            let mut a = Assembly::new(device);
            a.evaluate(device, &shifted(device, state, i, unknown, step), false);
            a.residual
        };
        // Fourth-order central differences at two steps: for a term that is small beside
        // the others of its row the longer one rounds less.
        let differences = [2e-5, 2e-3].map(|step| {
            let h = step * size;
            let r = [h, -h, 2.0 * h, -2.0 * h].map(evaluate);
            let at = |k: usize| (8.0 * (r[0][k] - r[1][k]) - (r[2][k] - r[3][k])) / (12.0 * h);
            (0..base.residual.len()).map(at).collect::<Vec<f64>>()
        });
        for row in 0..pattern.rows {
            let Some(k) = (pattern.start[row]..pattern.start[row + 1])
                .find(|&k| pattern.columns[k] as usize == i)
            else {
                continue;
            };
            for equation in 0..b {
                // A terminal's nodes have an equation of heat alone.
                let tied = device.ties[row] != Tie::Free && equation < 3;
                let oxide = !device.has_silicon(row) && (equation == 1 || equation == 2);
                if tied || oxide {
                    continue;
                }
                let at = b * row + equation;
                let exact = exact(device, base, k, i, equation, unknown);
                // Noise of the difference: rounding of the largest term in the row.
                let scale: f64 = (pattern.start[row]..pattern.start[row + 1])
                    .flat_map(|k| (0..b).map(move |u| (k, u)))
                    .map(|(k, u)| {
                        let unit = size_of(pattern.columns[k] as usize)[u];
                        (base.matrix.values[b * b * k + b * equation + u] * unit).abs()
                    })
                    .fold(0.0, f64::max);
                let floor = (exact.abs() * size).max(1e-3 * scale).max(1e-300);
                let error = differences
                    .iter()
                    .map(|d| (exact - d[at]).abs() * size / floor)
                    .fold(f64::INFINITY, f64::min);
                if error > worst {
                    worst = error;
                    if error > 1e-6 {
                        println!(
                            "node {i} ({:?}) unknown {unknown}, row {row} ({:?}) equation {equation}: {exact:e} {:e} {:e}, scale {scale:e} size {size:e}",
                            device.ties[i],
                            device.ties[row],
                            differences[0][at],
                            differences[1][at]
                        );
                    }
                }
            }
        }
    }
    worst
}

/// Combinations met, nodes checked and the worst relative difference.
#[derive(Default)]
struct Tally {
    combinations: usize,
    checked: usize,
    worst: f64,
}

/// Rows that the pattern calls alone have their diagonal alone; nothing else depends on them
/// being so many, but without oxide and contacts the test would say nothing.
fn check_promise(matrix: &BlockMatrix) {
    let (p, b) = (&matrix.pattern, matrix.pattern.block);
    assert!((0..p.rows * b).any(|u| p.is_alone(u)), "no unknown is alone");
    for r in 0..p.rows {
        for k in p.start[r]..p.start[r + 1] {
            for e in (0..b * b).filter(|e| p.is_alone(r * b + e / b)) {
                let own = p.columns[k] as usize == r && e / b == e % b;
                let v = matrix.values[k * b * b + e];
                assert_eq!(v != 0.0, own, "row {}: {v}", r * b + e / b);
            }
        }
    }
}

impl Tally {
    fn check(&mut self, case: &Case, mesh: &Mesh, r: &mut Random, nodes: usize) {
        let device = Device::of_case(case, mesh);
        let state = random_state(&device, r);
        let mut base = Assembly::new(&device);
        base.evaluate(&device, &state, true);
        check_promise(&base.matrix);
        for _ in 0..nodes {
            let i = (r.next() * device.nodes() as f64) as usize;
            let free = device.ties[i] == Tie::Free || device.has_heat();
            if free && !near_kink(&device, &state, i) {
                self.checked += 1;
                let here = check_node(&device, &state, &base, i);
                if here > 1e-6 {
                    println!("{:?}", case.laws);
                }
                self.worst = self.worst.max(here);
            }
        }
        self.combinations += 1;
    }
}

fn start() -> (Case, Mesh) {
    let case = read();
    let (structure, _) = Structure::new(&case).unwrap_or_else(|p| panic!("{p:?}"));
    let (mesh, _) = mesh::build(&case, &structure).unwrap_or_else(|p| panic!("{p:?}"));
    (case, mesh)
}

#[test]
fn jacobian_equals_differences_for_every_combination_of_basic_laws() {
    let (mut case, mesh) = start();
    let (mut r, mut tally) = (Random(20261125), Tally::default());
    for mobility in [Mobility::Constant, Mobility::Masetti1983, Mobility::Arora1982] {
        for saturation in [Saturation::None, Saturation::Canali1975] {
            for [srh, auger] in [[true, true], [true, false], [false, true], [false, false]] {
                for avalanche in
                    [Avalanche::None, Avalanche::VanOverstraeten1970, Avalanche::OkutoCrowell1975]
                {
                    for (narrowing, lifetime) in [
                        (Narrowing::None, Lifetime::Constant),
                        (Narrowing::Slotboom1977, Lifetime::FallsWithDoping),
                        (Narrowing::DelAlamo1985, Lifetime::Constant),
                        (Narrowing::Klaassen1992, Lifetime::FallsWithDoping),
                    ] {
                        // Two of three with a trap off mid-gap and lifetimes by T.
                        let off = if tally.combinations % 3 == 0 { 0.0 } else { 0.15 };
                        case.constants.set("shockley-read-hall", "level", off);
                        case.constants.set("shockley-read-hall", "tau_exponent", 10.0 * off);
                        case.laws = Laws {
                            mobility,
                            saturation,
                            shockley_read_hall: srh,
                            auger,
                            avalanche,
                            narrowing,
                            lifetime,
                            ..Laws::default()
                        };
                        tally.check(&case, &mesh, &mut r, 6);
                    }
                }
            }
        }
    }
    let Tally { combinations, checked, worst } = tally;
    println!("{combinations} combinations, worst relative difference {worst:.1e}");
    assert_eq!(combinations, 288);
    assert!(checked > 900, "only {checked} nodes were checked");
    assert!(worst < 1e-6, "worst relative difference {worst:.1e}");
}

#[test]
fn jacobian_equals_differences_for_every_combination_of_further_laws() {
    let (mut case, mesh) = start();
    let (mut r, mut tally) = (Random(4), Tally::default());
    case.constants.set("shockley-read-hall", "level", 0.15);
    case.constants.set("shockley-read-hall", "tau_exponent", -1.5);
    case.heat = HeatPaths { surface: Some(0.3), back: Some(0.05), terminals: Some(0.02) };
    for mobility in [Mobility::Masetti1983, Mobility::Arora1982, Mobility::Klaassen1992] {
        for statistics in [Statistics::Boltzmann, Statistics::FermiDirac] {
            for dopants in [Dopants::Ionized, Dopants::Incomplete] {
                for surface in [false, true] {
                    for heat in [Heat::None, Heat::SelfHeating] {
                        for avalanche in [Avalanche::None, Avalanche::OkutoCrowell1975] {
                            case.laws = Laws {
                                mobility,
                                statistics,
                                dopants,
                                surface,
                                heat,
                                avalanche,
                                narrowing: Narrowing::Klaassen1992,
                                ..Laws::default()
                            };
                            tally.check(&case, &mesh, &mut r, 6);
                        }
                    }
                }
            }
        }
    }
    let Tally { combinations, checked, worst } = tally;
    println!("{combinations} combinations, worst relative difference {worst:.1e}");
    assert_eq!(combinations, 96);
    assert!(checked > 300, "only {checked} nodes were checked");
    assert!(worst < 1e-6, "worst relative difference {worst:.1e}");
}
