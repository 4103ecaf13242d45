//! The cross-section to scale: doping in bands, junctions, oxide, terminals, names.

use super::axis::Axis;
use super::contour::{Grid, Polyline, rings};
use super::draw::{Anchor, Area, Drawing, Mark, Step, Stroke};
use super::ink::Ink;
use super::labels::apart;
use super::outline::{
    Contact, Piece, Rect, Spot, balance, contacts, junctions, net_doping, oxide, pieces, squeeze,
    wafer,
};
use super::raster::text_width;
use crate::case::Case;
use crate::mesh::Mesh;

/// Net doping [cm⁻³] beyond which a band is drawn stronger.
const BANDS: [f64; 2] = [2e16, 2e18];
const WIDTH: f64 = 960.0;
const LEFT: f64 = 54.0;
const RIGHT: f64 = 18.0;
/// Height of gate plates and contacts, which are thinner than a px to scale.
const PLATE: f64 = 10.0;
const METAL: f64 = 5.0;
const SMALL: f64 = 11.0;

/// Places of the cut on the paper.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    pub area: Area,
    pub x: Axis,
    pub y: Axis,
    /// How much deeper than to scale it is drawn; 1 is to scale.
    pub stretch: f64,
}

impl Frame {
    /// A cut of the mesh's extent in `width` px whose upper left corner is (left, top).
    /// Very flat and very deep cuts are stretched to be seen.
    pub fn new(mesh: &Mesh, left: f64, top: f64, width: f64) -> Frame {
        let (x0, x1) = (mesh.x[0], mesh.x[mesh.nx() - 1]);
        let depth = mesh.y[mesh.ny() - 1].max(1e-9);
        let scale = width / (x1 - x0);
        let height = (depth * scale).clamp(0.14 * width, 0.75 * width);
        let area = Area { x: left, y: top, width, height };
        Frame {
            area,
            x: Axis { low: x0, high: x1, log: false, start: left, end: left + width },
            y: Axis { low: 0.0, high: depth, log: false, start: top, end: top + height },
            stretch: height / (depth * scale),
        }
    }

    fn at(&self, p: &[f64; 2]) -> (f64, f64) {
        (self.x.px(p[0]), self.y.px(p[1]))
    }

    /// Lines of the cut on the paper.
    pub fn steps(&self, lines: &[Polyline]) -> Vec<Step> {
        let mut steps = Vec::new();
        for line in lines {
            let mut last = (f64::INFINITY, f64::INFINITY);
            for (k, p) in line.iter().enumerate() {
                let (x, y) = self.at(p);
                // Places within half a px add bytes only.
                let near = (x - last.0).hypot(y - last.1) < 0.5;
                if near && k + 1 < line.len() {
                    continue;
                }
                last = (x, y);
                steps.push(if k == 0 { Step::Move(x, y) } else { Step::Line(x, y) });
            }
            if line.len() > 2 && line.first() == line.last() {
                steps.push(Step::Close);
            }
        }
        steps
    }

    pub fn rect(&self, r: &Rect) -> Area {
        let (x, y) = self.at(&[r.x0, r.y0]);
        let (x1, y1) = self.at(&[r.x1, r.y1]);
        Area { x, y, width: x1 - x, height: y1 - y }
    }
}

/// The cross-section; `case` gives names to pieces, `lines` adds the mesh.
pub fn section(mesh: &Mesh, case: Option<&Case>, title: &str, lines: bool) -> Drawing {
    let places = contacts(mesh);
    let named: Vec<&str> = places.iter().map(|c| c.name.as_str()).collect();
    let about = format!(
        "Cross-section, {:.4} µm wide and {:.4} µm deep, with terminals {}",
        mesh.x[mesh.nx() - 1] - mesh.x[0],
        mesh.y[mesh.ny() - 1],
        named.join(", ")
    );
    let frame = Frame::new(mesh, LEFT, 62.0, WIDTH - LEFT - RIGHT);
    let bottom = frame.area.y + frame.area.height;
    let mut d = Drawing::new(WIDTH, bottom + 76.0, title, &about);
    bands(&mut d, mesh, &frame);
    if lines {
        mesh_lines(&mut d, mesh, &frame);
    }
    let edge = Stroke { ink: Ink::Junction, width: 1.1, dash: None };
    d.marks.push(Mark::Within(frame.area));
    d.path(frame.steps(&junctions(mesh)), edge);
    d.marks.push(Mark::Whole);
    for r in oxide(mesh) {
        let a = frame.rect(&r);
        d.rect(a, Ink::Oxide);
        if a.width > text_width("oxide", 10.0) + 6.0 && a.height > 12.0 {
            let (x, y) = (a.x + 0.5 * a.width, a.y + 0.5 * a.height + 3.5);
            d.text(x, y, 10.0, Anchor::Middle, Ink::Quiet, "oxide");
        }
    }
    d.frame(frame.area, Ink::Quiet, 0.8);
    spots(&mut d, &places, &frame);
    names(&mut d, case, mesh, &frame);
    axes(&mut d, &frame);
    legend(&mut d, bottom + 62.0, frame.stretch);
    d
}

fn bands(d: &mut Drawing, mesh: &Mesh, frame: &Frame) {
    d.rect(frame.area, Ink::P3);
    let net: Vec<f64> = net_doping(mesh).into_iter().map(squeeze).collect();
    let grid = Grid { x: &mesh.x, y: &mesh.y, values: &net };
    let levels = [
        (-BANDS[1], Ink::P2),
        (-BANDS[0], Ink::P1),
        (0.0, Ink::N1),
        (BANDS[0], Ink::N2),
        (BANDS[1], Ink::N3),
    ];
    d.marks.push(Mark::Within(frame.area));
    let balance = balance(mesh);
    for (level, ink) in levels {
        let grid = if level == 0.0 { Grid { values: &balance, ..grid } } else { grid };
        d.fill(frame.steps(&rings(grid, squeeze(level))), ink);
    }
    d.marks.push(Mark::Whole);
}

fn mesh_lines(d: &mut Drawing, mesh: &Mesh, frame: &Frame) {
    let a = frame.area;
    let mut steps = Vec::new();
    for x in &mesh.x {
        let x = frame.x.px(*x);
        steps.extend([Step::Move(x, a.y), Step::Line(x, a.y + a.height)]);
    }
    for y in mesh.y.iter().filter(|y| **y >= 0.0) {
        let y = frame.y.px(*y);
        steps.extend([Step::Move(a.x, y), Step::Line(a.x + a.width, y)]);
    }
    let stroke = Some(Stroke { ink: Ink::Mesh, width: 0.4, dash: None });
    d.marks.push(Mark::Path { steps, fill: None, stroke, opacity: 0.55 });
}

/// Contacts, gate plates and their names above.
fn spots(d: &mut Drawing, places: &[Contact], frame: &Frame) {
    let (top, a) = (frame.area.y, frame.area);
    // Centre, where the leader starts, name.
    let mut tags: Vec<(f64, f64, &str)> = Vec::new();
    for contact in places {
        let mut named = false;
        for spot in &contact.spots {
            let (area, ink) = match spot {
                Spot::Surface { from, to } => {
                    let (x0, x1) = (frame.x.px(*from), frame.x.px(*to));
                    let width = (x1 - x0).max(2.0);
                    (Area { x: x0, y: top - METAL, width, height: METAL }, Ink::Metal)
                }
                Spot::Gate { from, to, .. } => {
                    let (x0, x1) = (frame.x.px(*from), frame.x.px(*to));
                    let width = (x1 - x0).max(2.0);
                    d.rect(Area { x: x0, y: top - 2.0, width, height: 2.0 }, Ink::Oxide);
                    (Area { x: x0, y: top - 2.0 - PLATE, width, height: PLATE }, Ink::Plate)
                }
                Spot::Left => {
                    (Area { x: a.x - METAL, y: a.y, width: METAL, height: a.height }, Ink::Metal)
                }
                Spot::Right => {
                    (Area { x: a.x + a.width, y: a.y, width: METAL, height: a.height }, Ink::Metal)
                }
                Spot::Back => {
                    (Area { x: a.x, y: a.y + a.height, width: a.width, height: METAL }, Ink::Metal)
                }
            };
            d.rect(area, ink);
            if !named {
                let back = matches!(spot, Spot::Back);
                let from = if back { a.y + a.height } else { area.y };
                if back {
                    let (x, y) = (a.x + a.width - 8.0, a.y + a.height - 8.0);
                    d.text(x, y, SMALL, Anchor::End, Ink::Text, &contact.name);
                } else {
                    tags.push((area.x + 0.5 * area.width, from, &contact.name));
                }
                named = true;
            }
        }
    }
    tags.sort_by(|a, b| a.0.total_cmp(&b.0));
    let widths: Vec<f64> = tags.iter().map(|t| text_width(t.2, SMALL)).collect();
    let wanted: Vec<f64> = tags.iter().map(|t| t.0).collect();
    for (k, (row, x)) in apart(&wanted, &widths, 12.0, 6.0, WIDTH - 6.0).into_iter().enumerate() {
        let (from, start, name) = tags[k];
        let y = top - 36.0 - 14.0 * row as f64;
        let steps =
            vec![Step::Move(from, start), Step::Line(from, top - 22.0), Step::Line(x, y + 4.0)];
        d.path(steps, Stroke { ink: Ink::Quiet, width: 0.8, dash: None });
        d.text(x, y, SMALL, Anchor::Middle, Ink::Text, name);
    }
}

/// Names of wells and diffusions, and of the wafer.
fn names(d: &mut Drawing, case: Option<&Case>, mesh: &Mesh, frame: &Frame) {
    let a = frame.area;
    let all = pieces(case);
    // Diffusions below their shallow regions, wells below those, the wafer at the bottom.
    let shallow = |p: &&Piece| !p.well;
    let middles = all.iter().filter(shallow).map(|p| 0.5 * (p.from + p.to));
    let depth = middles.filter_map(|x| junction_depth(mesh, x)).fold(f64::INFINITY, f64::min);
    // Deep enough on the paper, they hold their names.
    let room = frame.y.px(depth) - a.y;
    let (inside, first) =
        if room > 21.0 && depth.is_finite() { (true, 15.0) } else { (false, 30.0) };
    let rows: [(bool, f64, f64); 2] = [(false, first, 10.0), (true, 56.0, 13.0)];
    for (well, down, size) in rows {
        let list: Vec<_> = all.iter().filter(|p| p.well == well).collect();
        let widths: Vec<f64> = list.iter().map(|p| text_width(&p.name, size)).collect();
        let wanted: Vec<f64> = list.iter().map(|p| frame.x.px(0.5 * (p.from + p.to))).collect();
        let baseline = a.y + down.min(a.height * if well { 0.62 } else { 0.35 });
        let placed = apart(&wanted, &widths, 8.0, a.x + 3.0, a.x + a.width - 3.0);
        for ((row, x), (piece, from)) in placed.into_iter().zip(list.iter().zip(&wanted)) {
            let y = baseline + 12.0 * row as f64;
            if !well && !inside {
                let steps = vec![Step::Move(*from, a.y + 5.0), Step::Line(x, y - size + 1.0)];
                d.path(steps, Stroke { ink: Ink::Quiet, width: 0.6, dash: None });
            }
            let ink = if inside && !well { Ink::Strong } else { Ink::Text };
            d.text(x, y, size, Anchor::Middle, ink, &piece.name);
            if let Some(t) = d.last_text() {
                t.bold = well;
            }
        }
    }
    if let Some(text) = wafer(case)
        && a.height > 80.0
    {
        d.text(a.x + 8.0, a.y + a.height - 9.0, SMALL, Anchor::Start, Ink::Text, &text);
    }
}

/// Depth of the first metallurgical junction below the surface at x [µm].
fn junction_depth(mesh: &Mesh, x: f64) -> Option<f64> {
    let (nx, net) = (mesh.nx(), balance(mesh));
    let i = mesh.x.partition_point(|v| *v < x).min(nx - 1);
    let surface = mesh.y.iter().position(|y| *y >= 0.0)?;
    let sign = net.get(surface * nx + i)?.signum();
    let turned = |j: &usize| net.get(j * nx + i).is_some_and(|v| v * sign < 0.0);
    (surface..mesh.ny()).find(turned).and_then(|j| mesh.y.get(j).copied())
}

/// Scales in µm below and beside a frame.
pub fn axes(d: &mut Drawing, frame: &Frame) {
    let a = frame.area;
    let bottom = a.y + a.height;
    for tick in frame.x.ticks(10) {
        let x = frame.x.px(tick.at);
        d.line([x, bottom], [x, bottom + 5.0], Stroke::thin(Ink::Quiet));
        d.text(x, bottom + 18.0, SMALL, Anchor::Middle, Ink::Quiet, &tick.label);
    }
    for tick in frame.y.ticks((a.height / 45.0) as usize) {
        let y = frame.y.px(tick.at);
        d.line([a.x - 5.0, y], [a.x, y], Stroke::thin(Ink::Quiet));
        d.text(a.x - 8.0, y + 4.0, SMALL, Anchor::End, Ink::Quiet, &tick.label);
    }
    d.text(a.x + 0.5 * a.width, bottom + 34.0, SMALL, Anchor::Middle, Ink::Quiet, "x, µm");
    d.text(14.0, a.y + 0.5 * a.height, SMALL, Anchor::Middle, Ink::Quiet, "depth, µm");
    if let Some(t) = d.last_text() {
        t.turned = true;
    }
}

fn legend(d: &mut Drawing, y: f64, stretch: f64) {
    let mut x = LEFT;
    let mut item = |d: &mut Drawing, ink: Ink, text: &str| {
        let swatch = Area { x, y: y - 9.0, width: 14.0, height: 10.0 };
        d.rect(swatch, ink);
        d.frame(swatch, Ink::Rule, 0.6);
        d.text(x + 18.0, y, 10.0, Anchor::Start, Ink::Quiet, text);
        x += 30.0 + text_width(text, 10.0);
    };
    for (ink, text) in [
        (Ink::P3, "p above 2·10¹⁸"),
        (Ink::P2, "above 2·10¹⁶"),
        (Ink::P1, "below"),
        (Ink::N1, "n below 2·10¹⁶"),
        (Ink::N2, "above"),
        (Ink::N3, "above 2·10¹⁸ cm⁻³"),
        (Ink::Oxide, "oxide"),
        (Ink::Plate, "gate"),
        (Ink::Metal, "contact"),
    ] {
        item(d, ink, text);
    }
    let note = match stretch {
        s if (s - 1.0).abs() < 1e-9 => "to scale".to_string(),
        s if s > 1.0 => format!("depth drawn ×{s:.1}"),
        s => format!("depth drawn ×{s:.2}"),
    };
    d.text(WIDTH - RIGHT, y, 10.0, Anchor::End, Ink::Quiet, &note);
}
