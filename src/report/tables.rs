//! Tables and lists of a page.

use super::curves::shown_unit;
use super::escape::markup;
use super::units::{barred, duration, si};
use crate::experiment::{Figures, Found, Outcome, Sheet, Shown, Status};
use crate::extract::Answer;
use crate::record::RunRecord;
use crate::trace::Fold;

/// What each answer means, in words.
pub(super) fn meaning(answer: Answer) -> &'static str {
    match answer {
        Answer::NoOnState => "No on-state: the supply cannot keep the path on",
        Answer::NotReached => "An on-state exists, and no tested stimulus reaches it",
        Answer::Latches => "Latches: a tested stimulus reaches an on-state",
        Answer::Undecided => "Undecided: something is missing",
    }
}

pub(super) fn verdict(r: &RunRecord) -> String {
    let (class, answer, reasons) = match &r.verdict {
        Some(v) => {
            let at = format!(
                "verdict <code>{}</code> at a supply of {} with a margin of {:.1} %",
                v.answer.word(),
                markup(&si(v.supply, "V")),
                100.0 * v.margin
            );
            let reasons: String = v
                .reasons
                .iter()
                .filter(|t| !t.is_empty())
                .map(|t| format!("<li>{}</li>", markup(t)))
                .collect();
            let reasons = format!("{at}<ul>{reasons}</ul>");
            (v.answer.word(), meaning(v.answer), reasons)
        }
        None => (
            "none",
            "No verdict",
            "The case asks for none, or the run is not complete.".to_string(),
        ),
    };
    format!(
        "<section class=\"verdict {class}\" id=\"verdict\" aria-label=\"Verdict\">\
         <strong class=\"answer\">{answer}</strong>{reasons}{}</section>",
        caution()
    )
}

pub(super) fn caution() -> &'static str {
    "<p class=\"caution\"><b>A simulation guides, it does not qualify.</b> This is a \
     two-dimensional model of the stated inputs: layout in the third dimension, spread of the \
     process and what was not tested are not in it. Qualification is a test of silicon to \
     JESD78. Latch-up destroys parts, and parts and boards in latch-up can burn: such tests \
     are for trained people with current-limited supplies.</p>"
}

fn fold_cells(o: &Outcome, name: &str, fold: &Fold, width: f64) -> String {
    let cells = match o.error_bars(name) {
        Some(Ok(b)) => [
            barred(fold.voltage, b.voltage.error, "V"),
            barred(fold.current, b.current.error, "A/µm"),
            barred(fold.current * width, b.current.error * width, "A"),
        ],
        _ => [si(fold.voltage, "V"), si(fold.current, "A/µm"), si(fold.current * width, "A")],
    };
    cells.map(|c| format!("<td class=\"n\">{}</td>", markup(&c))).concat()
}

/// Trigger, holding, critical: every figure of the record with its error bar or the reason
/// why there is none.
pub(super) fn key_figures(r: &RunRecord) -> String {
    let mut rows = String::new();
    for o in &r.experiments {
        let on = markup(&format!("{} on {}", o.kind, o.drive.join(", ")));
        let mut row = |name: &str, found: &Found<Fold>| {
            match found {
            Ok(f) => rows.push_str(&format!(
                "<tr><th scope=\"row\">{name}</th>{}<td>{on}</td></tr>",
                fold_cells(o, name, f, r.width)
            )),
            Err(why) => rows.push_str(&format!(
                "<tr><th scope=\"row\">{name}</th><td colspan=\"3\">none: {}</td><td>{on}</td></tr>",
                markup(why)
            )),
        }
        };
        match &o.figures {
            Figures::Snapback { trigger, holding, on_branch } => {
                row("trigger", trigger);
                row("holding", holding);
                if let Ok(b) = on_branch {
                    rows.push_str(&format!(
                        "<tr><th scope=\"row\">on-branch</th><td class=\"n\">{}</td>\
                         <td class=\"n\" colspan=\"2\">slope {}</td><td>{on}, straight line to \
                         zero current</td></tr>",
                        markup(&si(b.voltage_at_zero, "V")),
                        markup(&si(b.resistance, "Ω·µm"))
                    ));
                }
            }
            Figures::Injection { critical, .. } => row("critical", critical),
            Figures::Bias { .. } | Figures::Named(_) => {}
        }
    }
    if rows.is_empty() {
        return String::new();
    }
    format!(
        "<div class=\"wide\"><table><caption>Key figures</caption><thead><tr><th scope=\"col\">\
         point</th><th scope=\"col\" class=\"n\">voltage</th><th scope=\"col\" class=\"n\">current\
         </th><th scope=\"col\" class=\"n\">at {} µm</th><th scope=\"col\">of</th></tr></thead>\
         <tbody>{rows}</tbody></table></div>",
        r.width
    )
}

/// All points of a curve, to be opened: the chart for those who do not see it.
pub(super) fn points(r: &RunRecord, k: usize) -> String {
    let Some(o) = r.experiments.get(k) else { return String::new() };
    let mut rows = String::new();
    for (n, (v, i)) in o.curve.voltage.iter().zip(&o.curve.current).enumerate() {
        for (f, fold) in o.folds.iter().enumerate().filter(|(_, f)| f.before_point == n) {
            rows.push_str(&point_row(
                &format!("fold {}", f + 1),
                fold.voltage,
                fold.current,
                r.width,
            ));
        }
        rows.push_str(&point_row(&n.to_string(), *v, *i, r.width));
    }
    format!(
        "<details><summary>Table of its {} points</summary><div class=\"scroll\" tabindex=\"0\" \
         role=\"region\" aria-label=\"Points of the curve\"><table><thead><tr><th scope=\"col\">\
         point</th><th scope=\"col\" class=\"n\">voltage</th><th scope=\"col\" class=\"n\">current\
         </th><th scope=\"col\" class=\"n\">at {} µm</th></tr></thead><tbody>{rows}</tbody></table>\
         </div></details>",
        o.curve.len(),
        r.width
    )
}

fn point_row(name: &str, v: f64, i: f64, width: f64) -> String {
    format!(
        "<tr><th scope=\"row\">{name}</th><td class=\"n\">{}</td><td class=\"n\">{}</td>\
         <td class=\"n\">{}</td></tr>",
        si(v, "V"),
        si(i, "A/µm"),
        si(i * width, "A")
    )
}

/// The named figures of experiment `k`, with a title.
pub(super) fn sheet_of(r: &RunRecord, k: usize) -> Option<(&Sheet, String)> {
    let o = r.experiments.get(k)?;
    match &o.figures {
        Figures::Named(sheet) => {
            let on = if o.drive.is_empty() {
                String::new()
            } else {
                format!(" on {}", o.drive.join(", "))
            };
            Some((sheet, format!("{}{on}", super::curves::capital(&o.kind))))
        }
        _ => None,
    }
}

/// All figures of a sheet; columns of equal length side by side.
pub(super) fn sheet(named: &Sheet) -> String {
    let mut rows = String::new();
    sheet_rows(named, &mut rows);
    let scalars = match rows.is_empty() {
        true => String::new(),
        false => format!(
            "<div class=\"wide\"><table class=\"named\"><tbody>{rows}</tbody></table></div>"
        ),
    };
    scalars + &columns(named)
}

fn sheet_rows(named: &Sheet, rows: &mut String) {
    for f in &named.figures {
        let unit = if f.unit == "1" { String::new() } else { shown_unit(&f.unit) };
        let unit = unit.as_str();
        let text = match &f.value {
            Shown::Number(Ok(v)) => si(*v, unit),
            Shown::YesNo(Ok(v)) => if *v { "yes" } else { "no" }.to_string(),
            Shown::Number(Err(why)) | Shown::YesNo(Err(why)) => format!("none: {why}"),
            Shown::Text(text) => text.clone(),
            Shown::Texts(texts) => texts.join(", "),
            Shown::Numbers { shape, values } if shape.len() != 1 || values.len() <= 1 => {
                let known: Vec<String> = values.iter().take(16).map(|v| si(*v, unit)).collect();
                let more = if values.len() > 16 { ", …" } else { "" };
                format!("{}{more}", known.join(", "))
            }
            Shown::Numbers { .. } => continue,
            Shown::Group(inner) => {
                let mut own = String::new();
                sheet_rows(inner, &mut own);
                if !own.is_empty() {
                    rows.push_str(&format!(
                        "<tr class=\"group\"><th colspan=\"2\" scope=\"rowgroup\">{}</th></tr>{own}",
                        markup(&f.meaning)
                    ));
                }
                continue;
            }
        };
        rows.push_str(&format!(
            "<tr><th scope=\"row\">{}</th><td>{}</td></tr>",
            markup(&f.meaning),
            markup(&text)
        ));
    }
}

fn columns(named: &Sheet) -> String {
    let list: Vec<(&str, &str, &[f64])> = named
        .figures
        .iter()
        .filter_map(|f| match &f.value {
            Shown::Numbers { shape, values } if shape.len() == 1 && values.len() > 1 => {
                Some((f.meaning.as_str(), f.unit.as_str(), values.as_slice()))
            }
            _ => None,
        })
        .collect();
    let mut out = String::new();
    if let Some(n) = list.iter().map(|c| c.2.len()).max() {
        let head: String = list
            .iter()
            .map(|c| format!("<th scope=\"col\" class=\"n\">{}</th>", markup(c.0)))
            .collect();
        let rows: String = (0..n)
            .map(|k| {
                let cells: String = list
                    .iter()
                    .map(|c| {
                        let unit = if c.1 == "1" { String::new() } else { shown_unit(c.1) };
                        let text = c.2.get(k).map_or(String::new(), |v| si(*v, &unit));
                        format!("<td class=\"n\">{}</td>", markup(&text))
                    })
                    .collect();
                format!("<tr>{cells}</tr>")
            })
            .collect();
        out.push_str(&format!(
            "<details><summary>Table of {n} rows</summary><div class=\"scroll wide\" tabindex=\"0\" \
             role=\"region\" aria-label=\"Columns\"><table><thead><tr>{head}</tr></thead><tbody>\
             {rows}</tbody></table></div></details>"
        ));
    }
    for f in &named.figures {
        if let Shown::Group(inner) = &f.value {
            out.push_str(&columns(inner));
        }
    }
    out
}

/// What each experiment took.
pub(super) fn experiments(r: &RunRecord) -> String {
    let rows: String = r
        .experiments
        .iter()
        .enumerate()
        .map(|(k, o)| {
            let status = match &o.status {
                Status::Stopped(reason) => format!("stopped: {reason}"),
                other => other.word().to_string(),
            };
            format!(
                "<tr><td>{k}</td><td>{}</td><td>{}</td><td>{}</td><td class=\"n\">{}</td>\
                 <td class=\"n\">{}</td><td class=\"n\">{}</td><td class=\"n\">{:.1e}</td>\
                 <td class=\"n\">{}</td></tr>",
                markup(&o.kind),
                markup(&o.drive.join(", ")),
                markup(&status),
                o.curve.len(),
                o.folds.len(),
                o.work.newton_steps,
                o.curve.conservation(),
                duration(o.wall)
            )
        })
        .collect();
    let heads: String = [
        "",
        "experiment",
        "on",
        "status",
        "points",
        "folds",
        "Newton steps",
        "|ΣI|/max|I|",
        "took",
    ]
    .iter()
    .enumerate()
    .map(|(k, h)| format!("<th scope=\"col\"{}>{h}</th>", if k > 3 { " class=\"n\"" } else { "" }))
    .collect();
    format!(
        "<div class=\"wide\"><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
    )
}

pub(super) fn warnings(r: &RunRecord) -> String {
    let of = r.experiments.iter().enumerate().flat_map(|(k, o)| {
        o.warnings.iter().map(move |w| format!("experiment {k} ({}): {w}", o.kind))
    });
    r.warnings
        .iter()
        .cloned()
        .chain(of)
        .map(|w| format!("<p class=\"warn\"><b>Warning.</b> {}</p>", markup(&w)))
        .collect()
}

pub(super) fn provenance(r: &RunRecord) -> String {
    let p = &r.provenance;
    let rows = [
        ("case", r.case_name.clone()),
        ("program", format!("holdpoint {}", p.version)),
        (
            "machine",
            match p.threads {
                1 => format!("{}, one thread", p.machine),
                n => format!("{}, {n} threads (the result does not depend on them)", p.machine),
            },
        ),
        ("started", p.started.clone()),
        ("took", duration(p.wall)),
        ("mesh", format!("{} nodes, {} × {} lines", r.mesh.nodes(), r.mesh.nx(), r.mesh.ny())),
    ];
    let rows: String =
        rows.iter().map(|(k, v)| format!("<dt>{k}</dt><dd>{}</dd>", markup(v))).collect();
    format!("<dl>{rows}</dl>")
}

pub(super) fn laws(r: &RunRecord) -> String {
    let laws: String = r
        .laws
        .iter()
        .map(|(property, law)| {
            format!("<tr><th scope=\"row\">{}</th><td>{}</td></tr>", markup(property), markup(law))
        })
        .collect();
    let constants: String = r
        .constants
        .iter()
        .map(|c| {
            format!(
                "<tr><td>{}</td><td>{}</td><td class=\"n\">{}</td><td>{}</td><td>{}</td></tr>",
                markup(&c.law),
                markup(&c.key),
                c.value,
                markup(&c.unit),
                if c.overridden { "from the case" } else { "default" }
            )
        })
        .collect();
    format!(
        "<details><summary>Laws in force</summary><table><tbody>{laws}</tbody></table></details>\
         <details><summary>Constants in force</summary><div class=\"scroll\" tabindex=\"0\" \
         role=\"region\" aria-label=\"Constants\"><table><thead><tr><th scope=\"col\">law</th>\
         <th scope=\"col\">constant</th><th scope=\"col\" class=\"n\">value</th><th scope=\"col\">\
         unit</th><th scope=\"col\">origin</th></tr></thead><tbody>{constants}</tbody></table></div>\
         </details>"
    )
}
