//! Extend-add: the contribution blocks of the children go into their parent.
//!
//! The columns of a child fall on columns of the parent and its rows on runs of rows, in the
//! same order. The first child is written, not added, with zeros between its runs, which
//! saves a pass over the parent.
//!
//! For machines without the loads of `spread`, and what both have in common.

use std::hint::black_box;

use pulp::{Simd, WithSimd};

use super::kernel::group_start;
use super::symbolic::{LANE, Run};

/// A front that is being assembled.
pub(super) struct Target<'a> {
    pub lower: &'a mut [f64],
    pub upper: &'a mut [f64],
    pub pivots: usize,
    /// Rows of the halves.
    pub ld: usize,
    /// Halves of its own contribution.
    pub out_lower: &'a mut [f64],
    pub out_upper: &'a mut [f64],
    /// First row and number of rows of the rest, padded.
    pub rest_row: usize,
    pub rest: usize,
}

/// One column of both halves of a front, from row `top` down.
pub(super) struct Column<'a> {
    pub lower: &'a mut [f64],
    pub upper: &'a mut [f64],
    pub top: usize,
}

impl Target<'_> {
    /// The same target for a shorter time.
    pub fn again(&mut self) -> Target<'_> {
        Target {
            lower: self.lower,
            upper: self.upper,
            out_lower: self.out_lower,
            out_upper: self.out_upper,
            ..*self
        }
    }

    /// Column `q`, a row number of the front, from the group of its diagonal down.
    #[inline(always)]
    pub fn column(&mut self, q: usize) -> Column<'_> {
        if q < self.pivots {
            let top = q / LANE * LANE;
            let at = q * self.ld + top..(q + 1) * self.ld;
            Column { lower: &mut self.lower[at.clone()], upper: &mut self.upper[at], top }
        } else {
            let c = q - self.rest_row;
            let rows = self.rest - c / LANE * LANE;
            let start = group_start(c / LANE, self.rest) + (c % LANE) * rows;
            let at = start..start + rows;
            let top = self.rest_row + c / LANE * LANE;
            Column { lower: &mut self.out_lower[at.clone()], upper: &mut self.out_upper[at], top }
        }
    }
}

/// Set the whole front to zero.
pub(super) struct Clear<'a> {
    pub target: Target<'a>,
    /// Leave the contribution as it is.
    pub pivots_only: bool,
}

impl WithSimd for Clear<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        let pivots = self.target.pivots;
        let end = if self.pivots_only { pivots } else { self.target.ld };
        clear(simd, &mut self.target, 0, end);
    }
}

/// Columns from..end, those of padding left out.
#[inline(always)]
pub(super) fn clear<S: Simd>(simd: S, target: &mut Target<'_>, from: usize, end: usize) {
    for q in from..end {
        if q < target.pivots || q >= target.rest_row {
            let column = target.column(q);
            zero(simd, column.lower);
            zero(simd, column.upper);
        }
    }
}

/// One child's contribution.
pub(super) struct Extend<'a> {
    /// Both halves, rows padded.
    pub child: &'a [f64],
    pub child_rest: usize,
    pub runs: &'a [Run],
    pub target: Target<'a>,
    /// Write what the child has and zeros elsewhere, instead of adding.
    pub first: bool,
}

impl WithSimd for Extend<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        if self.first { self.go::<S, true>(simd) } else { self.go::<S, false>(simd) }
    }
}

impl Extend<'_> {
    #[inline(always)]
    fn go<S: Simd, const FIRST: bool>(&mut self, simd: S) {
        let (lower, upper) = self.child.split_at(self.child.len() / 2);
        let target = &mut self.target;
        let mut next = 0;
        for (k, run) in self.runs.iter().enumerate() {
            for o in 0..run.len as usize {
                let (j, q) = (run.from as usize + o, run.to as usize + o);
                if FIRST {
                    clear(simd, target, next, q);
                }
                next = q + 1;
                let rows = self.child_rest - j / LANE * LANE;
                // Element (i, j) of the child is at source + i.
                let source = group_start(j / LANE, self.child_rest) + (j % LANE) * rows;
                let source = source - j / LANE * LANE;
                let Column { lower: l, upper: u, top } = target.column(q);
                let mut done = 0;
                let first = Run { from: j as u32, len: run.len - o as u32, to: q as u32 };
                for r in std::iter::once(&first).chain(&self.runs[k + 1..]) {
                    let (to, len) = (r.to as usize - top, r.len as usize);
                    let from = source + r.from as usize;
                    if FIRST {
                        zero(simd, &mut l[done..to]);
                        zero(simd, &mut u[done..to]);
                        put::<S, false>(simd, &mut l[to..to + len], &lower[from..from + len]);
                        put::<S, false>(simd, &mut u[to..to + len], &upper[from..from + len]);
                        done = to + len;
                    } else {
                        put::<S, true>(simd, &mut l[to..to + len], &lower[from..from + len]);
                        put::<S, true>(simd, &mut u[to..to + len], &upper[from..from + len]);
                    }
                }
                if FIRST {
                    zero(simd, &mut l[done..]);
                    zero(simd, &mut u[done..]);
                }
            }
        }
        if FIRST {
            let end = target.ld;
            clear(simd, target, next, end);
        }
    }
}

/// to ← from, or to += from; of equal length.
#[inline(always)]
fn put<S: Simd, const ADD: bool>(simd: S, to: &mut [f64], from: &[f64]) {
    let (to, to_end) = S::as_mut_simd_f64s(to);
    let (from, from_end) = S::as_simd_f64s(from);
    for (t, f) in to.iter_mut().zip(from) {
        *t = if ADD { simd.add_f64s(*t, *f) } else { *f };
    }
    for (t, f) in to_end.iter_mut().zip(from_end) {
        *t = if ADD { *t + *f } else { *f };
    }
}

#[inline(always)]
fn zero<S: Simd>(simd: S, to: &mut [f64]) {
    let (to, end) = S::as_mut_simd_f64s(to);
    // Of a zero that the compiler knows it would make a call of memset, for a few numbers.
    let none = simd.splat_f64s(black_box(0.0));
    for t in to {
        *t = none;
    }
    for t in end {
        *t = black_box(0.0);
    }
}
