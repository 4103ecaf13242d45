//! Contribution blocks: what the pivots of a front leave for its parent.

use pulp::{Simd, WithSimd};

use super::kernel::{Operand, by_rows, group_start, load, store, tile};
use super::symbolic::LANE;

/// Contribution block −L U of a front (added to what is there unless `fresh`): both halves,
/// each by groups of `LANE` columns, rows from the diagonal down.
pub(super) struct Contribution<'a> {
    /// L and U half, and the first row of the rest.
    pub lower: &'a [f64],
    pub upper: &'a [f64],
    pub row: usize,
    pub pivots: usize,
    pub ld: usize,
    /// Rows of the rest, padded.
    pub rest: usize,
    pub out: &'a mut [f64],
    pub fresh: bool,
}

impl WithSimd for Contribution<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        if S::F64_LANES == 8 {
            self.by_columns::<S, 8>(simd);
        } else if S::F64_LANES == 4 {
            self.by_blocks(simd);
        } else {
            self.by_columns::<S, 4>(simd);
        }
    }
}

impl Contribution<'_> {
    /// Columns by groups, `N` at a time, in each all rows by tiles.
    #[inline(always)]
    fn by_columns<S: Simd, const N: usize>(&mut self, simd: S) {
        for top in (0..self.rest).step_by(LANE) {
            for column in (0..LANE).step_by(N) {
                by_rows!(S, self.rest - top, (4, 4), |r, V| {
                    self.tile::<S, V, N>(simd, top, r, column);
                });
            }
        }
    }

    /// Rows by blocks, in each all columns, four at a time: the rows of A stay in the
    /// first-level cache meanwhile.
    #[inline(always)]
    fn by_blocks<S: Simd>(&mut self, simd: S) {
        const BLOCK: usize = 24;
        for first in (0..self.rest).step_by(BLOCK) {
            let end = self.rest.min(first + BLOCK);
            for top in (0..end).step_by(LANE) {
                let start = first.max(top);
                for column in [0, 4] {
                    by_rows!(S, end - start, (4, 4), |r, V| {
                        self.tile::<S, V, 4>(simd, top, start - top + r, column);
                    });
                }
            }
        }
    }

    /// V vectors of rows from `row` on, `row` counted from the diagonal of the group of
    /// columns at `top`, and N of its columns.
    #[inline(always)]
    fn tile<S: Simd, const V: usize, const N: usize>(
        &mut self,
        simd: S,
        top: usize,
        row: usize,
        column: usize,
    ) {
        let (ld, rows) = (self.ld, self.rest - top);
        let a = Operand { data: self.lower, ld, row: self.row + top + row };
        let b = Operand { data: self.upper, ld, row: self.row + top + column };
        let c = &mut self.out[group_start(top / LANE, self.rest) + column * rows + row..];
        let zero = [[simd.splat_f64s(0.0); V]; N];
        let t = if self.fresh { zero } else { load::<S, V, N>(simd, c, rows) };
        let t = tile::<S, V, N>(simd, self.pivots, a, b, t);
        store::<S, V, N>(c, rows, t);
    }
}
