//! Follows, rules and spreads as named figures, for the result file, JSON and the table.

use crate::case::{Case, Follow, Known, Rule};
use crate::discretize::Device;
use crate::experiment::{Outcome, Sheet};
use crate::mesh::Mesh;
use crate::trace::Keeper;

use super::follow::{Followed, follow};
use super::ground::Ground;
use super::solve::{Answer, Solved, Solving, solve};
use super::spread::{Spreading, spread};
use super::track::Spent;

/// Everything that a case asks of this room, from its traced curves: follows, rules,
/// spreads. `go_on` is asked before
/// each.
pub fn answers(
    case: &Case,
    mesh: &Mesh,
    device: &Device,
    outcomes: &[Outcome],
    keeper: &mut dyn Keeper,
    go_on: &dyn Fn() -> bool,
) -> [Vec<Sheet>; 3] {
    let mut out = [Vec::new(), Vec::new(), Vec::new()];
    let failed = |sheet: Sheet, why: String| sheet.text("reason", "not solved", &why);
    let ground = |which, spent: &mut Spent| Ground::new(case, mesh, device, outcomes, which, spent);
    for f in &case.follows {
        if !go_on() {
            return out;
        }
        let mut spent = Spent::default();
        out[0].push(match ground((f.fold, f.experiment), &mut spent) {
            Ok(ground) => follow_sheet(f, &follow(&ground, f)),
            Err(why) => failed(follow_head(f), why),
        });
    }
    for r in &case.rules {
        if !go_on() {
            return out;
        }
        let mut spent = Spent::default();
        out[1].push(match ground((r.require.fold, r.experiment), &mut spent) {
            Ok(ground) => rule_sheet(r, &solve(&ground, r, keeper)),
            Err(why) => failed(rule_head(r), why),
        });
    }
    if !case.spreads.is_empty() {
        let limit = case.verdict.map(|v| v.supply * (1.0 + v.margin));
        for fold in [crate::case::FoldName::Trigger, crate::case::FoldName::Holding] {
            if !go_on() {
                return out;
            }
            if let Ok(ground) = ground((fold, None), &mut Spent::default()) {
                out[2].push(spread_sheet(&spread(&ground, &case.spreads, limit)));
            }
        }
    }
    out
}

fn spent_in(sheet: Sheet, spent: &Spent) -> Sheet {
    sheet
        .number("factorizations", "1", "matrices factored", Ok(spent.factorizations as f64))
        .number(
            "linear_solves",
            "1",
            "linear solves in Newton's method",
            Ok(spent.newton_steps as f64),
        )
}

fn follow_head(f: &Follow) -> Sheet {
    Sheet::new()
        .text("fold", "point", f.fold.word())
        .text("along", "followed along", &f.along.path)
        .text("along_unit", "its unit", f.along.unit)
}

/// A follow's figures.
pub fn follow_sheet(asked: &Follow, found: &Followed) -> Sheet {
    let column = |of: fn(&super::Sample) -> f64| found.samples.iter().map(of).collect::<Vec<_>>();
    let unit = asked.along.unit;
    let mut sheet = follow_head(asked)
        .column("value", unit, "values of the number", column(|s| s.value))
        .column("voltage_V", "V", "voltage of the point", column(|s| s.voltage))
        .column("current_A_per_um", "A/um", "current of the point", column(|s| s.current));
    for (k, cusp) in found.cusps.iter().enumerate() {
        let name = if k == 0 { "cusp".to_string() } else { format!("cusp_{}", k + 1) };
        let inner = Sheet::new()
            .number("value", unit, "value of the number", Ok(cusp.value))
            .number("voltage_V", "V", "voltage", Ok(cusp.voltage))
            .number("current_A_per_um", "A/um", "current", Ok(cusp.current));
        sheet = sheet.group(&name, "cusp: the point meets its partner", inner);
    }
    if !found.halts.is_empty() {
        sheet = sheet.texts("halts", "ends not reached", &found.halts);
    }
    spent_in(sheet, &found.spent)
}

fn rule_head(r: &Rule) -> Sheet {
    let unknowns: Vec<String> = r.unknowns.iter().map(|u| u.path.clone()).collect();
    let units: Vec<String> = r.unknowns.iter().map(|u| u.unit.to_string()).collect();
    Sheet::new()
        .text("name", "rule", &r.name)
        .text("require", "required", &r.require.text)
        .texts("unknown", "unknown", &unknowns)
        .texts("unknown_unit", "its unit", &units)
        .column("temperature_K", "K", "temperatures", r.temperatures.clone())
}

fn answer_sheet(a: &Answer, unit: &str, require_unit: &str) -> Sheet {
    let none = |what: &str| Err(format!("{what}: see the notes"));
    Sheet::new()
        .number("value", unit, "value of the unknown", Ok(a.value))
        .number("error", unit, "error bar from the mesh", a.error.ok_or(()).or(none("no bar")))
        .number("temperature_K", "K", "temperature that decides", Ok(a.temperature))
        .number("voltage_V", "V", "voltage of the point", Ok(a.voltage))
        .number("current_A_per_um", "A/um", "current of the point", Ok(a.current))
        .number("slack", require_unit, "left over in the requirement", Ok(a.slack))
        .number("slope", "1", "that by the unknown", Ok(a.slope))
        .number(
            "slack_of_full_curve",
            require_unit,
            "left over on the full curve there",
            a.proof.ok_or(()).or(none("no full curve")),
        )
}

/// A rule's figures.
pub fn rule_sheet(rule: &Rule, found: &Solving) -> Sheet {
    let unit = rule.unknowns.first().map_or("1", |u| u.unit);
    let slack_unit = slack_unit(rule);
    let holds = found.cases.iter().any(|c| !c.feasible.is_empty());
    let mut sheet = rule_head(rule).yes_no("holds", "it can be met in the range", Ok(holds));
    let single = found.cases.len() == 1;
    for (k, solved) in found.cases.iter().enumerate() {
        let inner = solved_sheet(solved, unit, slack_unit);
        match (single, solved.second) {
            (false, Some(v)) => {
                let path = rule.unknowns.get(1).map_or("", |u| u.path.as_str());
                sheet = sheet.group(
                    &format!("at_{k}"),
                    &format!("with {path} at {v:.4}"),
                    inner.number(
                        "second",
                        rule.unknowns.get(1).map_or("1", |u| u.unit),
                        "value of the second unknown",
                        Ok(v),
                    ),
                );
            }
            _ => sheet.figures.extend(inner.figures),
        }
    }
    if !found.helps.is_empty() {
        let words: Vec<String> = found
            .helps
            .iter()
            .map(|(path, by, gain)| format!("{path} {by}: {gain:+.3e} {slack_unit}"))
            .collect();
        sheet = sheet.texts("helps", "what else would help, to first order", &words);
    }
    let sheet = sheet.number(
        "factorizations_of_full_curves",
        "1",
        "of these in full curves",
        Ok(found.proof_factorizations as f64),
    );
    spent_in(sheet, &found.spent)
}

fn solved_sheet(solved: &Solved, unit: &str, slack_unit: &str) -> Sheet {
    let flat: Vec<f64> = solved.feasible.iter().flatten().copied().collect();
    let mut sheet = Sheet::new().numbers(
        "feasible",
        unit,
        "where the requirement holds",
        &[solved.feasible.len(), 2],
        flat,
    );
    for (k, answer) in solved.answers.iter().enumerate() {
        let name = if k == 0 { "answer".to_string() } else { format!("answer_{}", k + 1) };
        sheet = sheet.group(&name, "just met at", answer_sheet(answer, unit, slack_unit));
    }
    if let Some(best) = &solved.best
        && solved.feasible.is_empty()
    {
        sheet = sheet.group(
            "best",
            "none in range; missed least at",
            answer_sheet(best, unit, slack_unit),
        );
    }
    if !solved.notes.is_empty() {
        sheet = sheet.texts("notes", "notes", &solved.notes);
    }
    sheet
}

/// V if the requirement is about a voltage, else plain.
fn slack_unit(rule: &Rule) -> &'static str {
    let known = Known { voltage: 1.0, current: 1.0, supply: 1.0, margin: 0.0, width: 1.0 };
    match rule.require.bound(&known) {
        Some((true, _, _)) => "V",
        Some((false, _, _)) => "A/um",
        None => "1",
    }
}

/// A spread's figures.
pub fn spread_sheet(s: &Spreading) -> Sheet {
    let paths: Vec<String> = s.shares.iter().map(|s| s.path.clone()).collect();
    let column = |of: fn(&super::Share) -> f64| s.shares.iter().map(of).collect::<Vec<f64>>();
    let mut sheet = Sheet::new()
        .text("fold", "point", s.fold.word())
        .number("voltage_V", "V", "its voltage", Ok(s.voltage))
        .number("sigma_voltage_V", "V", "standard deviation of the voltage", Ok(s.sigma_voltage))
        .number("current_A_per_um", "A/um", "its current", Ok(s.current))
        .number(
            "sigma_current_A_per_um",
            "A/um",
            "standard deviation of the current",
            Ok(s.sigma_current),
        )
        .texts("parameter", "numbers, the strongest first", &paths)
        .column("sigma", "1", "their standard deviations, in their units", column(|s| s.sigma))
        .column(
            "share_V",
            "V",
            "what each adds to the voltage's",
            column(|s| s.voltage_by * s.sigma),
        );
    if let Some((chance, limit)) = s.below {
        sheet = sheet.number("limit_V", "V", "supply with its margin", Ok(limit)).number(
            "chance_below",
            "1",
            "chance that the voltage lies below that",
            Ok(chance),
        );
    }
    if !s.left_out.is_empty() {
        sheet = sheet.texts("left_out", "left out", &s.left_out);
    }
    spent_in(sheet, &s.spent)
}
