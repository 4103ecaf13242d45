//! Elimination of the pivots of a front, by panels of columns.

// Loops over registers index several arrays alike; iterators would hide that.
#![allow(clippy::needless_range_loop)]

use std::ops::Range;

use pulp::{Simd, WithSimd};

use crate::bare::columns;

use super::kernel::{Operand, TINY_PIVOT, by_rows, load, store, tile};
use super::symbolic::LANE;
use super::unrolled::{by_width, unrolled};

/// Pivots that are factored at once; panels begin at multiples of `LANE`.
const PANEL: usize = LANE;

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
            let good = by_width!(self.columns.end - at, |W| self.panel::<S, W>(simd, at));
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
        let row = rows.start + r;
        let x = load::<S, V, W>(simd, &c[row..], ld);
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
        store::<S, V, W>(&mut c[row..], ld, x);
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
            by_width!(self.columns.end - at, |W| self.panel::<S, W>(simd, at));
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
