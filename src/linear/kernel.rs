//! Dense kernels for the fronts, written once for every vector width; the instruction set is
//! chosen at run time.
//!
//! All matrices are stored by columns. Every product has the form C −= A Bᵀ with A and B
//! columns of the two halves of one front, so that vectors run along columns only.

// Loops over registers index several arrays alike; iterators would hide that.
#![allow(clippy::needless_range_loop, clippy::manual_memcpy)]

use pulp::{Arch, Simd, WithSimd};

use crate::bare::{Walk, columns, columns_mut};

use super::keep::Keep;
use super::symbolic::LANE;

/// A pivot below this (of a matrix scaled to entries of at most 1) is taken for zero.
pub(super) const TINY_PIVOT: f64 = 1e-14;

/// Columns of length `ld`, from row `row` on.
#[derive(Clone, Copy)]
pub(super) struct Operand<'a> {
    pub data: &'a [f64],
    pub ld: usize,
    pub row: usize,
}

impl Operand<'_> {
    /// From `rows` further down.
    #[inline(always)]
    pub fn below(self, rows: usize) -> Self {
        Operand { row: self.row + rows, ..self }
    }
}

/// C − A Bᵀ for a tile of V vectors times N columns, over `k` columns of A and B.
#[inline(always)]
pub(super) fn tile<S: Simd, const V: usize, const N: usize>(
    simd: S,
    k: usize,
    a: Operand<'_>,
    b: Operand<'_>,
    mut c: [[S::f64s; V]; N],
) -> [[S::f64s; V]; N] {
    if k == 0 {
        return c;
    }
    let (a_data, b_data) = (&a.data[a.row..], &b.data[b.row..]);
    let walk = Walk::<N>::new(a_data, V * S::F64_LANES, b_data, [a.ld, b.ld], k);
    for (x, y) in walk {
        let x = S::as_simd_f64s(x).0;
        for j in 0..N {
            let s = simd.splat_f64s(y[j]);
            for v in 0..V {
                c[j][v] = simd.negate_mul_add_e_f64s(x[v], s, c[j][v]);
            }
        }
    }
    c
}

#[inline(always)]
pub(super) fn load<S: Simd, const V: usize, const N: usize>(
    simd: S,
    c: &[f64],
    ld: usize,
) -> [[S::f64s; V]; N] {
    let columns = columns::<N>(c, ld, V * S::F64_LANES);
    let mut t = [[simd.splat_f64s(0.0); V]; N];
    for j in 0..N {
        let x = S::as_simd_f64s(columns[j]).0;
        for v in 0..V {
            t[j][v] = x[v];
        }
    }
    t
}

#[inline(always)]
pub(super) fn store<S: Simd, const V: usize, const N: usize>(
    c: &mut [f64],
    ld: usize,
    t: [[S::f64s; V]; N],
) {
    for (j, column) in columns_mut::<N>(c, ld, V * S::F64_LANES).into_iter().enumerate() {
        let x = S::as_mut_simd_f64s(column).0;
        for v in 0..V {
            x[v] = t[j][v];
        }
    }
}

/// Evaluate `$call` for tiles of rows from 0 to `$rows` (a multiple of `LANE`), as tall as
/// registers allow: `$at` is the first row, `$v` the height in vectors. `$tall` are the
/// heights for 4, 2 and 1 numbers per vector, in rows.
macro_rules! by_rows {
    ($s:ty, $rows:expr, ($v4:literal, $v2:literal, $v1:literal), |$at:ident, $v:ident| $call:expr) => {{
        let mut $at = 0;
        if <$s>::F64_LANES == 8 {
            while $rows - $at >= 24 {
                const $v: usize = 3;
                $call;
                $at += 24;
            }
            if $rows - $at >= 16 {
                const $v: usize = 2;
                $call;
                $at += 16;
            }
            if $rows - $at >= 8 {
                const $v: usize = 1;
                $call;
            }
        } else if <$s>::F64_LANES == 4 {
            while $at < $rows {
                const $v: usize = $v4;
                $call;
                $at += 4 * $v;
            }
        } else if <$s>::F64_LANES == 2 {
            while $at < $rows {
                const $v: usize = $v2;
                $call;
                $at += 2 * $v;
            }
        } else {
            while $at < $rows {
                const $v: usize = $v1;
                $call;
                $at += $v;
            }
        }
    }};
}

pub(super) use by_rows;

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
    /// Written between the tiles.
    pub keep: Keep<'a>,
}

impl WithSimd for Contribution<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let (ld, k) = (self.ld, self.pivots);
        let mut out = self.out;
        let mut keep = self.keep;
        let mut pace = Pace::new(k, self.rest);
        let mut top = 0;
        while top < self.rest {
            let rows = self.rest - top;
            let (block, below) = out.split_at_mut(LANE * rows);
            out = below;
            let a = Operand { data: self.lower, ld, row: self.row + top };
            let b = Operand { data: self.upper, ld, row: self.row + top };
            if S::F64_LANES == 8 {
                by_rows!(S, rows, (1, 1, 1), |r, V| {
                    let c = &mut block[r..];
                    let zero = [[simd.splat_f64s(0.0); V]; 8];
                    let t = if self.fresh { zero } else { load::<S, V, 8>(simd, c, rows) };
                    let t = tile::<S, V, 8>(simd, k, a.below(r), b, t);
                    store::<S, V, 8>(c, rows, t);
                    keep.next(simd, pace.after(8 * V * 8));
                });
            } else {
                for half in [0, 4] {
                    by_rows!(S, rows, (2, 4, 4), |r, V| {
                        let c = &mut block[r + half * rows..];
                        let zero = [[simd.splat_f64s(0.0); V]; 4];
                        let t = if self.fresh { zero } else { load::<S, V, 4>(simd, c, rows) };
                        let t = tile::<S, V, 4>(simd, k, a.below(r), b.below(half), t);
                        store::<S, V, 4>(c, rows, t);
                        keep.next(simd, pace.after(S::F64_LANES * V * 4));
                    });
                }
            }
            top += LANE;
        }
        keep.next(simd, k);
    }
}

/// How many columns are to be kept after each tile, so that they are spread evenly.
struct Pace {
    /// Of 2³², per number of a tile, and what is not yet taken.
    step: u64,
    due: u64,
}

impl Pace {
    #[inline(always)]
    fn new(columns: usize, rest: usize) -> Pace {
        // Numbers of all tiles.
        let total = (rest * (rest + LANE) / 2).max(1);
        Pace { step: ((columns as u64) << 32) / total as u64, due: 0 }
    }

    #[inline(always)]
    fn after(&mut self, numbers: usize) -> usize {
        self.due += self.step * numbers as u64;
        let columns = self.due >> 32;
        self.due &= (1 << 32) - 1;
        columns as usize
    }
}

/// Where a group of `LANE` columns starts in one half of a contribution block with so many
/// rows, and in one of a finished front.
#[inline(always)]
pub(super) fn group_start(group: usize, rest: usize) -> usize {
    LANE * group * rest - LANE * LANE * (group * group.saturating_sub(1) / 2)
}

/// The instruction set of this machine, detected once.
pub(super) fn machine() -> Arch {
    Arch::new()
}
