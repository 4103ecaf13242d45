//! Lines given by the case, and contacts that they miss.

mod structure_cases;

use holdpoint::case::*;
use holdpoint::mesh::{self, Mesh};
use holdpoint::structure::Structure;
use structure_cases::*;

fn given(case: &Case) -> Result<(Mesh, Vec<Problem>), Vec<Problem>> {
    let (structure, _) = Structure::new(case).unwrap();
    mesh::build(case, &structure)
}

#[test]
fn given_lines_are_taken_as_given() {
    let mut case = bar();
    let x: Vec<f64> = (0..=24).map(|k| 0.5 * k as f64).collect();
    let y = vec![0.0, 0.4, 1.0];
    (case.grid.x, case.grid.y) = (Some(x.clone()), Some(y.clone()));
    let (mesh, warnings) = given(&case).unwrap();
    assert_eq!((mesh.x, mesh.y), (x.clone(), y));
    assert!(warnings.is_empty(), "{warnings:?}");
    // One axis given, the other from the budget.
    (case.grid.y, case.grid.nodes) = (None, Some(600));
    let (mesh, _) = given(&case).unwrap();
    assert_eq!(mesh.x, x);
    assert!(mesh.nodes() <= 600 && mesh.nodes() >= 510);
    // A junction off the lines is worth a word.
    case.grid.x = Some(vec![0.0, 2.0, 6.9, 9.0, 12.0]);
    case.grid.y = Some(vec![0.0, 1.0]);
    let (_, warnings) = given(&case).unwrap();
    assert!(warnings.iter().all(|w| w.code == "off-line") && !warnings.is_empty());

    for (bad, word) in [
        (vec![0.0, 2.0, 11.9], "right edge"),
        (vec![0.0, 3.0, 2.0, 12.0], "do not grow"),
        (vec![0.1, 12.0], "left edge"),
        (vec![0.0], "two lines"),
    ] {
        case.grid.x = Some(bad);
        let problems = given(&case).unwrap_err();
        assert!(problems.iter().any(|p| p.code == "grid-lines" && p.text.contains(word)));
    }
}

#[test]
fn given_lines_and_gates() {
    let mut case = pad();
    case.grid.x = Some((0..=480).map(|k| k as f64 / 20.0).collect());
    let below: Vec<f64> = (0..=40).map(|k| k as f64 * 0.25).chain([0.35]).collect();
    let mut below = below;
    below.sort_by(f64::total_cmp);
    case.grid.y = Some(below.clone());
    let (mesh, _) = given(&case).unwrap();
    assert_eq!(mesh.y.iter().filter(|y| **y < 0.0).count(), 4);
    assert_eq!(mesh.y[0], -0.007);
    let mut above = vec![-0.007, -0.002];
    above.extend(below.clone());
    case.grid.y = Some(above.clone());
    assert_eq!(given(&case).unwrap().0.y, above);
    let mut short = vec![-0.005];
    short.extend(below);
    case.grid.y = Some(short);
    assert!(given(&case).unwrap_err().iter().any(|p| p.code == "grid-lines"));
}

#[test]
fn a_contact_between_given_lines_has_no_node() {
    let mut case = pad();
    case.grid.x = Some(vec![0.0, 5.0, 7.5, 8.1, 9.9, 14.0, 15.0, 16.5, 18.0, 22.0, 24.0]);
    let problems = given(&case).unwrap_err();
    let missing: Vec<&str> =
        problems.iter().filter(|p| p.code == "no-node").map(|p| p.text.as_str()).collect();
    assert!(missing.iter().any(|t| t.contains("`cathode`")), "{problems:?}");
    assert!(!missing.iter().any(|t| t.contains("`anode`")));
}

#[test]
fn two_terminals_cannot_share_a_node() {
    let mut case = bar();
    case.terminals.push(surface("top", Role::None, 0.0, 1.0));
    case.terminals[0].role = Role::None;
    let problems = given(&case).unwrap_err();
    assert_eq!(problems[0].code, "shared-node");
}
