//! Interval sizes that follow the wished spacing, fill every segment exactly and keep
//! the growth bound.
//!
//! Unknowns are z = size/wish. Minimised: the squared jumps of z between neighbours and,
//! weakly, its distance from 1; beyond the growth bound a neighbour pays a quadratic
//! penalty on size_{i+1} − r·size_i (and the mirrored one). The segment lengths are linear
//! constraints. The problem is convex and piecewise quadratic: its minimum is unique,
//! hence deterministic and mirror-symmetric, and Newton's method on it ends in a few
//! rounds (Nocedal and Wright, Numerical Optimization, 2nd ed., chapter 16).

use nalgebra::{DMatrix, DVector};

const ROUNDS: usize = 40;
/// Weight of staying near the wish.
const NEAR: f64 = 1e-2;
/// Weight of the part of a jump beyond the bound.
const PENALTY: f64 = 1e4;
/// The penalty starts at this part of ln(growth).
const HELD: f64 = 0.95;

/// Sizes [µm], segment by segment; they fill `lengths` but may break the bound where it
/// cannot be kept. `wished`: ln of the wished sizes per segment.
pub(super) fn smooth(wished: &[Vec<f64>], lengths: &[f64], log_growth: f64) -> Vec<Vec<f64>> {
    let wish: Vec<f64> = wished.iter().flatten().map(|v| v.exp()).collect();
    let mut segment_of = Vec::with_capacity(wish.len());
    for (k, list) in wished.iter().enumerate() {
        segment_of.extend(std::iter::repeat_n(k, list.len()));
    }
    let problem = Problem { wish, segment_of, lengths, bound: (HELD * log_growth).exp() };
    let z = problem.solve();
    let mut out: Vec<Vec<f64>> = vec![Vec::new(); lengths.len()];
    for ((z, w), k) in z.iter().zip(&problem.wish).zip(&problem.segment_of) {
        out[*k].push(z * w);
    }
    out
}

struct Problem<'a> {
    wish: Vec<f64>,
    segment_of: Vec<usize>,
    lengths: &'a [f64],
    bound: f64,
}

/// Gradient and tridiagonal Hessian of the objective.
struct Model {
    value: f64,
    gradient: Vec<f64>,
    diagonal: Vec<f64>,
    beside: Vec<f64>,
}

impl Problem<'_> {
    fn solve(&self) -> Vec<f64> {
        let mut sums = vec![0.0; self.lengths.len()];
        for (w, k) in self.wish.iter().zip(&self.segment_of) {
            sums[*k] += w;
        }
        // Start: every segment scaled to its length; later steps keep the lengths.
        let mut z: Vec<f64> = self.segment_of.iter().map(|k| self.lengths[*k] / sums[*k]).collect();
        let mut model = self.model(&z);
        for _ in 0..ROUNDS {
            let Some(step) = self.step(&model) else { break };
            let mut part = 1.0;
            let (next, next_model) = loop {
                let next: Vec<f64> = z.iter().zip(&step).map(|(a, s)| a + part * s).collect();
                let next_model = self.model(&next);
                if next_model.value <= model.value || part < 1e-3 {
                    break (next, next_model);
                }
                part *= 0.5;
            };
            let settled = next_model.value >= model.value * (1.0 - 1e-14);
            (z, model) = (next, next_model);
            if settled {
                break;
            }
        }
        z
    }

    fn model(&self, z: &[f64]) -> Model {
        let n = z.len();
        let mut m = Model {
            value: 0.0,
            gradient: z.iter().map(|a| NEAR * (a - 1.0)).collect(),
            diagonal: vec![NEAR; n],
            beside: vec![0.0; n.saturating_sub(1)],
        };
        m.value += z.iter().map(|a| 0.5 * NEAR * (a - 1.0).powi(2)).sum::<f64>();
        for i in 0..n.saturating_sub(1) {
            m.pair(i, 1.0, [-1.0, 1.0], z[i + 1] - z[i]);
            let (a, b) = (self.wish[i], self.wish[i + 1]);
            let mean = 0.5 * (a + b);
            for c in [[-self.bound * a / mean, b / mean], [a / mean, -self.bound * b / mean]] {
                let excess = c[0] * z[i] + c[1] * z[i + 1];
                if excess > 0.0 {
                    m.pair(i, PENALTY, c, excess);
                }
            }
        }
        m
    }

    /// Newton's step that keeps the segment lengths.
    fn step(&self, model: &Model) -> Option<Vec<f64>> {
        let (n, m) = (self.wish.len(), self.lengths.len());
        let factor = Tridiagonal::new(model.diagonal.clone(), &model.beside);
        let mut step = factor.solve(model.gradient.iter().map(|g| -g).collect());
        let share = |i: usize| self.wish[i] / self.lengths[self.segment_of[i]];
        let columns: Vec<Vec<f64>> = (0..m)
            .map(|k| {
                let one = |i: usize| if self.segment_of[i] == k { share(i) } else { 0.0 };
                factor.solve((0..n).map(one).collect())
            })
            .collect();
        let mut schur = DMatrix::<f64>::zeros(m, m);
        let mut gap = DVector::<f64>::zeros(m);
        for (i, k) in self.segment_of.iter().enumerate() {
            gap[*k] += share(i) * step[i];
            for (l, column) in columns.iter().enumerate() {
                schur[(*k, l)] += share(i) * column[i];
            }
        }
        let multiplier = schur.lu().solve(&gap)?;
        for (column, l) in columns.iter().zip(multiplier.iter()) {
            step.iter_mut().zip(column).for_each(|(s, c)| *s -= l * c);
        }
        step.iter().all(|s| s.is_finite()).then_some(step)
    }
}

impl Model {
    /// Adds ½·weight·(c·(z_i, z_{i+1}))², whose linear form has the value `form`.
    fn pair(&mut self, i: usize, weight: f64, c: [f64; 2], form: f64) {
        self.value += 0.5 * weight * form * form;
        self.gradient[i] += weight * form * c[0];
        self.gradient[i + 1] += weight * form * c[1];
        self.diagonal[i] += weight * c[0] * c[0];
        self.diagonal[i + 1] += weight * c[1] * c[1];
        self.beside[i] += weight * c[0] * c[1];
    }
}

/// A symmetric positive definite tridiagonal matrix, factored.
struct Tridiagonal {
    pivot: Vec<f64>,
    ratio: Vec<f64>,
}

impl Tridiagonal {
    fn new(mut pivot: Vec<f64>, beside: &[f64]) -> Tridiagonal {
        let mut ratio = vec![0.0; beside.len()];
        for (i, b) in beside.iter().enumerate() {
            ratio[i] = b / pivot[i];
            pivot[i + 1] -= ratio[i] * b;
        }
        Tridiagonal { pivot, ratio }
    }

    fn solve(&self, mut b: Vec<f64>) -> Vec<f64> {
        for i in 0..self.ratio.len() {
            b[i + 1] -= self.ratio[i] * b[i];
        }
        for (x, p) in b.iter_mut().zip(&self.pivot) {
            *x /= p;
        }
        for i in (0..self.ratio.len()).rev() {
            b[i] -= self.ratio[i] * b[i + 1];
        }
        b
    }
}
