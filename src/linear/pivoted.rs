//! Elimination of a front with row exchanges among its pivots: the slow path, for fronts in
//! which plain elimination met a pivot that is zero.

use super::kernel::TINY_PIVOT;

/// A pivot that stays zero is replaced by this (the square root of the unit roundoff, for a
/// matrix scaled to 1): refinement or the general-purpose LU answer it. X. Li and J. Demmel,
/// ACM Trans. Math. Softw. 29 (2003) 110.
const REPLACEMENT: f64 = 1.5e-8;

/// As `kernel::Eliminate`, with exchanges: pivot row k of the factors is row `exchange[k]` of
/// the front. Returns the number of pivots replaced.
pub(super) fn eliminate_pivoted(
    lower: &mut [f64],
    upper: &mut [f64],
    pivots: usize,
    ld: usize,
    rest_row: usize,
    exchange: &mut [u32],
) -> u32 {
    let p = pivots;
    let mut replaced = 0;
    // The square of the pivots by columns.
    let mut square = vec![0.0; p * p];
    for j in 0..p {
        for i in j..p {
            square[j * p + i] = lower[j * ld + i];
            square[i * p + j] = upper[j * ld + i];
        }
    }
    for (k, e) in exchange.iter_mut().enumerate() {
        *e = k as u32;
    }
    for k in 0..p {
        let mut best = k;
        for i in k + 1..p {
            if square[k * p + i].abs() > square[k * p + best].abs() {
                best = i;
            }
        }
        if best != k {
            exchange.swap(k, best);
            for j in 0..p {
                square.swap(j * p + k, j * p + best);
            }
        }
        let mut pivot = square[k * p + k];
        if !(pivot.abs() > TINY_PIVOT && pivot.is_finite()) {
            pivot = if pivot < 0.0 { -REPLACEMENT } else { REPLACEMENT };
            square[k * p + k] = pivot;
            replaced += 1;
        }
        let (done, rest) = square.split_at_mut((k + 1) * p);
        let column = &mut done[k * p..];
        for x in &mut column[k + 1..] {
            *x /= pivot;
        }
        for other in rest.chunks_exact_mut(p) {
            let f = other[k];
            if f != 0.0 {
                for i in k + 1..p {
                    other[i] -= f * column[i];
                }
            }
        }
    }
    // U: columns of its half are rows of the front, so they move; then Uᵀ = Y L⁻ᵀ.
    let old: Vec<f64> =
        (0..p).flat_map(|k| upper[k * ld + rest_row..(k + 1) * ld].to_vec()).collect();
    let c = ld - rest_row;
    for k in 0..p {
        let from = exchange[k] as usize * c;
        upper[k * ld + rest_row..(k + 1) * ld].copy_from_slice(&old[from..from + c]);
        for m in k..p {
            upper[k * ld + m] = square[m * p + k];
            lower[k * ld + m] = square[k * p + m];
        }
        lower[k * ld + k] = 1.0 / square[k * p + k];
    }
    for k in 0..p {
        for m in 0..k {
            // U: column k −= L(k, m) · column m; L: column k −= U(m, k) · column m.
            for (half, f) in [(&mut *upper, square[m * p + k]), (&mut *lower, square[k * p + m])] {
                let (done, now) = half.split_at_mut(k * ld);
                let from = &done[m * ld + rest_row..(m + 1) * ld];
                for (x, y) in now[rest_row..ld].iter_mut().zip(from) {
                    *x -= f * y;
                }
            }
        }
        let reciprocal = lower[k * ld + k];
        for x in &mut lower[k * ld + rest_row..(k + 1) * ld] {
            *x *= reciprocal;
        }
    }
    replaced
}
