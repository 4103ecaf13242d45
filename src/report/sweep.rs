//! A gathered sweep on one page: the figures over each axis, maps over two axes with the
//! boundary of immunity, curves of some of its cases, and all cases as a table.

use super::chart::{Chart, Series};
use super::contour::{Grid, lines};
use super::curves::{dash, scale, shown_unit};
use super::draw::{Anchor, Area, Drawing, Stroke};
use super::escape::markup;
use super::ink::{Ink, magnitude};
use super::page::{self, Page};
use super::raster::text_width;
use super::svg::svg;
use super::units::si;
use super::{Item, compare, tables};
use crate::case::read_str;
use crate::record::{AxisValues, Column, Gathered, Values};

/// Most curves in one chart; more cannot be told apart.
const MOST_LINES: usize = 8;
/// Figures shown over the axes and mapped, as far as they are there: holding voltage first.
const FIRST: [&str; 3] = ["V_h", "I_h", "V_t"];

/// The page of a sweep; `some` of its cases give the families of curves.
pub(super) fn gathered(g: &Gathered, some: &[Item]) -> String {
    let mut page = Page::default();
    let name = if g.name.is_empty() { "Sweep" } else { &g.name };
    let count: usize = g.axes.iter().map(|a| a.values.len()).product();
    page.put(&format!(
        "<header><h1>Sweep {}</h1><p class=\"under\">{count} cases over {}; gathered by holdpoint \
         {}</p></header>\n<main>",
        markup(name),
        markup(&g.axes.iter().map(|a| a.name.as_str()).collect::<Vec<_>>().join(", ")),
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
    for (n, chart) in over_axes(g, limit).iter().enumerate() {
        page.chart(&Chart { id: format!("axis-{n}"), ..chart.clone() }, "");
    }
    page.heading("maps", "Over two axes");
    let maps = heat_maps(g, limit);
    if maps.is_empty() {
        page.put("<p>A map takes a grid of two axes or more.</p>");
    }
    for (n, d) in maps.iter().enumerate() {
        page.put(&format!(
            "<figure data-drawn=\"yes\"><figcaption>{}. A cross marks a case that latches, a \
             blank cell one without the figure.</figcaption><div class=\"wide\">{}</div></figure>",
            markup(&d.about),
            svg(d, false, &format!("heat-{n}"))
        ));
    }
    page.heading("curves", "Curves");
    if some.is_empty() {
        page.put("<p>The results of the cases were not found beside the table.</p>");
    }
    for chart in compare::overlays(some) {
        page.chart(&chart, "");
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

/// Supply with margin [V], from the base case.
fn limit_of(g: &Gathered) -> Option<f64> {
    let (case, _) = read_str(&g.base_text, "base").ok()?;
    case.verdict.map(|v| v.supply * (1.0 + v.margin))
}

fn column<'a>(g: &'a Gathered, name: &str) -> Option<&'a Column> {
    g.columns.iter().find(|c| c.name == name)
}

fn texts<'a>(g: &'a Gathered, name: &str) -> &'a [String] {
    match column(g, name).map(|c| &c.values) {
        Some(Values::Texts(t)) => t,
        _ => &[],
    }
}

/// Figures that are numbers, the holding voltage first.
fn figures(g: &Gathered) -> Vec<(&Column, &[f64])> {
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
    let class = if verdicts.iter().any(|v| v == "latches") { "latches" } else { "none" };
    format!(
        "<section class=\"verdict {class}\" id=\"verdict\" aria-label=\"Verdicts\">\
         <strong class=\"answer\">{}</strong>cases: {}{}</section>",
        markup(&count(verdicts)),
        markup(&count(texts(g, "status"))),
        tables::caution()
    )
}

/// Index steps of the axes, the last axis fastest.
fn strides(g: &Gathered) -> Vec<usize> {
    let mut out = vec![1; g.axes.len()];
    for k in (0..g.axes.len().saturating_sub(1)).rev() {
        out[k] = out[k + 1] * g.axes[k + 1].values.len();
    }
    out
}

fn level(a: &AxisValues, k: usize) -> String {
    match &a.values {
        Values::Numbers(v) => v.get(k).map_or(String::new(), |v| si(*v, &shown_unit(&a.unit))),
        Values::Texts(t) => t.get(k).cloned().unwrap_or_default(),
    }
}

/// Each figure over each axis of numbers, one line for each combination of the others.
fn over_axes(g: &Gathered, limit: Option<f64>) -> Vec<Chart> {
    let steps = strides(g);
    let mut out = Vec::new();
    for (column, values) in figures(g) {
        for (k, axis) in g.axes.iter().enumerate() {
            let Values::Numbers(x) = &axis.values else { continue };
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
                        .filter(|(o, _)| *o != k)
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
                });
            }
            let axis_name = if samples { "case" } else { &axis.name };
            out.push(Chart {
                id: String::new(),
                title: format!("{} over {axis_name}", column.name),
                x: scale(axis.meaning.clone(), &shown_unit(&axis.unit), x),
                y: scale(column.meaning.clone(), &shown_unit(&column.unit), values),
                series,
                marks: Vec::new(),
                supply: None,
                width: None,
            });
        }
    }
    out
}

/// The holding voltage over each pair of axes, the others at their first value.
pub(super) fn heat_maps(g: &Gathered, limit: Option<f64>) -> Vec<Drawing> {
    let mut out = Vec::new();
    let all = figures(g);
    let chosen = all.iter().filter(|f| f.0.name == "V_h").chain(all.iter().take(1)).next();
    let Some((column, values)) = chosen else { return out };
    for a in 0..g.axes.len() {
        for b in a + 1..g.axes.len() {
            if g.axes[a].values.len() > 1 && g.axes[b].values.len() > 1 {
                out.push(heat(g, column, values, [a, b], limit));
            }
        }
    }
    out
}

fn heat(
    g: &Gathered,
    column: &Column,
    values: &[f64],
    pair: [usize; 2],
    limit: Option<f64>,
) -> Drawing {
    let steps = strides(g);
    let [down, across] = pair.map(|k| &g.axes[k]);
    let (rows, columns) = (down.values.len(), across.values.len());
    let index = |r: usize, c: usize| r * steps[pair[0]] + c * steps[pair[1]];
    let at = |r: usize, c: usize| values.get(index(r, c)).copied().unwrap_or(f64::NAN);
    let known = (0..rows * columns).map(|k| at(k / columns, k % columns)).filter(|v| v.is_finite());
    let (low, high) =
        known.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    let unit = shown_unit(&column.unit);
    let rest: Vec<String> = g
        .axes
        .iter()
        .enumerate()
        .filter(|(k, _)| !pair.contains(k))
        .map(|(_, a)| format!("{} {}", a.name, level(a, 0)))
        .collect();
    let about = format!(
        "{} over {} and {}{}{}",
        column.name,
        across.name,
        down.name,
        if rest.is_empty() { String::new() } else { format!(", at {}", rest.join(", ")) },
        limit.map_or(String::new(), |l| format!("; boundary of immunity at {}", si(l, "V")))
    );
    let labels: Vec<String> = (0..rows).map(|r| level(down, r)).collect();
    let left = labels.iter().map(|l| text_width(l, 11.0)).fold(40.0, f64::max) + 40.0;
    let cell_height = (360.0 / rows as f64).clamp(18.0, 64.0);
    let area = Area { x: left, y: 40.0, width: 920.0 - left, height: cell_height * rows as f64 };
    let mut d = Drawing::new(960.0, area.y + area.height + 96.0, &about, &about);
    d.text(area.x, 24.0, 15.0, Anchor::Start, Ink::Text, &format!("{}, {unit}", column.name));
    if let Some(t) = d.last_text() {
        t.bold = true;
    }
    let width = area.width / columns as f64;
    let ramp = magnitude();
    let verdicts = texts(g, "verdict");
    let every = (text_width(&level(across, columns / 2), 11.0) + 10.0).max(1.0) / width;
    let every = (every.ceil() as usize).max(1);
    for (r, label) in labels.iter().enumerate() {
        let y = area.y + r as f64 * cell_height;
        d.text(left - 8.0, y + 0.5 * cell_height + 4.0, 11.0, Anchor::End, Ink::Quiet, label);
        for c in 0..columns {
            let (x, v) = (area.x + c as f64 * width, at(r, c));
            let cell = Area { x, y, width: width - 1.0, height: cell_height - 1.0 };
            if v.is_finite() {
                let share = if high > low { (v - low) / (high - low) } else { 0.5 };
                d.rect(cell, Ink::Plain(ramp[(share * 255.0).round().clamp(0.0, 255.0) as usize]));
                if width > 54.0 {
                    let ink = if share > 0.55 { [20, 22, 26] } else { [255, 255, 255] };
                    let (tx, ty) = (x + 0.5 * width, y + 0.5 * cell_height + 4.0);
                    let text = format!("{v:.4}");
                    d.text(
                        tx,
                        ty,
                        11.0,
                        Anchor::Middle,
                        Ink::Plain(ink),
                        &text[..text.len().min(6)],
                    );
                }
            } else {
                d.frame(cell, Ink::Rule, 0.8);
            }
            if verdicts.get(index(r, c)).is_some_and(|v| v == "latches") {
                let ink = Ink::Plain(if v.is_finite() { [255, 255, 255] } else { [90, 90, 90] });
                let stroke = Stroke { ink, width: 1.3, dash: None };
                let (cx, cy) = (x + 8.0, y + 8.0);
                d.line([cx - 3.0, cy - 3.0], [cx + 3.0, cy + 3.0], stroke);
                d.line([cx - 3.0, cy + 3.0], [cx + 3.0, cy - 3.0], stroke);
            }
        }
    }
    for c in (0..columns).step_by(every) {
        let x = area.x + (c as f64 + 0.5) * width;
        let y = area.y + area.height + 16.0;
        d.text(x, y, 11.0, Anchor::Middle, Ink::Quiet, &level(across, c));
    }
    let bottom = area.y + area.height;
    let middle = area.x + 0.5 * area.width;
    d.text(middle, bottom + 36.0, 11.5, Anchor::Middle, Ink::Quiet, &across.meaning);
    d.text(14.0, area.y + 0.5 * area.height, 11.5, Anchor::Middle, Ink::Quiet, &down.meaning);
    if let Some(t) = d.last_text() {
        t.turned = true;
    }
    if let Some(limit) = limit.filter(|_| column.name.starts_with("V_h")) {
        let xs: Vec<f64> = (0..columns).map(|c| area.x + (c as f64 + 0.5) * width).collect();
        let ys: Vec<f64> = (0..rows).map(|r| area.y + (r as f64 + 0.5) * cell_height).collect();
        let all: Vec<f64> = (0..rows * columns).map(|k| at(k / columns, k % columns)).collect();
        let grid = Grid { x: &xs, y: &ys, values: &all };
        let steps = polyline_steps(&lines(grid, limit, |_, _| true));
        d.path(steps.clone(), Stroke { ink: Ink::Plain([255, 255, 255]), width: 5.0, dash: None });
        d.path(steps, Stroke { ink: Ink::Plain([13, 107, 82]), width: 2.4, dash: None });
    }
    let bar = Area { x: area.x, y: bottom + 52.0, width: area.width, height: 12.0 };
    let rgba = ramp.iter().flat_map(|c| [c[0], c[1], c[2], 255]).collect();
    d.marks.push(super::draw::Mark::Image { area: bar, columns: 256, rows: 1, rgba });
    for (share, anchor) in [(0.0, Anchor::Start), (0.5, Anchor::Middle), (1.0, Anchor::End)] {
        let text = si(low + share * (high - low), &unit);
        d.text(bar.x + share * bar.width, bar.y + 28.0, 11.0, anchor, Ink::Quiet, &text);
    }
    d
}

fn polyline_steps(lines: &[super::contour::Polyline]) -> Vec<super::draw::Step> {
    use super::draw::Step;
    let step = |(k, p): (usize, &[f64; 2])| match k {
        0 => Step::Move(p[0], p[1]),
        _ => Step::Line(p[0], p[1]),
    };
    lines.iter().flat_map(|l| l.iter().enumerate().map(step)).collect()
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
        .chain(["verdict", "status"])
        .chain(shown.iter().map(|f| f.0.name.as_str()))
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
                .chain([text("verdict"), why])
                .chain(numbers)
                .map(|t| format!("<td>{}</td>", markup(&t)))
                .collect();
            format!("<tr>{cells}</tr>")
        })
        .collect();
    format!(
        "<div class=\"scroll wide\" tabindex=\"0\" role=\"region\" aria-label=\"Cases\"><table><thead>\
         <tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
    )
}
