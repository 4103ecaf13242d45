//! An invented record with every variant that a record can have.
#![allow(dead_code)] // each test file uses some of it

pub mod invented;

use holdpoint::case::Plate;
use holdpoint::experiment::{
    Bars, BiasPoint, Change, Cover, Criterion, Figures, OnBranch, Outcome, Place, Rerun, Sheet,
    Status,
};
use holdpoint::extract::{Answer, Verdict};
use holdpoint::mesh::{ContactKind, Doping, Material, Mesh, TerminalNodes};
use holdpoint::record::{ConstantInForce, Provenance, RunRecord};
use holdpoint::trace::{Curve, Fields, Fold, FoldKind, Snapshot, StateWords, TerminalValues, Work};

/// Numbers that look like nothing in particular, the same on every run (a 64-bit
/// multiplicative generator, constants by Knuth, from memory).
pub struct Numbers(u64);

impl Numbers {
    pub fn new(seed: u64) -> Numbers {
        Numbers(seed)
    }

    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        self.0 ^ (self.0 >> 29)
    }

    /// Between −1 and 1, with all 53 bits in use.
    pub fn next(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }

    pub fn list(&mut self, n: usize) -> Vec<f64> {
        (0..n).map(|_| self.next()).collect()
    }
}

/// 9 by 7 lines; void above the surface but for a gate oxide, a trench.
pub fn mesh() -> Mesh {
    let x: Vec<f64> = (0..9).map(|i| i as f64 * 0.3 + 0.01 * (i * i) as f64).collect();
    let y = vec![-0.007, 0.0, 0.1, 0.25, 0.5, 1.0, 10.0];
    let (nx, ny) = (x.len(), y.len());
    let mut cells = vec![Material::Silicon; (nx - 1) * (ny - 1)];
    for (i, cell) in cells.iter_mut().take(nx - 1).enumerate() {
        *cell = if i == 3 { Material::Oxide } else { Material::Void };
    }
    cells[(nx - 1) + 6] = Material::Oxide;
    let touches = |i: usize, j: usize| {
        let at = |a: usize, b: usize| cells[b * (nx - 1) + a] != Material::Void;
        (i > 0 && j > 0 && at(i - 1, j - 1))
            || (i > 0 && j < ny - 1 && at(i - 1, j))
            || (i < nx - 1 && j > 0 && at(i, j - 1))
            || (i < nx - 1 && j < ny - 1 && at(i, j))
    };
    let mut node_at = vec![None; nx * ny];
    let mut grid_of = Vec::new();
    for j in 0..ny {
        for i in 0..nx {
            if touches(i, j) {
                node_at[j * nx + i] = Some(grid_of.len() as u32);
                grid_of.push((j * nx + i) as u32);
            }
        }
    }
    let nodes = grid_of.len();
    let mut r = Numbers::new(5);
    let mut density = |n: usize| -> Vec<f64> { r.list(n).iter().map(|v| 1e17 * v.abs()).collect() };
    let (donors, acceptors) = (density(nodes), density(nodes));
    let (donors_at, acceptors_at) = (density(nodes), density(nodes));
    let doping = Doping {
        donors,
        acceptors,
        total_sides: donors_at.iter().zip(&acceptors_at).map(|(a, b)| [a + b; 4]).collect(),
        donors_at,
        acceptors_at,
        fixed_charge: density(nodes),
        total_x: density((nx - 1) * ny),
        total_y: density(nx * (ny - 1)),
        donors_x: density((nx - 1) * ny),
        donors_y: density(nx * (ny - 1)),
    };
    let gate = |name: &str, plate| TerminalNodes {
        name: name.into(),
        kind: ContactKind::Gate { plate },
        nodes: vec![0, 1],
    };
    let ohmic = |name: &str, nodes: Vec<u32>| TerminalNodes {
        name: name.into(),
        kind: ContactKind::Ohmic,
        nodes,
    };
    Mesh {
        x,
        y,
        cells,
        node_at,
        grid_of,
        terminals: vec![
            ohmic("cathode", vec![2, 3, 5]),
            ohmic("well/tap", vec![9]),
            ohmic("voltage", vec![]),
            gate("n-gate", Plate::NPoly),
            gate("p-gate µ", Plate::PPoly),
            gate("metal", Plate::WorkFunction(4.1)),
        ],
        doping,
    }
}

fn values(r: &mut Numbers, n: usize) -> TerminalValues {
    TerminalValues { voltage: r.list(n), current: r.list(n) }
}

pub fn names() -> Vec<String> {
    ["cathode", "well/tap", "voltage", "n-gate"].map(String::from).to_vec()
}

pub fn curve(r: &mut Numbers, points: usize) -> Curve {
    let terminals = names();
    Curve {
        voltage: (0..points).map(|k| 2.0 + (k as f64 * 0.11).sin() * 1.9).collect(),
        current: (0..points).map(|k| 10f64.powf(-15.0 + 12.0 * k as f64 / points as f64)).collect(),
        at_terminals: (0..points).map(|_| values(r, terminals.len())).collect(),
        imbalance: r.list(points).iter().map(|v| v.abs() * 1e-25).collect(),
        largest: (0..points).map(|k| 10f64.powf(-14.0 + 0.3 * k as f64)).collect(),
        newton: (0..points as u32).map(|k| 3 + k % 4).collect(),
        terminals,
    }
}

pub fn state(r: &mut Numbers, nodes: usize) -> StateWords {
    let mut low = |n| r.list(n).iter().map(|v| v * 1e-17).collect::<Vec<f64>>();
    let (potential_low, electron_low, hole_low) = (low(nodes), low(nodes), low(nodes));
    StateWords {
        potential: r.list(nodes),
        electron: r.list(nodes),
        hole: r.list(nodes),
        potential_low,
        electron_low,
        hole_low,
        temperature: r.list(nodes),
        temperature_low: r.list(nodes),
    }
}

fn fields(r: &mut Numbers, label: &str, nodes: usize) -> Fields {
    Fields {
        label: label.into(),
        voltage: r.next(),
        current: r.next(),
        state: state(r, nodes),
        electrons: r.list(nodes),
        holes: r.list(nodes),
        electron_current_x: r.list(nodes),
        electron_current_y: r.list(nodes),
        hole_current_x: r.list(nodes),
        hole_current_y: r.list(nodes),
        recombination: r.list(nodes),
        avalanche: r.list(nodes),
    }
}

fn fold(r: &mut Numbers, kind: FoldKind, before_point: usize) -> Fold {
    Fold {
        kind,
        voltage: r.next() * 5.0,
        current: r.next().abs() * 1e-6,
        at_terminals: values(r, names().len()),
        before_point,
    }
}

fn rerun(change: Change, nodes: usize, points: Vec<Result<[f64; 2], String>>) -> Rerun {
    let place = |[voltage, current]: [f64; 2]| Place { voltage, current };
    Rerun { change, nodes, points: points.into_iter().map(|p| p.map(place)).collect() }
}

fn outcome(r: &mut Numbers, kind: &str, points: usize, figures: Figures) -> Outcome {
    Outcome {
        kind: kind.into(),
        drive: vec!["cathode".into(), "well/tap".into()],
        status: Status::Complete,
        curve: curve(r, points),
        folds: Vec::new(),
        figures,
        bars: None,
        fields: Vec::new(),
        flow: Sheet::new(),
        warnings: Vec::new(),
        work: Work {
            chord_steps: 7,
            walk_steps: 5,
            fold_steps: 3,
            newton_steps: 512,
            factorizations: 513,
            refinements: 1,
            refinements_needed: 21,
            krylov_cycles: 22,
            tangent_sweeps: 23,
            pivoted_fronts: 24,
            general_factorizations: 25,
            gummel_rounds: 12,
            halvings: u64::MAX,
        },
        wall: 12.25,
        snapshot: None,
    }
}

/// Every variant of every enum, odd numbers, awkward names.
pub fn rich() -> RunRecord {
    let mut r = Numbers::new(11);
    let mesh = mesh();
    let nodes = mesh.nodes();
    let trigger = fold(&mut r, FoldKind::VoltageMaximum, 40);
    let holding = fold(&mut r, FoldKind::VoltageMinimum, 90);
    let line = OnBranch { voltage_at_zero: 0.91, resistance: 812.5 };
    let mut snapback = outcome(
        &mut r,
        "snapback",
        120,
        Figures::Snapback {
            trigger: Ok(trigger.clone()),
            holding: Ok(holding.clone()),
            on_branch: Ok(line),
        },
    );
    snapback.bars = Some(Bars {
        cover: Cover::Cut,
        reruns: vec![
            rerun(Change::Coarser, 21, vec![Ok([3.0, 2e-7]), Err("no fold".into())]),
            rerun(Change::Finer, 180, vec![Ok([2.5, 1e-7]), Ok([1.01, 3e-7])]),
            rerun(Change::Wider, 60, vec![Ok([2.4, 1.1e-7]), Ok([1.02, 3.1e-7])]),
        ],
    });
    snapback.folds = vec![
        trigger,
        fold(&mut r, FoldKind::CurrentMaximum, 50),
        fold(&mut r, FoldKind::CurrentMinimum, 60),
        holding,
    ];
    snapback.fields = vec![fields(&mut r, "trigger", nodes), fields(&mut r, "point 37", nodes)];
    snapback.fields[1].avalanche.clear();
    snapback.warnings = vec!["field in the gate oxide above 1e7 V/cm at point 118".into()];
    // Bits that a careless round trip loses.
    let odd = &mut snapback.fields[0].electrons;
    odd[0] = f64::from_bits(0x7ff8_0000_dead_beef);
    odd[1] = -0.0;
    odd[2] = f64::from_bits(1);
    odd[3] = f64::NEG_INFINITY;

    let none = "no fold before the stop at 30 V";
    let mut nothing = outcome(
        &mut r,
        "snapback",
        3,
        Figures::Snapback {
            trigger: Err(none.into()),
            holding: Err(none.into()),
            on_branch: Err("no on-branch".into()),
        },
    );
    nothing.status = Status::Stopped("Newton did not converge in 30 steps at 3.4 V".into());

    let mut injection = outcome(
        &mut r,
        "injection",
        1,
        Figures::Injection {
            criterion: Criterion::Fold,
            critical: Err("the off-state does not end before 0.01 A/µm".into()),
            beside: Sheet::new(),
        },
    );
    injection.status = Status::Interrupted;
    injection.snapshot = Some(Snapshot {
        state: state(&mut r, nodes),
        inside: values(&mut r, 3),
        control: vec![0.05, -1.0, f64::NAN],
    });
    let critical = fold(&mut r, FoldKind::CurrentMaximum, 2);
    let mut reconnect = outcome(
        &mut r,
        "injection",
        4,
        Figures::Injection {
            criterion: Criterion::Reconnect,
            critical: Ok(critical),
            beside: Sheet::new().text("class", "by the temperature", "class I").number(
                "margin_A",
                "A",
                "less the level",
                Err("none was given".into()),
            ),
        },
    );
    // One with bars, one that was interrupted before them.
    reconnect.bars = Some(Bars {
        cover: Cover::Mesh,
        reruns: vec![rerun(Change::Finer, 180, vec![Ok([0.4, 2e-7])])],
    });
    nothing.bars = Some(Bars::wanted(Cover::Mesh));
    // A fold without terminal values is allowed.
    reconnect.folds = vec![Fold {
        at_terminals: TerminalValues::default(),
        ..fold(&mut r, FoldKind::VoltageMinimum, 1)
    }];
    let points = (0..3)
        .map(|k| BiasPoint { applied: 0.1 * k as f64, at_terminals: values(&mut r, names().len()) })
        .collect();
    let bias = outcome(&mut r, "bias", 3, Figures::Bias { points });
    let deep = Sheet::new().texts("terminals", "in this order", &names()).numbers(
        "c_F_per_um",
        "F/um",
        "capacitances",
        &[2, 2, 3],
        r.list(12),
    );
    let sheet = Sheet::new()
        .number("longest_safe_s", "s", "longest safe", Ok(1.5e-9))
        .number("shortest_latching_s", "s", "shortest", Err("none latches".into()))
        .yes_no("latches", "does it latch", Ok(true))
        .yes_no("held", "is it held", Err("not asked".into()))
        .text("method", "how", "by bisection; µm")
        .texts("nothing", "an empty list", &[])
        .column("beta", "1", "gain", r.list(5))
        .column("empty", "1", "no gain", Vec::new())
        .group("npn", "the npn", deep);
    let inner = Sheet::new()
        .number("voltage_V", "V", "voltage", Ok(0.9))
        .column("curve_V", "V", "curve", vec![0.5, f64::NAN, -1e-300])
        .texts("differences", "why", &["first, µ".to_string(), String::new()]);
    snapback.flow = Sheet::new().group("trigger", "flow at the trigger point", inner.clone());
    let named = outcome(&mut r, "pulse", 3, Figures::Named(sheet));
    // Interrupted before the reruns for error bars.
    let no_bars = Outcome { bars: Some(Bars::wanted(Cover::Cut)), ..snapback.clone() };
    let no_bar = Outcome { bars: Some(Bars::wanted(Cover::Mesh)), ..reconnect.clone() };
    let mut waiting = outcome(&mut r, "bias", 0, Figures::Bias { points: Vec::new() });
    waiting.status = Status::Waiting;
    waiting.curve = Curve::default();
    waiting.drive.clear();

    RunRecord {
        title: "Tern-180 pad driver, \"125 °C\"\nsecond line".into(),
        case_name: "tern180-pad".into(),
        case_text: "title = \"Tern-180\" # µm, 125 °C\r\n\r\n[wafer]\nspan = \"24 µm\"\n  ".into(),
        constants: vec![
            ConstantInForce {
                law: "intrinsic".into(),
                key: "ni_300".into(),
                value: 9.65e9,
                unit: "cm⁻³".into(),
                overridden: false,
            },
            ConstantInForce {
                law: "auger".into(),
                key: "c_n".into(),
                value: 2.8e-31,
                unit: "cm^6/s".into(),
                overridden: true,
            },
        ],
        laws: vec![
            ("mobility".into(), "masetti-1983".into()),
            ("recombination".into(), "auger".into()),
        ],
        temperature: 398.15,
        width: 100.0,
        provenance: Provenance {
            version: "0.1.0 (rev abc1234)".into(),
            machine: "x86_64 linux".into(),
            threads: 2,
            started: "2026-11-25T14:39:00Z".into(),
            wall: 61.5,
        },
        equilibrium: r.list(nodes),
        mesh,
        experiments: vec![
            snapback, nothing, injection, reconnect, bias, waiting, named, no_bars, no_bar,
        ],
        verdict: Some(Verdict {
            answer: Answer::Latches,
            supply: 3.3,
            margin: 0.1,
            reasons: vec!["V_h 1.2 V lies below 3.63 V".into(), String::new()],
            more: Sheet::new().text("decides", "decided by", "experiment 0"),
        }),
        extract: Sheet::new().group("lumped", "lumped model", inner.clone()),
        temperatures: Vec::new(),
        follows: Vec::new(),
        rules: Vec::new(),
        spreads: Vec::new(),
        warnings: vec!["the cut is truncated at the bottom".into()],
        complete: true,
    }
}

/// Everything that may be empty is.
pub fn bare() -> RunRecord {
    let mut mesh = mesh();
    mesh.doping = Doping::default();
    mesh.terminals.clear();
    RunRecord {
        title: String::new(),
        case_name: "bare".into(),
        case_text: String::new(),
        constants: Vec::new(),
        laws: Vec::new(),
        temperature: 300.0,
        width: 1.0,
        provenance: Provenance::default(),
        equilibrium: Vec::new(),
        mesh,
        experiments: Vec::new(),
        verdict: None,
        extract: Sheet::new(),
        temperatures: Vec::new(),
        follows: Vec::new(),
        rules: Vec::new(),
        spreads: Vec::new(),
        warnings: Vec::new(),
        complete: false,
    }
}

/// The record as text: equal texts mean equal numbers (Rust prints the shortest text
/// that reads back to the same `f64`; of NaN only the payload is lost).
pub fn text(record: &RunRecord) -> String {
    format!("{record:#?}")
}
