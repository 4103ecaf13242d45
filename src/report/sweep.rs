//! A gathered sweep on one page: the figures over each axis, maps over two axes with the
//! boundary of immunity, curves of some of its cases, and all cases as a table.

use super::chart::{Chart, Scale, Series};
use super::curves::{dash, scale, shown_unit};
use super::draw::Drawing;
use super::escape::markup;
use super::heat;
use super::ink::Ink;
use super::page::{self, Page};
use super::svg::svg;
use super::units::si;
use super::{Item, chart_table, families, tables};
use crate::case::read_str;
use crate::record::{AxisValues, Column, Gathered, Values};
use families::MOST_LINES;

/// Figures shown over the axes and mapped, as far as they are there: holding voltage first.
const FIRST: [&str; 3] = ["V_h", "I_h", "V_t"];

/// The page of a sweep; `some` of its cases give the families of curves.
pub(super) fn gathered(g: &Gathered, some: &[Item]) -> String {
    let mut page = Page::default();
    let name = if g.name.is_empty() { "Sweep" } else { &g.name };
    let count: usize = g.axes.iter().map(|a| a.values.len()).product();
    let varied: Vec<&str> =
        g.axes.iter().filter(|a| a.values.len() > 1).map(|a| a.name.as_str()).collect();
    page.put(&format!(
        "<header><h1>Sweep {}</h1><p class=\"under\">{count} cases over {}{}; gathered by \
         holdpoint {}</p></header>\n<main>",
        markup(name),
        markup(&varied.join(", ")),
        markup(&fixed(g)),
        markup(&g.version)
    ));
    page.put(&counts(g));
    page.put(
        "<nav aria-label=\"Sections\"><a href=\"#axes\">Over each axis</a> \
         <a href=\"#maps\">Over two axes</a> <a href=\"#curves\">Curves</a> \
         <a href=\"#cases\">Cases</a> <a href=\"#inputs\">Inputs</a></nav>",
    );
    let limit = limit_of(g);
    page.heading("axes", "Over each axis");
    for (n, (_, chart)) in over_axes(g, limit).into_iter().enumerate() {
        let chart = Chart { id: format!("axis-{n}"), ..chart };
        page.chart(&chart, &chart_table::table(&chart));
    }
    page.heading("maps", "Over two axes");
    let maps = heat::maps(g, limit);
    if maps.is_empty() {
        page.put("<p>A map takes a grid of two axes or more.</p>");
    }
    for (n, (_, d)) in maps.iter().enumerate() {
        page.put(&format!(
            "<figure data-drawn=\"yes\" aria-label=\"{}\"><figcaption>{}. A cross marks a case that latches, a \
             blank cell one without the figure.</figcaption><div class=\"wide\">{}</div></figure>",
            markup(&d.title),
            markup(&d.about),
            svg(d, false, &format!("heat-{n}"))
        ));
    }
    page.heading("curves", "Curves");
    if some.is_empty() {
        page.put("<p>The results of the cases were not found beside the table.</p>");
    }
    for (_, chart) in families::charts(g, some) {
        page.chart(&chart, &chart_table::table(&chart));
    }
    page.heading("cases", "Cases");
    page.put(&cases(g));
    page.heading("inputs", "Inputs");
    for (what, text) in [("Sweep file", &g.sweep_text), ("Base case", &g.base_text)] {
        page.put(&format!(
            "<details><summary>{what}</summary><pre class=\"scroll\" tabindex=\"0\" \
             aria-label=\"{what}\">{}</pre></details>",
            markup(text)
        ));
    }
    page.put("</main>");
    page.put(&page::footer());
    page.finish(&format!("Sweep {name}"))
}

/// Names that [`figure`] knows for this sweep.
pub(super) fn names(g: &Gathered, some: &[Item]) -> Vec<String> {
    all(g, some).into_iter().map(|f| f.0).collect()
}

/// One figure by its name.
pub(super) fn figure(g: &Gathered, some: &[Item], name: &str) -> Option<Drawing> {
    all(g, some).into_iter().find(|f| f.0 == name).map(|f| f.1)
}

fn all(g: &Gathered, some: &[Item]) -> Vec<(String, Drawing)> {
    let limit = limit_of(g);
    let charts = over_axes(g, limit).into_iter().map(|(name, c)| (name, c.drawing(None)));
    let curves = families::charts(g, some).into_iter().map(|(name, c)| (name, c.drawing(None)));
    charts.chain(heat::maps(g, limit)).chain(curves).collect()
}

/// A name without blanks, as figures are called.
pub(super) fn word(name: &str) -> String {
    name.replace(char::is_whitespace, "-")
}

/// Axes that have one value only, with it.
fn fixed(g: &Gathered) -> String {
    let one = g.axes.iter().filter(|a| a.values.len() == 1);
    let list: Vec<String> = one.map(|a| format!("{} {}", a.meaning, level(a, 0))).collect();
    if list.is_empty() { String::new() } else { format!(", at {}", list.join(", ")) }
}

/// Supply with margin [V], from the base case.
fn limit_of(g: &Gathered) -> Option<f64> {
    let (case, _) = read_str(&g.base_text, "base").ok()?;
    case.verdict.map(|v| v.supply * (1.0 + v.margin))
}

fn column<'a>(g: &'a Gathered, name: &str) -> Option<&'a Column> {
    g.columns.iter().find(|c| c.name == name)
}

pub(super) fn texts<'a>(g: &'a Gathered, name: &str) -> &'a [String] {
    match column(g, name).map(|c| &c.values) {
        Some(Values::Texts(t)) => t,
        _ => &[],
    }
}

/// Figures that are numbers, the holding voltage first.
pub(super) fn figures(g: &Gathered) -> Vec<(&Column, &[f64])> {
    let plain = ["nodes", "wall", "temperature_K"];
    let mut all: Vec<(&Column, &[f64])> = g
        .columns
        .iter()
        .filter(|c| !plain.contains(&c.name.as_str()) && !c.name.ends_with("_error"))
        .filter_map(|c| match &c.values {
            Values::Numbers(v) if v.iter().any(|v| v.is_finite()) => Some((c, v.as_slice())),
            _ => None,
        })
        .filter(|(c, _)| FIRST.contains(&c.name.as_str()) || c.name.starts_with("I_crit"))
        .collect();
    let rank = |c: &Column| FIRST.iter().position(|f| *f == c.name).unwrap_or(FIRST.len());
    all.sort_by_key(|f| rank(f.0));
    all
}

fn counts(g: &Gathered) -> String {
    let count = |list: &[String]| {
        let mut words: Vec<(String, usize)> = Vec::new();
        for word in list.iter().filter(|w| !w.is_empty()) {
            match words.iter_mut().find(|w| w.0 == *word) {
                Some(w) => w.1 += 1,
                None => words.push((word.clone(), 1)),
            }
        }
        let parts: Vec<String> = words.iter().map(|(w, n)| format!("{n} {w}")).collect();
        if parts.is_empty() { "none".to_string() } else { parts.join(", ") }
    };
    let verdicts = texts(g, "verdict");
    let plain = |word: &String| {
        match word.as_str() {
            "latches" => "latch",
            "no-on-state" => "without an on-state at the supply",
            "not-reached" => "not reached by what was tested",
            other => other,
        }
        .to_string()
    };
    let said: Vec<String> = verdicts.iter().map(plain).collect();
    let class = if verdicts.iter().any(|v| v == "latches") { "latches" } else { "none" };
    format!(
        "<section class=\"verdict {class}\" id=\"verdict\" aria-label=\"Verdicts\">\
         <strong class=\"answer\">{}</strong>cases: {}{}</section>",
        markup(&count(&said)),
        markup(&count(texts(g, "status"))),
        tables::caution()
    )
}

/// Index steps of the axes, the last axis fastest.
pub(super) fn strides(g: &Gathered) -> Vec<usize> {
    let mut out = vec![1; g.axes.len()];
    for k in (0..g.axes.len().saturating_sub(1)).rev() {
        out[k] = out[k + 1] * g.axes[k + 1].values.len();
    }
    out
}

pub(super) fn level(a: &AxisValues, k: usize) -> String {
    let number = |v: f64| {
        let unit = shown_unit(&a.unit);
        // As cases give temperatures.
        let (v, unit) = if unit == "K" { (v - 273.15, "°C") } else { (v, unit.as_str()) };
        let round = (v * 1e4).round() / 1e4;
        let text = round.to_string();
        let same = (round - v).abs() <= 1e-4 * v.abs() && text.len() < 8;
        let text = if same { format!("{text} {unit}") } else { si(v, unit) };
        text.trim_end().replace('-', "−")
    };
    match &a.values {
        Values::Numbers(v) => v.get(k).map_or(String::new(), |v| number(*v)),
        Values::Texts(t) => t.get(k).cloned().unwrap_or_default(),
    }
}

/// Values and scale of an axis of numbers; temperatures as cases give them.
fn places(axis: &AxisValues) -> Option<(Vec<f64>, Scale)> {
    let Values::Numbers(x) = &axis.values else { return None };
    if axis.unit == "K" {
        let (label, unit) = (axis.meaning.clone(), "°C".to_string());
        let x = x.iter().map(|x| x - 273.15).collect();
        return Some((x, Scale { label, unit, log: false, both: false }));
    }
    Some((x.clone(), scale(axis.meaning.clone(), &axis.unit, x)))
}

/// Each figure over each axis of numbers, one line for each combination of the others, with
/// the name of each chart.
fn over_axes(g: &Gathered, limit: Option<f64>) -> Vec<(String, Chart)> {
    let steps = strides(g);
    let mut out = Vec::new();
    for (column, values) in figures(g) {
        for (k, axis) in g.axes.iter().enumerate() {
            let Some((x, across)) = places(axis) else { continue };
            // Over one value nothing is to be seen.
            if x.len() < 2 {
                continue;
            }
            // A list of samples: its own values are columns, points without a line.
            let samples = g.axes.len() == 1 && axis.name == "sample";
            let starts: Vec<usize> = (0..values.len())
                .filter(|i| (i / steps[k]).is_multiple_of(x.len().max(1)))
                .collect();
            let mut series: Vec<Series> = starts
                .iter()
                .take(MOST_LINES)
                .enumerate()
                .map(|(n, start)| {
                    let pick = |j: usize| values.get(start + j * steps[k]).copied();
                    let others: Vec<String> = g
                        .axes
                        .iter()
                        .enumerate()
                        .filter(|(o, a)| *o != k && a.values.len() > 1)
                        .map(|(o, a)| {
                            let at = (start / steps[o]) % a.values.len().max(1);
                            format!("{} {}", a.name, level(a, at))
                        })
                        .collect();
                    Series {
                        name: if others.is_empty() {
                            column.name.clone()
                        } else {
                            others.join(", ")
                        },
                        ink: Ink::Series(n),
                        dash: dash(n),
                        dots: true,
                        x: x.clone(),
                        y: (0..x.len()).map(|j| pick(j).unwrap_or(f64::NAN)).collect(),
                        extra: Vec::new(),
                        aside: false,
                    }
                })
                .collect();
            if let (true, Some(limit), Some(a), Some(b)) =
                (column.name.starts_with("V_h"), limit, x.first(), x.last())
            {
                series.push(Series {
                    name: format!("supply with margin {}", si(limit, "V")),
                    ink: Ink::Supply,
                    dash: Some([3.0, 3.0]),
                    dots: false,
                    x: vec![*a, *b],
                    y: vec![limit, limit],
                    extra: Vec::new(),
                    aside: false,
                });
            }
            let axis_name = if samples { "case" } else { &axis.name };
            let chart = Chart {
                id: String::new(),
                title: format!("{} over {axis_name}", column.name),
                x: across.clone(),
                y: scale(column.meaning.clone(), &shown_unit(&column.unit), values),
                series,
                marks: Vec::new(),
                supply: None,
                width: None,
            };
            out.push((word(&format!("{}-over-{}", column.name, axis.name)), chart));
        }
    }
    out
}

/// Every case with its place on the axes, its verdict and its figures.
fn cases(g: &Gathered) -> String {
    let count: usize = g.axes.iter().map(|a| a.values.len()).product();
    let steps = strides(g);
    let shown = figures(g);
    let head: String = g
        .axes
        .iter()
        .map(|a| a.name.as_str())
        .chain(["verdict"])
        .chain(shown.iter().map(|f| f.0.name.as_str()))
        .chain(["status"])
        .map(|n| format!("<th scope=\"col\">{}</th>", markup(n)))
        .collect();
    let rows: String = (0..count)
        .map(|k| {
            let place = g.axes.iter().zip(&steps).map(|(a, s)| level(a, (k / s) % a.values.len()));
            let text = |name: &str| texts(g, name).get(k).cloned().unwrap_or_default();
            let why = match text("reason") {
                r if r.is_empty() => text("status"),
                r => format!("{}: {r}", text("status")),
            };
            let numbers = shown
                .iter()
                .map(|(c, v)| v.get(k).map_or(String::new(), |v| si(*v, &shown_unit(&c.unit))));
            let cells: String = place
                .chain([text("verdict")])
                .chain(numbers)
                .chain([why])
                .map(|t| format!("<td>{}</td>", markup(&t)))
                .collect();
            format!("<tr>{cells}</tr>")
        })
        .collect();
    format!(
        "<div class=\"scroll wide\" tabindex=\"0\" role=\"region\" aria-label=\"Cases\"><table class=\"cases\"><thead>\
         <tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
    )
}
