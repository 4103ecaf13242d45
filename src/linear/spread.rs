//! Extend-add with wide vectors: what `extend` does by runs, by groups of eight rows of the
//! parent.
//!
//! A child's rows keep their order in the parent, so that the rows that fall on one group are
//! neighbours in the child: eight numbers are loaded and spread to their places, whatever the
//! runs are. The groups depend on the rows only and are made once per pattern. Numbers beyond
//! those of the group are loaded and dropped, so that there must be eight. No store needs a
//! mask, which some processors take dozens of cycles for.

use pulp::Arch;

use crate::bare::{Eight, Places, prefetch_ahead};

use super::extend::{Target, clear};
use super::kernel::group_start;
use super::symbolic::{Group, LANE};

/// Children with more rows than this come from beyond the nearest caches: what is so many
/// numbers ahead is asked for. 116,640 unknowns: a whole factorization 37.2 to 36.0 ms (with
/// 200 for 96, which makes no difference beyond the noise).
const FAR: usize = 96;
const AHEAD: usize = 128;

/// One child's contribution, as `extend::Extend`.
pub(super) struct Spread<'a> {
    /// Both halves, rows padded, and a group to spare.
    pub child: &'a [f64],
    pub child_rest: usize,
    /// Rows of the parent for the child's rest; of the first child every row is in one.
    pub groups: &'a [Group],
    pub target: Target<'a>,
    /// Write what the child has and zeros elsewhere, instead of adding.
    pub first: bool,
}

/// With the instruction set that it needs.
struct Bound<'a, S> {
    simd: S,
    op: Spread<'a>,
}

impl<S: Eight> pulp::NullaryFnOnce for Bound<'_, S> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Bound { simd, mut op } = self;
        if op.first { op.go::<S, true>(simd) } else { op.go::<S, false>(simd) }
    }
}

impl Spread<'_> {
    /// With an instruction set that [`Spread::fits`].
    pub fn run(self, arch: Arch) {
        match arch {
            Arch::V4(simd) => simd.vectorize(Bound { simd, op: self }),
            Arch::V3(simd) => simd.vectorize(Bound { simd, op: self }),
            _ => debug_assert!(false, "no wide vectors"),
        }
    }

    pub fn fits(arch: Arch) -> bool {
        matches!(arch, Arch::V3(_) | Arch::V4(_))
    }

    #[inline(always)]
    fn go<S: Eight, const FIRST: bool>(&mut self, simd: S) {
        let half = (self.child.len() - LANE) / 2;
        let (lower, upper) = (&self.child[..half + LANE], &self.child[half..2 * half + LANE]);
        let far = self.child_rest > FAR;
        let target = &mut self.target;
        let end = target.ld;
        let mut next = 0;
        for (g, group) in self.groups.iter().enumerate() {
            let mut j = group.from as usize;
            let mut mask = group.places.mask();
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
                let column = target.column(q);
                let places = Places::new(mask);
                let first = Group { to: group.to, from: j as u32, places };
                let groups = (first, &self.groups[g + 1..]);
                let (l, u) = (column.lower, column.upper);
                let from = Halves { lower, upper, source, far };
                column_of::<S, FIRST>(simd, (l, u), column.top, from, groups);
                j += 1;
                mask &= mask - 1;
            }
        }
        if FIRST {
            clear(simd, target, next, end);
        }
    }
}

/// One column of both halves of the parent, from the group of its diagonal on. Without closures:
/// they would be calls without the instruction set.
#[inline(always)]
fn column_of<S: Eight, const FIRST: bool>(
    simd: S,
    (l, u): (&mut [f64], &mut [f64]),
    top: usize,
    from: Halves<'_>,
    (first, others): (Group, &[Group]),
) {
    let (l, u) = (l.as_chunks_mut::<LANE>().0, u.as_chunks_mut::<LANE>().0);
    if FIRST {
        // A group for every eight rows.
        let mut group = &first;
        let mut left = others.iter();
        for (l, u) in l.iter_mut().zip(u) {
            let [x, y] = from.spread(simd, group);
            simd.put(l, x);
            simd.put(u, y);
            let Some(next) = left.next() else { break };
            group = next;
        }
    } else {
        let u = &mut u[..l.len()];
        let mut group = &first;
        let mut left = others.iter();
        loop {
            let at = (group.to as usize - top) / LANE;
            let [x, y] = from.spread(simd, group);
            let (l, u) = (&mut l[at], &mut u[at]);
            simd.put(l, simd.sum(simd.get(l), x));
            simd.put(u, simd.sum(simd.get(u), y));
            let Some(next) = left.next() else { break };
            group = next;
        }
    }
}

/// Both halves of a child's contribution.
#[derive(Clone, Copy)]
struct Halves<'a> {
    lower: &'a [f64],
    upper: &'a [f64],
    /// Where row 0 of the column would be.
    source: usize,
    /// Not in the nearest caches.
    far: bool,
}

impl Halves<'_> {
    #[inline(always)]
    fn spread<S: Eight>(&self, simd: S, group: &Group) -> [S::Numbers; 2] {
        let from = self.source + group.from as usize;
        let (lower, upper) = (&self.lower[from..from + LANE], &self.upper[from..from + LANE]);
        let (lower, upper) = (&lower.as_chunks().0[0], &upper.as_chunks().0[0]);
        if self.far {
            prefetch_ahead(lower, AHEAD);
            prefetch_ahead(upper, AHEAD);
        }
        [simd.spread(group.places, lower), simd.spread(group.places, upper)]
    }
}

/// Fewer than eight numbers and zeros.
#[inline(always)]
fn ending(from: &[f64]) -> [f64; LANE] {
    let mut all = [0.0; LANE];
    all[..from.len()].copy_from_slice(from);
    all
}

/// What substitution does with the rows of a child and its parent.
pub(super) enum Rows<'a> {
    /// w += what the child passes on.
    Up { groups: &'a [Group], passed: &'a [f64], w: &'a mut [f64] },
    /// wanted ← the child's rows of w.
    Down { groups: &'a [Group], w: &'a [f64], wanted: &'a mut [f64] },
}

struct BoundRows<'a, S> {
    simd: S,
    op: Rows<'a>,
}

impl<S: Eight> pulp::NullaryFnOnce for BoundRows<'_, S> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let simd = self.simd;
        match self.op {
            Rows::Up { groups, passed, w } => {
                let w = w.as_chunks_mut::<LANE>().0;
                for g in groups {
                    let to = &mut w[g.to as usize / LANE];
                    let from = &passed[g.from as usize..];
                    let x = match from.as_chunks::<LANE>().0.first() {
                        Some(from) => simd.spread(g.places, from),
                        None => simd.spread(g.places, &ending(from)),
                    };
                    simd.put(to, simd.sum(simd.get(to), x));
                }
            }
            Rows::Down { groups, w, wanted } => {
                let w = w.as_chunks::<LANE>().0;
                for g in groups {
                    let from = &w[g.to as usize / LANE];
                    simd.collect(g.places, from, &mut wanted[g.from as usize..]);
                }
            }
        }
    }
}

impl Rows<'_> {
    /// With an instruction set that [`Rows::fits`].
    pub fn run(self, arch: Arch) {
        match arch {
            Arch::V4(simd) => simd.vectorize(BoundRows { simd, op: self }),
            Arch::V3(simd) => simd.vectorize(BoundRows { simd, op: self }),
            _ => debug_assert!(false, "no wide vectors"),
        }
    }

    pub fn fits(arch: Arch) -> bool {
        Spread::fits(arch)
    }
}
