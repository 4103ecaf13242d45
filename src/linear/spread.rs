//! Extend-add with wide vectors: what `extend` does by runs, by groups of eight rows of the
//! parent.
//!
//! A child's rows keep their order in the parent, so that the rows that fall on one group are
//! neighbours in the child: one load spreads them to their places, whatever the runs are. The
//! groups depend on the rows only and are made once per pattern. AVX-512 has such loads; with
//! AVX2 a masked load and a permutation do the same, and no store needs a mask, which some
//! processors take dozens of cycles for.

// Spreading loads have no safe form.
#![allow(unsafe_code)]

use std::arch::x86_64::{__m256d, __m256i, __m512d};

use pulp::Arch;
use pulp::x86::{V3, V4};

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

/// What an instruction set does with eight numbers.
trait Eight: Copy + pulp::Simd {
    type Numbers: Copy;

    fn none(self) -> Self::Numbers;
    fn sum(self, a: Self::Numbers, b: Self::Numbers) -> Self::Numbers;
    fn get(self, from: &[f64; LANE]) -> Self::Numbers;
    fn put(self, to: &mut [f64; LANE], numbers: Self::Numbers);
    /// As many numbers as `mask` has bits, to the places of the bits, zeros elsewhere; from
    /// two places.
    ///
    /// # Safety
    /// As many numbers can be read at both.
    unsafe fn spread(self, mask: u8, from: [*const f64; 2]) -> [Self::Numbers; 2];
}

impl Eight for V4 {
    type Numbers = __m512d;

    #[inline(always)]
    fn none(self) -> __m512d {
        self.avx512f._mm512_setzero_pd()
    }

    #[inline(always)]
    fn sum(self, a: __m512d, b: __m512d) -> __m512d {
        self.avx512f._mm512_add_pd(a, b)
    }

    #[inline(always)]
    fn get(self, from: &[f64; LANE]) -> __m512d {
        // SAFETY: eight numbers are read from a reference to eight.
        unsafe { self.avx512f._mm512_loadu_pd(from.as_ptr()) }
    }

    #[inline(always)]
    fn put(self, to: &mut [f64; LANE], numbers: __m512d) {
        // SAFETY: eight numbers are written to a reference to eight.
        unsafe { self.avx512f._mm512_storeu_pd(to.as_mut_ptr(), numbers) }
    }

    #[inline(always)]
    unsafe fn spread(self, mask: u8, from: [*const f64; 2]) -> [__m512d; 2] {
        // Written out twice: `map` would hide the loads in calls without the instruction set.
        // SAFETY: the caller's.
        unsafe {
            [
                self.avx512f._mm512_maskz_expandloadu_pd(mask, from[0]),
                self.avx512f._mm512_maskz_expandloadu_pd(mask, from[1]),
            ]
        }
    }
}

/// For each four bits: which numbers a masked load takes, and where a permutation of pairs
/// of 32 bits finds the one for each place; places without a bit take the last, which is
/// then zero.
#[repr(align(32))]
struct Table([[i32; 8]; 16]);

static TAKEN: Table = Table(taken());
static PLACES: Table = Table(places());

const fn taken() -> [[i32; 8]; 16] {
    let mut all = [[0; 8]; 16];
    let mut mask = 0;
    while mask < 16 {
        let mut k = 0;
        while k < 2 * (mask as u32).count_ones() as usize {
            all[mask][k] = -1;
            k += 1;
        }
        mask += 1;
    }
    all
}

const fn places() -> [[i32; 8]; 16] {
    let mut all = [[0; 8]; 16];
    let mut mask = 0;
    while mask < 16 {
        let (mut place, mut next) = (0, 0);
        while place < 4 {
            let taken = mask >> place & 1 == 1;
            let from = if taken { next } else { 3 };
            all[mask][2 * place] = 2 * from;
            all[mask][2 * place + 1] = 2 * from + 1;
            next += taken as i32;
            place += 1;
        }
        mask += 1;
    }
    all
}

impl Eight for V3 {
    type Numbers = [__m256d; 2];

    #[inline(always)]
    fn none(self) -> [__m256d; 2] {
        [self.avx._mm256_setzero_pd(); 2]
    }

    #[inline(always)]
    fn sum(self, a: [__m256d; 2], b: [__m256d; 2]) -> [__m256d; 2] {
        [self.avx._mm256_add_pd(a[0], b[0]), self.avx._mm256_add_pd(a[1], b[1])]
    }

    #[inline(always)]
    fn get(self, from: &[f64; LANE]) -> [__m256d; 2] {
        // SAFETY: eight numbers are read from a reference to eight.
        unsafe {
            let from = from.as_ptr();
            [self.avx._mm256_loadu_pd(from), self.avx._mm256_loadu_pd(from.add(4))]
        }
    }

    #[inline(always)]
    fn put(self, to: &mut [f64; LANE], numbers: [__m256d; 2]) {
        // SAFETY: eight numbers are written to a reference to eight.
        unsafe {
            let to = to.as_mut_ptr();
            self.avx._mm256_storeu_pd(to, numbers[0]);
            self.avx._mm256_storeu_pd(to.add(4), numbers[1]);
        }
    }

    #[inline(always)]
    unsafe fn spread(self, mask: u8, from: [*const f64; 2]) -> [[__m256d; 2]; 2] {
        let low = usize::from(mask & 15);
        let second = low.count_ones() as usize;
        let lower = self.row(low);
        let upper = self.row(usize::from(mask >> 4));
        // Written out: `map` would hide the loads in calls without the instruction set.
        // SAFETY: the numbers of the lower four bits come first; the rest is the caller's.
        unsafe {
            [
                [self.four(from[0], lower), self.four(from[0].add(second), upper)],
                [self.four(from[1], lower), self.four(from[1].add(second), upper)],
            ]
        }
    }
}

/// Of four bits: what a masked load takes, and the places.
type Row = [__m256i; 2];

trait Four {
    fn row(self, mask: usize) -> Row;
    /// # Safety
    /// As many numbers can be read as the mask of `row` has bits.
    unsafe fn four(self, from: *const f64, row: Row) -> __m256d;
}

impl Four for V3 {
    #[inline(always)]
    fn row(self, mask: usize) -> Row {
        // SAFETY: eight numbers of 32 bits each, from references to eight.
        unsafe {
            [
                self.avx._mm256_loadu_si256(TAKEN.0[mask].as_ptr().cast()),
                self.avx._mm256_loadu_si256(PLACES.0[mask].as_ptr().cast()),
            ]
        }
    }

    #[inline(always)]
    unsafe fn four(self, from: *const f64, [taken, places]: Row) -> __m256d {
        // SAFETY: the caller's.
        let x = unsafe { self.avx._mm256_maskload_pd(from, taken) };
        let x = self.avx._mm256_castpd_ps(x);
        self.avx._mm256_castps_pd(self.avx2._mm256_permutevar8x32_ps(x, places))
    }
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
                let groups = (first, &self.groups[g + 1..]);
                let (l, u) = (column.lower, column.upper);
                column_of::<S, FIRST>(simd, (l, u), column.top, (lower, upper), source, groups);
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
fn column_of<S: Eight, const FIRST: bool>(
    simd: S,
    (l, u): (&mut [f64], &mut [f64]),
    top: usize,
    (lower, upper): (&[f64], &[f64]),
    source: usize,
    (first, others): (Group, &[Group]),
) {
    let (l, u) = (l.as_chunks_mut::<LANE>().0, u.as_chunks_mut::<LANE>().0);
    let (mut next, mut group) = (0, first);
    let mut left = others.iter();
    loop {
        let at = (group.to as usize - top) / LANE;
        if FIRST {
            zeros(simd, &mut l[next..at], &mut u[next..at]);
            next = at + 1;
        }
        let from = source + group.from as usize;
        let (l, u) = (&mut l[at], &mut u[at]);
        // SAFETY: as many numbers are read as the mask has bits, which the caller has checked
        // for the last group, the one that reads furthest.
        let [mut x, mut y] = unsafe {
            simd.spread(group.mask, [lower.as_ptr().add(from), upper.as_ptr().add(from)])
        };
        if !FIRST {
            x = simd.sum(simd.get(l), x);
            y = simd.sum(simd.get(u), y);
        }
        simd.put(l, x);
        simd.put(u, y);
        let Some(&more) = left.next() else { break };
        group = more;
    }
    if FIRST {
        zeros(simd, &mut l[next..], &mut u[next..]);
    }
}

#[inline(always)]
fn zeros<S: Eight>(simd: S, l: &mut [[f64; LANE]], u: &mut [[f64; LANE]]) {
    for (l, u) in l.iter_mut().zip(u) {
        simd.put(l, simd.none());
        simd.put(u, simd.none());
    }
}
