//! Dense kernels for the fronts, written once for every vector width; the instruction set is
//! chosen at run time.
//!
//! All matrices are stored by columns. Every product has the form C −= A Bᵀ with A and B
//! columns of the two halves of one front, so that vectors run along columns only.

// Loops over registers index several arrays alike; iterators would hide that.
#![allow(clippy::needless_range_loop, clippy::manual_memcpy)]

use pulp::{Arch, Simd, WithSimd};

use super::symbolic::LANE;

/// A pivot below this (of a matrix scaled to entries of at most 1) is taken for zero.
pub(super) const TINY_PIVOT: f64 = 1e-14;

/// Pivots that are factored at once; panels begin at multiples of `LANE`.
const PANEL: usize = LANE;

/// C − A Bᵀ for a tile of V vectors times N columns, over `k` columns of A and B.
#[inline(always)]
fn tile<S: Simd, const V: usize, const N: usize>(
    simd: S,
    k: usize,
    (a, b, ld): (&[f64], &[f64], usize),
    mut c: [[S::f64s; V]; N],
) -> [[S::f64s; V]; N] {
    let rows = V * S::F64_LANES;
    let mut at = 0;
    for _ in 0..k {
        let x = S::as_simd_f64s(&a[at..at + rows]).0;
        let y = &b[at..at + N];
        for j in 0..N {
            let s = simd.splat_f64s(y[j]);
            for v in 0..V {
                c[j][v] = simd.negate_mul_add_e_f64s(x[v], s, c[j][v]);
            }
        }
        at += ld;
    }
    c
}

#[inline(always)]
fn load<S: Simd, const V: usize, const N: usize>(
    simd: S,
    c: &[f64],
    ld: usize,
) -> [[S::f64s; V]; N] {
    let rows = V * S::F64_LANES;
    let mut t = [[simd.splat_f64s(0.0); V]; N];
    for j in 0..N {
        let x = S::as_simd_f64s(&c[j * ld..j * ld + rows]).0;
        for v in 0..V {
            t[j][v] = x[v];
        }
    }
    t
}

#[inline(always)]
fn store<S: Simd, const V: usize, const N: usize>(c: &mut [f64], ld: usize, t: [[S::f64s; V]; N]) {
    let rows = V * S::F64_LANES;
    for j in 0..N {
        let x = S::as_mut_simd_f64s(&mut c[j * ld..j * ld + rows]).0;
        for v in 0..V {
            x[v] = t[j][v];
        }
    }
}

/// Evaluate `$call` for tiles of rows from 0 to `$rows` (a multiple of `LANE`), as tall as
/// registers allow: `$at` is the first row, `$v` the height in vectors. `$tall` are the
/// heights for 4, 2 and 1 numbers per vector, in rows.
macro_rules! by_rows {
    ($s:ty, $rows:expr, ($v4:literal, $v2:literal, $v1:literal), |$at:ident, $v:ident| $call:expr) => {{
        let mut $at = 0;
        if <$s>::F64_LANES == 8 {
            while $rows - $at >= 24 {
                const $v: usize = 3;
                $call;
                $at += 24;
            }
            if $rows - $at >= 16 {
                const $v: usize = 2;
                $call;
                $at += 16;
            }
            if $rows - $at >= 8 {
                const $v: usize = 1;
                $call;
            }
        } else if <$s>::F64_LANES == 4 {
            while $at < $rows {
                const $v: usize = $v4;
                $call;
                $at += 4 * $v;
            }
        } else if <$s>::F64_LANES == 2 {
            while $at < $rows {
                const $v: usize = $v2;
                $call;
                $at += 2 * $v;
            }
        } else {
            while $at < $rows {
                const $v: usize = $v1;
                $call;
                $at += $v;
            }
        }
    }};
}

/// Contribution block −L U of a front (added to what is there unless `fresh`): both halves,
/// each by groups of `LANE` columns, rows from the diagonal down.
pub(super) struct Contribution<'a> {
    /// L and U half from the first row of the rest on.
    pub lower: &'a [f64],
    pub upper: &'a [f64],
    pub pivots: usize,
    pub ld: usize,
    /// Rows of the rest, padded.
    pub rest: usize,
    pub out: &'a mut [f64],
    pub fresh: bool,
}

impl WithSimd for Contribution<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let (ld, k) = (self.ld, self.pivots);
        let mut out = self.out;
        let mut top = 0;
        while top < self.rest {
            let rows = self.rest - top;
            let (block, below) = out.split_at_mut(LANE * rows);
            out = below;
            let (a, b) = (&self.lower[top..], &self.upper[top..]);
            if S::F64_LANES == 8 {
                by_rows!(S, rows, (1, 1, 1), |r, V| {
                    let c = &mut block[r..];
                    let zero = [[simd.splat_f64s(0.0); V]; 8];
                    let t = if self.fresh { zero } else { load::<S, V, 8>(simd, c, rows) };
                    let t = tile::<S, V, 8>(simd, k, (&a[r..], b, ld), t);
                    store::<S, V, 8>(c, rows, t);
                });
            } else {
                for half in [0, 4] {
                    by_rows!(S, rows, (2, 4, 4), |r, V| {
                        let c = &mut block[r + half * rows..];
                        let zero = [[simd.splat_f64s(0.0); V]; 4];
                        let t = if self.fresh { zero } else { load::<S, V, 4>(simd, c, rows) };
                        let t = tile::<S, V, 4>(simd, k, (&a[r..], &b[half..], ld), t);
                        store::<S, V, 4>(c, rows, t);
                    });
                }
            }
            top += LANE;
        }
    }
}

/// Eliminate the pivots of a front without exchanges, left-looking by panels. `false` at
/// the first pivot that is (nearly) zero. Afterwards the L half holds unit-lower L below the
/// diagonal and 1/pivot on it, the U half Uᵀ, pivots on its diagonal.
pub(super) struct Eliminate<'a> {
    pub lower: &'a mut [f64],
    pub upper: &'a mut [f64],
    pub pivots: usize,
    pub ld: usize,
}

impl WithSimd for Eliminate<'_> {
    type Output = bool;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> bool {
        let (l, u, ld) = (self.lower, self.upper, self.ld);
        let mut at = 0;
        while at < self.pivots {
            let width = PANEL.min(self.pivots - at);
            let good = match width {
                8 => panel::<S, 8>(simd, at, l, u, ld),
                7 => panel::<S, 7>(simd, at, l, u, ld),
                6 => panel::<S, 6>(simd, at, l, u, ld),
                5 => panel::<S, 5>(simd, at, l, u, ld),
                4 => panel::<S, 4>(simd, at, l, u, ld),
                3 => panel::<S, 3>(simd, at, l, u, ld),
                2 => panel::<S, 2>(simd, at, l, u, ld),
                _ => panel::<S, 1>(simd, at, l, u, ld),
            };
            if !good {
                return false;
            }
            at += width;
        }
        true
    }
}

/// Columns at..at+W of both halves.
#[inline(always)]
fn panel<S: Simd, const W: usize>(
    simd: S,
    at: usize,
    l: &mut [f64],
    u: &mut [f64],
    ld: usize,
) -> bool {
    let (l_done, l_now) = l.split_at_mut(at * ld);
    let (u_done, u_now) = u.split_at_mut(at * ld);
    // The square on the diagonal.
    let from = at.min(l_done.len());
    update::<S, W>(simd, at, (&l_done[from..], &u_done[from..]), ld, &mut l_now[at..]);
    update::<S, W>(simd, at, (&u_done[from..], &l_done[from..]), ld, &mut u_now[at..]);
    let mut d = [[0.0; W]; W];
    for j in 0..W {
        for i in j..W {
            d[i][j] = l_now[j * ld + at + i];
            if i > j {
                d[j][i] = u_now[j * ld + at + i];
            }
        }
    }
    let mut reciprocal = [1.0; W];
    for k in 0..W {
        let pivot = d[k][k];
        // Written so that a NaN is caught, too.
        if !(pivot.abs() > TINY_PIVOT && pivot.is_finite()) {
            return false;
        }
        reciprocal[k] = 1.0 / pivot;
        let row = d[k];
        for i in k + 1..W {
            let f = d[i][k] * reciprocal[k];
            d[i][k] = f;
            for j in k + 1..W {
                d[i][j] -= f * row[j];
            }
        }
    }
    for j in 0..W {
        l_now[j * ld + at + j] = reciprocal[j];
        u_now[j * ld + at + j] = d[j][j];
        for i in j + 1..W {
            l_now[j * ld + at + i] = d[i][j];
            u_now[j * ld + at + i] = d[j][i];
        }
    }
    // Rows below: L = X U⁻¹, Uᵀ = Y L⁻ᵀ.
    let below = at + LANE;
    let mut transposed = [[0.0; W]; W];
    for i in 0..W {
        for j in 0..W {
            transposed[i][j] = d[j][i];
        }
    }
    if below < ld {
        let (rows, next) = (ld - below, below.min(l_done.len()));
        let (a, b) = (&l_done[next..], &u_done[from..]);
        solve_rows::<S, W>(simd, at, (a, b, ld), &mut l_now[below..], rows, &d, &reciprocal);
        let (a, b) = (&u_done[next..], &l_done[from..]);
        solve_rows::<S, W>(simd, at, (a, b, ld), &mut u_now[below..], rows, &transposed, &[1.0; W]);
    }
    true
}

/// One group of `LANE` rows: C −= A Bᵀ.
#[inline(always)]
fn update<S: Simd, const W: usize>(
    simd: S,
    k: usize,
    (a, b): (&[f64], &[f64]),
    ld: usize,
    c: &mut [f64],
) {
    let rows = LANE;
    by_rows!(S, rows, (1, 2, 2), |r, V| {
        let t = load::<S, V, W>(simd, &c[r..], ld);
        let t = tile::<S, V, W>(simd, k, (&a[r.min(a.len())..], b, ld), t);
        store::<S, V, W>(&mut c[r..], ld, t);
    });
}

/// C ← (C − A Bᵀ) T⁻¹ with T upper triangular, `scale` its inverted diagonal.
#[inline(always)]
fn solve_rows<S: Simd, const W: usize>(
    simd: S,
    k: usize,
    (a, b, ld): (&[f64], &[f64], usize),
    c: &mut [f64],
    rows: usize,
    t: &[[f64; W]; W],
    scale: &[f64; W],
) {
    by_rows!(S, rows, (1, 2, 2), |r, V| {
        let x = load::<S, V, W>(simd, &c[r..], ld);
        let mut x = tile::<S, V, W>(simd, k, (&a[r.min(a.len())..], b, ld), x);
        for j in 0..W {
            for i in 0..j {
                let s = simd.splat_f64s(t[i][j]);
                for v in 0..V {
                    x[j][v] = simd.negate_mul_add_e_f64s(x[i][v], s, x[j][v]);
                }
            }
            let s = simd.splat_f64s(scale[j]);
            for v in 0..V {
                x[j][v] = simd.mul_f64s(x[j][v], s);
            }
        }
        store::<S, V, W>(&mut c[r..], ld, x);
    });
}

/// Where a group of `LANE` columns starts in one half of a contribution block.
#[inline(always)]
pub(super) fn group_start(group: usize, rest: usize) -> usize {
    LANE * group * rest - LANE * LANE * (group * group.saturating_sub(1) / 2)
}

/// The instruction set of this machine, detected once.
pub(super) fn machine() -> Arch {
    Arch::new()
}
