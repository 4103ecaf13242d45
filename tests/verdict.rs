//! The four answers of a verdict and what each rests on, from outcomes as experiments give
//! them.

use holdpoint::case::VerdictSpec;
use holdpoint::experiment::{Criterion, Figures, Found, Outcome, Sheet, Status};
use holdpoint::extract::{Answer, Verdict};
use holdpoint::trace::{Curve, Fold, FoldKind, TerminalValues, Work};

const SPEC: VerdictSpec = VerdictSpec { supply: 3.3, margin: 0.1, supply_current: None };

fn fold(kind: FoldKind, voltage: f64, current: f64) -> Fold {
    Fold { kind, voltage, current, at_terminals: TerminalValues::default(), before_point: 1 }
}

fn outcome(drive: &str, status: Status, figures: Figures) -> Outcome {
    Outcome {
        kind: String::new(),
        drive: vec![drive.to_string()],
        status,
        curve: Curve::default(),
        folds: Vec::new(),
        figures,
        bars: None,
        fields: Vec::new(),
        warnings: Vec::new(),
        work: Work::default(),
        wall: 0.0,
        snapshot: None,
    }
}

fn found(kind: FoldKind, at: Option<(f64, f64)>) -> Found<Fold> {
    at.map(|(v, i)| fold(kind, v, i)).ok_or_else(|| "the curve has no such fold".to_string())
}

/// A snapback with its trigger and holding points (V, A/µm).
fn snapback(trigger: Option<(f64, f64)>, holding: Option<(f64, f64)>) -> Outcome {
    let figures = Figures::Snapback {
        trigger: found(FoldKind::VoltageMaximum, trigger),
        holding: found(FoldKind::VoltageMinimum, holding),
        on_branch: Err("not looked at".into()),
    };
    outcome("anode", Status::Complete, figures)
}

fn injection(critical: Option<(f64, f64)>) -> Outcome {
    let critical = found(FoldKind::CurrentMaximum, critical);
    let figures = Figures::Injection { criterion: Criterion::Fold, critical, beside: Sheet::new() };
    outcome("p-drain", Status::Complete, figures)
}

fn stopped(mut o: Outcome, reason: &str) -> Outcome {
    o.status = Status::Stopped(reason.to_string());
    o
}

fn answer(outcomes: &[Outcome]) -> (Answer, String) {
    let verdict = Verdict::of(SPEC, 10.0, outcomes);
    assert_eq!((verdict.supply, verdict.margin), (3.3, 0.1));
    assert!(!verdict.reasons.is_empty(), "every answer has a reason");
    (verdict.answer, verdict.reasons.join("\n"))
}

const TRIGGER: Option<(f64, f64)> = Some((22.0, 1e-6));

#[test]
fn no_on_state_above_the_supply_with_its_margin() {
    // 3.63 V is the limit; the minimum lies just above it, then just below.
    let above = snapback(TRIGGER, Some((3.64, 1e-4)));
    let (is, why) = answer(&[above.clone(), injection(Some((3.5, 2e-4)))]);
    assert_eq!(is, Answer::NoOnState, "{why}");
    assert!(why.contains("3.640 V"), "{why}");
    let below = snapback(TRIGGER, Some((3.62, 1e-4)));
    assert_eq!(answer(std::slice::from_ref(&below)).0, Answer::NotReached);
    // The lowest minimum counts, wherever it stands.
    assert_eq!(answer(&[above, below]).0, Answer::NotReached);
}

#[test]
fn an_on_state_that_a_stimulus_reaches_latches() {
    let on = || snapback(TRIGGER, Some((1.05, 3e-4)));
    assert_eq!(answer(&[on()]).0, Answer::NotReached);
    assert_eq!(answer(&[on(), injection(None)]).0, Answer::NotReached);
    let (is, why) = answer(&[on(), injection(Some((3.5, 3.6e-4)))]);
    assert_eq!(is, Answer::Latches);
    // 3.6e-4 A/µm at 10 µm.
    assert!(why.contains("p-drain") && why.contains("3.600 mA"), "{why}");
    // Or the supply itself.
    let (is, why) = answer(&[snapback(Some((3.5, 1e-6)), Some((1.05, 3e-4)))]);
    assert_eq!(is, Answer::Latches);
    assert!(why.contains("triggers by itself"), "{why}");
}

#[test]
fn what_is_missing_leaves_it_undecided() {
    assert_eq!(answer(&[]).0, Answer::Undecided);
    let (is, why) = answer(&[injection(Some((3.5, 3e-4)))]);
    assert_eq!(is, Answer::Undecided);
    assert!(why.contains("no snapback experiment"), "{why}");
    let cut = stopped(snapback(TRIGGER, None), "ran out of steps");
    let (is, why) = answer(&[cut]);
    assert_eq!(is, Answer::Undecided);
    assert!(why.contains("before its voltage minimum") && why.contains("ran out"), "{why}");
    // An on-state is known, whether the injection reaches it is not.
    let on = snapback(TRIGGER, Some((1.05, 3e-4)));
    let unfinished = stopped(injection(None), "ran out of steps");
    let (is, why) = answer(&[on.clone(), unfinished.clone()]);
    assert_eq!(is, Answer::Undecided, "{why}");
    // What another stimulus reached stays reached.
    assert_eq!(answer(&[on, unfinished, injection(Some((3.5, 3e-4)))]).0, Answer::Latches);
}

#[test]
fn no_fold_is_no_on_state_but_conduction_is_said() {
    let mut blocking = snapback(None, None);
    blocking.curve =
        Curve { voltage: vec![0.0, 30.0], current: vec![0.0, 1e-9], ..Curve::default() };
    let (is, why) = answer(&[blocking.clone()]);
    assert_eq!(is, Answer::NoOnState);
    assert!(!why.contains("conducts"), "{why}");
    blocking.curve =
        Curve { voltage: vec![0.0, 0.9], current: vec![0.0, 1e-2], ..Curve::default() };
    let (is, why) = answer(&[blocking]);
    assert_eq!(is, Answer::NoOnState);
    assert!(why.contains("it conducts"), "{why}");
}

#[test]
fn a_supply_too_weak_to_hold_is_said() {
    let on = snapback(TRIGGER, Some((1.05, 3e-4)));
    let weak = VerdictSpec { supply_current: Some(2e-3), ..SPEC };
    let strong = VerdictSpec { supply_current: Some(4e-3), ..SPEC };
    let said = |spec| {
        let v = Verdict::of(spec, 10.0, std::slice::from_ref(&on));
        v.reasons.iter().any(|r| r.contains("cannot keep the path on"))
    };
    assert!(said(weak) && !said(strong));
}
