//! Sampling lines that see every feature of the doping: fine in the tails, exactly on
//! abrupt edges. Used to read the cross-section as a circuit and to find junctions.

use super::Structure;
use super::profile::{Lateral, Vertical};
use crate::case::{Case, Touch};

/// Subdivisions of a falloff or spread.
const PER_TAIL: f64 = 24.0;
/// A Gaussian of 1e21 has fallen below 1e10 after five falloffs.
const TAIL: f64 = 5.0;
/// Coarsest sample, as a fraction of the extent.
const COARSE: f64 = 1.0 / 120.0;
/// Fewest samples between two features.
const LEAST: usize = 3;
/// Most samples between two features (a falloff far below the extent).
const MOST: f64 = 2000.0;
/// Most samples of a cross-section.
const MOST_SAMPLES: usize = 2_000_000;

/// Lines in x and y \[µm\], strictly growing; the samples are the cells' centres.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleLines {
    pub x: Vec<f64>,
    pub y: Vec<f64>,
}

/// [a, b] is to be sampled at least every `step`.
struct Fine {
    a: f64,
    b: f64,
    step: f64,
}

impl SampleLines {
    /// The sampling lines of a cross-section.
    pub fn new(case: &Case, structure: &Structure) -> SampleLines {
        let (mut x, mut y) = (Vec::new(), Vec::new());
        let mark = |list: &mut Vec<Fine>, at: f64| {
            list.push(Fine { a: at, b: at, step: f64::INFINITY });
        };
        for term in &structure.terms {
            if let Lateral::Window { from, to, spread } = term.lateral {
                mark(&mut x, from);
                mark(&mut x, to);
                let step = spread / PER_TAIL;
                if spread > 0.0 {
                    x.push(Fine { a: from - TAIL * spread, b: from, step });
                    x.push(Fine { a: to, b: to + TAIL * spread, step });
                }
            }
            match &term.vertical {
                Vertical::Everywhere => {}
                Vertical::Gaussian { crest, falloff } => {
                    let step = falloff / PER_TAIL;
                    y.push(Fine { a: *crest, b: crest + TAIL * falloff, step });
                    y.push(Fine { a: crest - TAIL * falloff, b: *crest, step });
                }
                Vertical::Erfc { crest, falloff } => {
                    let step = falloff / PER_TAIL;
                    y.push(Fine { a: *crest, b: crest + TAIL * falloff, step });
                }
                Vertical::Box { top, bottom } => {
                    mark(&mut y, *top);
                    mark(&mut y, *bottom);
                }
                Vertical::Table { depth, .. } => depth.iter().for_each(|d| mark(&mut y, *d)),
                Vertical::Step { at, blur, .. } => {
                    mark(&mut y, *at);
                    if *blur > 0.0 {
                        let step = blur / PER_TAIL;
                        y.push(Fine { a: at - 3.0 * blur, b: at + 3.0 * blur, step });
                    }
                }
            }
        }
        for trench in structure.trenches() {
            mark(&mut x, trench.from);
            mark(&mut x, trench.to);
            mark(&mut y, trench.depth);
        }
        for gate in structure.gates() {
            mark(&mut x, gate.from);
            mark(&mut x, gate.to);
        }
        for touch in case.terminals.iter().flat_map(|t| &t.touches) {
            if let Touch::Surface { from, to } = touch {
                mark(&mut x, *from);
                mark(&mut x, *to);
            }
        }
        // A layout with very many pieces is sampled less finely rather than for seconds.
        let mut coarser = 1.0;
        loop {
            let sampled = SampleLines {
                x: lines(structure.span, &x, coarser),
                y: lines(structure.thickness, &y, coarser),
            };
            if sampled.x.len() * sampled.y.len() <= MOST_SAMPLES || coarser >= 8.0 {
                return sampled;
            }
            coarser *= 2.0;
        }
    }
}

/// Lines from 0 to `length`, with every feature end on a line.
fn lines(length: f64, fine: &[Fine], coarser: f64) -> Vec<f64> {
    let mut marks: Vec<f64> = fine
        .iter()
        .flat_map(|f| [f.a, f.b])
        .chain([0.0, length])
        .map(|v| v.clamp(0.0, length))
        .collect();
    marks.sort_by(f64::total_cmp);
    marks.dedup_by(|b, a| *b - *a < 1e-7);
    let mut out = vec![0.0];
    for pair in marks.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let step = fine
            .iter()
            .filter(|f| f.a < b - 1e-9 && f.b > a + 1e-9)
            .map(|f| coarser * f.step)
            .fold(COARSE * length, f64::min);
        let n = (((b - a) / step).ceil().min(MOST) as usize).max(LEAST);
        for k in 1..=n {
            out.push(if k == n { b } else { a + (b - a) * k as f64 / n as f64 });
        }
    }
    out
}
