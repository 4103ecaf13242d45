//! Dense kernels for the fronts, written once for every vector width; the instruction set is
//! chosen at run time.
//!
//! All matrices are stored by columns. Every product has the form C −= A Bᵀ with A and B
//! columns of the two halves of one front, so that vectors run along columns only.

// Loops over registers index several arrays alike; iterators would hide that.
#![allow(clippy::needless_range_loop, clippy::manual_memcpy)]

use std::ops::Range;

use pulp::{Arch, Simd, WithSimd};

use crate::bare::{Walk, columns, columns_mut};

use super::symbolic::LANE;
use super::unrolled::unrolled;

/// A pivot below this (of a matrix scaled to entries of at most 1) is taken for zero.
pub(super) const TINY_PIVOT: f64 = 1e-14;

/// Pivots that are factored at once; panels begin at multiples of `LANE`.
const PANEL: usize = LANE;

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
    fn below(self, rows: usize) -> Self {
        Operand { row: self.row + rows, ..self }
    }
}

/// C − A Bᵀ for a tile of V vectors times N columns, over `k` columns of A and B.
#[inline(always)]
fn tile<S: Simd, const V: usize, const N: usize>(
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
fn load<S: Simd, const V: usize, const N: usize>(
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
fn store<S: Simd, const V: usize, const N: usize>(c: &mut [f64], ld: usize, t: [[S::f64s; V]; N]) {
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
    fn with_simd<S: Simd>(self, simd: S) {
        let (ld, k) = (self.ld, self.pivots);
        let mut out = self.out;
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
                });
            } else {
                for half in [0, 4] {
                    by_rows!(S, rows, (2, 4, 4), |r, V| {
                        let c = &mut block[r + half * rows..];
                        let zero = [[simd.splat_f64s(0.0); V]; 4];
                        let t = if self.fresh { zero } else { load::<S, V, 4>(simd, c, rows) };
                        let t = tile::<S, V, 4>(simd, k, a.below(r), b.below(half), t);
                        store::<S, V, 4>(c, rows, t);
                    });
                }
            }
            top += LANE;
        }
    }
}

/// Eliminate the pivots of a front without exchanges, left-looking by panels. `false` at
/// the first pivot that is (nearly) zero. Afterwards the L half holds unit-lower L below the
/// diagonal and 1/pivot on it, the U half Uᵀ, pivots on its diagonal.
pub(super) struct Eliminate<'a> {
    pub lower: &'a mut [f64],
    pub upper: &'a mut [f64],
    pub ld: usize,
    /// Columns that are eliminated; those before them are done.
    pub columns: Range<usize>,
    /// Rows from here on are left for `SolveRows`.
    pub end: usize,
}

impl WithSimd for Eliminate<'_> {
    type Output = bool;

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) -> bool {
        for at in self.columns.clone().step_by(PANEL) {
            let good = match self.columns.end - at {
                1 => self.panel::<S, 1>(simd, at),
                2 => self.panel::<S, 2>(simd, at),
                3 => self.panel::<S, 3>(simd, at),
                4 => self.panel::<S, 4>(simd, at),
                5 => self.panel::<S, 5>(simd, at),
                6 => self.panel::<S, 6>(simd, at),
                7 => self.panel::<S, 7>(simd, at),
                _ => self.panel::<S, 8>(simd, at),
            };
            if !good {
                return false;
            }
        }
        true
    }
}

impl Eliminate<'_> {
    /// Columns at..at+W of both halves.
    #[inline(always)]
    fn panel<S: Simd, const W: usize>(&mut self, simd: S, at: usize) -> bool {
        let ld = self.ld;
        let (l_done, l) = self.lower.split_at_mut(at * ld);
        let (u_done, u) = self.upper.split_at_mut(at * ld);
        let l_done = Operand { data: l_done, ld, row: at };
        let u_done = Operand { data: u_done, ld, row: at };
        // In loops over the two halves, so that their code is there once.
        for (a, b, c) in [(l_done, u_done, &mut *l), (u_done, l_done, &mut *u)] {
            solve_rows::<S, W>(simd, at, a, b, c, (ld, at..at + LANE), None);
        }
        let good = match S::F64_LANES {
            8 => square::<S, 1, W>(simd, &mut l[at..], &mut u[at..], ld),
            4 => square::<S, 2, W>(simd, &mut l[at..], &mut u[at..], ld),
            2 => square::<S, 4, W>(simd, &mut l[at..], &mut u[at..], ld),
            _ => square::<S, 8, W>(simd, &mut l[at..], &mut u[at..], ld),
        };
        if !good {
            return false;
        }
        let mut scale = std::array::from_fn(|j| l[j * ld + at + j]);
        let (mut own, mut other) = (l, u);
        let (mut a, mut b) = (l_done, u_done);
        for _ in 0..2 {
            let triangle = Triangle::new(Operand { data: other, ld, row: at }, scale);
            let rows = (ld, at + LANE..self.end);
            solve_rows::<S, W>(simd, at, a.below(LANE), b, own, rows, Some(&triangle));
            scale = [1.0; W];
            (own, other, a, b) = (other, own, b, a);
        }
        true
    }
}

/// Eliminate W pivots from a square whose lower part is in columns of `l`, whose upper part is
/// in those of `u`, transposed. Both are updated by whole columns: what is on the wrong side of
/// the diagonal is left over. `false` at a pivot that is (nearly) zero.
#[inline(always)]
fn square<S: Simd, const V: usize, const W: usize>(
    simd: S,
    l: &mut [f64],
    u: &mut [f64],
    ld: usize,
) -> bool {
    let mut x = load::<S, V, W>(simd, l, ld);
    let mut y = load::<S, V, W>(simd, u, ld);
    unrolled!(K < W, {
        let by_u = lanes::<S, V>(y[K]);
        let pivot = by_u[K];
        let usable = pivot.abs() > TINY_PIVOT && pivot.is_finite();
        if !usable {
            return false;
        }
        let reciprocal = 1.0 / pivot;
        let r = simd.splat_f64s(reciprocal);
        for v in 0..V {
            x[K][v] = simd.mul_f64s(x[K][v], r);
        }
        let by_l = lanes::<S, V>(x[K]);
        for j in K + 1..W {
            let (to_l, to_u) = (simd.splat_f64s(by_u[j]), simd.splat_f64s(by_l[j]));
            for v in 0..V {
                x[j][v] = simd.sub_f64s(x[j][v], simd.mul_f64s(x[K][v], to_l));
                y[j][v] = simd.sub_f64s(y[j][v], simd.mul_f64s(y[K][v], to_u));
            }
        }
        store::<S, V, 1>(&mut u[K * ld..], LANE, [y[K]]);
        store::<S, V, 1>(&mut l[K * ld..], LANE, [x[K]]);
        l[K * ld + K] = reciprocal;
    });
    true
}

#[inline(always)]
fn lanes<S: Simd, const V: usize>(x: [S::f64s; V]) -> [f64; LANE] {
    let mut all = [0.0; LANE];
    let x: &[f64] = pulp::bytemuck::cast_slice(&x);
    all.copy_from_slice(x);
    all
}

/// An upper triangular matrix, its diagonal inverted apart.
struct Triangle<const W: usize> {
    above: [[f64; W]; W],
    scale: [f64; W],
}

impl<const W: usize> Triangle<W> {
    /// Row i above the diagonal from rows i + 1.. of column i.
    #[inline(always)]
    fn new(of: Operand<'_>, scale: [f64; W]) -> Triangle<W> {
        let mut above = [[0.0; W]; W];
        for (above, column) in above.iter_mut().zip(columns::<W>(&of.data[of.row..], of.ld, W)) {
            above.copy_from_slice(column);
        }
        Triangle { above, scale }
    }
}

/// C ← (C − A Bᵀ) T⁻¹ for `rows` of the W columns of C, over `k` columns of A and B; without
/// T⁻¹ if there is none.
#[inline(always)]
fn solve_rows<S: Simd, const W: usize>(
    simd: S,
    k: usize,
    a: Operand<'_>,
    b: Operand<'_>,
    c: &mut [f64],
    (ld, rows): (usize, Range<usize>),
    t: Option<&Triangle<W>>,
) {
    let count = rows.end.saturating_sub(rows.start);
    by_rows!(S, count, (1, 2, 2), |r, V| {
        let x = load::<S, V, W>(simd, &c[rows.start + r..], ld);
        let mut x = tile::<S, V, W>(simd, k, a.below(r), b, x);
        if let Some(Triangle { above, scale }) = t {
            unrolled!(I < W, {
                let s = simd.splat_f64s(scale[I]);
                for v in 0..V {
                    x[I][v] = simd.mul_f64s(x[I][v], s);
                }
                for j in I + 1..W {
                    let s = simd.splat_f64s(above[I][j]);
                    for v in 0..V {
                        x[j][v] = simd.negate_mul_add_e_f64s(x[I][v], s, x[j][v]);
                    }
                }
            });
        }
        store::<S, V, W>(&mut c[rows.start + r..], ld, x);
    });
}

/// The rows that `Eliminate` left, of one half and the same columns.
pub(super) struct SolveRows<'a> {
    pub half: &'a mut [f64],
    pub ld: usize,
    pub columns: Range<usize>,
    pub rows: Range<usize>,
    /// Copies of the rows of the square of both halves, all columns up to the last: of the
    /// half that these rows belong to, and of the other.
    pub own: Operand<'a>,
    pub other: Operand<'a>,
    /// The half is that of L.
    pub lower: bool,
}

impl WithSimd for SolveRows<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        for at in self.columns.clone().step_by(PANEL) {
            match self.columns.end - at {
                1 => self.panel::<S, 1>(simd, at),
                2 => self.panel::<S, 2>(simd, at),
                3 => self.panel::<S, 3>(simd, at),
                4 => self.panel::<S, 4>(simd, at),
                5 => self.panel::<S, 5>(simd, at),
                6 => self.panel::<S, 6>(simd, at),
                7 => self.panel::<S, 7>(simd, at),
                _ => self.panel::<S, 8>(simd, at),
            }
        }
    }
}

impl SolveRows<'_> {
    #[inline(always)]
    fn panel<S: Simd, const W: usize>(&mut self, simd: S, at: usize) {
        let (ld, row) = (self.ld, at - self.columns.start);
        let (done, now) = self.half.split_at_mut(at * ld);
        let a = Operand { data: done, ld, row: self.rows.start };
        let mut scale = [1.0; W];
        if self.lower {
            scale = std::array::from_fn(|j| self.own.data[(at + j) * self.own.ld + row + j]);
        }
        let b = self.other.below(row);
        let t = Triangle::new(Operand { data: &b.data[at * b.ld..], ..b }, scale);
        solve_rows::<S, W>(simd, at, a, b, now, (ld, self.rows.clone()), Some(&t));
    }
}

/// Where a group of `LANE` columns starts in one half of a contribution block.
#[inline(always)]
pub(super) fn group_start(group: usize, rest: usize) -> usize {
    LANE * group * rest - LANE * LANE * (group * group.saturating_sub(1) / 2)
}

/// The instruction set of this machine, detected once.
pub(super) fn machine() -> Arch {
    Arch::new()
}
