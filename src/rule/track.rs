//! Points solved along one number, and predictions from them.

use crate::discretize::Words;
use crate::experiment::{FoldPoint, Mark};
use crate::solve::Work;

use super::ground::{Ground, Set};

/// Linear solves made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spent {
    pub factorizations: u64,
    pub newton_steps: u64,
    /// Points of the curve solved for, failures included.
    pub points: u64,
}

impl Spent {
    /// Adds what a solver did for one point.
    pub fn add(&mut self, work: &Work) {
        self.factorizations += work.factorizations;
        self.newton_steps += work.newton_steps + work.chord_steps;
        self.points += 1;
    }

    /// Adds a whole curve.
    pub fn add_curve(&mut self, work: &Work) {
        self.add(work);
    }
}

/// Points along one number, in its order.
#[derive(Clone, Default)]
pub struct Track {
    pub points: Vec<(f64, FoldPoint)>,
}

/// Why a march ended before its goal.
#[derive(Debug, Clone, PartialEq)]
pub struct Halt {
    /// The last value with a point, and the one where none was found.
    pub last: f64,
    pub tried: f64,
    pub why: String,
}

/// Steps of one march, at most.
const STEPS: usize = 300;
/// First, largest and smallest step, as parts of the range.
const FIRST: f64 = 1.0 / 25.0;
const LARGEST: f64 = 0.2;
const SMALLEST: f64 = 1e-4;
/// Error of a prediction that steps aim at: of ln I, or of the voltage over its size.
const AIM: f64 = 0.15;

impl Track {
    /// The point nearest to a value.
    pub fn nearest(&self, value: f64) -> Option<&(f64, FoldPoint)> {
        let far = |p: &(f64, FoldPoint)| (p.0 - value).abs();
        self.points.iter().min_by(|a, b| far(a).total_cmp(&far(b)))
    }

    /// A point at `value`, from up to three solved ones near it.
    pub fn predict(&self, value: f64) -> Option<FoldPoint> {
        let mut near: Vec<(f64, &FoldPoint)> = self.points.iter().map(|(v, p)| (*v, p)).collect();
        near.sort_by(|a, b| (a.0 - value).abs().total_cmp(&(b.0 - value).abs()));
        near.truncate(3);
        blend(&near, value)
    }

    pub(super) fn insert(&mut self, value: f64, point: FoldPoint) {
        let at = self.points.partition_point(|p| p.0 < value);
        self.points.insert(at, (value, point));
    }

    /// From the point at `start` on, step by step, to `goal`; `range` scales the steps.
    pub fn march(
        &mut self,
        ground: &Ground<'_>,
        fixed: &[Set<'_>],
        path: &str,
        [start, goal, range]: [f64; 3],
        spent: &mut Spent,
    ) -> Result<(), Halt> {
        let mut here = start;
        let mut step = FIRST * range;
        for _ in 0..STEPS {
            let rest = goal - here;
            if rest == 0.0 {
                return Ok(());
            }
            // The last two steps share what is left.
            let size = if rest.abs() <= step {
                rest.abs()
            } else if rest.abs() < 1.6 * step {
                0.5 * rest.abs()
            } else {
                step
            };
            let next = if size == rest.abs() { goal } else { here + size.copysign(rest) };
            let Some(guess) = self.predict(next) else {
                return Err(Halt { last: here, tried: next, why: "no point".into() });
            };
            let mut sets = fixed.to_vec();
            sets.push((path, next));
            let found = ground.at(&sets, &guess, spent).and_then(|point| {
                let off = distance(&guess, &point);
                // A fold far from where it was expected may be another one.
                if off < 8.0 * AIM { Ok((point, off)) } else { Err("the point jumped".to_string()) }
            });
            match found {
                Ok((point, off)) => {
                    self.insert(next, point);
                    here = next;
                    let by = (AIM / off.max(1e-6)).cbrt().clamp(0.4, 2.5);
                    step = (size * by).min(LARGEST * range);
                }
                Err(why) => {
                    step = 0.4 * size;
                    if step < SMALLEST * range {
                        return Err(Halt { last: here, tried: next, why });
                    }
                }
            }
        }
        Err(Halt { last: here, tried: goal, why: format!("{STEPS} steps were not enough") })
    }
}

/// How far a prediction was off.
fn distance(guess: &FoldPoint, point: &FoldPoint) -> f64 {
    let v = (guess.lambda[0] - point.lambda[0]).abs() / (0.1 + 0.2 * point.lambda[0].abs());
    let i = match guess.current * point.current > 0.0 {
        true => (guess.current / point.current).ln().abs(),
        false => f64::INFINITY,
    };
    v + i
}

/// The polynomial through points at coordinates, at `to`: potentials, drive, ln of the
/// current. `None` without points.
pub(super) fn blend(points: &[(f64, &FoldPoint)], to: f64) -> Option<FoldPoint> {
    let (at, base) = points.first()?;
    let weight = |k: usize| -> f64 {
        points
            .iter()
            .enumerate()
            .filter(|(j, _)| *j != k)
            .fold(1.0, |w, (_, (other, _))| w * (to - other) / (points[k].0 - other))
    };
    let weights: Vec<f64> = (0..points.len()).map(weight).collect();
    if weights.iter().any(|w| !w.is_finite()) {
        return Some((*base).clone());
    }
    let mut out = (*base).clone();
    if points.len() > 1 && to != *at {
        type Pick = fn(&FoldPoint) -> &Words;
        let mix = |pick: Pick, words: &mut Words| {
            for i in 0..words.hi.len() {
                let d: f64 = points
                    .iter()
                    .zip(&weights)
                    .skip(1)
                    .map(|((_, p), w)| w * pick(p).difference_to(pick(base), i))
                    .sum();
                words.add(i, d);
            }
        };
        mix(|p| &p.state.psi, &mut out.state.psi);
        mix(|p| &p.state.phi_n, &mut out.state.phi_n);
        mix(|p| &p.state.phi_p, &mut out.state.phi_p);
        mix(|p| &p.state.temperature, &mut out.state.temperature);
        mix(|p| &p.state.volts, &mut out.state.volts);
        let sum = |of: &dyn Fn(&FoldPoint) -> f64| -> f64 {
            points.iter().zip(&weights).map(|((_, p), w)| w * of(p)).sum()
        };
        if base.mark != Mark::Level {
            out.lambda = [sum(&|p| p.lambda[0] + p.lambda[1]), 0.0];
        }
        out.current = sum(&|p| p.current.abs().max(1e-300).ln()).exp().copysign(base.current);
        out.bend = sum(&|p| p.bend);
    }
    Some(out)
}
