//! Sums over the numbers of several vectors at once.

#[cfg(target_arch = "x86_64")]
use std::any::Any;

use pulp::Simd;
#[cfg(target_arch = "x86_64")]
use pulp::x86::{V3, V4};

/// The sum over each of W vectors, to the same bits as one by one. Eight are summed together
/// where that is known how: one by one it is the moves that take the time.
#[inline(always)]
pub(crate) fn sums<S: Simd, const W: usize>(simd: S, x: &[S::f64s; W]) -> [f64; W] {
    let mut total = [0.0; W];
    if !(W == 8 && together(simd, x, &mut total)) {
        for (total, x) in total.iter_mut().zip(x) {
            *total = simd.reduce_sum_f64s(*x);
        }
    }
    total
}

#[cfg(target_arch = "x86_64")]
#[inline(always)]
fn together<S: Simd>(simd: S, x: &[S::f64s], total: &mut [f64]) -> bool {
    use std::arch::x86_64::{__m256d, __m512d};
    use std::mem::transmute_copy;
    let simd: &dyn Any = &simd;
    assert!(x.len() == 8 && total.len() == 8);
    if let Some(simd) = simd.downcast_ref::<V4>() {
        let mut wide: [__m512d; 8] = [simd.avx512f._mm512_setzero_pd(); 8];
        for (wide, x) in wide.iter_mut().zip(x) {
            // SAFETY: S is V4, whose vectors are eight numbers.
            *wide = unsafe { transmute_copy(x) };
        }
        total.copy_from_slice(&by_eight(*simd, wide));
    } else if let Some(simd) = simd.downcast_ref::<V3>() {
        for (x, total) in x.as_chunks::<4>().0.iter().zip(total.as_chunks_mut::<4>().0) {
            let mut four: [__m256d; 4] = [simd.avx._mm256_setzero_pd(); 4];
            for (four, x) in four.iter_mut().zip(x) {
                // SAFETY: S is V3, whose vectors are four numbers.
                *four = unsafe { transmute_copy(x) };
            }
            *total = by_four(*simd, four);
        }
    } else {
        return false;
    }
    true
}

#[cfg(not(target_arch = "x86_64"))]
fn together<S: Simd>(_: S, _: &[S::f64s], _: &mut [f64]) -> bool {
    false
}

/// Halves are added to halves, then quarters, then single numbers, as for one vector.
#[cfg(target_arch = "x86_64")]
#[inline(always)]
fn by_eight(simd: V4, x: [std::arch::x86_64::__m512d; 8]) -> [f64; 8] {
    let f = simd.avx512f;
    let mut half = [x[0]; 4];
    for k in 0..4 {
        let low = f._mm512_shuffle_f64x2::<0b01_00_01_00>(x[2 * k], x[2 * k + 1]);
        let high = f._mm512_shuffle_f64x2::<0b11_10_11_10>(x[2 * k], x[2 * k + 1]);
        half[k] = f._mm512_add_pd(low, high);
    }
    let mut quarter = [x[0]; 2];
    for k in 0..2 {
        let low = f._mm512_shuffle_f64x2::<0b10_00_10_00>(half[2 * k], half[2 * k + 1]);
        let high = f._mm512_shuffle_f64x2::<0b11_01_11_01>(half[2 * k], half[2 * k + 1]);
        quarter[k] = f._mm512_add_pd(low, high);
    }
    let low = f._mm512_unpacklo_pd(quarter[0], quarter[1]);
    let high = f._mm512_unpackhi_pd(quarter[0], quarter[1]);
    let sum: [f64; 8] = pulp::cast(f._mm512_add_pd(low, high));
    [sum[0], sum[2], sum[4], sum[6], sum[1], sum[3], sum[5], sum[7]]
}

#[cfg(target_arch = "x86_64")]
#[inline(always)]
fn by_four(simd: V3, x: [std::arch::x86_64::__m256d; 4]) -> [f64; 4] {
    let f = simd.avx;
    let mut half = [x[0]; 2];
    for k in 0..2 {
        let low = f._mm256_permute2f128_pd::<0x20>(x[k], x[k + 2]);
        let high = f._mm256_permute2f128_pd::<0x31>(x[k], x[k + 2]);
        half[k] = f._mm256_add_pd(low, high);
    }
    let low = f._mm256_unpacklo_pd(half[0], half[1]);
    let high = f._mm256_unpackhi_pd(half[0], half[1]);
    pulp::cast(f._mm256_add_pd(low, high))
}

#[cfg(test)]
mod tests {
    use pulp::{Scalar, WithSimd};

    use super::*;

    struct Same;

    impl WithSimd for Same {
        type Output = ();

        fn with_simd<S: Simd>(self, simd: S) {
            let numbers: Vec<f64> = (0..64).map(|k| (f64::from(k) * 0.7).sin().exp()).collect();
            let lanes = S::F64_LANES;
            let mut x = [simd.splat_f64s(0.0); 8];
            for (x, from) in x.iter_mut().zip(numbers.chunks_exact(lanes)) {
                *x = S::as_simd_f64s(from).0[0];
            }
            let one_by_one = x.map(|x| simd.reduce_sum_f64s(x));
            assert_eq!(sums(simd, &x), one_by_one);
            assert_eq!(sums(simd, &[x[3], x[1]]), [one_by_one[3], one_by_one[1]]);
            for (x, from) in one_by_one.iter().zip(numbers.chunks_exact(lanes)) {
                assert!((x - from.iter().sum::<f64>()).abs() < 1e-13);
            }
        }
    }

    #[test]
    fn together_as_one_by_one() {
        Same.with_simd(Scalar::new());
        #[cfg(target_arch = "x86_64")]
        {
            if let Some(simd) = V3::try_new() {
                simd.vectorize(|| Same.with_simd(simd));
            }
            if let Some(simd) = V4::try_new() {
                simd.vectorize(|| Same.with_simd(simd));
            }
        }
    }
}
