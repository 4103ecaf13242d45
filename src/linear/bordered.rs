//! Systems with a few more equations and unknowns than the matrix has: terminals, arclength,
//! folds.
//!
//! Block elimination with the factors of A, then refinement of the whole system. Block
//! elimination alone loses digits where A is nearly singular (at a fold), refinement brings
//! them back: W. Govaerts and J. Pryce, BIT 30 (1990) 490. What does not converge goes to a
//! general-purpose LU of the whole.

use nalgebra::{DMatrix, DVector, Dyn, FullPivLU};

use super::block::{BlockMatrix, LinearError};
use super::general::GeneralLu;
use super::scale::{Worst, power};
use super::solve::{DirectSolver, MOST_SWEEPS, SolveInfo};

/// Borders of a matrix A of n unknowns: \[A B; C D\] with m more equations and unknowns.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Border {
    /// B: m columns, each of (row, value).
    pub columns: Vec<Vec<(u32, f64)>>,
    /// C: m rows of length n, or empty if zero.
    pub rows: Vec<Vec<f64>>,
    /// D: m × m, row by row.
    pub corner: Vec<f64>,
}

/// A bordered system made ready for right-hand sides. The solver, the matrix that it has
/// factored and the border are handed in again with each: they must be the same.
pub struct BorderedFactors {
    /// A⁻¹ B, column after column.
    inverse: Vec<f64>,
    /// f and A⁻¹ f of the right-hand side to come, or empty.
    first: [Vec<f64>; 2],
    /// R (D − C A⁻¹ B) S with the scalings R, S, and its factors.
    scaled: DMatrix<f64>,
    schur: FullPivLU<f64, Dyn, Dyn>,
    row_scale: Vec<f64>,
    column_scale: Vec<f64>,
    general: Option<GeneralLu>,
}

/// Too far off for a Newton step. Far from a solution right-hand sides are so large that the
/// small equations beside them keep few digits; the next step sees what is left, while a
/// general-purpose LU of a fine mesh costs more than the whole trace.
fn is_useless(worst: &Worst) -> bool {
    !worst.backward_error.is_finite()
        || (worst.backward_error > USEFUL && worst.normwise > USEFUL_NORMWISE)
}

/// Most unknowns that the general-purpose LU of the whole is tried with: the border's dense
/// rows make its factors dense (24,000 unknowns: 4.5 GB and minutes, for one step). Beyond,
/// the caller hears that there is no answer; a trace then takes a shorter step.
const MOST_GENERAL: usize = 5_000;

const USEFUL: f64 = 1e-6;
const USEFUL_NORMWISE: f64 = 1e-9;

/// What a bordered system is made of.
#[derive(Clone, Copy)]
pub(super) struct Whole<'a> {
    pub matrix: &'a BlockMatrix,
    pub border: &'a Border,
}

impl Whole<'_> {
    /// out = \[A B; C D\] v, with n unknowns before the border's.
    pub fn multiply(&self, n: usize, v: &[f64], out: &mut [f64]) {
        let (x, y) = v.split_at(n);
        let (a, b) = out.split_at_mut(n);
        self.matrix.multiply(x, a);
        for (column, y) in self.border.columns.iter().zip(y) {
            column.iter().for_each(|&(i, c)| a[i as usize] += c * y);
        }
        let m = y.len();
        for (i, b) in b.iter_mut().enumerate() {
            let corner = &self.border.corner[i * m..(i + 1) * m];
            *b = dot(&self.border.rows[i], x) + dot(corner, y);
        }
    }
}

impl BorderedFactors {
    /// Solves with A, factored in `solver`, for every border column. Errors: no
    /// factorization, a border that does not fit, values that are not finite.
    pub fn new(
        solver: &mut DirectSolver,
        matrix: &BlockMatrix,
        border: &Border,
    ) -> Result<BorderedFactors, LinearError> {
        BorderedFactors::with_first(solver, matrix, border, &[])
    }

    /// The same, and in the same pass over the factors A⁻¹ f for the right-hand side `f` that
    /// the next [`BorderedFactors::solve`] will ask for (none if empty).
    pub fn with_first(
        solver: &mut DirectSolver,
        matrix: &BlockMatrix,
        border: &Border,
        f: &[f64],
    ) -> Result<BorderedFactors, LinearError> {
        let n = solver.unknowns();
        let m = border.columns.len();
        let fits = border.rows.len() == m
            && border.corner.len() == m * m
            && border.rows.iter().all(|v| v.is_empty() || v.len() == n)
            && border.columns.iter().flatten().all(|&(i, _)| (i as usize) < n)
            && (f.is_empty() || f.len() == n);
        let finite = border.rows.iter().flatten().chain(&border.corner).all(|v| v.is_finite())
            && border.columns.iter().flatten().all(|(_, v)| v.is_finite());
        if !fits || !finite {
            return Err(LinearError::NotFinite { row: matrix.pattern.rows });
        }
        if !solver.is_factored() {
            return Err(LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 });
        }
        let mut inverse = vec![0.0; m * n];
        inverse.extend_from_slice(f);
        for (k, column) in border.columns.iter().enumerate() {
            for &(i, v) in column {
                inverse[k * n + i as usize] += v;
            }
        }
        solver.apply(&mut inverse, if f.is_empty() { m } else { m + 1 }, false);
        let first = [f.to_vec(), inverse.split_off(m * n)];
        let mut schur = DMatrix::from_fn(m, m, |i, j| {
            border.corner[i * m + j] - dot(&border.rows[i], &inverse[j * n..(j + 1) * n])
        });
        let largest = |v: &mut dyn Iterator<Item = &f64>| {
            let size = v.fold(0.0f64, |s, v| s.max(v.abs()));
            if size.is_finite() { power(size) } else { 1.0 }
        };
        let row_scale: Vec<f64> = schur.row_iter().map(|r| largest(&mut r.iter())).collect();
        for (mut row, s) in schur.row_iter_mut().zip(&row_scale) {
            row *= *s;
        }
        let column_scale: Vec<f64> = schur.column_iter().map(|c| largest(&mut c.iter())).collect();
        for (mut column, s) in schur.column_iter_mut().zip(&column_scale) {
            column *= *s;
        }
        let scaled = schur;
        let schur = scaled.clone().full_piv_lu();
        Ok(BorderedFactors {
            inverse,
            first,
            scaled,
            schur,
            row_scale,
            column_scale,
            general: None,
        })
    }

    /// The Schur complement, scaled.
    pub(super) fn scaled_schur(&self) -> &DMatrix<f64> {
        &self.scaled
    }

    /// Scales of the Schur complement's rows and columns.
    pub(super) fn scales(&self) -> (&[f64], &[f64]) {
        (&self.row_scale, &self.column_scale)
    }

    /// Solve for one right-hand side in place: f of length n, g of length m. At least one
    /// sweep of refinement: net currents are hair's differences of what is solved. Errors: no
    /// usable answer, values that are not finite.
    pub fn solve(
        &mut self,
        solver: &mut DirectSolver,
        matrix: &BlockMatrix,
        border: &Border,
        f: &mut [f64],
        g: &mut [f64],
    ) -> Result<SolveInfo, LinearError> {
        let whole = Whole { matrix, border };
        let b = matrix.pattern.block;
        if let Some(k) = f.iter().chain(g.iter()).position(|v| !v.is_finite()) {
            return Err(LinearError::NotFinite { row: k / b });
        }
        let mut info = SolveInfo::default();
        let (f0, g0) = (f.to_vec(), g.to_vec());
        let mut worst = self.refined(solver, whole, (f, g), (&f0, &g0), &mut info);
        if is_useless(&worst) && f0.len() <= MOST_GENERAL {
            if self.general.is_none() {
                self.general = Some(GeneralLu::bordered(matrix, border)?);
                info.general += 1;
            }
            f.copy_from_slice(&f0);
            g.copy_from_slice(&g0);
            worst = self.refined(solver, whole, (f, g), (&f0, &g0), &mut info);
        }
        info.backward_error = worst.backward_error;
        if is_useless(&worst) {
            return Err(LinearError::Singular {
                backward_error: worst.backward_error,
                row: worst.unknown / b,
                unknown: worst.unknown % b,
            });
        }
        Ok(info)
    }

    /// \[x; y\], unrefined, for a right-hand side that is zero but for equation `row` of the
    /// border, where it is 1. `None` if the system is singular.
    pub fn unit(&self, n: usize, row: usize) -> Option<(Vec<f64>, Vec<f64>)> {
        let mut z = DVector::zeros(self.row_scale.len());
        *z.get_mut(row)? = self.row_scale[row];
        if !self.schur.solve_mut(&mut z) {
            return None;
        }
        let (mut x, mut y) = (vec![0.0; n], vec![0.0; z.len()]);
        self.finish(&z, &mut x, &mut y);
        Some((x, y))
    }

    /// The same for a matrix and a border near the factored ones, by refinement with the
    /// factors at hand until the change is below `tolerance` of the answer; `sweeps` counts
    /// them. `None` if that does not converge.
    pub fn unit_near(
        &self,
        solver: &mut DirectSolver,
        matrix: &BlockMatrix,
        border: &Border,
        row: usize,
        tolerance: f64,
        sweeps: &mut u64,
    ) -> Option<(Vec<f64>, Vec<f64>)> {
        let n = solver.unknowns();
        let (mut x, mut y) = self.unit(n, row)?;
        let whole = Whole { matrix, border };
        let mut product = vec![0.0; n + y.len()];
        let mut before = f64::INFINITY;
        for _ in 0..MOST_SWEEPS {
            whole.multiply(n, &[&x[..], &y[..]].concat(), &mut product);
            product.iter_mut().for_each(|v| *v = -*v);
            product[n + row] += 1.0;
            let (r, s) = product.split_at_mut(n);
            self.apply(solver, border, r, s);
            *sweeps += 1;
            x.iter_mut().zip(&*r).for_each(|(x, d)| *x += d);
            y.iter_mut().zip(&*s).for_each(|(y, d)| *y += d);
            let most = |v: &[f64]| v.iter().fold(0.0f64, |m, v| m.max(v.abs()));
            let change = (most(r) / most(&x)).max(most(s) / most(&y));
            if change <= tolerance {
                return Some((x, y));
            }
            if change.is_nan() || change > 0.3 * before {
                return None;
            }
            before = change;
        }
        None
    }

    /// One block elimination, unrefined.
    pub(super) fn apply(
        &self,
        solver: &mut DirectSolver,
        border: &Border,
        x: &mut [f64],
        y: &mut [f64],
    ) {
        if let Some(general) = &self.general {
            let mut whole = [&*x, &*y].concat();
            general.apply(&mut whole, false);
            let (a, b) = whole.split_at(x.len());
            x.copy_from_slice(a);
            y.copy_from_slice(b);
            return;
        }
        match &self.first {
            [f, known] if !f.is_empty() && f == x => x.copy_from_slice(known),
            _ => solver.apply(x, 1, false),
        }
        if y.is_empty() {
            return;
        }
        let mut z =
            DVector::from_fn(y.len(), |i, _| (y[i] - dot(&border.rows[i], x)) * self.row_scale[i]);
        // A singular Schur complement leaves NaN, which the residual sees.
        if !self.schur.solve_mut(&mut z) {
            z.fill(f64::NAN);
        }
        self.finish(&z, x, y);
    }

    /// y = S z, x ← x − A⁻¹B y.
    fn finish(&self, z: &DVector<f64>, x: &mut [f64], y: &mut [f64]) {
        let n = x.len();
        for (j, y) in y.iter_mut().enumerate() {
            *y = z[j] * self.column_scale[j];
            for (x, v) in x.iter_mut().zip(&self.inverse[j * n..(j + 1) * n]) {
                *x -= v * *y;
            }
        }
    }
}

/// Sum of products by chunks, so that rounding grows with the root of the length only.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let chunk = |(a, b): (&[f64], &[f64])| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    a.chunks(128).zip(b.chunks(128)).map(chunk).sum()
}
