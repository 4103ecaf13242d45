//! What can be said of follows, rules and spreads before anything is solved.

use crate::case::{Case, Knob, Problem};
use crate::discretize::Device;
use crate::experiment::{branch_setup, with_value};
use crate::mesh::{Lines, moved_lines, on_lines};
use crate::structure::Structure;

/// Problems of the follows, rules and spreads of a case that reads well: ranges whose ends
/// the layout cannot have, numbers that change nothing, experiments that are not there.
pub fn check(case: &Case) -> Vec<Problem> {
    let mut problems = Vec::new();
    let experiments = case
        .follows
        .iter()
        .map(|f| (f.experiment, &f.at))
        .chain(case.rules.iter().map(|r| (r.experiment, &r.at)));
    for (experiment, at) in experiments {
        if let Some(k) = experiment.filter(|k| *k >= case.experiments.len()) {
            let text = format!("there is no experiment {k}");
            problems.push(
                Problem::error("no-experiment", Some(at.clone()), text)
                    .help(format!("the case has {}, counted from 0", case.experiments.len())),
            );
        }
    }
    let knobs = case.follows.iter().map(|f| &f.along);
    for knob in knobs.chain(case.rules.iter().flat_map(|r| &r.unknowns)) {
        check_knob(case, knob, &mut problems);
    }
    for spread in &case.spreads {
        let ends = [spread.drawn - spread.size, spread.drawn + spread.size];
        match ends.map(|v| fingerprint(case, &spread.path, v)) {
            [Ok(Some(a)), Ok(Some(b))] if a == b => {
                problems.push(no_effect(&spread.path, spread.at.clone()));
            }
            [Err(why), _] | [_, Err(why)] => problems.push(
                Problem::error("bad-spread", Some(spread.at.clone()), why)
                    .help("give a smaller deviation"),
            ),
            _ => {}
        }
    }
    problems
}

fn check_knob(case: &Case, knob: &Knob, problems: &mut Vec<Problem>) {
    let mut seen = Vec::new();
    for value in [knob.from, knob.to] {
        match fingerprint(case, &knob.path, value) {
            Ok(print) => seen.extend(print),
            Err(why) => {
                let text = format!("with `{}` at {value} {}: {why}", knob.path, knob.unit);
                problems.push(
                    Problem::error("range-not-possible", Some(knob.range_at.clone()), text)
                        .label("reaches too far")
                        .help(format!(
                            "the case is drawn with {} {}; choose ends nearer to that",
                            knob.drawn, knob.unit
                        )),
                );
                return;
            }
        }
    }
    if let [a, b] = seen.as_slice()
        && a == b
    {
        problems.push(no_effect(&knob.path, knob.at.clone()));
    }
}

fn no_effect(path: &str, at: crate::case::Span) -> Problem {
    let text = format!("`{path}` changes no point of any curve: device and laws stay as they are");
    Problem::error("no-effect", Some(at), text)
        .label("has no effect here")
        .help("name a number that the layout, the doping or a law in force depends on")
}

/// Everything that is solved depends on, as text, on the fewest lines; `None` if that
/// cannot be said on so few.
fn fingerprint(case: &Case, path: &str, value: f64) -> Result<Option<String>, String> {
    let after = with_value(case, path, value)?;
    let first =
        |problems: Vec<Problem>| problems.first().map_or_else(String::new, |p| p.text.clone());
    let (drawn, _) = Structure::new(case).map_err(first)?;
    let (structure, _) = Structure::new(&after).map_err(first)?;
    let kept = Lines::kept(case, &drawn);
    let ends = |list: &[f64], end: f64| {
        let mut lines = list.to_vec();
        lines.extend([0.0, end]);
        lines.sort_by(f64::total_cmp);
        lines.dedup_by(|b, a| *b - *a < 1e-5);
        lines
    };
    let lines = Lines { x: ends(&kept.x, case.wafer.span), y: ends(&kept.y, case.wafer.thickness) };
    let Some(lines) = moved_lines(case, &after, &lines) else {
        return Err("edges of the layout would change their order".into());
    };
    let Ok(mesh) = on_lines(&after, &structure, lines) else { return Ok(None) };
    let device = Device::of_case(&after, &mesh);
    let mut print = format!("{device:?}");
    for experiment in &after.experiments {
        if let Ok(setup) = branch_setup(&after, &device, experiment) {
            print.push_str(&format!("{:?}", setup.driven()));
        }
    }
    Ok(Some(print))
}
