//! A drawing as a list of marks, written as SVG (`svg.rs`) or as PNG (`raster.rs`).

use super::ink::Ink;

/// Marks in drawing order; x to the right, y down, in px.
#[derive(Debug, Clone)]
pub struct Drawing {
    pub width: f64,
    pub height: f64,
    /// Read to those who do not see it: name and description.
    pub title: String,
    pub about: String,
    pub marks: Vec<Mark>,
}

#[derive(Debug, Clone)]
pub enum Mark {
    Path {
        steps: Vec<Step>,
        fill: Option<Ink>,
        stroke: Option<Stroke>,
        /// 0 to 1.
        opacity: f64,
    },
    Text(Text),
    /// Pixels, row by row, red, green, blue, alpha, stretched over a rectangle.
    Image {
        area: Area,
        columns: usize,
        rows: usize,
        rgba: Vec<u8>,
    },
    /// What follows shows only within, up to [`Mark::Whole`].
    Within(Area),
    Whole,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    Move(f64, f64),
    Line(f64, f64),
    Close,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    pub ink: Ink,
    pub width: f64,
    /// Lengths of dash and gap; none: an unbroken line.
    pub dash: Option<[f64; 2]>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

#[derive(Debug, Clone)]
pub struct Text {
    pub x: f64,
    /// Of the baseline.
    pub y: f64,
    pub text: String,
    pub size: f64,
    pub anchor: Anchor,
    pub ink: Ink,
    pub bold: bool,
    /// A rim in the paper's colour, to be read on top of others.
    pub halo: bool,
    /// Turned by 90° against the clock.
    pub turned: bool,
}

impl Drawing {
    pub fn new(width: f64, height: f64, title: &str, about: &str) -> Drawing {
        let (title, about) = (title.to_string(), about.to_string());
        Drawing { width, height, title, about, marks: Vec::new() }
    }

    pub fn rect(&mut self, a: Area, fill: Ink) {
        let steps = corners(a);
        self.marks.push(Mark::Path { steps, fill: Some(fill), stroke: None, opacity: 1.0 });
    }

    pub fn frame(&mut self, a: Area, ink: Ink, width: f64) {
        let stroke = Some(Stroke { ink, width, dash: None });
        self.marks.push(Mark::Path { steps: corners(a), fill: None, stroke, opacity: 1.0 });
    }

    pub fn line(&mut self, from: [f64; 2], to: [f64; 2], stroke: Stroke) {
        let steps = vec![Step::Move(from[0], from[1]), Step::Line(to[0], to[1])];
        self.path(steps, stroke);
    }

    pub fn path(&mut self, steps: Vec<Step>, stroke: Stroke) {
        if !steps.is_empty() {
            let stroke = Some(stroke);
            self.marks.push(Mark::Path { steps, fill: None, stroke, opacity: 1.0 });
        }
    }

    pub fn fill(&mut self, steps: Vec<Step>, fill: Ink) {
        if !steps.is_empty() {
            self.marks.push(Mark::Path { steps, fill: Some(fill), stroke: None, opacity: 1.0 });
        }
    }

    /// A disc with a rim in the paper's colour.
    pub fn dot(&mut self, x: f64, y: f64, radius: f64, ink: Ink) {
        let steps = (0..24).map(|k| {
            let (s, c) = (f64::from(k) * std::f64::consts::TAU / 24.0).sin_cos();
            let (px, py) = (x + radius * c, y + radius * s);
            if k == 0 { Step::Move(px, py) } else { Step::Line(px, py) }
        });
        let steps = steps.chain([Step::Close]).collect();
        let stroke = Some(Stroke { ink: Ink::Paper, width: 1.2, dash: None });
        self.marks.push(Mark::Path { steps, fill: Some(ink), stroke, opacity: 1.0 });
    }

    pub fn text(&mut self, x: f64, y: f64, size: f64, anchor: Anchor, ink: Ink, text: &str) {
        self.marks.push(Mark::Text(Text {
            x,
            y,
            text: text.to_string(),
            size,
            anchor,
            ink,
            bold: false,
            halo: false,
            turned: false,
        }));
    }

    /// The mark just added, if it is a text.
    pub fn last_text(&mut self) -> Option<&mut Text> {
        match self.marks.last_mut() {
            Some(Mark::Text(t)) => Some(t),
            _ => None,
        }
    }
}

fn corners(a: Area) -> Vec<Step> {
    vec![
        Step::Move(a.x, a.y),
        Step::Line(a.x + a.width, a.y),
        Step::Line(a.x + a.width, a.y + a.height),
        Step::Line(a.x, a.y + a.height),
        Step::Close,
    ]
}

impl Stroke {
    pub fn thin(ink: Ink) -> Stroke {
        Stroke { ink, width: 1.0, dash: None }
    }
}
