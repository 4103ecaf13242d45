//! Stores past the cache, and asking for memory ahead of its use.

#[cfg(target_arch = "x86_64")]
use std::any::Any;

use pulp::Simd;
#[cfg(target_arch = "x86_64")]
use pulp::x86::{V3, V4};

/// Ask the system to keep `data`, not yet touched, in pages of 2 MiB as far as it fills them:
/// where such pages are given on demand only, large arrays that are read from end to end cost
/// the translation of an address every 4 KiB otherwise. Advice: it may be refused.
pub(crate) fn in_large_pages(data: &mut [f64]) {
    #[cfg(target_os = "linux")]
    {
        const PAGE: usize = 2 << 20;
        let bytes = size_of_val(data);
        let skip = (data.as_ptr() as usize).wrapping_neg() % PAGE;
        let pages = bytes.saturating_sub(skip) / PAGE;
        if pages > 0 {
            // SAFETY: the pages are all inside `data`, and the advice changes no number.
            unsafe {
                let start = data.as_mut_ptr().cast::<u8>().add(skip);
                libc::madvise(start.cast(), pages * PAGE, libc::MADV_HUGEPAGE);
            }
        }
    }
    #[cfg(not(target_os = "linux"))]
    let _ = data;
}

/// Ask for `data` to be in the second-level cache soon.
#[cfg(target_arch = "x86_64")]
pub(crate) fn prefetch(data: &[f64]) {
    use std::arch::x86_64::{_MM_HINT_T1, _mm_prefetch};
    for line in data.chunks(8) {
        // SAFETY: a prefetch has no effect but on the cache; the address is that of a number.
        unsafe { _mm_prefetch::<_MM_HINT_T1>(line.as_ptr().cast()) };
    }
}

#[cfg(not(target_arch = "x86_64"))]
pub(crate) fn prefetch(_: &[f64]) {}

/// Ask for what lies `ahead` numbers behind the start of `data` to be in the first-level cache
/// soon, whatever is there.
#[cfg(target_arch = "x86_64")]
#[inline(always)]
pub(crate) fn prefetch_ahead(data: &[f64; 8], ahead: usize) {
    use std::arch::x86_64::{_MM_HINT_T0, _mm_prefetch};
    // SAFETY: a prefetch has no effect but on the cache, and none where there is no memory.
    unsafe { _mm_prefetch::<_MM_HINT_T0>(data.as_ptr().wrapping_add(ahead).cast()) };
}

/// to ← from, of equal length and a multiple of eight, by stores that do not read the old
/// lines first, where there are such and `to` begins at a cache line. [`settle`] makes them
/// visible to other threads.
#[inline(always)]
pub(crate) fn copy_past_cache<S: Simd>(simd: S, to: &mut [f64], from: &[f64]) {
    if !(to.as_ptr() as usize).is_multiple_of(64) || !to.len().is_multiple_of(8) {
        return to.copy_from_slice(from);
    }
    assert!(to.len() == from.len(), "pieces of different lengths");
    for (to, from) in S::as_mut_simd_f64s(to).0.iter_mut().zip(S::as_simd_f64s(from).0) {
        // SAFETY: the piece begins at a cache line, its vectors follow each other.
        if !unsafe { stream(simd, to, from) } {
            *to = *from;
        }
    }
}

/// Whether there is such a store for these vectors.
///
/// # Safety
/// `to` begins at a multiple of its size.
#[cfg(target_arch = "x86_64")]
#[inline(always)]
unsafe fn stream<S: Simd>(simd: S, to: &mut S::f64s, x: &S::f64s) -> bool {
    use std::arch::x86_64::{__m256d, __m512d, _mm256_stream_pd, _mm512_stream_pd};
    let simd: &dyn Any = &simd;
    let to: *mut S::f64s = to;
    if simd.is::<V4>() {
        // SAFETY: S is V4, so that the processor has these instructions and its vectors are
        // eight numbers; the caller's alignment.
        unsafe { _mm512_stream_pd(to.cast(), std::mem::transmute_copy::<_, __m512d>(x)) };
    } else if simd.is::<V3>() {
        // SAFETY: likewise, with four numbers and 32 bytes.
        unsafe { _mm256_stream_pd(to.cast(), std::mem::transmute_copy::<_, __m256d>(x)) };
    } else {
        return false;
    }
    true
}

#[cfg(not(target_arch = "x86_64"))]
unsafe fn stream<S: Simd>(_: S, _: &mut S::f64s, _: &S::f64s) -> bool {
    false
}

/// Other threads see what this thread copied past the cache after this and the next
/// synchronization.
#[cfg(target_arch = "x86_64")]
pub(crate) fn settle() {
    // SAFETY: SSE is part of x86-64.
    unsafe { std::arch::x86_64::_mm_sfence() };
}

#[cfg(not(target_arch = "x86_64"))]
pub(crate) fn settle() {}
