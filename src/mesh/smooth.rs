//! Interval sizes that follow the wished spacing, fill every segment exactly and keep
//! the growth bound.
//!
//! Unknowns are u = ln(size). Minimised: the squared jumps of u − wish between
//! neighbours and, weakly, u − wish itself; where a jump of u nears the bound, it is
//! drawn back by a penalty. The segment lengths are constraints, Σ exp(u) = length,
//! linearised at every round (sequential quadratic programming; Nocedal and Wright,
//! Numerical Optimization, 2nd ed., section 18.1). Deterministic, mirror-symmetric.

use nalgebra::{DMatrix, DVector};

/// Rounds; lengths converge quadratically, the set of penalised jumps in a few.
const ROUNDS: usize = 24;
/// Weight of staying near the wish.
const NEAR: f64 = 1e-2;
/// Weight of a penalised jump.
const PENALTY: f64 = 300.0;

/// Sizes [µm], segment by segment. `wished`: ln of the wished sizes per segment.
pub(super) fn smooth(wished: &[Vec<f64>], lengths: &[f64], log_growth: f64) -> Vec<Vec<f64>> {
    let v: Vec<f64> = wished.iter().flatten().copied().collect();
    let mut segment_of = Vec::with_capacity(v.len());
    for (k, list) in wished.iter().enumerate() {
        segment_of.extend(std::iter::repeat_n(k, list.len()));
    }
    // Start: every segment scaled to its length.
    let mut u = v.clone();
    let sums = segment_sums(&u, &segment_of, lengths.len());
    for (x, k) in u.iter_mut().zip(&segment_of) {
        *x += (lengths[*k] / sums[*k]).ln();
    }
    let mut penalised = vec![false; v.len().saturating_sub(1)];
    for _ in 0..ROUNDS {
        let mut changed = false;
        for i in 0..penalised.len() {
            let near = (u[i + 1] - u[i]).abs() > 0.985 * log_growth;
            changed |= near && !penalised[i];
            penalised[i] |= near;
        }
        let Some(step) = step(&u, &v, &penalised, log_growth, &segment_of, lengths) else { break };
        let largest = step.iter().fold(0.0f64, |m, s| m.max(s.abs()));
        let shorten = (0.7 / largest).min(1.0);
        u.iter_mut().zip(&step).for_each(|(x, s)| *x += shorten * s);
        if largest < 1e-11 && !changed {
            break;
        }
    }
    let mut out: Vec<Vec<f64>> = vec![Vec::new(); lengths.len()];
    let sums = segment_sums(&u, &segment_of, lengths.len());
    for (x, k) in u.iter().zip(&segment_of) {
        out[*k].push(x.exp() * lengths[*k] / sums[*k]);
    }
    out
}

fn segment_sums(u: &[f64], segment_of: &[usize], segments: usize) -> Vec<f64> {
    let mut sums = vec![0.0; segments];
    for (x, k) in u.iter().zip(segment_of) {
        sums[*k] += x.exp();
    }
    sums
}

/// One step of the quadratic programme: tridiagonal Hessian, one constraint a segment.
fn step(
    u: &[f64],
    v: &[f64],
    penalised: &[bool],
    log_growth: f64,
    segment_of: &[usize],
    lengths: &[f64],
) -> Option<Vec<f64>> {
    let (n, m) = (u.len(), lengths.len());
    let mut diagonal = vec![NEAR; n];
    let mut beside = vec![0.0; n.saturating_sub(1)];
    let mut right: Vec<f64> = (0..n).map(|i| -NEAR * (u[i] - v[i])).collect();
    for i in 0..n.saturating_sub(1) {
        let jump = u[i + 1] - u[i];
        let (weight, target) = if penalised[i] {
            (PENALTY, 0.95 * log_growth * jump.signum())
        } else {
            (1.0, v[i + 1] - v[i])
        };
        diagonal[i] += weight;
        diagonal[i + 1] += weight;
        beside[i] = -weight;
        right[i] += weight * (jump - target);
        right[i + 1] -= weight * (jump - target);
    }
    let factor = Tridiagonal::new(diagonal, beside);
    let free = factor.solve(right);
    // Constraint k: Σ e^u Δ = length − Σ e^u over its intervals.
    let sums = segment_sums(u, segment_of, m);
    let mut columns = Vec::with_capacity(m);
    for k in 0..m {
        let column = (0..n)
            .map(|i| if segment_of[i] == k { u[i].exp() / lengths[k] } else { 0.0 })
            .collect();
        columns.push(factor.solve(column));
    }
    let mut schur = DMatrix::<f64>::zeros(m, m);
    let mut gap = DVector::<f64>::zeros(m);
    for i in 0..n {
        let k = segment_of[i];
        let a = u[i].exp() / lengths[k];
        gap[k] += a * free[i];
        for (l, column) in columns.iter().enumerate() {
            schur[(k, l)] += a * column[i];
        }
    }
    for k in 0..m {
        gap[k] -= 1.0 - sums[k] / lengths[k];
    }
    let multiplier = schur.lu().solve(&gap)?;
    let mut step = free;
    for (column, l) in columns.iter().zip(multiplier.iter()) {
        step.iter_mut().zip(column).for_each(|(s, c)| *s -= l * c);
    }
    step.iter().all(|s| s.is_finite()).then_some(step)
}

/// A symmetric positive tridiagonal matrix, factored.
struct Tridiagonal {
    pivot: Vec<f64>,
    ratio: Vec<f64>,
}

impl Tridiagonal {
    fn new(mut pivot: Vec<f64>, beside: Vec<f64>) -> Tridiagonal {
        let mut ratio = vec![0.0; beside.len()];
        for i in 0..beside.len() {
            ratio[i] = beside[i] / pivot[i];
            pivot[i + 1] -= ratio[i] * beside[i];
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
