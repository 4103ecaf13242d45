//! A figure of a gathered sweep over two of its axes: cells in colour, and the boundary
//! between what the supply keeps on and what it does not.

use super::curves::shown_unit;
use super::draw::{Anchor, Area, Drawing, Mark, Step, Stroke};
use super::ink::{Ink, magnitude, readable_on};
use super::raster::text_width;
use super::sweep::{figures, level, strides, texts, word};
use super::units::si;
use crate::record::{AxisValues, Column, Gathered, Values};

const WIDTH: f64 = 960.0;
const SMALL: f64 = 11.0;

/// The holding voltage over each pair of axes, the others at their first value, with the
/// name of each figure.
pub fn maps(g: &Gathered, limit: Option<f64>) -> Vec<(String, Drawing)> {
    let mut out = Vec::new();
    let all = figures(g);
    let chosen = all.iter().filter(|f| f.0.name == "V_h").chain(all.iter().take(1)).next();
    let Some((column, values)) = chosen else { return out };
    for a in 0..g.axes.len() {
        for b in a + 1..g.axes.len() {
            if g.axes[a].values.len() > 1 && g.axes[b].values.len() > 1 {
                let name = format!("{}-map-{}-{}", column.name, g.axes[a].name, g.axes[b].name);
                out.push((word(&name), Heat::new(g, column, values, [a, b], limit).drawing()));
            }
        }
    }
    out
}

/// Cells row by row from the top of the paper.
struct Heat<'a> {
    column: &'a Column,
    down: &'a AxisValues,
    across: &'a AxisValues,
    /// Index of each row's value on its axis: larger values stand higher.
    order: Vec<usize>,
    columns: usize,
    values: Vec<f64>,
    verdicts: Vec<&'a str>,
    low: f64,
    high: f64,
    unit: String,
    limit: Option<f64>,
    about: String,
    area: Area,
}

impl<'a> Heat<'a> {
    fn new(
        g: &'a Gathered,
        column: &'a Column,
        all: &[f64],
        pair: [usize; 2],
        limit: Option<f64>,
    ) -> Heat<'a> {
        let steps = strides(g);
        let [down, across] = pair.map(|k| &g.axes[k]);
        let (rows, columns) = (down.values.len(), across.values.len());
        let mut order: Vec<usize> = (0..rows).collect();
        if matches!(&down.values, Values::Numbers(v) if v.first() < v.last()) {
            order.reverse();
        }
        let index = |k: usize| order[k / columns] * steps[pair[0]] + k % columns * steps[pair[1]];
        let cells = || (0..rows * columns).map(index);
        let values: Vec<f64> = cells().map(|k| all.get(k).copied().unwrap_or(f64::NAN)).collect();
        let words = texts(g, "verdict");
        let verdicts = cells().map(|k| words.get(k).map_or("", String::as_str)).collect();
        let known = values.iter().copied().filter(|v| v.is_finite());
        let (low, high) =
            known.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let limit = limit.filter(|_| column.name.starts_with("V_h"));
        let more = |k: &usize| !pair.contains(k) && g.axes[*k].values.len() > 1;
        let rest = (0..g.axes.len()).filter(more);
        let rest: Vec<String> =
            rest.map(|k| format!("{} {}", g.axes[k].name, level(&g.axes[k], 0))).collect();
        let about = format!(
            "{} over {} and {}{}{}",
            column.name,
            across.name,
            down.name,
            if rest.is_empty() { String::new() } else { format!(", at {}", rest.join(", ")) },
            limit.map_or(String::new(), |l| format!("; boundary of immunity at {}", si(l, "V")))
        );
        let labels = (0..rows).map(|r| text_width(&level(down, r), SMALL));
        let left = labels.fold(40.0, f64::max) + 40.0;
        let height = (360.0 / rows as f64).clamp(18.0, 64.0) * rows as f64;
        let area = Area { x: left, y: 40.0, width: WIDTH - 40.0 - left, height };
        let unit = shown_unit(&column.unit);
        Heat {
            column,
            down,
            across,
            order,
            columns,
            values,
            verdicts,
            low,
            high,
            unit,
            limit,
            about,
            area,
        }
    }

    fn share(&self, v: f64) -> f64 {
        match self.high > self.low {
            true => ((v - self.low) / (self.high - self.low)).clamp(0.0, 1.0),
            false => 0.5,
        }
    }

    /// The cell of an index, a px smaller than its place.
    fn cell(&self, k: usize) -> Area {
        let (w, h) = self.pitch();
        let (r, c) = (k / self.columns, k % self.columns);
        let (x, y) = (self.area.x + c as f64 * w, self.area.y + r as f64 * h);
        Area { x, y, width: w - 1.0, height: h - 1.0 }
    }

    fn pitch(&self) -> (f64, f64) {
        (self.area.width / self.columns as f64, self.area.height / self.order.len() as f64)
    }

    fn drawing(&self) -> Drawing {
        let bottom = self.area.y + self.area.height;
        let title = format!("{}: {}", self.column.name, self.column.meaning);
        let mut d = Drawing::new(WIDTH, bottom + 96.0, &title, &self.about);
        d.text(self.area.x, 24.0, 15.0, Anchor::Start, Ink::Text, &title);
        if let Some(t) = d.last_text() {
            t.bold = true;
        }
        for k in 0..self.values.len() {
            self.fill(&mut d, k);
        }
        self.labels(&mut d);
        let steps = self.boundary();
        if !steps.is_empty() {
            let rim = Stroke { ink: Ink::Plain([255, 255, 255]), width: 5.0, dash: None };
            d.path(steps.clone(), rim);
            // Plain: cells keep their colours on dark paper too.
            let ink = Ink::Plain(Ink::Supply.rgb());
            d.path(steps, Stroke { ink, width: 2.4, dash: None });
        }
        self.bar(&mut d, bottom + 52.0);
        d
    }

    fn fill(&self, d: &mut Drawing, k: usize) {
        let (cell, v, ramp) = (self.cell(k), self.values[k], magnitude());
        let mut ink = Ink::Quiet;
        if v.is_finite() {
            let rgb = ramp[(self.share(v) * 255.0).round() as usize];
            ink = Ink::Plain(readable_on(rgb));
            d.rect(cell, Ink::Plain(rgb));
            let text = si(v, &self.unit);
            if text_width(&text, SMALL) + 8.0 < cell.width {
                let (x, y) = (cell.x + 0.5 * cell.width, cell.y + 0.5 * cell.height + 4.0);
                d.text(x, y, SMALL, Anchor::Middle, ink, &text);
            }
        } else {
            d.frame(cell, Ink::Rule, 0.8);
        }
        if self.verdicts[k] == "latches" {
            let stroke = Stroke { ink, width: 1.3, dash: None };
            let (x, y) = (cell.x + 8.0, cell.y + 8.0);
            d.line([x - 3.0, y - 3.0], [x + 3.0, y + 3.0], stroke);
            d.line([x - 3.0, y + 3.0], [x + 3.0, y - 3.0], stroke);
        }
    }

    fn labels(&self, d: &mut Drawing) {
        let (a, (width, height)) = (self.area, self.pitch());
        let bottom = a.y + a.height;
        let widest = (0..self.columns).map(|c| text_width(&level(self.across, c), SMALL));
        let every = ((widest.fold(0.0, f64::max) + 10.0) / width).ceil().max(1.0) as usize;
        for c in (0..self.columns).step_by(every) {
            let x = a.x + (c as f64 + 0.5) * width;
            let text = level(self.across, c);
            d.text(x, bottom + 16.0, SMALL, Anchor::Middle, Ink::Quiet, &text);
        }
        let every = (15.0 / height).ceil().max(1.0) as usize;
        for r in (0..self.order.len()).step_by(every) {
            let y = a.y + (r as f64 + 0.5) * height + 4.0;
            let text = level(self.down, self.order[r]);
            d.text(a.x - 8.0, y, SMALL, Anchor::End, Ink::Quiet, &text);
        }
        let (x, y) = (a.x + 0.5 * a.width, a.y + 0.5 * a.height);
        d.text(x, bottom + 36.0, 11.5, Anchor::Middle, Ink::Quiet, &self.across.meaning);
        d.text(14.0, y, 11.5, Anchor::Middle, Ink::Quiet, &self.down.meaning);
        if let Some(t) = d.last_text() {
            t.turned = true;
        }
    }

    /// True if the supply keeps the path on; `None` if that is not known.
    fn kept_on(&self, k: usize, limit: f64) -> Option<bool> {
        match self.values[k] {
            v if v.is_finite() => Some(v < limit),
            _ if self.verdicts[k] == "no-on-state" => Some(false),
            _ => None,
        }
    }

    /// Along the edges between cells that the supply keeps on and cells that it does not.
    fn boundary(&self) -> Vec<Step> {
        let Some(limit) = self.limit else { return Vec::new() };
        let (a, (w, h)) = (self.area, self.pitch());
        let rows = self.order.len();
        let mut steps = Vec::new();
        let parted = |p: usize, q: usize| matches!((self.kept_on(p, limit), self.kept_on(q, limit)), (Some(p), Some(q)) if p != q);
        for k in 0..self.values.len() {
            let (r, c) = (k / self.columns, k % self.columns);
            let (right, low) = (a.x + (c + 1) as f64 * w - 0.5, a.y + (r + 1) as f64 * h - 0.5);
            if c + 1 < self.columns && parted(k, k + 1) {
                steps.extend([Step::Move(right, low - h), Step::Line(right, low)]);
            }
            if r + 1 < rows && parted(k, k + self.columns) {
                steps.extend([Step::Move(right - w, low), Step::Line(right, low)]);
            }
        }
        steps
    }

    /// The scale of colours, the limit marked on it.
    fn bar(&self, d: &mut Drawing, y: f64) {
        if self.low > self.high {
            return;
        }
        let bar = Area { x: self.area.x, y, width: self.area.width, height: 12.0 };
        let rgba = magnitude().iter().flat_map(|c| [c[0], c[1], c[2], 255]).collect();
        d.marks.push(Mark::Image { area: bar, columns: 256, rows: 1, rgba });
        for (share, anchor) in [(0.0, Anchor::Start), (0.5, Anchor::Middle), (1.0, Anchor::End)] {
            let text = si(self.low + share * (self.high - self.low), &self.unit);
            d.text(bar.x + share * bar.width, y + 28.0, SMALL, anchor, Ink::Quiet, &text);
        }
        let inside = |l: &f64| (self.low..=self.high).contains(l) && self.high > self.low;
        if let Some(limit) = self.limit.filter(inside) {
            let x = bar.x + self.share(limit) * bar.width;
            let stroke = Stroke { ink: Ink::Supply, width: 2.0, dash: None };
            d.line([x, y - 3.0], [x, y + 15.0], stroke);
        }
    }
}
