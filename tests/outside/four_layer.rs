//! Switching of the four-layer bar against the gain condition: the small-signal
//! common-base gains, multiplication included, sum to one. Sources: Moll, Tanenbaum,
//! Goldey, Holonyak, Proc. IRE 44, 1174 (1956); that the differential gains decide:
//! Gentry et al. 1964 (from memory).
//!
//! α_p = dI_p/dI with I_p the hole current that enters the middle junction's depletion
//! region from the n base, α_n = dI_n/dI with I_n the electron current that enters it from
//! the p base. M_p and M_n are the multiplications of carriers entering there, by the
//! ionization integrals over the solved field: they know nothing of the currents, so the
//! sum M_p α_p + M_n α_n is one by no continuity equation.
//!
//! The current is I = M_n I_n + M_p I_p + multiplied generation, so along the curve
//! dI (1 − Σ Mα) = g dV_m with g = ∂I/∂V_m at fixed injection. The sum alone is one where
//! the middle junction's voltage V_m peaks. The terminals' voltage also has the emitters'
//! drops, dV = dV_m + r dI, and peaks where Σ Mα = 1 + g r: the avalanche conductance of the
//! middle junction shunts the emitters as a bypass resistance does (α* = α/(1 + r_e/R):
//! Troutman, Zappe, IEEE Trans. Electron Devices 30, 170 (1983)). With M_n ≈ 16 here g r is
//! not small: the gains that must sum to one at the fold are α* = Mα/(1 + g r).

use holdpoint::discretize::State;
use holdpoint::experiment::Figures;
use holdpoint::silicon::Q;
use holdpoint::solve::{Constraint, System};
use holdpoint::trace::walk;

use super::bar::Bench;
use super::ionization::{Multiplication, multiplication};
use super::ledger::{Within, check, line};

/// n base 3e16 | p base 2e17 [µm].
const MIDDLE: f64 = 4.5;

/// What one solved state says about the middle junction.
struct Look {
    state: State,
    lambda: [f64; 2],
    current: f64,
    /// Carriers entering the depletion region [A/µm], positive with the anode's current.
    holes: f64,
    electrons: f64,
    /// Split between the majority levels of the two bases [V].
    middle: f64,
    m: Multiplication,
    /// Pairs generated thermally per interval of the region [A/µm].
    generated: Vec<f64>,
}

impl Look {
    /// Solve at drive current `i` from a state nearby.
    fn new(bench: &Bench, system: &mut System, from: (&State, [f64; 2]), i: f64) -> Look {
        let (mut state, mut lambda) = (from.0.clone(), from.1);
        system.newton(&mut state, &mut lambda, &Constraint::Current(i)).expect("a solved point");
        let device = &bench.device;
        let node = |i: usize| bench.mesh.node(i, 0).unwrap();
        // Edges of the region: the majority is half the doping.
        let (mut left, mut right) = (bench.line(MIDDLE), bench.line(MIDDLE));
        while state.n[node(left)] < 0.5 * 3e16 {
            left -= 1;
        }
        while state.p[node(right)] < 0.5 * 2e17 {
            right += 1;
        }
        let edge = |k: usize| device.node_edges[node(k)][1] as usize;
        let intervals: Vec<(f64, f64)> = (left..right)
            .map(|k| (device.edges[edge(k)].h, system.assembly.edges[edge(k)].field))
            .collect();
        let rate = |k: usize| {
            let i = node(k);
            let (at, _) = state.recombination_point(device, i);
            -device.silicon.recombination.rate(&at).rate
        };
        // Over 1 µm × 1 µm.
        let generated = (left..right)
            .zip(&intervals)
            .map(|(k, (h, _))| Q * h * 1e-8 * 0.5 * (rate(k) + rate(k + 1)))
            .collect();
        let (l, r) = (node(left), node(right));
        Look {
            current: i,
            holes: bench.through(system, left - 1)[1],
            electrons: bench.through(system, right)[0],
            middle: state.phi_n.hi[l] - state.phi_p.hi[r] + (state.phi_n.lo[l] - state.phi_p.lo[r]),
            m: multiplication(&device.silicon.avalanche, device.silicon.temperature, &intervals),
            generated,
            state,
            lambda,
        }
    }

    /// Current that the middle junction carries for an injection.
    fn carried(&self, holes: f64, electrons: f64) -> f64 {
        let generated: f64 = self.generated.iter().zip(&self.m.pairs).map(|(g, m)| g * m).sum();
        self.m.holes * holes + self.m.electrons * electrons + generated
    }
}

/// Gains at one point of the curve.
#[derive(Debug)]
struct Gains {
    alpha_n: f64,
    alpha_p: f64,
    m_n: f64,
    m_p: f64,
    /// Shunt of the emitters by the middle junction, g·r.
    shunt: f64,
    /// Current by the multiplications over the solved one.
    carried: f64,
}

impl Gains {
    fn sum(&self) -> f64 {
        self.m_n * self.alpha_n + self.m_p * self.alpha_p
    }

    /// α*_n + α*_p.
    fn shunted(&self) -> f64 {
        self.sum() / (1.0 + self.shunt)
    }
}

/// Derivatives by two points 1e-4 apart in current; g by a third, whose middle junction is
/// at another voltage: only its field and generation are used.
fn gains(
    bench: &Bench,
    system: &mut System,
    near: (&State, [f64; 2]),
    i: f64,
    third: f64,
) -> Gains {
    let a = Look::new(bench, system, near, i);
    let b = Look::new(bench, system, (&a.state, a.lambda), i * (1.0 + 1e-4));
    let c = Look::new(bench, system, (&a.state, a.lambda), i * third);
    let di = b.current - a.current;
    let drop = |l: &Look| l.lambda[0] - l.middle + l.lambda[1];
    let r = (drop(&b) - drop(&a)) / di;
    let g =
        (c.carried(a.holes, a.electrons) - a.carried(a.holes, a.electrons)) / (c.middle - a.middle);
    Gains {
        alpha_n: (b.electrons - a.electrons) / di,
        alpha_p: (b.holes - a.holes) / di,
        m_n: a.m.electrons,
        m_p: a.m.holes,
        shunt: g * r,
        carried: a.carried(a.holes, a.electrons) / i,
    }
}

const SOURCE: &str = "Moll et al. 1956, Gentry 1964";

fn show(label: &str, current: f64, g: &Gains) {
    println!(
        "{SOURCE} | {label}, {current:.3e} A/um | - | alpha_n {:.4} M_n {:.3} alpha_p {:.4} M_p {:.3} g r {:.4} | carried/solved current {:.4}",
        g.alpha_n, g.m_n, g.alpha_p, g.m_p, g.shunt, g.carried
    );
    line(SOURCE, &format!("sum of M alpha {label}"), 1.0, g.sum());
    line(SOURCE, &format!("sum of alpha* {label}"), 1.0, g.shunted());
}

#[test]
fn gains_sum_to_one_at_the_fold() {
    let text = include_str!("../../meshes/four-layer-bar.toml");
    let text = text.replace("nodes = 3200", "nodes = 1600");
    assert!(text.contains("nodes = 1600"));
    let bench = Bench::new(&text);
    let outcome = bench.run(0);
    let Figures::Snapback { trigger: Ok(trigger), .. } = &outcome.figures else {
        panic!("no trigger: {:?}", outcome.figures)
    };
    let stored = outcome.fields.iter().find(|f| f.label == "trigger").expect("fields");
    let mut system = bench.system("anode");
    let mut volts = bench.equilibrium.volts.clone();
    volts.hi[bench.contact("anode")] = trigger.voltage;
    let at_fold = State::from_words(&bench.device, &stored.state, &volts).expect("state");
    let (i, v) = (trigger.current, [trigger.voltage, 0.0]);
    let g = gains(&bench, &mut system, (&at_fold, v), i, 1.02);
    show("at the fold", i, &g);
    check(SOURCE, "alpha*_n + alpha*_p at the fold", 1.0, g.shunted(), Within::Relative(0.05));
    check(SOURCE, "M_n I_n + M_p I_p + generation over I", 1.0, g.carried, Within::Relative(0.05));

    // Well before: half the trigger voltage, on the blocking branch.
    let (mut state, mut lambda) = (bench.equilibrium.clone(), 0.0);
    walk(&mut system, &mut state, &mut lambda, 0.5 * trigger.voltage, 0.5).expect("blocking");
    let blocking = system.drive_current();
    let before = gains(&bench, &mut system, (&state, [lambda, 0.0]), blocking, 1.01);
    show("at half the trigger voltage", blocking, &before);
    assert!(before.sum() < 0.5 && before.shunted() < 0.5, "clearly below one: {before:?}");

    // Beyond, on the falling branch.
    let (mut state, mut l, mut now) = (at_fold, v, i);
    for goal in [2.0, 4.0, 8.0] {
        while now < goal * i {
            now = (now * 1.2).min(goal * i);
            system.newton(&mut state, &mut l, &Constraint::Current(now)).expect("falling branch");
        }
        assert!(l[0] < trigger.voltage, "the voltage falls beyond the fold");
        let beyond = gains(&bench, &mut system, (&state, l), now, 1.02);
        show(&format!("at {goal} times the trigger current"), now, &beyond);
        assert!(beyond.shunted() > 1.2, "clearly above one: {beyond:?}");
    }
}
