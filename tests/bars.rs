//! Error bars: honest against a mesh with every interval quartered. The long study is
//! `cargo bench --bench bars`.

mod bars_support;

use bars_support::{Figure, gain, gain_over, shipped, study, study_thinned};
use holdpoint::experiment::{Change, Variant};
use holdpoint::mesh::Lines;

/// Nine of ten true errors inside.
fn honest(figures: &[Figure]) {
    figures.iter().for_each(Figure::print);
    let inside = figures.iter().filter(|f| f.ratio() <= 1.0).count();
    println!("{inside} of {} inside", figures.len());
    assert!(figures.len() >= 10, "only {} figures", figures.len());
    assert!(10 * inside >= 9 * figures.len(), "{inside} of {} inside", figures.len());
    // Nor is a bar endless: one that always covers says nothing.
    let tight = figures.iter().filter(|f| f.ratio() > 0.05).count();
    assert!(2 * tight >= figures.len(), "{tight} bars of {} say something", figures.len());
}

/// The bar at three budgets, and the pad on every second line of its smallest mesh: there
/// a quartered mesh is affordable. All six figures of the pad.
#[test]
fn nine_of_ten_true_errors_lie_inside_their_bar() {
    let mut figures = Vec::new();
    for nodes in [200, 300] {
        figures.extend(study(&format!("bar {nodes}"), &shipped("four-layer-bar", nodes)));
    }
    figures.extend(study_thinned("pad", &shipped("tern180-pad", 2000)));
    honest(&figures);
}

/// Finer and coarser meshes of every shipped case are nested, and keep its edges.
#[test]
fn relatives_of_a_mesh_are_nested() {
    for name in ["diode-strip", "npn-strip", "four-layer-bar", "tern180-pad"] {
        // Fine enough for every second line to keep the channels of the pad.
        let case = shipped(name, if name == "tern180-pad" { 8000 } else { 3000 });
        let (structure, mesh) = bars_support::meshed(&case);
        let lines = Lines::of(&mesh);
        let finer = Variant::new(&case, &lines, Change::Finer).unwrap().mesh;
        let coarser = Variant::new(&case, &lines, Change::Coarser).unwrap().mesh;
        let kept = Lines::kept(&case, &structure);
        for (own, fine, coarse, kept) in
            [(&mesh.x, &finer.x, &coarser.x, &kept.x), (&mesh.y, &finer.y, &coarser.y, &kept.y)]
        {
            assert_eq!(fine.len(), 2 * own.len() - 1, "{name}");
            assert!(own.iter().all(|l| fine.contains(l)), "{name}: the finer mesh lost a line");
            assert!(coarse.iter().all(|l| own.contains(l)), "{name}: the coarser has a new line");
            let near = |l: &f64| coarse.iter().any(|c| (c - l).abs() < 2e-6);
            assert!(kept.iter().all(near), "{name}: the coarser mesh lost an edge");
            assert!(coarse.len() <= own.len() / 2 + kept.len(), "{name}: {}", coarse.len());
            // Halving takes the square root of the growth, but where growth itself jumps.
            let growth = |l: &[f64]| {
                let sizes: Vec<f64> = l.windows(2).map(|w| w[1] - w[0]).collect();
                sizes.windows(2).map(|w| (w[1] / w[0]).max(w[0] / w[1])).fold(1.0, f64::max)
            };
            assert!(growth(fine) <= growth(own) + 1e-9, "{name}: {}", growth(fine));
        }
        let names = |m: &holdpoint::mesh::Mesh| {
            m.terminals.iter().map(|t| t.name.clone()).collect::<Vec<_>>()
        };
        assert_eq!(names(&coarser), names(&mesh));
        assert_eq!(names(&finer), names(&mesh));
    }
}

/// Voltage and current of trigger, holding and both critical injections of the pad on the
/// mesh of the structure at 20,000 nodes:
/// `cargo bench --bench grading -- tern180-pad 2000 20000` computes and prints them.
const PAD: [f64; 8] =
    [22.91641, 6.8857e-05, 1.05236, 7.0022e-04, 4.13810, 3.5520e-04, -0.83921, -5.2696e-04];

/// At 2,000 nodes of the pad, too: there the mesh of the structure is a third off in the
/// injections.
#[test]
#[ignore = "minutes; the bar stands for it"]
fn grading_by_the_solution_halves_the_error_of_the_pad() {
    let [before, after] = gain_over("pad 2000", &shipped("tern180-pad", 2000), &PAD);
    assert!(2.0 * after <= before, "{before:.2e} to {after:.2e}");
}

/// With the same budget a mesh graded by the solution at least halves the error of every
/// fold of the bar and of the folds in the mean.
#[test]
fn grading_by_the_solution_halves_the_error() {
    for nodes in [200, 300] {
        let label = format!("bar {nodes}");
        let (case, truth) = (shipped("four-layer-bar", nodes), shipped("four-layer-bar", 6000));
        let [before, after] = gain(&label, &case, &truth);
        assert!(2.0 * after <= before, "{label}: {before:.2e} to {after:.2e}");
    }
}
