//! A chart as data: the page's script draws it from JSON, figures from the same numbers.

use serde_json::{Value, json};

use super::axis::Axis;
use super::draw::{Anchor, Area, Drawing, Mark, Step, Stroke};
use super::ink::Ink;
use super::raster::text_width;

/// Curves over common axes.
#[derive(Debug, Clone)]
pub struct Chart {
    /// Unique in a page; letters, digits, dashes.
    pub id: String,
    pub title: String,
    pub x: Scale,
    pub y: Scale,
    pub series: Vec<Series>,
    pub marks: Vec<Place>,
    pub supply: Option<Supply>,
    /// Width out of plane [µm]: turns A/µm into A.
    pub width: Option<f64>,
}

/// One axis.
#[derive(Debug, Clone)]
pub struct Scale {
    pub label: String,
    /// "1" for plain numbers.
    pub unit: String,
    /// Logarithmic at first.
    pub log: bool,
    /// May be switched between linear and logarithmic.
    pub both: bool,
}

#[derive(Debug, Clone)]
pub struct Series {
    pub name: String,
    pub ink: Ink,
    pub dash: Option<[f64; 2]>,
    /// Points are shown, not the line alone.
    pub dots: bool,
    pub x: Vec<f64>,
    pub y: Vec<f64>,
    /// Read beside x and y.
    pub extra: Vec<Extra>,
    /// A guest: the axes do not stretch for it.
    pub aside: bool,
}

/// Values by point that are read, not drawn.
#[derive(Debug, Clone)]
pub struct Extra {
    pub name: String,
    pub unit: String,
    pub values: Vec<f64>,
}

/// A place with a name.
#[derive(Debug, Clone)]
pub struct Place {
    pub x: f64,
    pub y: f64,
    pub label: String,
    pub ink: Ink,
    /// The name stands below.
    pub below: bool,
}

/// Voltages [V] drawn upright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    pub supply: f64,
    pub limit: f64,
}

impl Supply {
    fn label(&self) -> String {
        format!("supply {:.4} V, with margin {:.4} V", Short(self.supply), Short(self.limit))
    }
}

/// A number without trailing zeros.
struct Short(f64);

impl std::fmt::Display for Short {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        let text = format!("{:.*}", f.precision().unwrap_or(3), self.0);
        f.write_str(text.trim_end_matches('0').trim_end_matches('.'))
    }
}

const SIZE: [f64; 2] = [960.0, 540.0];
/// Between two rows of a legend.
const KEY_ROW: f64 = 17.0;
/// Share of the points of a long curve, the smallest, that a logarithmic axis leaves out: a
/// curve over a linear axis begins at next to nothing. As in the page.
const LEFT_OUT: f64 = 0.06;

impl Chart {
    /// For those who do not see it.
    pub fn about(&self) -> String {
        let names: Vec<&str> = self.series.iter().map(|s| s.name.as_str()).collect();
        let mut text = format!(
            "{}: {} over {}; curves: {}. Arrow keys read along the curves, plus and minus zoom, 0 shows all",
            self.title,
            self.y.label,
            self.x.label,
            names.join(", ")
        );
        for m in &self.marks {
            text.push_str(&format!("; {} at {:.4e}, {:.4e}", m.label, m.x, m.y));
        }
        text
    }

    /// What the script draws from; numbers that do not exist are null.
    pub fn json(&self) -> Value {
        let ink = |i: Ink| i.name().unwrap_or_else(|| "text".to_string());
        let list = |v: &[f64]| Value::Array(v.iter().map(|v| number(*v)).collect());
        let scale = |s: &Scale, signed: bool| json!({"label": s.label, "unit": s.unit, "log": s.log, "both": s.both, "signed": signed});
        let negative = |pick: fn(&Series) -> &Vec<f64>| {
            self.series.iter().flat_map(|s| pick(s).iter()).any(|v| *v < 0.0)
        };
        let series: Vec<Value> = self
            .series
            .iter()
            .map(|s| {
                let extra: Vec<Value> = s
                    .extra
                    .iter()
                    .map(|e| json!({"name": e.name, "unit": e.unit, "values": list(&e.values)}))
                    .collect();
                json!({
                    "name": s.name, "ink": ink(s.ink), "dash": s.dash, "dots": s.dots,
                    "x": list(&s.x), "y": list(&s.y), "extra": extra, "aside": s.aside,
                })
            })
            .collect();
        let marks: Vec<Value> = self
            .marks
            .iter()
            .map(|m| json!({"x": m.x, "y": m.y, "label": m.label, "ink": ink(m.ink), "below": m.below}))
            .collect();
        json!({
            "id": self.id, "title": self.title, "about": self.about(),
            "x": scale(&self.x, negative(|s| &s.x)), "y": scale(&self.y, negative(|s| &s.y)),
            "series": series, "marks": marks, "width": self.width,
            "supply": self.supply.map(|s| json!({
                "supply": s.supply, "limit": s.limit, "label": s.label(),
            })),
        })
    }

    /// Drawn on paper; `log` overrules how the y axis is shown at first.
    pub fn drawing(&self, log: Option<bool>) -> Drawing {
        let log_y = log.unwrap_or(self.y.log);
        let (keys, rows) = self.keys(84.0, SIZE[0] - 24.0);
        // More rows of the legend make the paper higher, not the plot lower.
        let more = KEY_ROW * rows.saturating_sub(1) as f64;
        let mut d = Drawing::new(SIZE[0], SIZE[1] + more, &self.title, &self.about());
        let (width, height) = (SIZE[0] - 108.0, SIZE[1] - 112.0);
        let area = Area { x: 84.0, y: 56.0 + more, width, height };
        let x_ends = (area.x, area.x + area.width);
        let y_ends = (area.y + area.height, area.y);
        let (Some(x), Some(y)) = (
            self.range([self.x.log, false], x_ends, |s| &s.x, |m| m.x, self.supply),
            self.range([log_y, log_y && !self.x.log], y_ends, |s| &s.y, |m| m.y, None),
        ) else {
            let middle = (0.5 * SIZE[0], 0.5 * SIZE[1]);
            d.text(middle.0, middle.1, 14.0, Anchor::Middle, Ink::Quiet, "nothing to draw");
            return d;
        };
        self.grid(&mut d, area, &x, &y);
        d.marks.push(Mark::Within(area));
        if let Some(s) = self.supply {
            let (a, b) = (x.px(s.supply), x.px(s.limit));
            let band = Area { x: a.min(b), width: (b - a).abs(), ..area };
            d.rect(band, Ink::Margin);
            let (top, bottom) = (area.y, area.y + area.height);
            d.line([a, top], [a, bottom], Stroke { ink: Ink::Supply, width: 1.5, dash: None });
            let dash = Some([3.0, 3.0]);
            d.line([b, top], [b, bottom], Stroke { ink: Ink::Supply, width: 1.0, dash });
        }
        for s in &self.series {
            draw_series(&mut d, s, &x, &y);
        }
        if let Some(s) = self.supply {
            let (at, bottom) = (x.px(s.supply).max(x.px(s.limit)) + 6.0, area.y + area.height);
            d.text(at, bottom - 8.0, 11.5, Anchor::Start, Ink::Supply, &s.label());
            if let Some(t) = d.last_text() {
                t.halo = true;
            }
        }
        d.marks.push(Mark::Whole);
        for m in &self.marks {
            draw_mark(&mut d, m, &x, &y, area);
        }
        d.text(area.x, 24.0, 15.0, Anchor::Start, Ink::Text, &self.title);
        if let Some(t) = d.last_text() {
            t.bold = true;
        }
        for (s, x, y) in keys {
            let stroke = Stroke { ink: s.ink, width: 2.2, dash: s.dash };
            d.line([x, y], [x + 24.0, y], stroke);
            d.text(x + 30.0, y + 4.0, 11.5, Anchor::Start, Ink::Quiet, &s.name);
        }
        d
    }

    /// Where the names of the curves stand, in rows between two px, and how many rows.
    fn keys(&self, left: f64, right: f64) -> (Vec<(&Series, f64, f64)>, usize) {
        let (mut x, mut rows, mut out) = (left, 1, Vec::new());
        for s in self.series.iter().filter(|s| !s.name.is_empty()) {
            let width = 30.0 + text_width(&s.name, 11.5);
            if x > left && x + width > right {
                (x, rows) = (left, rows + 1);
            }
            out.push((s, x, 41.0 + KEY_ROW * (rows - 1) as f64));
            x += width + 20.0;
        }
        (out, rows)
    }

    /// Logarithmic or not; without the first points or with them.
    fn range(
        &self,
        [log, left_out]: [bool; 2],
        (start, end): (f64, f64),
        of: fn(&Series) -> &Vec<f64>,
        mark: fn(&Place) -> f64,
        supply: Option<Supply>,
    ) -> Option<Axis> {
        let turn = |v: f64| if log { v.abs().log10() } else { v };
        let own = self.series.iter().filter(|s| !s.aside);
        let values = own.flat_map(|s| of(s).iter().copied());
        let mut all: Vec<f64> = values.map(turn).filter(|v| v.is_finite()).collect();
        all.sort_by(f64::total_cmp);
        if left_out && all.len() > 30 {
            all.drain(..(all.len() as f64 * LEFT_OUT) as usize);
        }
        all.extend(self.marks.iter().map(|m| turn(mark(m))).filter(|v| v.is_finite()));
        all.extend(supply.into_iter().flat_map(|s| [s.supply, s.limit]));
        let low = all.iter().copied().fold(f64::INFINITY, f64::min);
        let high = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if low > high {
            return None;
        }
        let pad = match (high - low) * 0.04 {
            p if p > 0.0 => p,
            _ => (high.abs() * 0.05).max(1e-12),
        };
        let (low, high) = (low - pad, high + pad);
        Some(match log {
            true => Axis { low: 10f64.powf(low), high: 10f64.powf(high), log, start, end },
            false => Axis { low, high, log, start, end },
        })
    }

    fn grid(&self, d: &mut Drawing, a: Area, x: &Axis, y: &Axis) {
        let bottom = a.y + a.height;
        for tick in x.ticks(9) {
            let at = x.px(tick.at);
            d.line([at, a.y], [at, bottom], Stroke::thin(Ink::Rule));
            d.text(at, bottom + 18.0, 12.0, Anchor::Middle, Ink::Quiet, &tick.label);
        }
        for tick in y.ticks(9) {
            let at = y.px(tick.at);
            d.line([a.x, at], [a.x + a.width, at], Stroke::thin(Ink::Rule));
            d.text(a.x - 8.0, at + 4.0, 12.0, Anchor::End, Ink::Quiet, &tick.label);
        }
        d.frame(a, Ink::Quiet, 0.8);
        let name = |s: &Scale, log: bool, negative: bool| {
            let label = if log && negative { format!("|{}|", s.label) } else { s.label.clone() };
            if s.unit == "1" || s.unit.is_empty() { label } else { format!("{label}, {}", s.unit) }
        };
        let below = |v: &[f64]| v.iter().any(|v| *v < 0.0);
        let text = name(&self.x, x.log, self.series.iter().any(|s| below(&s.x)));
        d.text(a.x + 0.5 * a.width, bottom + 40.0, 12.5, Anchor::Middle, Ink::Quiet, &text);
        let text = name(&self.y, y.log, self.series.iter().any(|s| below(&s.y)));
        d.text(20.0, a.y + 0.5 * a.height, 12.5, Anchor::Middle, Ink::Quiet, &text);
        if let Some(t) = d.last_text() {
            t.turned = true;
        }
    }
}

fn on_axis(axis: &Axis, v: f64) -> f64 {
    axis.px(if axis.log { v.abs() } else { v })
}

fn draw_series(d: &mut Drawing, s: &Series, x: &Axis, y: &Axis) {
    let mut steps = Vec::new();
    let mut pen = false;
    for (a, b) in s.x.iter().zip(&s.y) {
        let (px, py) = (on_axis(x, *a), on_axis(y, *b));
        if px.is_finite() && py.is_finite() {
            steps.push(if pen { Step::Line(px, py) } else { Step::Move(px, py) });
        }
        pen = px.is_finite() && py.is_finite();
    }
    if s.dots {
        let dots: Vec<(f64, f64)> = steps
            .iter()
            .filter_map(|s| match s {
                Step::Move(x, y) | Step::Line(x, y) => Some((*x, *y)),
                Step::Close => None,
            })
            .collect();
        for (px, py) in dots {
            d.dot(px, py, 3.2, s.ink);
        }
    }
    d.path(steps, Stroke { ink: s.ink, width: 2.2, dash: s.dash });
}

fn draw_mark(d: &mut Drawing, m: &Place, x: &Axis, y: &Axis, area: Area) {
    let (px, py) = (on_axis(x, m.x), on_axis(y, m.y));
    if !(px.is_finite() && py.is_finite()) {
        return;
    }
    d.dot(px, py, 5.0, m.ink);
    // The label stands off the curve, at the end of a short line.
    let bottom = area.y + area.height;
    let up = if m.below { py + 44.0 > bottom } else { py - 40.0 > area.y };
    let at = if up { py - 30.0 } else { py + 36.0 };
    let (near, far) = if up { (py - 6.0, at + 3.0) } else { (py + 6.0, at - 11.0) };
    d.line([px, near], [px, far], Stroke::thin(Ink::Quiet));
    let end = px > area.x + 0.5 * area.width;
    let (shift, anchor) = if end { (6.0, Anchor::End) } else { (-6.0, Anchor::Start) };
    d.text(px + shift, at, 12.0, anchor, Ink::Text, &m.label);
    if let Some(t) = d.last_text() {
        t.halo = true;
    }
}

/// JSON has no NaN.
fn number(v: f64) -> Value {
    // Seven digits are more than a pixel or a reader needs.
    let short: f64 = format!("{v:.6e}").parse().unwrap_or(v);
    if v.is_finite() { json!(short) } else { Value::Null }
}
