//! Substitution through the panels of one front.

// Loops over registers index several arrays alike; iterators would hide that.
#![allow(clippy::needless_range_loop)]

use pulp::{Simd, WithSimd};

use crate::bare::{columns, sums};

use super::kernel::group_start;
use super::symbolic::LANE;
use super::unrolled::{by_width, unrolled};

/// w −= L w over the columns of a front's half: the pivots' part of `w` is solved for, the
/// rest receives its update. With `scale`, the half has its reciprocal diagonal there. Both as
/// `panel::Kept` has them.
pub(super) struct Forward<'a> {
    pub half: &'a [f64],
    pub scale: Option<&'a [f64]>,
    pub pivots: usize,
    pub w: &'a mut [f64],
}

impl WithSimd for Forward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        for at in (0..self.pivots).step_by(LANE) {
            by_width!(self.pivots - at, |W| self.panel::<S, W>(simd, at));
        }
    }
}

impl Forward<'_> {
    /// Columns at..at+W.
    #[inline(always)]
    fn panel<S: Simd, const W: usize>(&mut self, simd: S, at: usize) {
        let (panel, ld, scale) = panel::<W>(self.half, self.scale, at, self.w.len());
        let mut z = [0.0; W];
        z.copy_from_slice(&self.w[at..at + W]);
        let triangle = columns::<W>(panel, ld, W);
        unrolled!(A < W, {
            if let Some(scale) = scale {
                z[A] *= scale[A * ld + A];
            }
            for i in A + 1..W {
                z[i] -= triangle[A][i] * z[A];
            }
        });
        self.w[at..at + W].copy_from_slice(&z);
        if ld > LANE {
            axpy::<S, W>(simd, &panel[LANE..], ld, &mut self.w[at + LANE..], &z);
        }
    }
}

/// The reverse: pivots of `w` from the rest of `w`, with the transposed of a half.
pub(super) struct Backward<'a> {
    pub half: &'a [f64],
    pub scale: Option<&'a [f64]>,
    pub pivots: usize,
    pub w: &'a mut [f64],
}

impl WithSimd for Backward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, simd: S) {
        for at in (0..self.pivots).step_by(LANE).rev() {
            by_width!(self.pivots - at, |W| self.panel::<S, W>(simd, at));
        }
    }
}

impl Backward<'_> {
    /// Columns at..at+W.
    #[inline(always)]
    fn panel<S: Simd, const W: usize>(&mut self, simd: S, at: usize) {
        let (panel, ld, scale) = panel::<W>(self.half, self.scale, at, self.w.len());
        let mut z = [0.0; W];
        z.copy_from_slice(&self.w[at..at + W]);
        if ld > LANE {
            let sum = dots::<S, W>(simd, &panel[LANE..], ld, &self.w[at + LANE..]);
            for a in 0..W {
                z[a] -= sum[a];
            }
        }
        let triangle = columns::<W>(panel, ld, W);
        unrolled!(K < W, {
            let a = W - 1 - K;
            for i in a + 1..W {
                z[a] -= triangle[a][i] * z[i];
            }
            if let Some(scale) = scale {
                z[a] *= scale[a * ld + a];
            }
        });
        self.w[at..at + W].copy_from_slice(&z);
    }
}

/// The panel of columns at..at+W of a front of `rows`: the columns, their length, those with
/// the reciprocal diagonal.
#[inline(always)]
fn panel<'a, const W: usize>(
    half: &'a [f64],
    scale: Option<&'a [f64]>,
    at: usize,
    rows: usize,
) -> (&'a [f64], usize, Option<&'a [f64]>) {
    let (start, ld) = (group_start(at / LANE, rows), rows - at);
    let piece = start..start + W * ld;
    (&half[piece.clone()], ld, scale.map(|s| &s[piece]))
}

/// w −= A z.
#[inline(always)]
fn axpy<S: Simd, const W: usize>(simd: S, a: &[f64], ld: usize, w: &mut [f64], z: &[f64; W]) {
    let a = vectors::<S, W>(a, ld, w.len());
    let mut factors = [simd.splat_f64s(0.0); W];
    for j in 0..W {
        factors[j] = simd.splat_f64s(z[j]);
    }
    for (i, w) in S::as_mut_simd_f64s(w).0.iter_mut().enumerate() {
        let mut x = *w;
        for j in 0..W {
            x = simd.negate_mul_add_e_f64s(a[j][i], factors[j], x);
        }
        *w = x;
    }
}

/// Aᵀ w.
#[inline(always)]
fn dots<S: Simd, const W: usize>(simd: S, a: &[f64], ld: usize, w: &[f64]) -> [f64; W] {
    let a = vectors::<S, W>(a, ld, w.len());
    let mut sum = [simd.splat_f64s(0.0); W];
    for (i, w) in S::as_simd_f64s(w).0.iter().enumerate() {
        for j in 0..W {
            sum[j] = simd.mul_add_e_f64s(a[j][i], *w, sum[j]);
        }
    }
    sums::<S, W>(simd, &sum)
}

/// W columns of `rows` numbers, `ld` apart, as vectors.
#[inline(always)]
fn vectors<S: Simd, const W: usize>(a: &[f64], ld: usize, rows: usize) -> [&[S::f64s]; W] {
    let mut of: [&[S::f64s]; W] = [&[]; W];
    for (to, column) in of.iter_mut().zip(columns::<W>(a, ld, rows)) {
        *to = S::as_simd_f64s(column).0;
    }
    of
}
