//! Several results on one page: their curves over each other, and what differs.

use super::chart::{Chart, Scale, Series, Supply};
use super::curves::dash;
use super::draw::Drawing;
use super::escape::markup;
use super::ink::Ink;
use super::page::{self, Page};
use super::units::si;
use super::{Item, chart_table, map_sets, tables};
use crate::experiment::{Figures, Outcome, Shown};
use crate::record::RunRecord;

/// A figure of an outcome: what it is, its unit, its value.
type Row = (String, &'static str, Option<f64>);

/// A result with the name it is shown by.
type Named<'a> = (&'a str, &'a RunRecord);

fn named(items: &[Item]) -> Vec<Named<'_>> {
    items.iter().map(|i| (i.name.as_str(), &i.record)).collect()
}

pub(super) fn several(items: &[Item]) -> String {
    let mut page = Page::default();
    let title = format!("{} results", items.len());
    page.put(&format!("<header><h1>{title}</h1>"));
    let names: Vec<&str> = items.iter().map(|i| i.name.as_str()).collect();
    page.put(&format!("<p class=\"under\">{}</p></header>\n<main>", markup(&names.join(", "))));
    page.put(&verdicts(items));
    let maps = map_sets::of_several(items);
    let fields = if maps.is_some() { "<a href=\"#fields\">Fields</a> " } else { "" };
    page.put(&format!(
        "<nav aria-label=\"Sections\"><a href=\"#differences\">Differences</a> \
         <a href=\"#curves\">Curves</a> <a href=\"#sections\">Cross-sections</a> {fields}\
         <a href=\"#inputs\">Inputs and provenance</a></nav>"
    ));
    page.heading("differences", "Differences");
    page.put(&differences(items));
    page.heading("curves", "Curves");
    for chart in overlays(&named(items)) {
        page.chart(&chart, &chart_table::table(&chart));
    }
    page.heading("sections", "Cross-sections");
    for (k, item) in items.iter().enumerate() {
        page.put(&format!("<h3>{}</h3>", markup(&item.name)));
        page::cross_section(&mut page, &item.record, &format!("section-{k}"));
    }
    if let Some((set, left_out)) = maps {
        page.heading("fields", "Fields");
        page.put(
            "<p>Corresponding points stand below each other and share one colour scale. The \
             buttons above the large map change the result and keep the place in view.</p>",
        );
        if left_out > 0 {
            page.put(&format!(
                "<p>{left_out} maps are left out so that the page stays small; a page of one \
                 result alone shows all of its own.</p>"
            ));
        }
        page.put(&map_sets::figure(&set, page.maps.len()));
        page.maps.push(set);
    }
    page.heading("inputs", "Inputs and provenance");
    for item in items {
        page.put(&format!("<h3>{}</h3>", markup(&item.name)));
        page.put(&tables::provenance(&item.record));
        page.put(&tables::warnings(&item.record));
        page.put(&page::case_text(&item.record));
    }
    page.put("</main>");
    page.put(&page::footer());
    page.finish(&title)
}

/// One chart for each experiment that any of them has.
pub(super) fn overlays(items: &[Named]) -> Vec<Chart> {
    keys(items).iter().enumerate().filter_map(|(n, key)| overlay(items, key, n)).collect()
}

/// The same as figures of their own, with their names.
pub(super) fn drawings(items: &[Item]) -> Vec<(String, Drawing)> {
    overlays(&named(items)).into_iter().map(|c| (c.id.clone(), c.drawing(None))).collect()
}

fn verdicts(items: &[Item]) -> String {
    let mut out = String::from("<section id=\"verdict\" aria-label=\"Verdicts\">");
    for item in items {
        let (class, answer, first) = match &item.record.verdict {
            Some(v) => {
                let first = v.reasons.first().map_or("", String::as_str);
                (v.answer.word(), tables::meaning(v.answer), first)
            }
            None => ("none", "No verdict", ""),
        };
        out.push_str(&format!(
            "<div class=\"verdict {class}\"><b>{}</b><strong class=\"answer\">{answer}</strong>{}</div>",
            markup(&item.name),
            markup(first)
        ));
    }
    out + tables::caution() + "</section>"
}

/// An experiment is the same in two results if kind, terminals and rank among such are.
pub(super) fn key_of(outcomes: &[Outcome], k: usize) -> String {
    let name = |o: &Outcome| format!("{} on {}", o.kind, o.drive.join(", "));
    let mine = name(&outcomes[k]);
    let rank = outcomes[..k].iter().filter(|o| name(o) == mine).count();
    if rank == 0 { mine } else { format!("{mine} ({})", rank + 1) }
}

fn keys(items: &[Named]) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for item in items {
        for k in 0..item.1.experiments.len() {
            let key = key_of(&item.1.experiments, k);
            if !all.contains(&key) {
                all.push(key);
            }
        }
    }
    all
}

fn find<'a>(item: &Named<'a>, key: &str) -> Option<&'a Outcome> {
    let all = &item.1.experiments;
    (0..all.len()).find(|k| key_of(all, *k) == key).and_then(|k| all.get(k))
}

fn overlay(items: &[Named], key: &str, n: usize) -> Option<Chart> {
    let mut series = Vec::new();
    let mut supplies: Vec<Supply> = Vec::new();
    for (k, item) in items.iter().enumerate() {
        let Some(o) = find(item, key).filter(|o| o.curve.len() > 1) else { continue };
        if let (Figures::Snapback { .. }, Some(v)) = (&o.figures, &item.1.verdict) {
            supplies.push(Supply { supply: v.supply, limit: v.supply * (1.0 + v.margin) });
        }
        series.push(Series {
            name: item.0.to_string(),
            ink: Ink::Series(k),
            dash: dash(k),
            dots: false,
            x: o.curve.voltage.clone(),
            y: o.curve.current.clone(),
            extra: Vec::new(),
            aside: false,
        });
    }
    // One line for all, or none: a line that only some are judged by would mislead.
    let supply = supplies.first().copied().filter(|s| supplies.iter().all(|o| o == s));
    (!series.is_empty()).then(|| Chart {
        id: format!("overlay-{n}"),
        title: super::curves::capital(key),
        x: Scale { label: "voltage".into(), unit: "V".into(), log: false, both: false },
        y: Scale { label: "current".into(), unit: "A/µm".into(), log: true, both: true },
        series,
        marks: Vec::new(),
        supply,
        width: None,
    })
}

/// The figures of an outcome, in order; those that do not exist are `None`.
fn figures(o: &Outcome) -> Vec<Row> {
    let fold = |name: &str, found: &crate::experiment::Found<crate::trace::Fold>| {
        let found = found.as_ref().ok();
        [
            (format!("{name} voltage"), "V", found.map(|f| f.voltage)),
            (format!("{name} current"), "A/µm", found.map(|f| f.current)),
        ]
    };
    match &o.figures {
        Figures::Snapback { trigger, holding, on_branch } => {
            let line = on_branch.as_ref().ok();
            let mut rows: Vec<Row> = Vec::new();
            rows.extend(fold("trigger", trigger));
            rows.extend(fold("holding", holding));
            rows.push(("on-branch at zero current".into(), "V", line.map(|l| l.voltage_at_zero)));
            rows.push(("on-branch slope".into(), "Ω·µm", line.map(|l| l.resistance)));
            rows
        }
        Figures::Injection { critical, .. } => fold("critical", critical).into(),
        Figures::Named(sheet) => sheet
            .figures
            .iter()
            .filter_map(|f| match &f.value {
                Shown::Number(v) => {
                    Some((f.meaning.clone(), unit(&f.unit), v.as_ref().ok().copied()))
                }
                _ => None,
            })
            .collect(),
        Figures::Bias { .. } => Vec::new(),
    }
}

/// Units of named figures as they are shown.
fn unit(text: &str) -> &'static str {
    match text {
        "V" => "V",
        "s" => "s",
        "K" => "K",
        "A/um" => "A/µm",
        "C/um" => "C/µm",
        "ohm*um" => "Ω·µm",
        _ => "",
    }
}

/// One row per figure, one column per result, each with its difference from the first.
fn differences(items: &[Item]) -> String {
    let head: String = items
        .iter()
        .map(|i| format!("<th scope=\"col\" class=\"n\">{}</th>", markup(&i.name)))
        .collect();
    let mut rows = String::new();
    let cell = |value: Option<f64>, first: Option<f64>, unit: &str, k: usize| {
        let text = value.map_or("none".to_string(), |v| si(v, unit));
        let change = match (value, first) {
            (Some(v), Some(f)) if k > 0 && f != 0.0 => {
                let share = format!("{:+.2} %", 100.0 * (v - f) / f.abs()).replace('-', "−");
                format!("<br><small>{share}</small>")
            }
            _ => String::new(),
        };
        format!("<td class=\"n\">{}{change}</td>", markup(&text))
    };
    let pairs = named(items);
    for key in keys(&pairs) {
        let all: Vec<Vec<Row>> =
            pairs.iter().map(|i| find(i, &key).map(figures).unwrap_or_default()).collect();
        let mut names: Vec<(&str, &'static str)> = Vec::new();
        for row in all.iter().flatten() {
            if !names.iter().any(|n| n.0 == row.0) {
                names.push((&row.0, row.1));
            }
        }
        for (name, unit) in names {
            let values: Vec<Option<f64>> = all
                .iter()
                .map(|rows| rows.iter().find(|r| r.0 == name).and_then(|r| r.2))
                .collect();
            let cells: String = values
                .iter()
                .enumerate()
                .map(|(k, v)| cell(*v, values.first().copied().flatten(), unit, k))
                .collect();
            rows.push_str(&format!(
                "<tr><th scope=\"row\">{}</th><td>{}</td>{cells}</tr>",
                markup(name),
                markup(&key)
            ));
        }
    }
    let temperatures: String = items
        .iter()
        .map(|i| format!("<td class=\"n\">{}</td>", si(i.record.temperature, "K")))
        .collect();
    let nodes: String =
        items.iter().map(|i| format!("<td class=\"n\">{}</td>", i.record.mesh.nodes())).collect();
    format!(
        "<div class=\"wide\"><table><caption>Below each figure its difference from the first result</caption>\
         <thead><tr><th scope=\"col\">figure</th><th scope=\"col\">of</th>{head}</tr></thead><tbody>\
         {rows}<tr><th scope=\"row\">temperature</th><td>ambient</td>{temperatures}</tr>\
         <tr><th scope=\"row\">nodes</th><td>mesh</td>{nodes}</tr></tbody></table></div>"
    )
}
