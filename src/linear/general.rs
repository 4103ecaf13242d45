//! A general-purpose sparse LU with partial pivoting (faer), for what the block factors
//! cannot answer.

use std::sync::Arc;

use faer::linalg::solvers::Solve;
use faer::sparse::linalg::solvers::{Lu, SymbolicLu};
use faer::sparse::{SparseColMat, SymbolicSparseColMat};

use super::block::{BlockMatrix, BlockPattern, LinearError};
use super::bordered::Border;
use super::scale::power;

/// General-purpose LU of one pattern, or of one bordered matrix.
pub struct GeneralLu {
    pattern: Arc<BlockPattern>,
    symbolic: SymbolicLu<usize>,
    /// CSC structure and, for each entry, its index in `BlockMatrix::values` followed by the
    /// border's values.
    structure: SymbolicSparseColMat<usize>,
    source: Vec<usize>,
    scale: Vec<f64>,
    lu: Option<Lu<usize, f64>>,
}

const FAILED: LinearError = LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 };

impl GeneralLu {
    /// Symbolic analysis.
    pub fn new(pattern: Arc<BlockPattern>) -> Result<GeneralLu, LinearError> {
        GeneralLu::analyse(pattern, &[], 0)
    }

    /// Analysis and factorization of a matrix with its border.
    pub(super) fn bordered(
        matrix: &BlockMatrix,
        border: &Border,
    ) -> Result<GeneralLu, LinearError> {
        let n = matrix.pattern.rows * matrix.pattern.block;
        let m = border.columns.len();
        let mut extra = Vec::new();
        let mut values = matrix.values.clone();
        for k in 0..m {
            extra.extend(border.columns[k].iter().map(|&(i, _)| (i as usize, n + k)));
            values.extend(border.columns[k].iter().map(|(_, v)| v));
            extra.extend((0..border.rows[k].len()).map(|j| (n + k, j)));
            values.extend(&border.rows[k]);
            extra.extend((0..m).map(|j| (n + k, n + j)));
            values.extend(&border.corner[k * m..(k + 1) * m]);
        }
        let mut lu = GeneralLu::analyse(matrix.pattern.clone(), &extra, m)?;
        lu.factor_values(&values)?;
        Ok(lu)
    }

    /// `extra`: (row, column) of entries beside the blocks, in `m` more rows and columns.
    fn analyse(
        pattern: Arc<BlockPattern>,
        extra: &[(usize, usize)],
        m: usize,
    ) -> Result<GeneralLu, LinearError> {
        let b = pattern.block;
        let n = pattern.rows * b + m;
        let mut entries = Vec::with_capacity(pattern.columns.len() * b * b + extra.len());
        for r in 0..pattern.rows {
            for k in pattern.start[r]..pattern.start[r + 1] {
                let c = pattern.columns[k] as usize;
                entries.extend((0..b * b).map(|e| (r * b + e / b, c * b + e % b)));
            }
        }
        entries.extend_from_slice(extra);
        let mut source: Vec<usize> = (0..entries.len()).collect();
        source.sort_unstable_by_key(|&k| (entries[k].1, entries[k].0));
        let mut start = vec![0; n + 1];
        entries.iter().for_each(|e| start[e.1 + 1] += 1);
        for c in 0..n {
            start[c + 1] += start[c];
        }
        let rows = source.iter().map(|&k| entries[k].0).collect();
        let structure = SymbolicSparseColMat::new_checked(n, n, start, None, rows);
        let symbolic = SymbolicLu::try_new(structure.as_ref()).map_err(|_| FAILED)?;
        let scale = vec![1.0; n];
        Ok(GeneralLu { pattern, symbolic, structure, source, scale, lu: None })
    }

    /// Numeric factorization of the row-scaled matrix.
    pub fn factor(&mut self, matrix: &BlockMatrix) -> Result<(), LinearError> {
        self.factor_values(&matrix.values)
    }

    fn factor_values(&mut self, values: &[f64]) -> Result<(), LinearError> {
        self.lu = None;
        self.scale.fill(0.0);
        let rows = self.structure.row_idx();
        for (&k, &r) in self.source.iter().zip(rows) {
            if !values[k].is_finite() {
                return Err(LinearError::NotFinite { row: r / self.pattern.block });
            }
            self.scale[r] = self.scale[r].max(values[k].abs());
        }
        self.scale.iter_mut().for_each(|s| *s = power(*s));
        let scaled = self.source.iter().zip(rows).map(|(&k, &r)| values[k] * self.scale[r]);
        let a = SparseColMat::new(self.structure.clone(), scaled.collect());
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
