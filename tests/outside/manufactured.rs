//! Manufactured solutions of the whole coupled system on graded 2D meshes: smooth ψ, φ_n,
//! φ_p are chosen, the sources that make them a solution of the differential equations are
//! added to the discrete residual, and the discrete solution must approach them with second
//! order. Method: Roache, J. Fluids Eng. 124, 4 (2002) (from memory).
//!
//! Fluxes are written by hand from the laws; their divergence is an eighth-order central
//! difference. Left and right ends hold the chosen values, top and bottom are insulated: all
//! three potentials leave there at a right angle.

use std::f64::consts::PI;

use holdpoint::case::{self};
use holdpoint::discretize::{Assembly, DENSITY_SCALE, Device, State, Tie};
use holdpoint::linear::DirectSolver;
use holdpoint::mesh;
use holdpoint::silicon::{Carrier, MobilityPoint, Q, RecombinationPoint, Silicon};
use holdpoint::structure::Structure;

use super::ledger::{Within, check};

/// A function with its gradient, potentials in V_T, lengths in µm.
#[derive(Clone, Copy)]
struct Wave {
    value: f64,
    x: f64,
    y: f64,
}

/// Lengths [µm] of the rectangle.
struct Chosen {
    lx: f64,
    ly: f64,
    /// How much φ_n and φ_p follow ψ: with a positive share both currents flow along the
    /// field everywhere, so that avalanche is smooth.
    follow: f64,
}

impl Chosen {
    /// c + a·X + s sin(kπX + f) (o + m cos(πY)), X = x/lx, Y = y/ly.
    fn wave(&self, at: [f64; 2], [c, a, s, k, f, o, m]: [f64; 7]) -> Wave {
        let (px, py) = (k * PI * at[0] / self.lx + f, PI * at[1] / self.ly);
        let across = o + m * py.cos();
        Wave {
            value: c + a * at[0] / self.lx + s * px.sin() * across,
            x: a / self.lx + s * k * PI / self.lx * px.cos() * across,
            y: -s * px.sin() * m * PI / self.ly * py.sin(),
        }
    }

    fn psi(&self, at: [f64; 2]) -> Wave {
        self.wave(at, [0.0, 8.0, 0.8, 1.3, 0.0, 0.5, 1.0])
    }

    fn with_psi(&self, at: [f64; 2], own: [f64; 7]) -> Wave {
        let (a, b) = (self.wave(at, own), self.psi(at));
        Wave {
            value: a.value + self.follow * b.value,
            x: a.x + self.follow * b.x,
            y: a.y + self.follow * b.y,
        }
    }

    fn phi_n(&self, at: [f64; 2]) -> Wave {
        self.with_psi(at, [-9.0, 0.0, 0.9, 1.1, 0.4, 1.0, 0.6])
    }

    fn phi_p(&self, at: [f64; 2]) -> Wave {
        self.with_psi(at, [13.0, 0.0, 0.7, 0.9, 0.3, 1.0, -0.8])
    }
}

/// [K]
const T: f64 = 300.0;
/// Donors fall from the left top corner, on uniform acceptors [cm⁻³].
const DONORS: f64 = 4e17;
const ACCEPTORS: f64 = 5e16;
/// The window ends here [µm]: all of the rectangle sees its Gaussian side.
const WINDOW: f64 = 1e-3;

struct Problem {
    chosen: Chosen,
    device: Device,
}

/// Everything of the differential equations at a point, in cm and A.
struct Exact {
    n: f64,
    p: f64,
    /// [carrier][direction]
    current: [[f64; 2]; 2],
    /// V/cm
    field: [f64; 2],
}

impl Problem {
    fn new(chosen: Chosen, x: &[f64], y: &[f64], laws: &str) -> Problem {
        let text = format!(
            "temperature = {T}\n[wafer]\nspan = {:?}\nthickness = {:?}\nacceptors = {ACCEPTORS:e}\n\
             [[well]]\nname = \"donors\"\ndonors = {DONORS:e}\nfrom = 0\nto = {WINDOW}\n\
             shape = \"gaussian\"\ncrest = 0\nfalloff = {:?}\nspread = {:?}\n\
             [[terminal]]\nname = \"left\"\ntouches = [{{ side = \"left\" }}]\n\
             [[terminal]]\nname = \"right\"\ntouches = [{{ side = \"right\" }}]\n\
             {laws}[grid]\nx = {x:?}\ny = {y:?}\n",
            chosen.lx,
            chosen.ly,
            0.9 * chosen.ly,
            0.6 * chosen.lx,
        );
        let show = |p: Vec<case::Problem>| -> ! {
            panic!("{}", case::render(&p, &text, "manufactured.toml", false))
        };
        let (case, _) = case::read_str(&text, "manufactured.toml").unwrap_or_else(|p| show(p));
        let (structure, _) = Structure::new(&case).unwrap_or_else(|p| show(p));
        let (mesh, _) = mesh::build(&case, &structure).unwrap_or_else(|p| show(p));
        Problem { chosen, device: Device::new(&mesh, Silicon::of_case(&case)) }
    }

    fn donors(&self, [x, y]: [f64; 2]) -> f64 {
        let (u, v) = ((x - WINDOW) / (0.6 * self.chosen.lx), y / (0.9 * self.chosen.ly));
        DONORS * (-u * u - v * v).exp()
    }

    fn exact(&self, at: [f64; 2]) -> Exact {
        let s = &self.device.silicon;
        let (psi, phi_n, phi_p) =
            (self.chosen.psi(at), self.chosen.phi_n(at), self.chosen.phi_p(at));
        let total = self.donors(at) + ACCEPTORS;
        let nie = s.effective_intrinsic(total, T).value;
        let n = nie * (psi.value - phi_n.value).exp();
        let p = nie * (phi_p.value - psi.value).exp();
        let per_cm = s.vt * 1e4;
        let current = |carrier, density: f64, phi: Wave| {
            let low = s.mobility.at(carrier, &MobilityPoint::doped(total, T)).value;
            // Saturation acts on each component by the field along it, as on the edges.
            [(phi.x, psi.x), (phi.y, psi.y)].map(|(slope, field)| {
                let mu = s.saturation.at(carrier, low, (field * per_cm).abs(), T).value;
                -Q * mu * density * slope * per_cm
            })
        };
        Exact {
            n,
            p,
            current: [current(Carrier::Electron, n, phi_n), current(Carrier::Hole, p, phi_p)],
            field: [-psi.x * per_cm, -psi.y * per_cm],
        }
    }

    /// div(ε∇ψ) + ρ, div J_n − q(R − G), div J_p + q(R − G) of the chosen functions.
    fn sources(&self, at: [f64; 2]) -> [f64; 3] {
        let s = &self.device.silicon;
        let e = self.exact(at);
        let divergence = |flux: &dyn Fn(&Exact) -> [f64; 2]| {
            // Eighth order; steps short of the waves, long against rounding.
            let weights = [4.0 / 5.0, -1.0 / 5.0, 4.0 / 105.0, -1.0 / 280.0];
            let h = [1e-3 * self.chosen.lx, 1e-3 * self.chosen.ly];
            let mut sum = 0.0;
            for d in 0..2 {
                for (k, w) in weights.iter().enumerate() {
                    let shift = |sign: f64| {
                        let mut to = at;
                        to[d] += sign * (k as f64 + 1.0) * h[d];
                        flux(&self.exact(to))[d]
                    };
                    sum += w * (shift(1.0) - shift(-1.0)) / (h[d] * 1e-4);
                }
            }
            sum
        };
        let donors = self.donors(at);
        let nie = s.effective_intrinsic(donors + ACCEPTORS, T);
        let point = RecombinationPoint {
            n: e.n,
            p: e.p,
            excess: e.n * e.p / (nie.value * nie.value) - 1.0,
            nie,
            tau: s.recombination.lifetimes(donors + ACCEPTORS, T),
            temperature: T,
        };
        let mut rate = Q * s.recombination.rate(&point).rate;
        for (carrier, j) in [(Carrier::Electron, e.current[0]), (Carrier::Hole, e.current[1])] {
            let size = j[0].hypot(j[1]);
            let along = (e.field[0] * j[0] + e.field[1] * j[1]) / size;
            if along > 0.0 {
                rate -= s.avalanche.at(carrier, along, T).value * size;
            }
        }
        let displacement = divergence(&|e| e.field.map(|f| -s.eps_silicon * f));
        [
            displacement + Q * (e.p - e.n + donors - ACCEPTORS),
            divergence(&|e| e.current[0]) - rate,
            divergence(&|e| e.current[1]) + rate,
        ]
    }

    /// The chosen functions on the mesh.
    fn chosen_state(&self) -> State {
        let device = &self.device;
        let vt = device.silicon.vt;
        let mut state = State::neutral(device);
        for i in 0..device.nodes() {
            let at = device.position[i];
            state.psi.set(i, [vt * self.chosen.psi(at).value, 0.0], 0.0);
            state.phi_n.set(i, [vt * self.chosen.phi_n(at).value, 0.0], 0.0);
            state.phi_p.set(i, [vt * self.chosen.phi_p(at).value, 0.0], 0.0);
            let e = self.exact(at);
            (state.n[i], state.p[i]) = (e.n, e.p);
        }
        state
    }

    /// L2 errors of ψ, φ_n, φ_p [V] of the discrete solution.
    fn errors(&self) -> [f64; 3] {
        let device = &self.device;
        let chosen = self.chosen_state();
        let mut state = chosen.clone();
        let sources: Vec<[f64; 3]> =
            (0..device.nodes()).map(|i| self.sources(device.position[i])).collect();
        let mut solver = DirectSolver::new(device.pattern.clone()).expect("analysis");
        let mut assembly = Assembly::new(device);
        let (mut size, mut steps) = (f64::INFINITY, 0);
        while size > 1e-9 {
            assert!(steps < 15, "Newton: last update {size:e}");
            assembly.evaluate(device, &state, true);
            let mut rhs: Vec<f64> = assembly.residual.iter().map(|r| -r).collect();
            for i in (0..device.nodes()).filter(|&i| device.ties[i] == Tie::Free) {
                for k in 0..3 {
                    rhs[3 * i + k] += device.area[i] * sources[i][k];
                }
            }
            solver.factor(&assembly.matrix).expect("factors");
            solver.solve(&assembly.matrix, &mut rhs, 1).expect("a solution");
            size = 0.0;
            for i in (0..device.nodes()).filter(|&i| device.ties[i] == Tie::Free) {
                let d = [
                    rhs[3 * i] * device.silicon.vt,
                    rhs[3 * i + 1] * DENSITY_SCALE,
                    rhs[3 * i + 2] * DENSITY_SCALE,
                    0.0,
                ];
                size = size.max(rhs[3 * i].abs()).max((d[1] / state.n[i]).abs());
                size = size.max((d[2] / state.p[i]).abs());
                state.correct(device, i, d);
            }
            steps += 1;
        }
        let whole: f64 = device.area.iter().sum();
        [(&state.psi, &chosen.psi), (&state.phi_n, &chosen.phi_n), (&state.phi_p, &chosen.phi_p)]
            .map(|(a, b)| {
                let square = |i: usize| a.difference_to(b, i).powi(2) * device.area[i];
                ((0..device.nodes()).map(square).sum::<f64>() / whole).sqrt()
            })
    }

    /// Decades that n and p span.
    fn decades(&self) -> [f64; 2] {
        let state = self.chosen_state();
        [&state.n, &state.p].map(|d| {
            let (low, high) = d.iter().fold((f64::MAX, 0.0f64), |(l, h), v| (l.min(*v), h.max(*v)));
            (high / low).log10()
        })
    }
}

/// `count` intervals whose lengths rise by a factor 3 towards the middle and fall again, not
/// evenly: neighbours differ by up to 1.5.
fn graded(length: f64, count: usize) -> Vec<f64> {
    let step = |k: usize| {
        let t = (k as f64 + 0.5) / count as f64;
        (1.0 - 0.5 * (2.0 * PI * t).cos()) * if k.is_multiple_of(3) { 1.25 } else { 1.0 }
    };
    let whole: f64 = (0..count).map(step).sum();
    let mut lines: Vec<f64> =
        (0..count).map(|k| length * (0..k).map(step).sum::<f64>() / whole).collect();
    lines.push(length);
    lines
}

fn halved(lines: &[f64]) -> Vec<f64> {
    let mut out: Vec<f64> = lines.windows(2).flat_map(|w| [w[0], 0.5 * (w[0] + w[1])]).collect();
    out.extend(lines.last());
    out
}

fn second_order(name: &str, chosen: fn() -> Chosen, laws: &str) {
    let Chosen { lx, ly, .. } = chosen();
    let (mut x, mut y) = (graded(lx, 20), graded(ly, 16));
    let mut previous: Option<[f64; 3]> = None;
    for level in 0..3 {
        let problem = Problem::new(chosen(), &x, &y, laws);
        if level == 0 {
            let [n, p] = problem.decades();
            assert!(n > 1.5 && p > 1.5, "the densities span decades: {n} {p}");
        }
        let errors = problem.errors();
        println!("{name}: {} nodes, errors {errors:?} V", problem.device.nodes());
        if let Some(before) = previous {
            for (k, what) in ["psi", "phi_n", "phi_p"].into_iter().enumerate() {
                let order = (before[k] / errors[k]).log2();
                let nodes = problem.device.nodes();
                let what = format!("{name}: order of {what}, {nodes} nodes");
                check("manufactured solution", &what, 2.0, order, Within::AtLeast(1.9));
            }
        }
        previous = Some(errors);
        (x, y) = (halved(&x), halved(&y));
    }
}

#[test]
fn constant_laws() {
    second_order(
        "constant mobility, no recombination",
        || Chosen { lx: 1.0, ly: 0.8, follow: 0.0 },
        "[laws]\nmobility = \"constant\"\nsaturation = \"none\"\nnarrowing = \"none\"\n\
         avalanche = \"none\"\nrecombination = []\n",
    );
}

const ALL: &str = "[laws]\nmobility = \"masetti-1983\"\nsaturation = \"canali-1975\"\n\
    narrowing = \"slotboom-1977\"\nrecombination = [\"shockley-read-hall\", \"auger\"]\n\
    lifetime = \"falls-with-doping\"\n";

/// Lifetimes so short that recombination counts.
const SHORT: &str = "[constants]\nshockley-read-hall = { tau_n0 = 1e-10, tau_p0 = 1e-10 }\n\
    auger = { c_n = 1e-27, c_p = 1e-27 }\n";

#[test]
fn all_laws_but_avalanche() {
    let laws = format!("{ALL}avalanche = \"none\"\n{SHORT}");
    second_order("all laws but avalanche", || Chosen { lx: 1.0, ly: 0.8, follow: 0.0 }, &laws);
}

/// Coefficients of the law's own form, for fields at which a step of a coarse mesh drops
/// less than V_T: about one ionization per carrier over the length.
#[test]
fn all_laws() {
    let laws = format!(
        "{ALL}avalanche = \"van-overstraeten-1970\"\n{SHORT}van-overstraeten-1970 = {{ a_n = 1e6, b_n = 2e4, \
         a_p_low = 8e5, b_p_low = 2.5e4, a_p_high = 8e5, b_p_high = 2.5e4 }}\n"
    );
    second_order("all laws", || Chosen { lx: 0.3, ly: 0.25, follow: 0.6 }, &laws);
}
