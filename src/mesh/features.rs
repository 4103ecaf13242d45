//! What the mesh has to resolve: fixed lines and wished spacings from the layout and
//! the doping.
//!
//! The fractions below were chosen so that scale 1 is a converged mesh and a node
//! budget only moves the common scale; common practice, no source.

use super::junction::{Axis, Cut, Junction};
use super::lines::{Band, Wish};
use crate::case::{Case, Touch};
use crate::structure::{Lateral, SampleLines, Structure, Vertical};

/// Intervals across a junction's depletion at rest, at scale 1.
const ACROSS: f64 = 8.0;
/// The same at the edges of diffusions: there are many, and the current of the path
/// leaves a source through its bottom or towards the well.
const ACROSS_EDGE: f64 = 4.0;
/// The same between wells and wafer: the junction that breaks down.
const ACROSS_DEEP: f64 = 14.0;
/// Around a deep junction, reverse bias widens the depletion to about this multiple.
const WIDENED: f64 = 2.5;
/// Intervals per falloff.
const PER_TAIL: f64 = 4.0;
/// Intervals per spread of a well.
const PER_SPREAD: f64 = 4.0;
/// Intervals per deepest junction, everywhere above it.
const PER_BASE: f64 = 18.0;
/// Intervals per extent, everywhere.
const PER_EXTENT: f64 = 24.0;
/// How much coarser an axis without features is.
const IDLE: f64 = 4.0;
/// Intervals between two junctions of a cut, at any scale.
const PER_GAP: f64 = 2.0;
/// Lines closer than this [µm] are one line.
const SAME: f64 = 1e-6;
pub(crate) const DEFAULT_FINEST: f64 = 0.004;

/// Wishes for both axes and the junctions behind them.
#[derive(Debug, Clone)]
pub(crate) struct Features {
    pub x: Wish,
    pub y: Wish,
    pub junctions: Vec<Junction>,
}

impl Features {
    /// Collects the features of a cross-section.
    pub fn new(case: &Case, structure: &Structure) -> Features {
        let junctions = find_junctions(case, structure);
        let finest = case.grid.finest.unwrap_or(DEFAULT_FINEST);
        let mut x = Collector::new(structure.span, finest);
        let mut y = Collector::new(structure.thickness, finest);
        for j in &junctions {
            let list = if j.axis == Axis::X { &mut x } else { &mut y };
            let across = match (j.deep, j.axis) {
                (true, _) => ACROSS_DEEP,
                (false, Axis::X) => ACROSS_EDGE,
                (false, Axis::Y) => ACROSS,
            };
            list.edge = j.axis == Axis::X && !j.deep;
            list.band(j.at - j.before, j.at + j.after, j.width() / across);
            list.edge = false;
            if j.deep {
                let (a, b) = (WIDENED * j.before, WIDENED * j.after);
                list.band(j.at - a, j.at + b, j.width() / ACROSS);
            }
        }
        for term in &structure.terms {
            lateral_wishes(&term.lateral, term.deep, &mut x);
            vertical_wishes(&term.vertical, &mut y);
        }
        for trench in structure.trenches() {
            let h = (trench.depth / 8.0).min((trench.to - trench.from) / 10.0);
            x.interface(trench.from, h);
            x.interface(trench.to, h);
            y.interface(trench.depth, h);
        }
        x.edge = true;
        for gate in structure.gates() {
            let h = (gate.to - gate.from) / 12.0;
            x.band(gate.from, gate.to, h);
            x.interface(gate.from, 0.5 * h);
            x.interface(gate.to, 0.5 * h);
            y.fixed.push(-gate.oxide);
            y.point(0.0, 1e-3);
            // Inside the oxide the potential is nearly straight.
            let least = (gate.oxide / 4.0).max(0.5 * finest).min(gate.oxide);
            let h = gate.oxide / 6.0;
            y.bands.push(Band { a: -gate.oxide, b: 0.0, h, floor: least, edge: false });
        }
        contact_wishes(case, structure, &junctions, &mut x);
        x.edge = false;
        x.bands.extend(gaps(&junctions, Axis::X, finest));
        y.bands.extend(gaps(&junctions, Axis::Y, finest));
        if case
            .terminals
            .iter()
            .flat_map(|t| &t.touches)
            .any(|t| matches!(t, Touch::Surface { .. }))
        {
            let shallow = shallowest(&junctions).unwrap_or(structure.thickness / 4.0);
            y.point(0.0, shallow / 10.0);
        }
        let deepest =
            junctions.iter().filter(|j| j.axis == Axis::Y).map(|j| j.at).fold(0.0, f64::max);
        if deepest > 0.0 {
            y.band(0.0, deepest, deepest / PER_BASE);
        }
        // Both axes get the same coarsest spacing, but an axis on which nothing happens
        // (across a bar) must not take the nodes.
        let coarse = structure.span.max(structure.thickness) / PER_EXTENT;
        let middle = |w: Wish, length: f64| {
            let h = if w.bands.is_empty() { IDLE * coarse } else { coarse };
            let mut bands = w.bands;
            bands.push(Band { a: 0.0, b: length, h, floor: 0.0, edge: false });
            bands.push(Band { a: 0.0, b: length, h: 0.0, floor: length / 2.0, edge: false });
            Wish { bands, ..w }
        };
        Features {
            x: middle(x.finish(0.0), structure.span),
            y: middle(y.finish(f64::NEG_INFINITY), structure.thickness),
            junctions,
        }
    }
}

/// Gathers one axis.
struct Collector {
    length: f64,
    finest: f64,
    /// What is gathered now are edges of the layout.
    edge: bool,
    fixed: Vec<f64>,
    bands: Vec<Band>,
}

impl Collector {
    fn new(length: f64, finest: f64) -> Collector {
        Collector { length, finest, edge: false, fixed: Vec::new(), bands: Vec::new() }
    }

    /// Spacing h over [a, b], clipped to the axis; nothing if it lies outside.
    fn band(&mut self, a: f64, b: f64, h: f64) {
        let (a, b) = (a.max(0.0), b.min(self.length));
        if a <= b && h > 0.0 && h.is_finite() {
            self.bands.push(Band { a, b, h, floor: self.finest, edge: self.edge });
        }
    }

    fn point(&mut self, at: f64, h: f64) {
        self.band(at, at, h);
    }

    /// A line exactly there, with spacing h; nothing at the ends, which are lines anyway.
    fn interface(&mut self, at: f64, h: f64) {
        if at > SAME && at < self.length - SAME {
            self.fixed.push(at);
            self.point(at, h);
        }
    }

    fn finish(mut self, lowest: f64) -> Wish {
        self.fixed.retain(|f| f.is_finite() && *f >= lowest && *f < self.length - SAME);
        self.fixed.push(0.0);
        self.fixed.sort_by(f64::total_cmp);
        self.fixed.dedup_by(|b, a| *b - *a < SAME);
        self.fixed.push(self.length);
        // The ends are exact whatever was merged with them.
        for f in &mut self.fixed {
            if f.abs() < SAME {
                *f = 0.0;
            }
        }
        self.bands.sort_by(|p, q| {
            p.a.total_cmp(&q.a).then(p.b.total_cmp(&q.b)).then(p.h.total_cmp(&q.h))
        });
        self.bands.dedup();
        Wish { fixed: self.fixed, bands: self.bands }
    }
}

fn lateral_wishes(lateral: &Lateral, deep: bool, x: &mut Collector) {
    let Lateral::Window { from, to, spread } = *lateral else { return };
    if spread > 0.0 {
        // The tails beside a diffusion matter where they make a junction, and that
        // wishes its own spacing.
        if !deep {
            return;
        }
        let h = spread / PER_SPREAD;
        x.band(from - 2.5 * spread, from, h);
        x.band(to, to + 2.5 * spread, h);
    } else {
        // The junction there, if any, wishes its own spacing.
        let h = (to - from) / 8.0;
        x.interface(from, h);
        x.interface(to, h);
    }
}

fn vertical_wishes(vertical: &Vertical, y: &mut Collector) {
    match vertical {
        Vertical::Everywhere => {}
        Vertical::Gaussian { crest, falloff } => {
            y.band(crest - 2.5 * falloff, crest + 2.5 * falloff, falloff / PER_TAIL);
        }
        Vertical::Erfc { crest, falloff } => {
            y.band(*crest, crest + 2.0 * falloff, falloff / PER_TAIL);
        }
        Vertical::Box { top, bottom } => {
            let h = (bottom - top) / 8.0;
            y.interface(*top, h);
            y.interface(*bottom, h);
        }
        Vertical::Table { depth, .. } => {
            for w in depth.windows(2) {
                y.band(w[0], w[1], (w[1] - w[0]) / 2.0);
            }
            if let (Some(first), Some(last)) = (depth.first(), depth.last()) {
                y.interface(*last, (last - first) / 16.0);
            }
        }
        Vertical::Step { at, blur, .. } => {
            if *blur > 0.0 {
                y.band(at - 2.0 * blur, at + 2.0 * blur, blur / PER_TAIL);
            } else {
                y.interface(*at, at / 16.0);
            }
        }
    }
}

/// Current crowds at contact edges on the scale of the junction below them.
fn contact_wishes(case: &Case, structure: &Structure, junctions: &[Junction], x: &mut Collector) {
    for touch in case.terminals.iter().flat_map(|t| &t.touches) {
        let Touch::Surface { from, to } = touch else { continue };
        let mid = 0.5 * (from + to);
        let below = junctions
            .iter()
            .filter(|j| j.axis == Axis::Y && (j.across - mid).abs() <= 0.5 * (to - from))
            .map(|j| j.at)
            .fold(f64::INFINITY, f64::min);
        let h = (below / 4.0).min((to - from) / 6.0).min(structure.thickness / 10.0);
        x.interface(*from, h);
        x.interface(*to, h);
    }
}

/// What lies between two junctions on a cut keeps some intervals however small the budget:
/// a channel without a line in it is a short between source and drain.
fn gaps(junctions: &[Junction], axis: Axis, finest: f64) -> Vec<Band> {
    let mut along: Vec<&Junction> = junctions.iter().filter(|j| j.axis == axis).collect();
    along.sort_by(|p, q| p.across.total_cmp(&q.across).then(p.at.total_cmp(&q.at)));
    let between = |w: &[&Junction]| {
        let (a, b) = (w[0].at, w[1].at);
        let floor = ((b - a) / PER_GAP).max(finest);
        // Not scaled: a wish of 0 asks for its floor.
        (w[0].across == w[1].across && b - a > SAME).then_some(Band {
            a,
            b,
            h: 0.0,
            floor,
            edge: false,
        })
    };
    along.windows(2).filter_map(between).collect()
}

fn shallowest(junctions: &[Junction]) -> Option<f64> {
    junctions.iter().filter(|j| j.axis == Axis::Y).map(|j| j.at).min_by(f64::total_cmp)
}

/// Junctions along vertical cuts (through every piece, between pieces, at the ends) and
/// along horizontal cuts at the surface and several depths.
fn find_junctions(case: &Case, structure: &Structure) -> Vec<Junction> {
    let lines = SampleLines::new(case, structure);
    let mut edges = vec![0.0, structure.span];
    let mut centres = Vec::new();
    for term in &structure.terms {
        if let Lateral::Window { from, to, .. } = term.lateral {
            edges.extend([from, to]);
            centres.push(0.5 * (from.max(0.0) + to.min(structure.span)));
        }
    }
    for trench in structure.trenches() {
        edges.extend([trench.from, trench.to]);
    }
    for touch in case.terminals.iter().flat_map(|t| &t.touches) {
        if let Touch::Surface { from, to } = touch {
            centres.push(0.5 * (from + to));
        }
    }
    let vertical = between(edges, structure.span, centres);
    let mut junctions = Vec::new();
    for across in vertical {
        let cut = Cut { structure, axis: Axis::Y, across };
        junctions.extend(cut.junctions(&lines));
    }

    let mut depths = vec![0.0, structure.thickness];
    for term in &structure.terms {
        match &term.vertical {
            Vertical::Gaussian { crest, .. } | Vertical::Erfc { crest, .. } => depths.push(*crest),
            Vertical::Box { top, bottom } => depths.extend([*top, *bottom]),
            _ => {}
        }
    }
    depths.extend(structure.trenches().iter().map(|t| t.depth));
    // One depth for junctions that lie together, else the cuts multiply.
    let mut found: Vec<f64> = junctions.iter().map(|j| j.at).collect();
    found.sort_by(f64::total_cmp);
    found.dedup_by(|b, a| *b - *a < 0.05 * *b);
    depths.extend(found);
    let horizontal = between(depths, structure.thickness, vec![1e-4 * structure.thickness]);
    for across in horizontal {
        let cut = Cut { structure, axis: Axis::X, across };
        junctions.extend(cut.junctions(&lines));
    }
    junctions
}

/// Middles between neighbouring edges within (0, length), and some more places.
fn between(mut edges: Vec<f64>, length: f64, mut more: Vec<f64>) -> Vec<f64> {
    edges.retain(|e| *e >= 0.0 && *e <= length);
    edges.sort_by(f64::total_cmp);
    edges.dedup_by(|b, a| *b - *a < SAME);
    more.extend(edges.windows(2).map(|w| 0.5 * (w[0] + w[1])));
    more.retain(|m| *m > 0.0 && *m < length);
    more.sort_by(f64::total_cmp);
    more.dedup_by(|b, a| *b - *a < SAME);
    more
}
