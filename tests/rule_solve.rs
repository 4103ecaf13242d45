//! Rules: the answer is where a full curve just meets them; impossible ones say so; spreads
//! agree with full runs.

mod rule_support;

use holdpoint::case::Rule;
use holdpoint::experiment::deformed;
use holdpoint::rule::{Ground, Solving, Spent, solve, spread};
use holdpoint::trace::KeepNothing;
use rule_support::{Traced, read, text};

const SLIDE: &str = "\n[[slide]]\nname = \"base\"\nright_of = 3\n";

fn rule(require: &str, range: &str, rest: &str) -> String {
    format!(
        "{}{SLIDE}\n[[rule]]\nname = \"wide base\"\nunknown = \"slide.base\"\nrange = {range}\nrequire = \"{require}\"\n{rest}\n",
        text("four-layer-bar", 200)
    )
}

fn solved(text: &str) -> (Traced, Solving) {
    let traced = Traced::new(text);
    let r: Rule = traced.case.rules[0].clone();
    let ground = Ground::new(
        &traced.case,
        &traced.mesh,
        &traced.device,
        &traced.outcomes,
        (r.require.fold, r.experiment),
        &mut Spent::default(),
    )
    .expect("the point");
    let found = solve(&ground, &r, &mut KeepNothing);
    drop(ground);
    println!("{found:#?}");
    (traced, found)
}

#[test]
fn a_rule_is_just_met_at_its_answer() {
    let over = "over = { temperature = [300, 350] }";
    let (traced, found) = solved(&rule("holding.voltage >= 1.1", "[-0.5, 2]", over));
    let one = &found.cases[0];
    assert_eq!(one.answers.len(), 1, "{:?}", one.notes);
    let answer = &one.answers[0];
    assert!(answer.value > -0.5 && answer.value < 2.0);
    assert_eq!(one.feasible, [[answer.value, 2.0]]);
    assert!(answer.slope > 0.0 && answer.error.is_some_and(|e| e > 0.0 && e < 2.0));
    // An independent run of the case with the answer written into it.
    let t = holdpoint::experiment::with_value(&traced.case, "temperature", answer.temperature)
        .and_then(|c| holdpoint::experiment::with_value(&c, "slide.base", answer.value))
        .expect("the case");
    let (v, _) = Traced::new(&t.text).point("holding").expect("a holding point");
    assert!((v - 1.1).abs() < 1e-3 && (v - answer.voltage).abs() < 1e-6, "{v}");
}

#[test]
fn a_rule_that_cannot_be_met_says_what_would_help() {
    let (_, found) = solved(&rule("holding.voltage >= 4", "[-0.2, 0.2]", ""));
    let one = &found.cases[0];
    assert!(one.feasible.is_empty() && one.answers.is_empty());
    let best = one.best.as_ref().expect("a best value");
    assert!(best.slack < 0.0 && best.value == 0.2 && best.proof.is_some());
    assert!(found.helps.len() >= 3, "{:?}", found.helps);
}

fn problem(text: &str) -> holdpoint::case::Problem {
    let problems = match holdpoint::case::read_str(text, "t.toml") {
        Ok((case, _)) => holdpoint::rule::check(&case),
        Err(problems) => problems,
    };
    assert_eq!(problems.len(), 1, "{problems:#?}");
    problems[0].clone()
}

#[test]
fn bad_rules_are_refused_before_anything_is_solved() {
    let good = rule("holding.voltage >= 1.1", "[-0.5, 2]", "");
    assert_eq!(holdpoint::rule::check(&read(&good)), []);
    let spoilt = |from: &str, to: &str, code: &str, place: &str| {
        let text = good.replace(from, to);
        assert_ne!(text, good, "{from}");
        let p = problem(&text);
        assert_eq!(p.code, code, "{p:#?}");
        assert_eq!(&text[p.at.clone().expect("a place")], place, "{p:#?}");
        assert!(p.help.is_some());
    };
    spoilt("1.1", "1.1 +", "bad-requirement", "\"holding.voltage >= 1.1 +\"");
    spoilt("holding.voltage", "holding.volts", "bad-requirement", "holding.volts");
    spoilt("\"slide.base\"", "\"slide.bas\"", "bad-path", "\"slide.bas\"");
    spoilt("\"slide.base\"", "\"grid.nodes\"", "bad-path", "\"grid.nodes\"");
    let no = "\"experiment.snapback.stop.current\"";
    let text = good.replace("\"slide.base\"", no).replace("[-0.5, 2]", "[1e-4, 1e-2]");
    let p = problem(&text);
    assert_eq!((p.code, &text[p.at.clone().expect("a place")]), ("no-effect", no));
    spoilt("[-0.5, 2]", "[-4, 2]", "range-not-possible", "[-4, 2]");
    spoilt("[-0.5, 2]", "[2, -0.5]", "bad-range", "[2, -0.5]");
    spoilt("[-0.5, 2]", "[2]", "bad-range", "[2]");
    let other = "[[rule]]\nname = \"other\"\nunknown = \"slide.base\"\nrange = [0, 1]\nrequire = \"holding.voltage <= 0.9\"\n";
    let text = format!("{good}{other}");
    let p = problem(&text);
    assert_eq!(p.code, "contradictory-rules");
    assert_eq!(&text[p.at.expect("a place")], "\"holding.voltage <= 0.9\"");
    let text = good.replace("1.1", "verdict.supply");
    assert_eq!(problem(&text).code, "no-supply");
}

const SPREADS: &str = r#"
[[spread]]
parameter = "slide.base"
shape = "uniform"
range = "0.03 um"

[[spread]]
parameter = "well.p base.acceptors"
sigma = "2 %"

[[spread]]
parameter = "constants.shockley-read-hall.tau_n0"
sigma = "3 %"
"#;

/// A seeded generator (xorshift64*, Vigna, ACM Trans. Math. Softw. 42, 30 (2016)).
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let r = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        r * (2.0 * std::f64::consts::PI * self.unit()).cos()
    }
}

/// The first-order spread against `samples` full curves.
fn monte_carlo(samples: usize) -> (f64, f64, f64, f64) {
    let traced = Traced::new(&format!("{}{SLIDE}{SPREADS}", text("four-layer-bar", 200)));
    let which = (holdpoint::case::FoldName::Holding, None);
    let spent = &mut Spent::default();
    let ground =
        Ground::new(&traced.case, &traced.mesh, &traced.device, &traced.outcomes, which, spent)
            .expect("the point");
    let linear = spread(&ground, &traced.case.spreads, Some(1.03));
    println!("{linear:#?}");
    assert!(linear.left_out.is_empty());
    let (mut dice, mut worst) = (Dice(20_261_126), 0.0f64);
    let (mut voltages, mut foretold) = (Vec::new(), Vec::new());
    for _ in 0..samples {
        let (mut case, mut predicted) = (traced.case.clone(), linear.voltage);
        for s in &traced.case.spreads {
            let off = match s.shape {
                holdpoint::case::Tolerance::Normal => s.size * dice.normal(),
                holdpoint::case::Tolerance::Uniform => s.size * (2.0 * dice.unit() - 1.0),
            };
            case = holdpoint::experiment::with_value(&case, &s.path, s.drawn + off).expect("good");
            let by = linear.shares.iter().find(|h| h.path == s.path).expect("a share").voltage_by;
            predicted += by * off;
        }
        let v =
            holdpoint::experiment::on_moved_lines(&traced.case, &traced.mesh, case).expect("moved");
        let (voltage, _) = Traced::on(v.case, v.mesh).point("holding").expect("a holding point");
        if (voltage - predicted).abs() > worst {
            worst = (voltage - predicted).abs();
            println!("predicted {predicted:.6}, full curve {voltage:.6}");
        }
        foretold.push(predicted);
        voltages.push(voltage);
    }
    let sigma = |list: &[f64]| {
        let mean = list.iter().sum::<f64>() / samples as f64;
        (list.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (samples - 1) as f64).sqrt()
    };
    let [full, same] = [sigma(&voltages), sigma(&foretold)];
    println!(
        "{samples} curves: sigma {full:e}, predicted for the same samples {same:e}, to first order {:e}",
        linear.sigma_voltage
    );
    (full, same, linear.sigma_voltage, worst)
}

#[test]
fn first_order_spread_predicts_single_runs() {
    // Sample by sample: far closer than the statistics of a few runs would be.
    let (_, _, sigma, worst) = monte_carlo(8);
    assert!(worst < 0.1 * sigma, "{worst} {sigma}");
}

#[test]
#[ignore = "two minutes: 240 full curves"]
fn first_order_spread_is_that_of_many_runs() {
    let (full, same, linear, worst) = monte_carlo(240);
    // 240 samples know their standard deviation to 5 % only; on the same samples the
    // prediction is compared without that.
    assert!((full / linear - 1.0).abs() < 0.1, "{full} {linear}");
    assert!((full / same - 1.0).abs() < 0.03, "{full} {same}");
    // At three standard deviations the curvature counts.
    assert!(worst < 0.5 * linear, "{worst}");
}

#[test]
fn derivatives_do_not_depend_on_their_step() {
    let traced = Traced::new(&format!("{}{SLIDE}{SPREADS}", text("four-layer-bar", 200)));
    let at = |v: f64| {
        let v = deformed(&traced.case, &traced.mesh, "slide.base", v).expect("moved");
        Traced::on(v.case, v.mesh).point("holding").expect("a point").0
    };
    let which = (holdpoint::case::FoldName::Holding, None);
    let spent = &mut Spent::default();
    let ground =
        Ground::new(&traced.case, &traced.mesh, &traced.device, &traced.outcomes, which, spent)
            .expect("the point");
    let linear = spread(&ground, &traced.case.spreads, None);
    let by = linear.shares.iter().find(|s| s.path == "slide.base").expect("a share").voltage_by;
    let full = (at(0.01) - at(-0.01)) / 0.02;
    assert!((by / full - 1.0).abs() < 0.01, "{by} {full}");
}

#[test]
fn two_unknowns_give_a_curve() {
    let good = rule("holding.voltage >= 1.1", "[[-0.5, 2], [1.5e17, 3e17]]", "")
        .replace("\"slide.base\"", "[\"slide.base\", \"well.p base.acceptors\"]");
    let (traced, found) = solved(&good);
    assert_eq!(found.cases.len(), 5);
    for one in &found.cases {
        assert_eq!(one.answers.len(), 1, "{:?}", one.notes);
    }
    let one = &found.cases[3];
    let set = |case, path, v| holdpoint::experiment::with_value(&case, path, v).expect("good");
    let case = set(traced.case.clone(), "well.p base.acceptors", one.second.expect("a value"));
    let case = set(case, "slide.base", one.answers[0].value);
    let v = holdpoint::experiment::on_moved_lines(&traced.case, &traced.mesh, case).expect("moved");
    let (voltage, _) = Traced::on(v.case, v.mesh).point("holding").expect("a holding point");
    assert!((voltage - 1.1).abs() < 1e-5, "{voltage}");
}
