//! A general-purpose sparse LU (faer) behind the interface of `linear`.

use std::sync::Arc;

use faer::linalg::solvers::Solve;
use faer::sparse::linalg::solvers::{Lu, SymbolicLu};
use faer::sparse::{SparseColMat, SymbolicSparseColMat};

use super::block::{BlockMatrix, BlockPattern, LinearError};

/// What one solve did.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SolveInfo {
    /// Largest componentwise backward error after refinement.
    pub backward_error: f64,
    /// Refinement sweeps.
    pub refinements: u32,
}

/// The one interface that `solve` and `trace` use: analyse once per mesh, factor per
/// matrix, solve for any number of right-hand sides.
pub struct DirectSolver {
    pattern: Arc<BlockPattern>,
    symbolic: SymbolicLu<usize>,
    /// CSC structure and, for each entry, its index in `BlockMatrix::values`.
    col_start: Vec<usize>,
    row_index: Vec<usize>,
    source: Vec<usize>,
    scale: Vec<f64>,
    lu: Option<Lu<usize, f64>>,
}

impl DirectSolver {
    /// Symbolic analysis of a pattern.
    pub fn new(pattern: Arc<BlockPattern>) -> Result<DirectSolver, LinearError> {
        let b = pattern.block;
        let n = pattern.rows * b;
        let mut count = vec![0usize; n + 1];
        for k in 0..pattern.columns.len() {
            let c = pattern.columns[k] as usize;
            for j in 0..b {
                count[c * b + j + 1] += b;
            }
        }
        for c in 0..n {
            count[c + 1] += count[c];
        }
        let (mut row_index, mut source) = (vec![0; count[n]], vec![0; count[n]]);
        let mut fill = count.clone();
        for r in 0..pattern.rows {
            for k in pattern.start[r]..pattern.start[r + 1] {
                let c = pattern.columns[k] as usize;
                for j in 0..b {
                    for i in 0..b {
                        let at = &mut fill[c * b + j];
                        row_index[*at] = r * b + i;
                        source[*at] = k * b * b + i * b + j;
                        *at += 1;
                    }
                }
            }
        }
        let structure =
            SymbolicSparseColMat::new_checked(n, n, count.clone(), None, row_index.clone());
        let symbolic = SymbolicLu::try_new(structure.as_ref())
            .map_err(|_| LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 })?;
        Ok(DirectSolver {
            pattern,
            symbolic,
            col_start: count,
            row_index,
            source,
            scale: vec![1.0; n],
            lu: None,
        })
    }

    /// Numeric factorization.
    pub fn factor(&mut self, matrix: &BlockMatrix) -> Result<(), LinearError> {
        let b = self.pattern.block;
        let n = self.pattern.rows * b;
        for r in 0..self.pattern.rows {
            for i in 0..b {
                let mut m = 0.0f64;
                for k in self.pattern.start[r]..self.pattern.start[r + 1] {
                    for j in 0..b {
                        let v = matrix.values[k * b * b + i * b + j].abs();
                        if !v.is_finite() {
                            return Err(LinearError::NotFinite { row: r });
                        }
                        m = m.max(v);
                    }
                }
                self.scale[r * b + i] = if m > 0.0 { 1.0 / m } else { 1.0 };
            }
        }
        let values: Vec<f64> = self
            .source
            .iter()
            .zip(&self.row_index)
            .map(|(&s, &r)| matrix.values[s] * self.scale[r])
            .collect();
        let structure = SymbolicSparseColMat::new_checked(
            n,
            n,
            self.col_start.clone(),
            None,
            self.row_index.clone(),
        );
        let a = SparseColMat::new(structure, values);
        let lu = Lu::try_new_with_symbolic(self.symbolic.clone(), a.as_ref())
            .map_err(|_| LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 })?;
        self.lu = Some(lu);
        Ok(())
    }

    /// Solve for `columns` right-hand sides, stored one after the other, in place.
    pub fn solve(
        &mut self,
        matrix: &BlockMatrix,
        rhs: &mut [f64],
        columns: usize,
    ) -> Result<SolveInfo, LinearError> {
        let n = self.pattern.rows * self.pattern.block;
        let singular = LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 };
        let lu = self.lu.as_ref().ok_or(singular.clone())?;
        let mut info = SolveInfo::default();
        let mut ax = vec![0.0; n];
        for c in 0..columns {
            let b = rhs[c * n..(c + 1) * n].to_vec();
            let mut m = faer::Mat::from_fn(n, 1, |i, _| b[i] * self.scale[i]);
            lu.solve_in_place(m.as_mut());
            let mut x: Vec<f64> = (0..n).map(|i| m[(i, 0)]).collect();
            matrix.multiply(&x, &mut ax);
            let mut d = faer::Mat::from_fn(n, 1, |i, _| (b[i] - ax[i]) * self.scale[i]);
            lu.solve_in_place(d.as_mut());
            for i in 0..n {
                x[i] += d[(i, 0)];
            }
            info.refinements += 1;
            if x.iter().any(|v| !v.is_finite()) {
                return Err(singular);
            }
            rhs[c * n..(c + 1) * n].copy_from_slice(&x);
        }
        Ok(info)
    }
}
