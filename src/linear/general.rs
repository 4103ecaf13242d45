//! A general-purpose sparse LU with partial pivoting (faer), for what the block factors
//! cannot answer.

use std::sync::Arc;

use faer::linalg::solvers::Solve;
use faer::sparse::linalg::solvers::{Lu, SymbolicLu};
use faer::sparse::{SparseColMat, SymbolicSparseColMat};

use super::block::{BlockMatrix, BlockPattern, LinearError};

/// General-purpose LU of one pattern.
pub struct GeneralLu {
    pattern: Arc<BlockPattern>,
    symbolic: SymbolicLu<usize>,
    /// CSC structure and, for each entry, its index in `BlockMatrix::values`.
    col_start: Vec<usize>,
    row_index: Vec<usize>,
    source: Vec<usize>,
    scale: Vec<f64>,
    lu: Option<Lu<usize, f64>>,
}

const FAILED: LinearError = LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 };

impl GeneralLu {
    /// Symbolic analysis.
    pub fn new(pattern: Arc<BlockPattern>) -> Result<GeneralLu, LinearError> {
        let b = pattern.block;
        let n = pattern.rows * b;
        let mut count = vec![0usize; n + 1];
        for &c in &pattern.columns {
            for j in 0..b {
                count[c as usize * b + j + 1] += b;
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
        let symbolic = SymbolicLu::try_new(structure.as_ref()).map_err(|_| FAILED)?;
        let scale = vec![1.0; n];
        Ok(GeneralLu { pattern, symbolic, col_start: count, row_index, source, scale, lu: None })
    }

    /// Numeric factorization of the row-scaled matrix.
    pub fn factor(&mut self, matrix: &BlockMatrix) -> Result<(), LinearError> {
        let b = self.pattern.block;
        let n = self.pattern.rows * b;
        self.lu = None;
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
        let lu =
            Lu::try_new_with_symbolic(self.symbolic.clone(), a.as_ref()).map_err(|_| FAILED)?;
        self.lu = Some(lu);
        Ok(())
    }

    /// x ← A⁻¹ x (or A⁻ᵀ x), unrefined; `x` is left alone if nothing is factored.
    pub fn apply(&self, x: &mut [f64], transposed: bool) {
        let Some(lu) = &self.lu else { return };
        let n = self.scale.len();
        let scale = |x: &mut [f64]| x.iter_mut().zip(&self.scale).for_each(|(x, s)| *x *= s);
        if !transposed {
            scale(x);
        }
        let mut m = faer::MatMut::from_column_major_slice_mut(x, n, 1);
        if transposed {
            lu.solve_transpose_in_place(m.as_mut());
            scale(x);
        } else {
            lu.solve_in_place(m.as_mut());
        }
    }
}
