//! Solves a shipped case on its own mesh and on relatives of it, and compares.
#![allow(dead_code)] // the test and the bench each use their share

use holdpoint::case::{self, Case, Problem};
use holdpoint::discretize::Device;
use holdpoint::experiment::{
    Bars, Change, Cover, GRADING_ROUNDS, Outcome, Rerun, RunOptions, Variant, graded_by,
    run_experiment, sensitivity,
};
use holdpoint::mesh::{self, Lines, Mesh};
use holdpoint::silicon::Silicon;
use holdpoint::solve::equilibrium;
use holdpoint::structure::Structure;
use holdpoint::trace::{Fold, KeepNothing};

fn words(problems: Vec<Problem>) -> String {
    problems.into_iter().map(|p| p.text).collect::<Vec<_>>().join("; ")
}

/// A case in `meshes/` with another node budget.
pub fn shipped(name: &str, nodes: usize) -> Case {
    let path = format!("{}/meshes/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let mut case = case::read_str(&text, "").unwrap_or_else(|e| panic!("{}", words(e))).0;
    case.grid.nodes = Some(nodes);
    case
}

/// The mesh of a case.
pub fn meshed(case: &Case) -> (Structure, Mesh) {
    let structure = Structure::new(case).unwrap_or_else(|e| panic!("{}", words(e))).0;
    let mesh = mesh::build(case, &structure).unwrap_or_else(|e| panic!("{}", words(e))).0;
    (structure, mesh)
}

/// All experiments of a case on a mesh.
pub fn solve(case: &Case, mesh: &Mesh) -> Result<Vec<Outcome>, String> {
    let device = Device::new(mesh, Silicon::of_case(case));
    let (state, _) = equilibrium(&device).map_err(|e| e.to_string())?;
    case.experiments
        .iter()
        .map(|e| {
            run_experiment(case, &device, &state, e, RunOptions::default(), None, &mut KeepNothing)
                .map_err(|e| e.to_string())
        })
        .collect()
}

/// One number of a case: its value, error bar and distance from the truth.
#[derive(Debug, Clone)]
pub struct Figure {
    pub name: String,
    pub coarser: f64,
    pub value: f64,
    pub finer: f64,
    pub truth: f64,
    pub bar: f64,
    pub order: Option<f64>,
}

impl Figure {
    pub fn ratio(&self) -> f64 {
        (self.value - self.truth).abs() / self.bar
    }

    pub fn print(&self) {
        println!(
            "{:<44} {:>11.5e} {:>11.5e} {:>11.5e} {:>11.5e}  bar {:>9.3e} order {:>5} error/bar {:.3}",
            self.name,
            self.coarser,
            self.value,
            self.finer,
            self.truth,
            self.bar,
            self.order.map_or("-".into(), |p| format!("{p:.2}")),
            self.ratio()
        );
    }
}

/// Solves `case` with error bars and once more with every interval quartered: all its
/// figures, voltage and current.
pub fn study(label: &str, case: &Case) -> Vec<Figure> {
    let (_, mesh) = meshed(case);
    study_on(label, case, mesh)
}

/// The same, beginning with every second line of the case's mesh only.
pub fn study_thinned(label: &str, case: &Case) -> Vec<Figure> {
    let (_, mesh) = meshed(case);
    let structure = Structure::new(case).unwrap_or_else(|e| panic!("{}", words(e))).0;
    let lines = Lines::of(&mesh).thinned(&Lines::kept(case, &structure));
    let thinned = mesh::on_lines(case, &structure, lines);
    study_on(label, case, thinned.unwrap_or_else(|e| panic!("{label}: {}", words(e))))
}

fn study_on(label: &str, case: &Case, mesh: Mesh) -> Vec<Figure> {
    let structure = Structure::new(case).unwrap_or_else(|e| panic!("{}", words(e))).0;
    let lines = Lines::of(&mesh);
    let mut outcomes = solve(case, &mesh).unwrap_or_else(|e| panic!("{label}: {e}"));
    for o in &mut outcomes {
        o.bars = Some(Bars::wanted(Cover::Mesh));
    }
    for &change in Cover::Mesh.changes() {
        let v = Variant::new(case, &lines, change);
        let nodes = v.as_ref().map_or(0, |v| v.mesh.nodes());
        let reruns = v.and_then(|v| solve(&v.case, &v.mesh));
        for (k, o) in outcomes.iter_mut().enumerate() {
            let rerun = match &reruns {
                Ok(list) => Rerun::of(change, nodes, &list[k]),
                Err(e) => Rerun::failed(change, nodes, o.points().len(), e),
            };
            o.bars.as_mut().unwrap().reruns.push(rerun);
        }
    }
    let quartered = mesh::on_lines(case, &structure, lines.halved().halved());
    let quartered = quartered.unwrap_or_else(|e| panic!("{}", words(e)));
    let truths = solve(case, &quartered).unwrap_or_else(|e| panic!("{label}: {e}"));
    println!("{label}: {} nodes, quartered {}", mesh.nodes(), quartered.nodes());
    let mut out = Vec::new();
    for (k, (o, truth)) in outcomes.iter().zip(&truths).enumerate() {
        for (n, ((name, here), (_, there))) in
            o.points().into_iter().zip(truth.points()).enumerate()
        {
            let figure = format!("{label}, {k}: {name}");
            let (Ok(here), Ok(there)) = (here, there) else {
                panic!("{figure}: {here:?} and {there:?}")
            };
            let bars = match o.error_bars(name) {
                Some(Ok(bars)) => bars,
                other => panic!("{figure} has no bars: {other:?}"),
            };
            let rerun = |c: Change| {
                let list = &o.bars.as_ref().unwrap().rerun(c).unwrap().points;
                list[n].as_ref().map_or([f64::NAN; 2], |p| [p.voltage, p.current])
            };
            let (coarser, finer) = (rerun(Change::Coarser), rerun(Change::Finer));
            let pairs = [
                ("V", here.voltage, there.voltage, bars.voltage),
                ("I", here.current, there.current, bars.current),
            ];
            for (q, (unit, value, truth, bar)) in pairs.into_iter().enumerate() {
                out.push(Figure {
                    name: format!("{figure} {unit}"),
                    coarser: coarser[q],
                    value,
                    finer: finer[q],
                    truth,
                    bar: bar.error,
                    order: bar.order,
                });
            }
        }
    }
    out
}

/// Values of all points: name, value.
fn values(outcomes: &[Outcome]) -> Vec<(String, Result<f64, String>)> {
    let mut out = Vec::new();
    for (k, o) in outcomes.iter().enumerate() {
        for (name, found) in o.points() {
            for (unit, pick) in [("V", (|f| f.voltage) as fn(&Fold) -> f64), ("I", |f| f.current)] {
                out.push((
                    format!("{k}: {name} {unit}"),
                    found.as_ref().map(pick).map_err(Clone::clone),
                ));
            }
        }
    }
    out
}

/// Mean relative error of the folds on the mesh of the structure and on one graded by the
/// solution, against the mesh of the structure of `truth`.
pub fn gain(label: &str, case: &Case, truth: &Case) -> [f64; 2] {
    let (_, mesh) = meshed(truth);
    let fine = values(&solve(truth, &mesh).unwrap_or_else(|e| panic!("{label}: {e}")));
    let known: Vec<f64> = fine
        .into_iter()
        .map(|(name, value)| value.unwrap_or_else(|e| panic!("{label}, {name}: {e}")))
        .collect();
    gain_over(label, case, &known)
}

/// The same against known figures: voltage and current of each point in order.
pub fn gain_over(label: &str, case: &Case, truth: &[f64]) -> [f64; 2] {
    let (structure, mesh) = meshed(case);
    let before = solve(case, &mesh).unwrap_or_else(|e| panic!("{label}: {e}"));
    let (mut graded, mut after) = (mesh.clone(), before.clone());
    for _ in 0..GRADING_ROUNDS {
        let lines = graded_by(case, &structure, &graded, &after, &mut |_| true)
            .unwrap_or_else(|e| panic!("{label}: {e}"));
        graded = mesh::on_lines(case, &structure, lines).unwrap_or_else(|e| panic!("{}", words(e)));
        after = solve(case, &graded).unwrap_or_else(|e| panic!("{label}: {e}"));
    }
    println!(
        "{label}: {} nodes ({} x {}) graded to {} ({} x {})",
        mesh.nodes(),
        mesh.nx(),
        mesh.ny(),
        graded.nodes(),
        graded.nx(),
        graded.ny()
    );
    let mut sums = [0.0; 2];
    let all = values(&before).into_iter().zip(values(&after)).zip(truth);
    assert_eq!(values(&before).len(), truth.len(), "{label}: one truth for each figure");
    let mut count = 0.0;
    for (((name, before), (_, after)), t) in all {
        let (Ok(b), Ok(a)) = (before, after) else { panic!("{label}, {name}") };
        let (eb, ea) = ((b / t - 1.0).abs(), (a / t - 1.0).abs());
        println!("{name:<18} {b:>12.5e} {a:>12.5e} {t:>12.5e}  error {eb:>9.2e} to {ea:>9.2e}");
        sums[0] += eb;
        sums[1] += ea;
        count += 1.0;
    }
    sums.map(|s| s / count)
}

/// Prints what each block of lines does to each figure.
pub fn blocks(label: &str, case: &Case) {
    let (structure, mesh) = meshed(case);
    let before = solve(case, &mesh).unwrap_or_else(|e| panic!("{label}: {e}"));
    let s = sensitivity(case, &structure, &mesh, &before, &mut |_| true).unwrap();
    for axis in 0..2 {
        let lines = if axis == 0 { &mesh.x } else { &mesh.y };
        for (k, w) in s.blocks[axis].windows(2).enumerate() {
            print!(
                "{} {:>8.3}..{:>8.3} ({:>2}) {:>7.4}:",
                ["x", "y"][axis],
                lines[w[0]],
                lines[w[1]],
                w[1] - w[0],
                s.errors[axis][k]
            );
            for c in &s.changes[axis][k] {
                print!(" {:>10}", c.map_or("-".into(), |c| format!("{c:.2e}")));
            }
            println!();
        }
    }
}
