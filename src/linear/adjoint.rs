//! Transposed bordered systems, from the factors of the system itself: what one quantity
//! of a solution owes to each equation.

use nalgebra::DVector;

use super::block::{BlockMatrix, LinearError};
use super::bordered::{Border, BorderedFactors};
use super::general::GeneralLu;
use super::solve::DirectSolver;

/// Sweeps of refinement at most.
const SWEEPS: usize = 12;
const WANTED: f64 = 1e-13;
/// An answer worse than this goes to the general-purpose LU, and then is none.
const USEFUL: f64 = 1e-9;

impl BorderedFactors {
    /// \[A B; C D\]ᵀ \[x; y\] = \[f; g\] in place, refined; f of length n, g of length m.
    /// Returns the componentwise backward error. Errors: no usable answer.
    pub fn solve_transposed(
        &self,
        solver: &mut DirectSolver,
        matrix: &BlockMatrix,
        border: &Border,
        f: &mut [f64],
        g: &mut [f64],
    ) -> Result<f64, LinearError> {
        let (f0, g0) = (f.to_vec(), g.to_vec());
        let mut apply = |x: &mut [f64], y: &mut [f64]| {
            self.eliminate_transposed(solver, border, x, y);
        };
        let error = refine(matrix, border, (&f0, &g0), (f, g), &mut apply);
        if error <= USEFUL {
            return Ok(error);
        }
        let general = GeneralLu::bordered(matrix, border)?;
        f.copy_from_slice(&f0);
        g.copy_from_slice(&g0);
        let mut apply = |x: &mut [f64], y: &mut [f64]| {
            let mut whole = [&*x, &*y].concat();
            general.apply(&mut whole, true);
            let (a, b) = whole.split_at(x.len());
            x.copy_from_slice(a);
            y.copy_from_slice(b);
        };
        let error = refine(matrix, border, (&f0, &g0), (f, g), &mut apply);
        if error <= USEFUL {
            return Ok(error);
        }
        Err(LinearError::Singular { backward_error: error, row: 0, unknown: 0 })
    }

    /// One block elimination: Sᵀ y = g − Bᵀ A⁻ᵀ f with the Schur complement S.
    fn eliminate_transposed(
        &self,
        solver: &mut DirectSolver,
        border: &Border,
        x: &mut [f64],
        y: &mut [f64],
    ) {
        solver.apply(x, 1, true);
        let (rows, columns) = self.scales();
        let mut z = DVector::from_fn(y.len(), |j, _| {
            let b: f64 = border.columns[j].iter().map(|&(i, v)| v * x[i as usize]).sum();
            (y[j] - b) * columns[j]
        });
        if !self.scaled_schur().transpose().full_piv_lu().solve_mut(&mut z) {
            z.fill(f64::NAN);
        }
        let mut rest = vec![0.0; x.len()];
        for (i, y) in y.iter_mut().enumerate() {
            *y = z[i] * rows[i];
            for (r, c) in rest.iter_mut().zip(&border.rows[i]) {
                *r += c * *y;
            }
        }
        solver.apply(&mut rest, 1, true);
        x.iter_mut().zip(&rest).for_each(|(x, r)| *x -= r);
    }
}

/// Refinement of the whole system until its backward error no longer falls.
fn refine(
    matrix: &BlockMatrix,
    border: &Border,
    (f, g): (&[f64], &[f64]),
    (x, y): (&mut [f64], &mut [f64]),
    apply: &mut dyn FnMut(&mut [f64], &mut [f64]),
) -> f64 {
    apply(x, y);
    let (mut r, mut s, mut error) = residual(matrix, border, (f, g), (x, y));
    for _ in 0..SWEEPS {
        if error <= WANTED || !error.is_finite() {
            break;
        }
        let (x_best, y_best) = (x.to_vec(), y.to_vec());
        apply(&mut r, &mut s);
        x.iter_mut().zip(&r).for_each(|(x, d)| *x += d);
        y.iter_mut().zip(&s).for_each(|(y, d)| *y += d);
        let next = residual(matrix, border, (f, g), (x, y));
        if next.2.is_nan() || next.2 >= error {
            x.copy_from_slice(&x_best);
            y.copy_from_slice(&y_best);
            break;
        }
        (r, s, error) = next;
    }
    if error.is_nan() { f64::INFINITY } else { error }
}

/// \[f; g\] − Mᵀ \[x; y\] and its componentwise backward error.
fn residual(
    matrix: &BlockMatrix,
    border: &Border,
    (f, g): (&[f64], &[f64]),
    (x, y): (&[f64], &[f64]),
) -> (Vec<f64>, Vec<f64>, f64) {
    let (n, m, b) = (x.len(), y.len(), matrix.pattern.block);
    let whole: Vec<f64> = f.iter().chain(g).copied().collect();
    let mut size: Vec<f64> = whole.iter().map(|v| v.abs()).collect();
    let mut rest = whole;
    let mut take = |at: usize, v: f64| {
        rest[at] -= v;
        size[at] += v.abs();
    };
    let pattern = &*matrix.pattern;
    for row in 0..pattern.rows {
        for k in pattern.start[row]..pattern.start[row + 1] {
            let column = pattern.columns[k] as usize;
            let block = &matrix.values[k * b * b..(k + 1) * b * b];
            for i in 0..b {
                for j in 0..b {
                    take(column * b + j, block[i * b + j] * x[row * b + i]);
                }
            }
        }
    }
    for (i, y) in y.iter().enumerate() {
        for (k, c) in border.rows[i].iter().enumerate() {
            take(k, c * y);
        }
        for (j, d) in border.corner[i * m..(i + 1) * m].iter().enumerate() {
            take(n + j, d * y);
        }
    }
    for (j, column) in border.columns.iter().enumerate() {
        for &(i, v) in column {
            take(n + j, v * x[i as usize]);
        }
    }
    let error = rest
        .iter()
        .zip(&size)
        .map(|(r, s)| if *r == 0.0 { 0.0 } else { r.abs() / s })
        .fold(0.0f64, |m, e| if e.is_nan() { f64::NAN } else { m.max(e) });
    let s = rest.split_off(n);
    (rest, s, error)
}
