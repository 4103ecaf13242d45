//! Extend-add with AVX-512: what `extend` does by runs, by groups of eight rows of the parent.
//!
//! A child's rows keep their order in the parent, so that the rows that fall on one group are
//! neighbours in the child: one load spreads them to their places, whatever the runs are. The
//! groups depend on the rows only and are made once per pattern.

// Spreading loads have no safe form.
#![allow(unsafe_code)]

use pulp::x86::V4;

use super::extend::{Target, clear};
use super::kernel::group_start;
use super::symbolic::{Group, LANE};

/// One child's contribution, as `extend::Extend`.
pub(super) struct Spread<'a> {
    /// Both halves, rows padded.
    pub child: &'a [f64],
    pub child_rest: usize,
    /// Row of the parent, by row of the child's rest.
    pub groups: &'a [Group],
    pub target: Target<'a>,
    /// Write what the child has and zeros elsewhere, instead of adding.
    pub first: bool,
}

impl pulp::NullaryFnOnce for Bound<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Bound { simd, mut op } = self;
        if op.first { op.go::<true>(simd) } else { op.go::<false>(simd) }
    }
}

/// With the instruction set that it needs.
struct Bound<'a> {
    simd: V4,
    op: Spread<'a>,
}

impl Spread<'_> {
    pub fn run(self, simd: V4) {
        simd.vectorize(Bound { simd, op: self });
    }

    #[inline(always)]
    fn go<const FIRST: bool>(&mut self, simd: V4) {
        let half = self.child.len() / 2;
        let (lower, upper) = self.child.split_at(half);
        let target = &mut self.target;
        let end = target.ld;
        let Some(last) = self.groups.last() else {
            if FIRST {
                clear(simd, target, 0, end);
            }
            return;
        };
        // Rows of the child that any group reads.
        let read = last.from as usize + last.mask.count_ones() as usize;
        let mut next = 0;
        for (g, group) in self.groups.iter().enumerate() {
            let mut j = group.from as usize;
            let mut mask = group.mask;
            while mask != 0 {
                // Row j of the child is row q of the parent; columns likewise.
                let q = group.to as usize + mask.trailing_zeros() as usize;
                if FIRST {
                    clear(simd, target, next, q);
                    next = q + 1;
                }
                let rows = self.child_rest - j / LANE * LANE;
                // Element (i, j) of the child is at source + i.
                let source = group_start(j / LANE, self.child_rest) + (j % LANE) * rows;
                let source = source - j / LANE * LANE;
                assert!(source + read <= half);
                let column = target.column(q);
                let first = Group { to: group.to, from: j as u32, mask };
                let others = &self.groups[g + 1..];
                let (l, u) = (column.lower, column.upper);
                let groups = std::iter::once(&first).chain(others);
                column_of::<FIRST>(simd, (l, u), column.top, (lower, upper), source, groups);
                j += 1;
                mask &= mask - 1;
            }
        }
        if FIRST {
            clear(simd, target, next, end);
        }
    }
}

/// One column of both halves. The caller has checked that `source` plus every row that a
/// group names lies in the child.
#[inline(always)]
fn column_of<'g, const FIRST: bool>(
    simd: V4,
    (l, u): (&mut [f64], &mut [f64]),
    top: usize,
    (lower, upper): (&[f64], &[f64]),
    source: usize,
    groups: impl Iterator<Item = &'g Group>,
) {
    let avx = simd.avx512f;
    let zero = avx._mm512_setzero_pd();
    let (l, u) = (l.as_chunks_mut::<LANE>().0, u.as_chunks_mut::<LANE>().0);
    let mut next = 0;
    for group in groups {
        let at = (group.to as usize - top) / LANE;
        if FIRST {
            for (l, u) in l[next..at].iter_mut().zip(&mut u[next..at]) {
                // SAFETY: a plain store to a reference; loops would become calls of memset.
                unsafe {
                    avx._mm512_storeu_pd(l.as_mut_ptr(), zero);
                    avx._mm512_storeu_pd(u.as_mut_ptr(), zero);
                }
            }
            next = at + 1;
        }
        let from = source + group.from as usize;
        let (l, u) = (&mut l[at], &mut u[at]);
        // SAFETY: as many numbers are read as the mask has bits, which the caller has checked
        // for the last group, the one that reads furthest; eight are written to references of
        // eight.
        unsafe {
            let mut x = avx._mm512_maskz_expandloadu_pd(group.mask, lower.as_ptr().add(from));
            let mut y = avx._mm512_maskz_expandloadu_pd(group.mask, upper.as_ptr().add(from));
            if !FIRST {
                x = avx._mm512_add_pd(avx._mm512_loadu_pd(l.as_ptr()), x);
                y = avx._mm512_add_pd(avx._mm512_loadu_pd(u.as_ptr()), y);
            }
            avx._mm512_storeu_pd(l.as_mut_ptr(), x);
            avx._mm512_storeu_pd(u.as_mut_ptr(), y);
        }
    }
    if FIRST {
        for (l, u) in l[next..].iter_mut().zip(&mut u[next..]) {
            // SAFETY: as above.
            unsafe {
                avx._mm512_storeu_pd(l.as_mut_ptr(), zero);
                avx._mm512_storeu_pd(u.as_mut_ptr(), zero);
            }
        }
    }
}
