//! A chart's values as a table, for those who do not see it.

use super::chart::{Chart, Scale, Series};
use super::escape::markup;
use super::ink::Ink;
use super::units::si;

/// All points, to be opened: one column for each curve if they share their places, else one
/// row for each point of each curve.
pub fn table(chart: &Chart) -> String {
    // The line of the supply has no points of its own.
    let all: Vec<&Series> = chart.series.iter().filter(|s| s.ink != Ink::Supply).collect();
    let Some(first) = all.first() else { return String::new() };
    let (head, rows) = match all.iter().all(|s| s.x == first.x) {
        true => (columns_head(chart, &all), columns(chart, &all)),
        false => (points_head(chart), points(chart, &all)),
    };
    format!(
        "<details><summary>Table of {} rows</summary><div class=\"scroll\" tabindex=\"0\" \
         role=\"region\" aria-label=\"Values of {}\"><table><thead><tr>{head}</tr></thead>\
         <tbody>{}</tbody></table></div></details>",
        rows.len(),
        markup(&chart.title),
        rows.concat()
    )
}

fn number(text: &str) -> String {
    format!("<td class=\"n\">{}</td>", markup(text))
}

fn head(text: &str) -> String {
    format!("<th scope=\"col\" class=\"n\">{}</th>", markup(text))
}

fn value(v: Option<&f64>, scale: &Scale) -> String {
    v.map_or(String::new(), |v| si(*v, &scale.unit))
}

fn columns_head(chart: &Chart, series: &[&Series]) -> String {
    let names = series.iter().map(|s| head(&s.name));
    std::iter::once(head(&chart.x.label)).chain(names).collect()
}

fn columns(chart: &Chart, series: &[&Series]) -> Vec<String> {
    let places = series.first().map_or(&[][..], |s| s.x.as_slice());
    let row = |(n, x): (usize, &f64)| {
        let cells: String = series.iter().map(|s| number(&value(s.y.get(n), &chart.y))).collect();
        format!("<tr>{}{cells}</tr>", number(&si(*x, &chart.x.unit)))
    };
    places.iter().enumerate().map(row).collect()
}

fn points_head(chart: &Chart) -> String {
    let names = [head(&chart.x.label), head(&chart.y.label)].concat();
    format!("<th scope=\"col\">curve</th>{names}")
}

fn points(chart: &Chart, series: &[&Series]) -> Vec<String> {
    let of = |s: &&Series| {
        let name = markup(&s.name);
        let row = |(x, y): (&f64, &f64)| {
            let cells = [number(&si(*x, &chart.x.unit)), number(&si(*y, &chart.y.unit))].concat();
            format!("<tr><th scope=\"row\">{name}</th>{cells}</tr>")
        };
        s.x.iter().zip(&s.y).map(row).collect::<Vec<_>>()
    };
    series.iter().flat_map(of).collect()
}
