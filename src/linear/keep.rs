//! Finished columns on their way to the factors.
//!
//! The factors are not read again before the solve and do not fit a cache: their columns are
//! written past it. In bursts, panel after panel, small fronts wait for memory to take them
//! (29,586 unknowns: a whole factorization 6.9 ms for 6.5); so they are written few at a time
//! between the products of the contribution block, which need no memory.

use pulp::Simd;

use crate::bare::copy_past_cache;

use super::symbolic::LANE;

/// The finished columns of one half of a front. They are kept panel after panel (of `LANE`
/// columns), each from the row of its first pivot down: what is above is not part of the
/// factors.
pub(super) struct Keep<'a> {
    pub from: &'a [f64],
    pub to: &'a mut [f64],
    /// Rows of the front.
    pub rows: usize,
    /// Columns that are left.
    pub columns: std::ops::Range<usize>,
}

impl Keep<'_> {
    /// Keep the next columns, `count` of them if so many are left.
    #[inline(always)]
    pub fn next<S: Simd>(&mut self, simd: S, count: usize) {
        for column in self.columns.by_ref().take(count) {
            let top = column / LANE * LANE;
            let to = std::mem::take(&mut self.to);
            let (to, rest) = to.split_at_mut(self.rows - top);
            copy_past_cache(simd, to, &self.from[column * self.rows + top..][..to.len()]);
            self.to = rest;
        }
    }
}
