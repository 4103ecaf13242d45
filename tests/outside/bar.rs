//! A layered bar along x, 1 µm thick, from a case text through the library to solved
//! states. Currents in A/µm; over 1 µm of thickness 1 A/µm is 1e8 A/cm².

use holdpoint::case::{self, Case};
use holdpoint::discretize::{Circuit, Device, State, Tying};
use holdpoint::experiment::{Figures, Outcome, RunOptions, Status, run_experiment};
use holdpoint::mesh::{self, Mesh};
use holdpoint::silicon::Q;
use holdpoint::solve::{System, equilibrium};
use holdpoint::structure::Structure;
use holdpoint::trace::{KeepNothing, walk};

/// A/µm in a bar 1 µm thick to A/cm².
pub const PER_AREA: f64 = 1e8;

/// A case taken up to its equilibrium.
pub struct Bench {
    pub case: Case,
    pub mesh: Mesh,
    pub device: Device,
    pub equilibrium: State,
}

impl Bench {
    /// From a case text; panics with the rendered problems if there are any. Checks name
    /// their laws: Masetti's mobility and Slotboom's narrowing unless the text says else,
    /// since most formulas here take the laws as functions of the doping alone.
    pub fn new(text: &str) -> Bench {
        let text = &named_laws(text);
        let show = |p: Vec<case::Problem>| -> ! {
            panic!("{}", case::render(&p, text, "outside.toml", false))
        };
        let (case, _) = case::read_str(text, "outside.toml").unwrap_or_else(|p| show(p));
        let (structure, _) = Structure::new(&case).unwrap_or_else(|p| show(p));
        let (mesh, _) = mesh::build(&case, &structure).unwrap_or_else(|p| show(p));
        let device = Device::of_case(&case, &mesh);
        let (equilibrium, _) = equilibrium(&device).expect("equilibrium");
        Bench { case, mesh, device, equilibrium }
    }

    /// The device with `drive` at λ and every other terminal at 0 V.
    pub fn system(&self, drive: &str) -> System<'_> {
        let drive = self.contact(drive);
        let ties = (0..self.device.contacts.len())
            .map(|k| Tying::Source {
                base: 0.0,
                slope: if k == drive { 1.0 } else { 0.0 },
                resistance: 0.0,
            })
            .collect();
        System::new(&self.device, Circuit { ties, drive: vec![drive] }).expect("analysis")
    }

    /// Index of a terminal.
    pub fn contact(&self, name: &str) -> usize {
        self.device.contact(name).expect("terminal")
    }

    /// Solved states with `drive` at each voltage in turn, with the system that holds the
    /// fluxes of the state, handed to `see`.
    pub fn sweep(&self, drive: &str, at: &[f64], mut see: impl FnMut(f64, &System, &State)) {
        let mut system = self.system(drive);
        let (mut state, mut lambda) = (self.equilibrium.clone(), 0.0);
        for &v in at {
            walk(&mut system, &mut state, &mut lambda, v, 0.5)
                .unwrap_or_else(|e| panic!("at {v} V: {e}"));
            see(v, &system, &state);
        }
    }

    /// Run experiment `k` of the case; it must complete.
    pub fn run(&self, k: usize) -> Outcome {
        let outcome = run_experiment(
            &self.case,
            &self.device,
            &self.equilibrium,
            &self.case.experiments[k],
            RunOptions::default(),
            None,
            &mut KeepNothing,
        )
        .expect("setup");
        assert_eq!(outcome.status, Status::Complete, "experiment {k}");
        outcome
    }

    /// (applied voltage, current of `terminal` [A/µm]) of a bias outcome.
    pub fn currents(&self, outcome: &Outcome, terminal: &str) -> Vec<(f64, f64)> {
        let k = self.contact(terminal);
        match &outcome.figures {
            Figures::Bias { points } => {
                points.iter().map(|p| (p.applied, p.at_terminals.current[k])).collect()
            }
            other => panic!("not a bias outcome: {other:?}"),
        }
    }

    /// Σ over nodes with x in [from, to] µm of `density`(node) times its box area [cm⁻¹ if
    /// a density per cm³], boxes cut at the limits' nodes by halves; divide by the
    /// thickness (1e-4 cm) for a density per area.
    pub fn integral(&self, from: f64, to: f64, density: impl Fn(usize) -> f64) -> f64 {
        let mut sum = 0.0;
        for i in 0..self.device.nodes() {
            let (ix, _) = self.mesh.ij(i);
            let x = &self.mesh.x;
            let left = if ix == 0 { x[0] } else { 0.5 * (x[ix - 1] + x[ix]) };
            let right = if ix + 1 == x.len() { x[ix] } else { 0.5 * (x[ix] + x[ix + 1]) };
            let inside = (right.min(to) - left.max(from)).max(0.0);
            if inside > 0.0 {
                sum += density(i) * self.device.area[i] * inside / (right - left);
            }
        }
        sum
    }

    /// Index of the x line nearest to `x` [µm].
    pub fn line(&self, x: f64) -> usize {
        let at = &self.mesh.x;
        (0..at.len()).min_by(|&a, &b| (at[a] - x).abs().total_cmp(&(at[b] - x).abs())).unwrap()
    }

    /// Electron and hole current [A/µm] through the bar between x lines `i` and `i + 1`.
    pub fn through(&self, system: &System, i: usize) -> [f64; 2] {
        let mut sum = [0.0; 2];
        for j in 0..self.mesh.ny() {
            let a = self.mesh.node(i, j).unwrap();
            let edge = self.device.node_edges[a][1] as usize;
            let face = self.device.edges[edge].face * 1e-4;
            sum[0] += system.assembly.edges[edge].n.current * face;
            sum[1] += system.assembly.edges[edge].p.current * face;
        }
        sum
    }
}

/// The text of a bar: layers of net doping [cm⁻³] (donors positive) and thickness [µm]
/// from terminal "left" to terminal "right".
pub struct Bar<'a> {
    pub layers: &'a [(f64, f64)],
    pub x: Vec<f64>,
    /// Kelvin.
    pub temperature: f64,
    /// Lines of `[laws]` and `[constants]`, and experiments.
    pub rest: &'a str,
}

impl Bar<'_> {
    pub fn text(&self) -> String {
        let span: f64 = self.layers.iter().map(|l| l.1).sum();
        let mut text = format!(
            "temperature = {:e}\n[wafer]\nspan = {span:e}\nthickness = 1\n",
            self.temperature
        );
        let mut from = 0.0;
        for (k, (net, thickness)) in self.layers.iter().enumerate() {
            let key = if *net > 0.0 { "donors" } else { "acceptors" };
            let to = if k + 1 == self.layers.len() { span } else { from + thickness };
            text += &format!(
                "[[well]]\nname = \"layer {k}\"\n{key} = {:e}\nfrom = {from:e}\nto = {to:e}\nshape = \"box\"\n",
                net.abs()
            );
            from = to;
        }
        for side in ["left", "right"] {
            text +=
                &format!("[[terminal]]\nname = \"{side}\"\ntouches = [{{ side = \"{side}\" }}]\n");
        }
        text += &format!("[grid]\nx = {:?}\ny = [0.0, 1.0]\n", self.x);
        text + self.rest
    }

    pub fn bench(&self) -> Bench {
        Bench::new(&self.text())
    }
}

/// The text with mobility and narrowing named.
fn named_laws(text: &str) -> String {
    let mut named = String::new();
    for (key, law) in [("mobility", "masetti-1983"), ("narrowing", "slotboom-1977")] {
        if !text.lines().any(|l| l.starts_with(key) && l.contains('"')) {
            named += &format!("{key} = \"{law}\"\n");
        }
    }
    match text.split_once("[laws]") {
        Some((before, after)) => {
            let (rest_of_line, after) = after.split_once('\n').unwrap_or((after, ""));
            format!("{before}[laws]{rest_of_line}\n{named}{after}")
        }
        None => format!("{text}\n[laws]\n{named}"),
    }
}

/// Lines through all `fixed` points (growing), intervals `finest` beside each of them,
/// growing by `growth` up to `largest` between.
pub fn lines(fixed: &[f64], finest: f64, growth: f64, largest: f64) -> Vec<f64> {
    let mut out = vec![fixed[0]];
    for w in fixed.windows(2) {
        let (a, b) = (w[0], w[1]);
        // Half the distance from each end, mirrored; scaled to fit exactly.
        let half = 0.5 * (b - a);
        let (mut steps, mut sum, mut h) = (Vec::new(), 0.0, finest);
        while sum < half {
            steps.push(h);
            sum += h;
            h = (h * growth).min(largest);
        }
        let scale = half / sum;
        let mut at = 0.0;
        let mut up = Vec::new();
        for s in &steps {
            at += s * scale;
            up.push(at);
        }
        up.pop();
        out.extend(up.iter().map(|d| a + d));
        out.push(a + half);
        out.extend(up.iter().rev().map(|d| b - d));
        out.push(b);
    }
    out
}

/// Depletion approximation of an abrupt junction: total width [cm] for barrier `v` [V].
pub fn depletion_width(eps: f64, acceptors: f64, donors: f64, v: f64) -> f64 {
    (2.0 * eps * v / Q * (acceptors + donors) / (acceptors * donors)).sqrt()
}
