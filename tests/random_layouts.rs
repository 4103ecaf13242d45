//! Random layouts: each is refused with a place in its file, or meshed and solved to an
//! equilibrium that carries nothing and keeps its charge.

mod layout_support;

use holdpoint::case::{Problem, Severity, read_str};
use holdpoint::discretize::{Assembly, Device, Tie};
use holdpoint::mesh;
use holdpoint::solve::equilibrium;
use holdpoint::structure::Structure;
use layout_support::layout;

/// [C], exact by definition (SI, 2019).
const ELEMENTARY_CHARGE: f64 = 1.602176634e-19;

#[derive(Debug, Clone, Copy, PartialEq)]
enum End {
    Refused,
    Solved,
}

/// Every problem says what is wrong at a place that exists. What is missing from a case as
/// a whole has no place; these layouts lack nothing.
fn points_at_a_line(problems: &[Problem], text: &str) -> Result<(), String> {
    let errors = || problems.iter().filter(|p| p.severity == Severity::Error);
    if errors().next().is_none() {
        return Err("refused without a reason".into());
    }
    for p in errors() {
        let placed = p.at.as_ref().is_some_and(|at| at.start < at.end && at.end <= text.len());
        if !placed || p.text.is_empty() {
            return Err(format!("[{}] {} (at {:?})", p.code, p.text, p.at));
        }
    }
    Ok(())
}

fn end_of(text: &str) -> Result<End, String> {
    let refused = |problems: Vec<Problem>| points_at_a_line(&problems, text).map(|()| End::Refused);
    let case = match read_str(text, "layout.toml") {
        Ok((case, _)) => case,
        Err(problems) => return refused(problems),
    };
    let structure = match Structure::new(&case) {
        Ok((structure, _)) => structure,
        Err(problems) => return refused(problems),
    };
    let mesh = match mesh::build(&case, &structure) {
        Ok((mesh, _)) => mesh,
        Err(problems) => return refused(problems),
    };
    let budget = case.grid.nodes.unwrap_or(8000);
    if mesh.nodes() > budget {
        return Err(format!("{} nodes, {budget} asked for", mesh.nodes()));
    }
    let device = Device::of_case(&case, &mesh);
    let (state, _) = equilibrium(&device).map_err(|e| format!("no equilibrium: {e}"))?;
    let finite = |list: &[f64]| list.iter().all(|v| v.is_finite());
    let mut assembly = Assembly::new(&device);
    assembly.evaluate(&device, &state, false);
    let largest = assembly.currents.iter().fold(0.0f64, |m, c| m.max(c.abs()));
    if !finite(&assembly.currents) || largest != 0.0 {
        return Err(format!("a current of {largest:e} A/cm in equilibrium"));
    }
    // Gauss's law in every free box: what is left of it, against all charge of the dopants.
    let mut left = 0.0;
    for (i, tie) in device.ties.iter().enumerate() {
        if matches!(tie, Tie::Free) {
            left += assembly.residual[device.block() * i].abs();
        }
    }
    let charge: f64 = device.area.iter().zip(&device.total).map(|(a, n)| a * n).sum();
    let lost = left / (ELEMENTARY_CHARGE * charge);
    if lost.is_nan() || lost > 1e-8 {
        return Err(format!("{lost:e} of the dopants' charge is lost"));
    }
    Ok(End::Solved)
}

/// How many of the layouts were solved; all that did neither end.
fn run(seeds: std::ops::Range<u64>) -> (usize, Vec<String>) {
    let (mut solved, mut wrong) = (0, Vec::new());
    for seed in seeds {
        let text = layout(seed);
        let ended = std::panic::catch_unwind(|| end_of(&text));
        match ended.unwrap_or_else(|_| Err("panicked".into())) {
            Ok(End::Solved) => solved += 1,
            Ok(End::Refused) => {}
            Err(why) => wrong.push(format!("layout {seed}: {why}")),
        }
    }
    (solved, wrong)
}

#[test]
fn some_layouts_are_refused_with_a_place_or_solved() {
    let (solved, wrong) = run(0..600);
    println!("600 layouts, {solved} solved, {} wrong", wrong.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(solved > 15, "only {solved} of 600 could be solved: the others say little");
}

/// HOLDPOINT_LAYOUTS=FROM..TO chooses others.
#[test]
#[ignore = "minutes to hours"]
fn thousands_of_layouts_are_refused_with_a_place_or_solved() {
    let asked = std::env::var("HOLDPOINT_LAYOUTS").unwrap_or("0..3000".into());
    let (from, to) = asked.split_once("..").expect("FROM..TO");
    let (from, to): (u64, u64) = (from.parse().expect("a number"), to.parse().expect("a number"));
    let (solved, wrong) = run(from..to);
    println!("{} layouts, {solved} solved, {} wrong", to - from, wrong.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
