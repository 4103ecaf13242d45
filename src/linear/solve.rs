//! The solver that the other rooms use: block multifrontal LU, backward error measured on
//! every solve, refinement, the general-purpose LU where that is not enough.

use std::sync::Arc;

use pulp::Arch;

use super::aligned::Aligned;
use super::alone::AloneFactors;
use super::block::{BlockMatrix, BlockPattern, LinearError};
use super::front::{Met, Numeric, Store};
use super::general::GeneralLu;
use super::kernel::machine;
use super::scale::{Scaling, Worst, residual};
use super::substitute::Factors;
use super::symbolic::Symbolic;

/// Refine while the backward error is above this.
pub(super) const WANTED: f64 = 1e-13;
pub(super) const MOST_SWEEPS: u32 = 6;

/// What one solve did.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SolveInfo {
    /// Largest componentwise backward error after refinement, over all columns.
    pub backward_error: f64,
    /// Refinement sweeps, summed over the columns, all causes.
    pub refinements: u32,
    /// Those of them that the backward error asked for.
    pub needed: u32,
    /// Those of them that were Krylov cycles.
    pub krylov: u32,
    /// Factorizations by the general-purpose LU.
    pub general: u32,
}

/// Work of a solver since it was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SolverWork {
    /// Block factorizations.
    pub factorizations: u64,
    /// Right-hand sides solved for.
    pub columns: u64,
    /// Refinement sweeps.
    pub refinements: u64,
    /// Fronts in which rows had to be exchanged.
    pub pivoted_fronts: u64,
    /// Pivots that were zero even so.
    pub replaced_pivots: u64,
    /// Factorizations by the general-purpose LU.
    pub general: u64,
}

/// Direct solver: analyse once per mesh, factor per matrix, solve for any number of
/// right-hand sides. After the first `factor` and `solve` nothing is allocated, unless the
/// general-purpose LU is needed.
pub struct DirectSolver {
    symbolic: Arc<Symbolic>,
    pattern: Arc<BlockPattern>,
    arch: Arch,
    scaling: Scaling,
    alone: AloneFactors,
    factor: Aligned,
    region: Aligned,
    exchange: Vec<u32>,
    exchanged: Vec<bool>,
    /// Rows of all fronts, for each right-hand side.
    fronts: Aligned,
    rhs: Vec<f64>,
    best: Vec<f64>,
    residual: Vec<f64>,
    size: Vec<f64>,
    factored: bool,
    general: Option<GeneralLu>,
    /// The general-purpose LU holds the present matrix.
    general_ready: bool,
    /// What the block factors cannot answer goes to the general-purpose LU.
    aided: bool,
    work: SolverWork,
}

impl DirectSolver {
    /// Symbolic analysis of a pattern.
    pub fn new(pattern: Arc<BlockPattern>) -> Result<DirectSolver, LinearError> {
        let symbolic = Arc::new(Symbolic::new(&pattern));
        Ok(DirectSolver::with_symbolic(pattern, symbolic))
    }

    /// A solver that shares the analysis of the same pattern.
    pub fn with_symbolic(pattern: Arc<BlockPattern>, symbolic: Arc<Symbolic>) -> DirectSolver {
        let n = pattern.rows * pattern.block;
        DirectSolver {
            arch: machine(),
            scaling: Scaling::new(n),
            alone: AloneFactors::default(),
            factor: Aligned::default(),
            region: Aligned::default(),
            exchange: vec![0; n],
            exchanged: vec![false; symbolic.fronts.len()],
            fronts: Aligned::default(),
            rhs: Vec::new(),
            best: vec![0.0; n],
            residual: vec![0.0; n],
            size: vec![0.0; n],
            factored: false,
            general: None,
            general_ready: false,
            aided: true,
            work: SolverWork::default(),
            symbolic,
            pattern,
        }
    }

    /// The analysis, to share it.
    pub fn symbolic(&self) -> &Arc<Symbolic> {
        &self.symbolic
    }

    /// Whether a general-purpose LU may answer what the block factors cannot; it may at first.
    pub fn aid(&mut self, aided: bool) {
        self.aided = aided;
    }

    /// What the solver did since it was made.
    pub fn work(&self) -> SolverWork {
        self.work
    }

    /// Numeric factorization. Errors: a value that is not finite. Parallel over subtrees in
    /// the rayon pool of the caller; the number of threads changes no bit.
    pub fn factor(&mut self, matrix: &BlockMatrix) -> Result<(), LinearError> {
        self.factored = false;
        self.general_ready = false;
        self.scaling.measure(matrix)?;
        let symbolic = &*self.symbolic;
        symbolic.alone.factor(matrix, &mut self.alone);
        self.factor.resize(symbolic.factor_len);
        self.region.resize(symbolic.region_len);
        let numeric = Numeric {
            symbolic,
            matrix,
            row_scale: &self.scaling.rows,
            column_scale: &self.scaling.columns,
            arch: self.arch,
            together: rayon::current_num_threads() > 1,
        };
        let store = Store {
            factor: self.factor.get_mut(),
            exchange: &mut self.exchange,
            exchanged: &mut self.exchanged,
        };
        let Met { pivoted, replaced } = numeric.factor(store, self.region.get_mut());
        self.work.factorizations += 1;
        self.work.pivoted_fronts += u64::from(pivoted);
        self.work.replaced_pivots += u64::from(replaced);
        self.factored = true;
        Ok(())
    }

    /// Solve A x = b for `columns` right-hand sides, stored one after the other, in place.
    /// Errors: not factored or no usable answer (`Singular`), a right-hand side that is not
    /// finite.
    pub fn solve(
        &mut self,
        matrix: &BlockMatrix,
        rhs: &mut [f64],
        columns: usize,
    ) -> Result<SolveInfo, LinearError> {
        self.solve_either(matrix, rhs, columns, false)
    }

    /// The same for Aᵀ x = b, from the same factors.
    pub fn solve_transposed(
        &mut self,
        matrix: &BlockMatrix,
        rhs: &mut [f64],
        columns: usize,
    ) -> Result<SolveInfo, LinearError> {
        self.solve_either(matrix, rhs, columns, true)
    }

    fn solve_either(
        &mut self,
        matrix: &BlockMatrix,
        rhs: &mut [f64],
        columns: usize,
        transposed: bool,
    ) -> Result<SolveInfo, LinearError> {
        let n = self.pattern.rows * self.pattern.block;
        if !self.factored {
            return Err(self.singular(Worst { backward_error: 1.0, unknown: 0, normwise: 1.0 }));
        }
        if let Some(k) = rhs.iter().take(columns * n).position(|v| !v.is_finite()) {
            return Err(LinearError::NotFinite { row: k % n / self.pattern.block });
        }
        let mut kept = std::mem::take(&mut self.rhs);
        kept.clear();
        kept.extend_from_slice(&rhs[..columns * n]);
        if !self.general_ready {
            self.apply(rhs, columns, transposed);
        }
        let mut info = SolveInfo::default();
        let mut outcome = Ok(());
        for (x, b) in rhs.chunks_exact_mut(n.max(1)).zip(kept.chunks_exact(n.max(1))) {
            outcome = self.refine(matrix, x, b, transposed, &mut info);
            if outcome.is_err() {
                break;
            }
        }
        self.rhs = kept;
        self.work.columns += columns as u64;
        self.work.refinements += u64::from(info.refinements);
        outcome.map(|()| info)
    }

    /// Bring one column, already solved by the block factors, to the wanted error.
    fn refine(
        &mut self,
        matrix: &BlockMatrix,
        x: &mut [f64],
        b: &[f64],
        transposed: bool,
        info: &mut SolveInfo,
    ) -> Result<(), LinearError> {
        let mut worst = Worst { backward_error: f64::INFINITY, unknown: 0, normwise: 1.0 };
        if !self.general_ready {
            worst = self.sweeps(matrix, x, b, transposed, info, false);
        }
        if worst.is_bad() && self.aided {
            info.general += u32::from(self.prepare_general(matrix)?);
            x.copy_from_slice(b);
            self.apply_general(x, transposed);
            worst = self.sweeps(matrix, x, b, transposed, info, true);
        }
        if worst.is_bad() {
            return Err(self.singular(worst));
        }
        info.backward_error = info.backward_error.max(worst.backward_error);
        Ok(())
    }

    fn sweeps(
        &mut self,
        matrix: &BlockMatrix,
        x: &mut [f64],
        b: &[f64],
        transposed: bool,
        info: &mut SolveInfo,
        general: bool,
    ) -> Worst {
        let mut r = std::mem::take(&mut self.residual);
        let measure = |x: &[f64], r: &mut [f64], solver: &mut DirectSolver| {
            let size = &mut solver.size;
            residual(matrix, &solver.scaling, transposed, (x, &[]), b, (r, size))
        };
        let mut worst = measure(x, &mut r, self);
        for _ in 0..MOST_SWEEPS {
            if worst.backward_error <= WANTED || !worst.backward_error.is_finite() {
                break;
            }
            if general {
                self.apply_general(&mut r, transposed);
            } else {
                self.apply(&mut r, 1, transposed);
            }
            self.best.copy_from_slice(x);
            for (x, d) in x.iter_mut().zip(&r) {
                *x += d;
            }
            info.refinements += 1;
            info.needed += 1;
            let next = measure(x, &mut r, self);
            if next.backward_error >= worst.backward_error {
                x.copy_from_slice(&self.best);
                break;
            }
            let slow = next.backward_error > 0.5 * worst.backward_error;
            worst = next;
            if slow {
                break;
            }
        }
        self.residual = r;
        worst
    }

    fn singular(&self, worst: Worst) -> LinearError {
        let b = self.pattern.block;
        LinearError::Singular {
            backward_error: worst.backward_error,
            row: worst.unknown / b,
            unknown: worst.unknown % b,
        }
    }

    /// Whether it was made now.
    fn prepare_general(&mut self, matrix: &BlockMatrix) -> Result<bool, LinearError> {
        let missing = !self.general_ready;
        if !self.general_ready {
            let mut general = match self.general.take() {
                Some(general) => general,
                None => GeneralLu::new(self.pattern.clone())?,
            };
            self.work.general += 1;
            general.factor(matrix)?;
            self.general = Some(general);
            self.general_ready = true;
        }
        Ok(missing)
    }

    fn apply_general(&self, x: &mut [f64], transposed: bool) {
        if let Some(general) = &self.general {
            general.apply(x, transposed);
        }
    }

    /// Number of unknowns.
    pub fn unknowns(&self) -> usize {
        self.pattern.rows * self.pattern.block
    }

    /// A factorization is there.
    pub fn is_factored(&self) -> bool {
        self.factored
    }

    /// The scaling of the present matrix and workspace for the sizes of its rows.
    pub(super) fn measures(&mut self) -> (&Scaling, &mut [f64]) {
        (&self.scaling, &mut self.size)
    }

    /// x ← A⁻¹ x (or A⁻ᵀ x) by the block factors, unrefined.
    pub(super) fn apply(&mut self, x: &mut [f64], columns: usize, transposed: bool) {
        let (before, after) = if transposed {
            (&self.scaling.columns, &self.scaling.rows)
        } else {
            (&self.scaling.rows, &self.scaling.columns)
        };
        let length = columns * self.symbolic.work_len;
        if self.fronts.get().len() < length {
            self.fronts.resize(length);
        }
        let n = self.pattern.rows * self.pattern.block;
        if !transposed {
            x.chunks_exact_mut(n.max(1)).for_each(|x| self.alone.before(x));
        }
        Factors {
            symbolic: &self.symbolic,
            factor: self.factor.get(),
            exchange: &self.exchange,
            exchanged: &self.exchanged,
            arch: self.arch,
            transposed,
            columns,
        }
        .substitute(x, &mut self.fronts.get_mut()[..length], before, after);
        if transposed {
            x.chunks_exact_mut(n.max(1)).for_each(|x| self.alone.after_transposed(x));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every instruction set of this machine solves the same system.
    #[test]
    fn all_instruction_sets_agree() {
        let mut archs = vec![Arch::Scalar, machine()];
        #[cfg(target_arch = "x86_64")]
        archs.extend(pulp::x86::V3::try_new().map(Arch::V3));
        for block in [1, 3, 4, 5] {
            let (nx, ny) = (70u32, 60u32);
            let (mut start, mut columns, mut places) = (vec![0], Vec::new(), Vec::new());
            for k in 0..nx * ny {
                let (i, j) = (k % nx, k / nx);
                places.push((i, j));
                columns.extend([(j > 0).then(|| k - nx), (i > 0).then(|| k - 1)].iter().flatten());
                columns.push(k);
                let right = (i + 1 < nx).then_some(k + 1);
                let down = (j + 1 < ny).then_some(k + nx);
                columns.extend([right, down].iter().flatten());
                start.push(columns.len());
            }
            let rows = (nx * ny) as usize;
            let pattern =
                Arc::new(BlockPattern { rows, block, start, columns, places, alone: Vec::new() });
            let mut a = BlockMatrix::new(pattern.clone());
            for (k, v) in a.values.iter_mut().enumerate() {
                *v = (k as f64 * 0.7).sin();
            }
            for r in 0..rows {
                for k in pattern.start[r]..pattern.start[r + 1] {
                    if pattern.columns[k] as usize == r {
                        (0..block).for_each(|i| a.values[(k * block + i) * block + i] += 5.0);
                    }
                }
            }
            let truth: Vec<f64> = (0..rows * block).map(|k| (k as f64 * 0.3).cos()).collect();
            let mut b = vec![0.0; rows * block];
            a.multiply(&truth, &mut b);
            for &arch in &archs {
                let mut solver = DirectSolver::new(pattern.clone()).unwrap();
                solver.arch = arch;
                solver.factor(&a).unwrap();
                let mut x = b.clone();
                let info = solver.solve(&a, &mut x, 1).unwrap();
                assert!(info.backward_error < 1e-13, "{arch:?} {block}: {info:?}");
                let error = x.iter().zip(&truth).map(|(x, t)| (x - t).abs()).fold(0.0, f64::max);
                assert!(error < 1e-10, "{arch:?} block {block}: {error:e}");
                assert_eq!((solver.work.general, solver.work.pivoted_fronts), (0, 0));
            }
        }
    }
}
