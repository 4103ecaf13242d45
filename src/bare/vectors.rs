//! Loads that spread neighbouring numbers to the places of a mask.

use std::arch::x86_64::{__m256d, __m256i, __m512d, __m512i};

use pulp::x86::{V3, V4};

use super::Places;

/// Numbers that are spread at once.
const LANE: usize = 8;

/// What an instruction set does with eight numbers.
pub(crate) trait Eight: Copy + pulp::Simd {
    type Numbers: Copy;

    fn sum(self, a: Self::Numbers, b: Self::Numbers) -> Self::Numbers;
    fn get(self, from: &[f64; LANE]) -> Self::Numbers;
    fn put(self, to: &mut [f64; LANE], numbers: Self::Numbers);
    /// As many of the first numbers as there are places, to the places, zeros elsewhere.
    fn spread(self, to: Places, from: &[f64; LANE]) -> Self::Numbers;

    /// The reverse of a spread: the numbers at the places, one after the other, to the start
    /// of `to`. Panics if that is shorter.
    #[inline(always)]
    fn collect(self, places: Places, from: &[f64; LANE], to: &mut [f64]) {
        let to = &mut to[..places.mask().count_ones() as usize];
        let mut left = places.mask();
        for t in to {
            *t = from[left.trailing_zeros() as usize];
            left &= left - 1;
        }
    }
}

impl Eight for V4 {
    type Numbers = __m512d;

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
    fn spread(self, to: Places, from: &[f64; LANE]) -> __m512d {
        let x = self.get(from);
        self.avx512f._mm512_maskz_permutexvar_pd(to.mask(), permutation(self, &SPREAD, to), x)
    }

    #[inline(always)]
    fn collect(self, places: Places, from: &[f64; LANE], to: &mut [f64]) {
        let (mask, taken) = (places.mask(), places.taken());
        assert!(to.len() >= mask.count_ones() as usize);
        let x = self.get(from);
        let x = self.avx512f._mm512_permutexvar_pd(permutation(self, &COLLECT, places), x);
        // SAFETY: as many numbers are written as `mask` has bits, which `to` has.
        unsafe { self.avx512f._mm512_mask_storeu_pd(to.as_mut_ptr(), taken, x) };
    }
}

/// For each mask: the number that goes to each place, and the place of each number. With
/// these a permutation spreads or collects; the instructions that do so by the mask alone
/// take five cycles on some processors (AMD family 26), a permutation one.
static SPREAD: [[u8; LANE]; 256] = by_mask(true);
static COLLECT: [[u8; LANE]; 256] = by_mask(false);

const fn by_mask(spread: bool) -> [[u8; LANE]; 256] {
    let mut all = [[0; LANE]; 256];
    let mut mask = 0;
    while mask < 256 {
        let (mut place, mut number) = (0, 0);
        while place < LANE {
            if mask >> place & 1 == 1 {
                if spread {
                    all[mask][place] = number as u8;
                } else {
                    all[mask][number] = place as u8;
                }
                number += 1;
            }
            place += 1;
        }
        mask += 1;
    }
    all
}

#[inline(always)]
fn permutation(simd: V4, table: &[[u8; LANE]; 256], places: Places) -> __m512i {
    let eight = u64::from_le_bytes(table[usize::from(places.mask())]);
    simd.avx512f._mm512_cvtepu8_epi64(simd.sse2._mm_set_epi64x(0, eight as i64))
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
    fn spread(self, to: Places, from: &[f64; LANE]) -> [__m256d; 2] {
        // Nothing to spread: on some processors (AMD family 23) a permutation takes four cycles.
        if to.mask() == u8::MAX {
            return self.get(from);
        }
        let low = usize::from(to.mask() & 15);
        let second = low.count_ones() as usize;
        // SAFETY: as many numbers are read as the mask has bits, of eight; those of the lower
        // four bits come first.
        unsafe {
            let from = from.as_ptr();
            [
                self.four(from, self.row(low)),
                self.four(from.add(second), self.row(usize::from(to.mask() >> 4))),
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

#[cfg(test)]
mod tests {
    use super::*;

    fn all_masks<S: Eight>(simd: S) {
        for mask in 0..=255u8 {
            let from = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0];
            let (mut next, mut wanted) = (0, [0.0; LANE]);
            for (place, w) in wanted.iter_mut().enumerate() {
                if mask >> place & 1 == 1 {
                    next += 1;
                    *w = f64::from(next);
                }
            }
            let places = Places::new(mask);
            let mut out = [0.0; LANE];
            simd.put(&mut out, simd.spread(places, &from));
            assert_eq!(out, wanted, "{mask:08b}");
            let (count, mut back) = (next as usize, [-1.0; LANE + 1]);
            simd.collect(places, &out, &mut back[..count.max(1)]);
            assert_eq!(back[..count], from[..count], "{mask:08b}");
            assert!(back[count..].iter().all(|v| *v == -1.0), "{mask:08b}");
        }
    }

    #[test]
    fn numbers_come_to_their_places() {
        if let Some(simd) = V3::try_new() {
            all_masks(simd);
        }
        if let Some(simd) = V4::try_new() {
            all_masks(simd);
        }
    }
}
