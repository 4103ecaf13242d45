//! Exact means against quadrature, and falloffs found from junction depths.

mod structure_cases;

use holdpoint::case::*;
use holdpoint::structure::Structure;
use structure_cases::*;

/// Composite Gauss-Legendre (five points, Abramowitz and Stegun table 25.4), cut at the
/// places where the integrand has a kink or a jump.
fn quadrature(a: f64, b: f64, breaks: &[f64], f: impl Fn(f64) -> f64) -> f64 {
    const X: [f64; 3] = [0.0, 0.538_469_310_105_683, 0.906_179_845_938_664];
    const W: [f64; 3] = [0.568_888_888_888_889, 0.478_628_670_499_366_5, 0.236_926_885_056_189_1];
    let mut marks: Vec<f64> = breaks.iter().copied().filter(|m| *m > a && *m < b).collect();
    marks.extend([a, b]);
    marks.sort_by(f64::total_cmp);
    let mut sum = 0.0;
    for w in marks.windows(2) {
        let n = 400;
        let h = (w[1] - w[0]) / n as f64;
        for k in 0..n {
            let mid = w[0] + (k as f64 + 0.5) * h;
            sum += 0.5 * h * W[0] * f(mid);
            for q in 1..3 {
                sum += 0.5 * h * W[q] * (f(mid - 0.5 * h * X[q]) + f(mid + 0.5 * h * X[q]));
            }
        }
    }
    sum
}

fn profiles() -> Vec<(&'static str, Profile, f64, Vec<f64>)> {
    let fall = Depth::Falloff(0.37);
    vec![
        ("gaussian", Profile::Gaussian { crest: 0.0, depth: fall }, 0.09, vec![0.0]),
        ("retrograde", Profile::Gaussian { crest: 0.8, depth: fall }, 0.5, vec![0.8]),
        ("erfc", Profile::Erfc { crest: 0.2, depth: fall }, 0.09, vec![0.2]),
        ("box", Profile::Box { top: 0.1, bottom: 0.9 }, 0.0, vec![0.1, 0.9]),
        ("box with tails", Profile::Box { top: 0.0, bottom: 0.31 }, 0.2, vec![0.0, 0.31]),
        (
            "table",
            Profile::Table {
                depth: vec![0.05, 0.2, 0.21, 0.6, 1.1],
                density: vec![3e18, 1e19, 1e19, 4e16, 2e14],
            },
            0.1,
            vec![0.05, 0.2, 0.21, 0.6, 1.1],
        ),
    ]
}

fn agree(what: &str, exact: f64, numeric: f64, scale: f64) {
    let error = (exact - numeric).abs();
    assert!(
        error <= 1e-9 * numeric.abs() || error <= 1e-30 * scale,
        "{what}: {exact:e} against {numeric:e}, relative {:.1e}",
        error / numeric.abs()
    );
}

#[test]
fn means_are_exact_for_every_profile() {
    let rectangles = [
        (1.0, 4.0, 0.0, 2.0),
        (1.7, 2.1, 0.05, 0.3),            // cuts the left edge
        (2.2, 2.9, 0.3, 0.31),            // flat laterally
        (3.3, 3.304, 0.7, 1.0),           // thin, in the right tail
        (0.0, 1.9, 0.85, 0.95),           // cuts a box bottom, far left tail
        (1.9995, 2.0001, 0.0999, 0.1002), // tiny, across two edges
    ];
    for (name, profile, spread, breaks) in profiles() {
        let mut case = wafer(5.0, 3.0, 1e15);
        case.wafer.doping = None;
        let mut piece = gaussian("piece", Polarity::Donors, 1e19, 2.0, 3.0, 1.0, spread);
        piece.profile = profile;
        case.wells = vec![piece];
        let (s, _) = Structure::new(&case).unwrap();
        for (x0, x1, y0, y1) in rectangles {
            // Along the flat middle of the other axis, times its mean: separable.
            let term = &s.terms[0];
            let lateral = quadrature(x0, x1, &[2.0, 3.0], |x| term.lateral.value(x)) / (x1 - x0);
            let vertical = quadrature(y0, y1, &breaks, |y| term.vertical.value(y)) / (y1 - y0);
            let what = format!("{name} over {x0}..{x1}, {y0}..{y1}");
            agree(&what, s.donors_mean(x0, x1, y0, y1), 1e19 * lateral * vertical, 1e19);
            assert_eq!(s.acceptors_mean(x0, x1, y0, y1), 0.0);
        }
    }
}

#[test]
fn epi_means_are_exact_and_join_layer_and_handle() {
    for blur in [0.0, 0.4] {
        let mut case = wafer(5.0, 9.0, 1e15);
        case.wafer.epi =
            Some(Epi { thickness: 5.0, doping: (Polarity::Acceptors, 2e15), handle: 5e18, blur });
        let (s, _) = Structure::new(&case).unwrap();
        agree("layer", s.acceptors(1.0, 1.0), 2e15, 1.0);
        agree("handle", s.acceptors(1.0, 8.9), 5e18, 1.0);
        for (y0, y1) in [(0.0, 9.0), (4.9, 5.3), (4.9999, 5.00005), (2.0, 4.4)] {
            let numeric = quadrature(y0, y1, &[5.0], |y| s.acceptors(1.0, y)) / (y1 - y0);
            agree(&format!("epi {y0}..{y1}"), s.acceptors_mean(1.0, 2.0, y0, y1), numeric, 1.0);
        }
    }
}

/// Depth of the sign change of net doping on a vertical cut, by bisection.
fn sign_change(s: &Structure, x: f64, a: f64, b: f64) -> f64 {
    let (mut a, mut b) = (a, b);
    let sign = s.net(x, a).signum();
    assert!(s.net(x, b) * sign < 0.0);
    for _ in 0..60 {
        let mid = 0.5 * (a + b);
        if s.net(x, mid) * sign > 0.0 { a = mid } else { b = mid }
    }
    0.5 * (a + b)
}

#[test]
fn junction_depths_are_reached_with_all_pieces_present() {
    let mut case = wafer(24.0, 10.0, 1e15);
    let mut well = gaussian("n-well", Polarity::Donors, 1e17, 12.0, 24.0, 1.0, 0.8);
    well.profile = Profile::Gaussian { crest: 0.3, depth: Depth::Junction(2.4) };
    let mut source = gaussian("p+ source", Polarity::Acceptors, 1e20, 17.0, 19.0, 1.0, 0.1);
    source.profile = Profile::Erfc { crest: 0.0, depth: Depth::Junction(0.31) };
    let mut counter = gaussian("n+ spot", Polarity::Donors, 3e19, 17.5, 18.5, 1.0, 0.05);
    counter.profile = Profile::Gaussian { crest: 0.0, depth: Depth::Junction(0.07) };
    case.wells = vec![well];
    case.diffusions = vec![counter, source];
    // The spot's junction lies where the source is still above it, and both have the
    // same centre line: each falloff depends on the other.
    case.diffusions[1].peak = 1e19;
    let (s, _) = Structure::new(&case).unwrap();
    assert!((sign_change(&s, 18.0, 1.5, 4.0) - 2.4).abs() < 1e-6);
    assert!((sign_change(&s, 18.0, 0.1, 1.0) - 0.31).abs() < 1e-6);
    assert!((sign_change(&s, 18.0, 0.0, 0.1) - 0.07).abs() < 1e-6);
}

fn refusal(case: &Case) -> Problem {
    let problems = Structure::new(case).unwrap_err();
    assert_eq!(problems[0].severity, Severity::Error);
    problems[0].clone()
}

#[test]
fn impossible_junction_depths_say_why() {
    let with = |piece: Piece, acceptors: f64| {
        let mut case = wafer(10.0, 5.0, acceptors);
        case.diffusions = vec![piece];
        case
    };
    let mut same = gaussian("p+", Polarity::Acceptors, 1e19, 2.0, 4.0, 1.0, 0.1);
    same.profile = Profile::Gaussian { crest: 0.0, depth: Depth::Junction(0.4) };
    let problem = refusal(&with(same, 1e15));
    assert_eq!(problem.code, "junction-depth");
    assert!(problem.text.contains("already p-type"), "{}", problem.text);

    let mut weak = gaussian("n", Polarity::Donors, 1e15, 2.0, 4.0, 1.0, 0.1);
    weak.profile = Profile::Gaussian { crest: 0.0, depth: Depth::Junction(0.4) };
    let problem = refusal(&with(weak, 1e16));
    assert!(problem.text.contains("above its peak"), "{}", problem.text);

    let mut buried = gaussian("n", Polarity::Donors, 1e18, 2.0, 4.0, 1.0, 0.1);
    buried.profile = Profile::Gaussian { crest: 0.6, depth: Depth::Junction(0.4) };
    let problem = refusal(&with(buried, 1e16));
    assert!(problem.text.contains("crest"), "{}", problem.text);
}

#[test]
fn values_at_edges_survive_rounding() {
    let mut case = bar();
    case.wells[1].from = 0.1 + 0.2; // 0.30000000000000004
    case.wells[0].to = 0.3;
    let (s, _) = Structure::new(&case).unwrap();
    assert_eq!(s.donors(0.3, 0.5), 1e16);
    assert_eq!(s.acceptors(0.3 - 1e-6, 0.5), 1e19);
    assert_eq!(s.donors(0.3 - 1e-6, 0.5), 0.0);
}
