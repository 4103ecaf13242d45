//! Refinement of bordered systems: plain sweeps, and Krylov cycles where they stall.

use super::bordered::{Border, BorderedFactors, Whole, dot};
use super::krylov::correction;
use super::scale::{SparseColumn, Worst, residual};
use super::solve::{DirectSolver, MOST_SWEEPS, SolveInfo, WANTED};

/// Refinement that stalls above this error is helped by Krylov cycles.
const ENOUGH: f64 = 1e-11;
const KRYLOV_CYCLES: usize = 3;

impl BorderedFactors {
    /// Solve and refine.
    pub(super) fn refined(
        &self,
        solver: &mut DirectSolver,
        whole: Whole,
        (x, y): (&mut [f64], &mut [f64]),
        (f, g): (&[f64], &[f64]),
        info: &mut SolveInfo,
    ) -> Worst {
        let mut r = vec![0.0; x.len()];
        let mut s = vec![0.0; y.len()];
        self.apply(solver, whole.border, x, y);
        let mut worst = residual_of(solver, whole, (x, y), (f, g), (&mut r, &mut s));
        for sweep in 0..2 * MOST_SWEEPS {
            // The first sweep always: net currents are hair's differences of what is solved.
            let enough = sweep > 0 && worst.backward_error <= WANTED;
            if enough || !worst.backward_error.is_finite() {
                break;
            }
            self.apply(solver, whole.border, &mut r, &mut s);
            let (x_best, y_best) = (x.to_vec(), y.to_vec());
            x.iter_mut().zip(&r).for_each(|(x, d)| *x += d);
            y.iter_mut().zip(&s).for_each(|(y, d)| *y += d);
            info.refinements += 1;
            info.needed += u32::from(sweep > 0);
            let next = residual_of(solver, whole, (x, y), (f, g), (&mut r, &mut s));
            if next.backward_error >= worst.backward_error {
                x.copy_from_slice(&x_best);
                y.copy_from_slice(&y_best);
                break;
            }
            worst = next;
        }
        for _ in 0..KRYLOV_CYCLES {
            if worst.backward_error <= ENOUGH || !worst.backward_error.is_finite() {
                break;
            }
            let next = self.cycle(solver, whole, (x, y), (f, g));
            info.refinements += 1;
            info.krylov += 1;
            if next.backward_error >= worst.backward_error {
                break;
            }
            worst = next;
        }
        worst
    }

    /// One Krylov cycle; \[x; y\] change only if their error falls.
    fn cycle(
        &self,
        solver: &mut DirectSolver,
        whole: Whole,
        (x, y): (&mut [f64], &mut [f64]),
        (f, g): (&[f64], &[f64]),
    ) -> Worst {
        let n = x.len();
        let (mut r, mut s) = (vec![0.0; n], vec![0.0; y.len()]);
        let before = residual_of(solver, whole, (x, y), (f, g), (&mut r, &mut s));
        let reciprocal = |size: f64| if size > 0.0 { 1.0 / size } else { 0.0 };
        let mut weights: Vec<f64> = solver.measures().1.iter().map(|v| reciprocal(*v)).collect();
        let sizes = (0..y.len()).map(|i| reciprocal(border_size(whole.border, i, x, y, g)));
        weights.extend(sizes);
        r.extend(&s);
        let d = correction(
            |v| {
                let (a, b) = v.split_at_mut(n);
                self.apply(solver, whole.border, a, b);
            },
            |v, out| whole.multiply(n, v, out),
            &r,
            &weights,
        );
        let (x_best, y_best) = (x.to_vec(), y.to_vec());
        x.iter_mut().zip(&d[..n]).for_each(|(x, d)| *x += d);
        y.iter_mut().zip(&d[n..]).for_each(|(y, d)| *y += d);
        r.truncate(n);
        let after = residual_of(solver, whole, (x, y), (f, g), (&mut r, &mut s));
        if after.backward_error < before.backward_error {
            return after;
        }
        x.copy_from_slice(&x_best);
        y.copy_from_slice(&y_best);
        before
    }
}

/// Residual of the whole system and its componentwise backward error.
fn residual_of(
    solver: &mut DirectSolver,
    Whole { matrix, border }: Whole,
    (x, y): (&[f64], &[f64]),
    (f, g): (&[f64], &[f64]),
    (r, s): (&mut [f64], &mut [f64]),
) -> Worst {
    let m = y.len();
    let columns: Vec<(SparseColumn, f64)> =
        border.columns.iter().map(|c| &c[..]).zip(y.iter().copied()).collect();
    let (scaling, size) = solver.measures();
    let mut worst = residual(matrix, scaling, false, (x, &columns), f, (r, size));
    let most = |v: &[f64]| v.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    let largest = most(x).max(most(y));
    for i in 0..m {
        let row = &border.rows[i];
        let corner = &border.corner[i * m..(i + 1) * m];
        s[i] = g[i] - dot(row, x) - dot(corner, y);
        let whole = border_size(border, i, x, y, g);
        let e = if s[i] == 0.0 { 0.0 } else { s[i].abs() / whole };
        if e > worst.backward_error || e.is_nan() {
            let backward_error = if e.is_nan() { f64::INFINITY } else { e };
            // A source that stands still has rows where the solution is zero but for rounding.
            let n = s[i].abs() / (whole + largest * (most(row) + most(corner)));
            let normwise = worst.normwise.max(if n.is_nan() { f64::INFINITY } else { n });
            worst = Worst { backward_error, unknown: x.len() + i, normwise };
        }
    }
    worst
}

/// |g| + |C||x| + |D||y| of border equation `i`.
fn border_size(border: &Border, i: usize, x: &[f64], y: &[f64], g: &[f64]) -> f64 {
    let m = y.len();
    let size = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| (a * b).abs()).sum::<f64>();
    g[i].abs() + size(&border.rows[i], x) + size(&border.corner[i * m..(i + 1) * m], y)
}
