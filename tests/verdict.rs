//! The four answers of a verdict and what each rests on, from outcomes as experiments give
//! them.

use holdpoint::case::VerdictSpec;
use holdpoint::experiment::{Criterion, Figures, Found, Outcome, Sheet, Status};
use holdpoint::extract::{Answer, Verdict, next_temperature};
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
        flow: Sheet::new(),
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

/// Transients and overvoltage speak through their `latches`.
#[test]
fn every_stimulus_counts() {
    let named = |kind: &str, latches: Found<bool>| {
        let sheet = Sheet::new().yes_no("latches", "after it", latches);
        Outcome { kind: kind.into(), ..outcome("anode", Status::Complete, Figures::Named(sheet)) }
    };
    let on = || snapback(TRIGGER, Some((1.05, 3e-4)));
    let safe = named("overvoltage", Ok(false));
    assert_eq!(answer(&[on(), safe.clone()]).0, Answer::NotReached);
    let (is, why) = answer(&[on(), safe.clone(), named("pulse", Ok(true))]);
    assert_eq!(is, Answer::Latches);
    assert!(why.contains("the pulse on anode makes it latch"), "{why}");
    let (is, why) = answer(&[on(), safe, named("strike", Err("too slow".into()))]);
    assert_eq!(is, Answer::Undecided);
    assert!(why.contains("the strike has no answer: too slow"), "{why}");
}

/// A pin that stands its level is not reached by it; an injection that does not stay on is
/// none.
#[test]
fn level_and_confirmation_count() {
    let with = |beside: Sheet| {
        let mut o = injection(Some((3.5, 3.6e-4)));
        if let Figures::Injection { beside: b, .. } = &mut o.figures {
            *b = beside;
        }
        [snapback(TRIGGER, Some((1.05, 3e-4))), o]
    };
    let yes_no = |group: &str, name: &str, v: bool| {
        Sheet::new().group(group, "", Sheet::new().yes_no(name, "", Ok(v)))
    };
    assert_eq!(answer(&with(yes_no("level", "passes", true))).0, Answer::NotReached);
    assert_eq!(answer(&with(yes_no("level", "passes", false))).0, Answer::Latches);
    assert_eq!(answer(&with(yes_no("confirm", "stays", false))).0, Answer::NotReached);
    assert_eq!(answer(&with(yes_no("confirm", "stays", true))).0, Answer::Latches);
    let v = Verdict::of(SPEC, 10.0, &with(Sheet::new()));
    assert!((v.more.number_at("margins/holding_V").unwrap() - (1.05 - 3.63)).abs() < 1e-12);
    assert!((v.more.number_at("margins/injection_A/p-drain").unwrap() - 3.6e-3).abs() < 1e-15);
    assert!((v.more.number_at("margins/trigger_V").unwrap() - 18.7).abs() < 1e-12);
}

/// The lowest holding voltage is looked for: inside the range if it lies there.
#[test]
fn a_valley_between_temperatures_is_found() {
    let searched = |f: &dyn Fn(f64) -> f64, start: &[f64]| {
        let mut known: Vec<[f64; 2]> = start.iter().map(|t| [*t, f(*t)]).collect();
        let mut traces = 0;
        while let Some(next) = next_temperature(&known) {
            known.push([next, f(next)]);
            known.sort_by(|a, b| a[0].total_cmp(&b[0]));
            traces += 1;
            assert!(traces < 8, "no end: {known:?}");
        }
        let least = known.into_iter().min_by(|a, b| a[1].total_cmp(&b[1])).unwrap();
        (least, traces)
    };
    let valley = |t: f64| 1.0 + 2e-6 * (t - 341.0) * (t - 341.0);
    for start in [&[233.0, 398.0][..], &[233.0, 300.0, 398.0], &[233.0, 340.0, 398.0]] {
        let (least, traces) = searched(&valley, start);
        println!("lowest at {} K after {traces} traces", least[0]);
        assert!(valley(least[0]) < 1.0 + 6e-4, "{least:?}");
    }
    // Falling all the way: the hot end, and one trace in the middle says so.
    let falling = |t: f64| 1.5 - 1.5e-3 * t + 3e-7 * t * t;
    assert_eq!(searched(&falling, &[233.0, 398.0]), ([398.0, falling(398.0)], 1));
    assert_eq!(next_temperature(&[]), None);
    assert_eq!(next_temperature(&[[300.0, 1.0]]), None);
}
