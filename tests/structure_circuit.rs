//! The cross-section read as a circuit: shorts with their place, floating islands,
//! terminals on the wrong material.

mod structure_cases;

use holdpoint::case::*;
use holdpoint::structure::Structure;
use structure_cases::*;

fn problems(case: &Case) -> Vec<Problem> {
    match Structure::new(case) {
        Ok((_, warnings)) => {
            assert!(warnings.iter().all(|w| w.severity == Severity::Warning));
            warnings
        }
        Err(all) => {
            assert!(all.iter().any(|p| p.severity == Severity::Error));
            all
        }
    }
}

fn codes(case: &Case) -> Vec<&'static str> {
    problems(case).iter().map(|p| p.code).collect()
}

/// Two n+ diffusions `gap` apart, spread 0.09 µm, in a p-well of 1e17.
fn two_diffusions(gap: f64, second: Role) -> Case {
    let mut case = wafer(12.0, 5.0, 1e15);
    case.wells = vec![gaussian("p-well", Polarity::Acceptors, 1e17, 0.0, 12.0, 1.2, 0.8)];
    case.diffusions = vec![
        gaussian("left", Polarity::Donors, 1e20, 3.0, 5.0, 0.12, 0.09),
        gaussian("right", Polarity::Donors, 1e20, 5.0 + gap, 8.0, 0.12, 0.09),
    ];
    case.terminals = vec![
        Terminal { at: 1..5, ..surface("cathode", Role::Cathode, 3.2, 4.8) },
        Terminal { at: 6..9, ..surface("other", second, 6.2, 7.8) },
        side("substrate", Role::SubstrateTap, Side::Back),
    ];
    case
}

#[test]
fn tails_that_meet_are_a_short_with_its_place() {
    // They meet where 2·1e20·exp(−(gap/2/0.09)²) = 1e17: gap = 0.4963 µm.
    let touching = 2.0 * 0.09 * (2e20f64 / 1e17).ln().sqrt();
    assert_eq!(codes(&two_diffusions(touching + 0.01, Role::Drain)), [""; 0]);
    let gap = touching - 0.06;
    let found = problems(&two_diffusions(gap, Role::Drain));
    assert_eq!(found.len(), 1, "{found:?}");
    let short = &found[0];
    assert_eq!((short.code, short.severity), ("short", Severity::Error));
    assert!(short.text.contains("`cathode` and `other`"), "{}", short.text);
    assert_eq!(short.at, Some(1..5));
    assert_eq!(short.other.as_ref().unwrap().0, 6..9);
    // The saddle is half-way, at the surface, where the tails are weakest.
    let number = |after: &str| -> f64 {
        let rest = &short.text[short.text.find(after).unwrap() + after.len()..];
        rest.trim_start().split([' ', ',']).next().unwrap().parse().unwrap()
    };
    let x = 5.0 + 0.5 * gap;
    assert!((number("x =") - x).abs() < 0.004, "{}", short.text);
    assert!(number("y =") < 0.006, "{}", short.text);
    let weakest = 2e20 * (-(0.5 * gap / 0.09f64).powi(2)).exp() - 1e17;
    assert!((number("weakest,") / weakest - 1.0).abs() < 0.05, "{weakest:e}: {}", short.text);
}

#[test]
fn roles_decide_what_is_a_short() {
    let joined = |a: Role, b: Role| {
        let mut case = two_diffusions(0.3, b);
        case.terminals[0].role = a;
        codes(&case)
    };
    assert_eq!(joined(Role::Cathode, Role::None), ["short"]);
    assert_eq!(joined(Role::WellTap, Role::Drain), ["short"]);
    assert_eq!(joined(Role::WellTap, Role::Guard), [""; 0]);
    assert_eq!(joined(Role::None, Role::None), [""; 0]);
}

#[test]
fn a_source_tail_that_meets_the_well_is_a_short() {
    let mut case = pad();
    case.trenches.clear();
    case.wells.remove(0); // no p-well: the tails of n+ source and n-well meet
    case.diffusions[2].to = 11.0;
    let found = problems(&case);
    let short = found.iter().find(|p| p.code == "short").expect("a short");
    assert!(short.text.contains("`cathode` and `well-tap`"), "{}", short.text);
    assert_eq!(codes(&pad()), [""; 0]);
}

#[test]
fn three_joined_terminals_give_two_shorts() {
    let mut case = two_diffusions(0.3, Role::Drain);
    case.diffusions.push(gaussian("third", Polarity::Donors, 1e20, 8.3, 10.0, 0.12, 0.09));
    case.terminals.push(surface("third", Role::None, 8.6, 9.4));
    assert_eq!(codes(&case), ["short", "short"]);
}

#[test]
fn terminals_on_oxide_and_gates_over_it_are_errors() {
    let mut case = pad();
    case.terminals.push(surface("lost", Role::None, 11.0, 12.0));
    let found = problems(&case);
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].code, found[0].severity), ("touches-oxide-only", Severity::Error));

    let mut case = pad();
    case.terminals[1].touches.push(Touch::Surface { from: 11.0, to: 12.0 });
    let found = problems(&case);
    assert_eq!((found[0].code, found[0].severity), ("touches-oxide-only", Severity::Warning));

    let mut case = pad();
    case.gates.push(gate("stray", 11.0, 13.5, 0.007, Plate::NPoly));
    assert_eq!(codes(&case), ["gate-over-no-silicon"]);
    case.gates[2].to = 13.6;
    assert_eq!(codes(&case), [""; 0]);
}

#[test]
fn a_contact_across_a_junction_is_butted() {
    let mut case = two_diffusions(1.0, Role::Drain);
    case.terminals[0].touches = vec![Touch::Surface { from: 2.0, to: 4.5 }];
    let found = problems(&case);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].code, found[0].severity), ("butted", Severity::Warning));
}

#[test]
fn an_island_without_terminal_floats() {
    let mut case = two_diffusions(1.0, Role::Drain);
    case.terminals.remove(1);
    let found = problems(&case);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].code, found[0].severity), ("floating", Severity::Warning));
    assert!(found[0].text.contains("`right`"), "{}", found[0].text);
    // Both inner layers of a bar float, and a bar runs.
    assert_eq!(codes(&bar()), ["floating", "floating"]);
}

#[test]
fn the_surface_left_by_trenches() {
    let mut case = pad();
    case.trenches.push(Trench { from: 13.0, to: 14.0, depth: 0.2, fixed_charge: 0.0, at: 0..0 });
    let (s, _) = Structure::new(&case).unwrap();
    assert!((s.surface_silicon(10.0, 15.0) - 1.5).abs() < 1e-12);
    assert_eq!(s.surface_silicon(11.0, 13.9), 0.0);
}
