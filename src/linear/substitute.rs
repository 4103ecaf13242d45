//! Forward and backward substitution over the tree of fronts.

// Loops over registers index several arrays alike; iterators would hide that.
#![allow(clippy::needless_range_loop)]

use pulp::{Arch, Simd, WithSimd};

use super::symbolic::{Front, LANE, Symbolic, padded};

/// The factors of one matrix.
pub(super) struct Factors<'a> {
    pub symbolic: &'a Symbolic,
    pub factor: &'a [f64],
    /// Row exchanges of the pivots of each front and whether there are any.
    pub exchange: &'a [u32],
    pub exchanged: &'a [bool],
    pub arch: Arch,
}

impl Factors<'_> {
    /// Solve with the factors (or their transposed) for all columns of `y`, in elimination
    /// order, in place. `w` is workspace for the rows of the largest front and its pivots.
    pub fn substitute(&self, y: &mut [f64], w: &mut [f64], transposed: bool) {
        let b = self.symbolic.block;
        let n = self.symbolic.order.len() * b;
        for (s, f) in self.symbolic.fronts.iter().enumerate() {
            let (lower, upper) = self.halves(f);
            let (half, scale) = if transposed { (upper, Some(lower)) } else { (lower, None) };
            let (w, spare) = w.split_at_mut(f.rows);
            let rest = &self.symbolic.rest_nodes[f.rest_nodes.clone()];
            for y in y.chunks_exact_mut(n) {
                w[..f.pivots].copy_from_slice(&y[f.first..f.first + f.pivots]);
                w[f.pivots..].fill(0.0);
                if self.exchanged[s] && !transposed {
                    spare[..f.pivots].copy_from_slice(&w[..f.pivots]);
                    for (w, &e) in w.iter_mut().zip(self.exchange(f)) {
                        *w = spare[e as usize];
                    }
                }
                self.arch.dispatch(Forward { half, scale, pivots: f.pivots, ld: f.rows, w });
                y[f.first..f.first + f.pivots].copy_from_slice(&w[..f.pivots]);
                for (w, &node) in w[padded(f.pivots)..].chunks_exact(b).zip(rest) {
                    let y = &mut y[node as usize * b..][..b];
                    y.iter_mut().zip(w).for_each(|(y, w)| *y += w);
                }
            }
        }
        for (s, f) in self.symbolic.fronts.iter().enumerate().rev() {
            let (lower, upper) = self.halves(f);
            let (half, scale) = if transposed { (lower, None) } else { (upper, Some(lower)) };
            let (w, spare) = w.split_at_mut(f.rows);
            let rest = &self.symbolic.rest_nodes[f.rest_nodes.clone()];
            for y in y.chunks_exact_mut(n) {
                w[..f.pivots].copy_from_slice(&y[f.first..f.first + f.pivots]);
                w[f.pivots..].fill(0.0);
                for (w, &node) in w[padded(f.pivots)..].chunks_exact_mut(b).zip(rest) {
                    w.copy_from_slice(&y[node as usize * b..][..b]);
                }
                self.arch.dispatch(Backward { half, scale, pivots: f.pivots, ld: f.rows, w });
                if self.exchanged[s] && transposed {
                    spare[..f.pivots].copy_from_slice(&w[..f.pivots]);
                    for (x, &e) in spare.iter().zip(self.exchange(f)) {
                        w[e as usize] = *x;
                    }
                }
                y[f.first..f.first + f.pivots].copy_from_slice(&w[..f.pivots]);
            }
        }
    }

    fn exchange(&self, f: &Front) -> &[u32] {
        &self.exchange[f.first..f.first + f.pivots]
    }

    fn halves(&self, f: &Front) -> (&[f64], &[f64]) {
        let len = f.rows * f.pivots;
        self.factor[f.factor..f.factor + 2 * len].split_at(len)
    }
}

/// w −= L w over the columns of a front's half: the pivots' part of `w` is solved for, the
/// rest receives its update. With `scale`, the half has its reciprocal diagonal there.
pub(super) struct Forward<'a> {
    pub half: &'a [f64],
    pub scale: Option<&'a [f64]>,
    pub pivots: usize,
    pub ld: usize,
    pub w: &'a mut [f64],
}

impl WithSimd for Forward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let ld = self.ld;
        let mut at = 0;
        while at < self.pivots {
            let width = LANE.min(self.pivots - at);
            let columns = &self.half[at * ld..(at + width) * ld];
            let mut z = [0.0; LANE];
            for a in 0..width {
                let mut x = self.w[at + a];
                if let Some(scale) = self.scale {
                    x *= scale[(at + a) * ld + at + a];
                }
                z[a] = x;
                self.w[at + a] = x;
                for i in a + 1..width {
                    self.w[at + i] -= columns[a * ld + at + i] * x;
                }
            }
            let w = &mut self.w[at + LANE..ld];
            if width == LANE {
                axpy::<S, LANE>(simd, &columns[at + LANE..], ld, w, &z);
            } else {
                for a in 0..width {
                    axpy::<S, 1>(simd, &columns[a * ld + at + LANE..], ld, w, &[z[a]]);
                }
            }
            at += LANE;
        }
    }
}

#[inline(always)]
fn axpy<S: Simd, const W: usize>(simd: S, a: &[f64], ld: usize, w: &mut [f64], z: &[f64; W]) {
    if w.is_empty() {
        return;
    }
    let rows = w.len();
    let columns: [&[S::f64s]; W] =
        std::array::from_fn(|j| S::as_simd_f64s(&a[j * ld..j * ld + rows]).0);
    let z: [S::f64s; W] = std::array::from_fn(|j| simd.splat_f64s(z[j]));
    for (i, w) in S::as_mut_simd_f64s(w).0.iter_mut().enumerate() {
        let mut x = *w;
        for j in 0..W {
            x = simd.negate_mul_add_e_f64s(columns[j][i], z[j], x);
        }
        *w = x;
    }
}

/// The reverse: pivots of `w` from the rest of `w`, with the transposed of a half.
pub(super) struct Backward<'a> {
    pub half: &'a [f64],
    pub scale: Option<&'a [f64]>,
    pub pivots: usize,
    pub ld: usize,
    pub w: &'a mut [f64],
}

impl WithSimd for Backward<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let ld = self.ld;
        let mut end = self.pivots.div_ceil(LANE) * LANE;
        while end > 0 {
            let at = end - LANE;
            let width = LANE.min(self.pivots - at);
            let columns = &self.half[at * ld..(at + width) * ld];
            let mut sum = [0.0; LANE];
            let w = &self.w[end..ld];
            if width == LANE {
                sum = dots::<S, LANE>(simd, &columns[end..], ld, w);
            } else if end < ld {
                for a in 0..width {
                    sum[a] = dots::<S, 1>(simd, &columns[a * ld + end..], ld, w)[0];
                }
            }
            for a in (0..width).rev() {
                let mut x = self.w[at + a] - sum[a];
                for i in a + 1..width {
                    x -= columns[a * ld + at + i] * self.w[at + i];
                }
                if let Some(scale) = self.scale {
                    x *= scale[(at + a) * ld + at + a];
                }
                self.w[at + a] = x;
            }
            end = at;
        }
    }
}

#[inline(always)]
fn dots<S: Simd, const W: usize>(simd: S, a: &[f64], ld: usize, w: &[f64]) -> [f64; W] {
    if w.is_empty() {
        return [0.0; W];
    }
    let rows = w.len();
    let columns: [&[S::f64s]; W] =
        std::array::from_fn(|j| S::as_simd_f64s(&a[j * ld..j * ld + rows]).0);
    let mut sum = [simd.splat_f64s(0.0); W];
    for (i, w) in S::as_simd_f64s(w).0.iter().enumerate() {
        for j in 0..W {
            sum[j] = simd.mul_add_e_f64s(columns[j][i], *w, sum[j]);
        }
    }
    std::array::from_fn(|j| simd.reduce_sum_f64s(sum[j]))
}
