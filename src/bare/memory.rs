//! Stores past the cache, and asking for memory ahead of its use.

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

/// to ← from, of equal length, by stores that do not read the old lines first; otherwise as
/// `copy_from_slice`.
#[cfg(target_arch = "x86_64")]
pub(crate) fn copy_past_cache(to: &mut [f64], from: &[f64]) {
    use std::arch::x86_64::{_mm_loadu_pd, _mm_sfence, _mm_stream_pd};
    if !(to.as_ptr() as usize).is_multiple_of(64) || to.len() != from.len() {
        return to.copy_from_slice(from);
    }
    let whole = to.len() / 8 * 8;
    let (lines, end) = to.split_at_mut(whole);
    if is_x86_feature_detected!("avx512f") {
        // SAFETY: the processor has these instructions.
        unsafe { lines_past_cache(lines, from) };
    } else {
        for (t, f) in lines.as_chunks_mut::<2>().0.iter_mut().zip(from.as_chunks::<2>().0) {
            // SAFETY: both are two numbers long; the pairs of `to` are aligned to 16 bytes.
            // SSE2 is part of x86-64.
            unsafe { _mm_stream_pd(t.as_mut_ptr(), _mm_loadu_pd(f.as_ptr())) };
        }
    }
    end.copy_from_slice(&from[whole..]);
    // SAFETY: as above. Other threads see the stores after the next synchronization.
    unsafe { _mm_sfence() };
}

/// A cache line at once: with narrower stores it is their number that takes the time.
#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f")]
fn lines_past_cache(to: &mut [f64], from: &[f64]) {
    use std::arch::x86_64::{_mm512_loadu_pd, _mm512_stream_pd};
    assert!((to.as_ptr() as usize).is_multiple_of(64));
    for (t, f) in to.as_chunks_mut::<8>().0.iter_mut().zip(from.as_chunks::<8>().0) {
        // SAFETY: both are eight numbers long; those of `to` begin at a cache line.
        unsafe { _mm512_stream_pd(t.as_mut_ptr(), _mm512_loadu_pd(f.as_ptr())) };
    }
}

#[cfg(not(target_arch = "x86_64"))]
pub(crate) fn copy_past_cache(to: &mut [f64], from: &[f64]) {
    to.copy_from_slice(from);
}
