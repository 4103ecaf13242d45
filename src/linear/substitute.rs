//! Forward and backward substitution over the tree of fronts.

// Loops over registers index several arrays alike; iterators would hide that.
#![allow(clippy::needless_range_loop)]

use pulp::{Arch, Simd, WithSimd};

use super::stream::prefetch;
use super::symbolic::{Front, LANE, Symbolic, padded};

/// The factors of one matrix.
pub(super) struct Factors<'a> {
    pub symbolic: &'a Symbolic,
    pub factor: &'a [f64],
    /// Row exchanges of the pivots of each front and whether there are any.
    pub exchange: &'a [u32],
    pub exchanged: &'a [bool],
    pub arch: Arch,
    pub transposed: bool,
    /// Right-hand sides.
    pub columns: usize,
}

impl Factors<'_> {
    /// Solve with the factors (or their transposed) for all columns of `x`, in place, scaled by
    /// `before` and `after`. `work` holds the rows of all fronts for each column. Subtrees run
    /// in parallel; what they pass on is added in a fixed order.
    pub fn substitute(&self, x: &mut [f64], work: &mut [f64], before: &[f64], after: &[f64]) {
        let b = self.symbolic.block;
        let n = self.symbolic.order.len() * b;
        let mut rest = &mut *work;
        for &root in &self.symbolic.roots {
            let (mine, others) = rest.split_at_mut(self.span(root as usize));
            rest = others;
            self.forward(root as usize, mine, x, before);
            self.backward(root as usize, mine);
        }
        for f in &self.symbolic.fronts {
            let nodes = &self.symbolic.order[f.first / b..(f.first + f.pivots) / b];
            let own = &work[f.work * self.columns..(f.work + f.rows) * self.columns];
            for (w, x) in own.chunks_exact(f.rows).zip(x.chunks_exact_mut(n)) {
                for (w, &node) in w.chunks_exact(b).zip(nodes) {
                    let at = node as usize * b;
                    for i in 0..b {
                        x[at + i] = w[i] * after[at + i];
                    }
                }
            }
        }
    }

    /// Workspace of a subtree.
    fn span(&self, s: usize) -> usize {
        let f = &self.symbolic.fronts[s];
        (f.work + f.rows - self.symbolic.fronts[f.leftmost].work) * self.columns
    }

    /// Run `each` on the children of a front, with their workspaces.
    fn children(&self, s: usize, work: &mut [f64], each: &(impl Fn(usize, &mut [f64]) + Sync)) {
        let f = &self.symbolic.fronts[s];
        self.some(&self.symbolic.children[f.children.clone()], f.parallel, work, each);
    }

    fn some(
        &self,
        children: &[u32],
        parallel: bool,
        work: &mut [f64],
        each: &(impl Fn(usize, &mut [f64]) + Sync),
    ) {
        let Some((&c, others)) = children.split_first() else { return };
        let (mine, rest) = work.split_at_mut(self.span(c as usize));
        if parallel && !others.is_empty() {
            rayon::join(|| each(c as usize, mine), || self.some(others, parallel, rest, each));
        } else {
            each(c as usize, mine);
            self.some(others, parallel, rest, each);
        }
    }

    fn forward(&self, s: usize, work: &mut [f64], x: &[f64], before: &[f64]) {
        let f = &self.symbolic.fronts[s];
        let b = self.symbolic.block;
        let n = self.symbolic.order.len() * b;
        let (below, own) = work.split_at_mut(work.len() - f.rows * self.columns);
        self.children(s, below, &|c, work| self.forward(c, work, x, before));
        let nodes = &self.symbolic.order[f.first / b..(f.first + f.pivots) / b];
        for (w, x) in own.chunks_exact_mut(f.rows).zip(x.chunks_exact(n)) {
            for (w, &node) in w.chunks_exact_mut(b).zip(nodes) {
                let at = node as usize * b;
                for i in 0..b {
                    w[i] = x[at + i] * before[at + i];
                }
            }
            w[f.pivots..].fill(0.0);
        }
        let mut rest = &*below;
        for &c in &self.symbolic.children[f.children.clone()] {
            let (mine, others) = rest.split_at(self.span(c as usize));
            rest = others;
            let child = &self.symbolic.fronts[c as usize];
            let theirs = &mine[mine.len() - child.rows * self.columns..];
            let pairs = own.chunks_exact_mut(f.rows).zip(theirs.chunks_exact(child.rows));
            for (w, theirs) in pairs {
                let passed = &theirs[padded(child.pivots)..];
                for r in &self.symbolic.runs[child.runs.clone()] {
                    let (from, to, len) = (r.from as usize, r.to as usize, r.len as usize);
                    for (w, p) in w[to..to + len].iter_mut().zip(&passed[from..from + len]) {
                        *w += p;
                    }
                }
            }
        }
        let (lower, upper) = self.halves(f);
        let (half, scale) = if self.transposed { (upper, Some(lower)) } else { (lower, None) };
        if let Some(next) = self.symbolic.fronts.get(s + 1) {
            let (lower, upper) = self.halves(next);
            prefetch(if self.transposed { upper } else { lower });
        }
        for w in own.chunks_exact_mut(f.rows) {
            if self.exchanged[s] && !self.transposed {
                let old = w[..f.pivots].to_vec();
                w.iter_mut().zip(self.exchange(f)).for_each(|(w, &e)| *w = old[e as usize]);
            }
            self.arch.dispatch(Forward { half, scale, pivots: f.pivots, ld: f.rows, w });
        }
    }

    fn backward(&self, s: usize, work: &mut [f64]) {
        let f = &self.symbolic.fronts[s];
        let (below, own) = work.split_at_mut(work.len() - f.rows * self.columns);
        let (lower, upper) = self.halves(f);
        let (half, scale) = if self.transposed { (lower, None) } else { (upper, Some(lower)) };
        if let Some(next) = s.checked_sub(1).and_then(|s| self.symbolic.fronts.get(s)) {
            let (lower, upper) = self.halves(next);
            prefetch(if self.transposed { lower } else { upper });
        }
        for w in own.chunks_exact_mut(f.rows) {
            self.arch.dispatch(Backward { half, scale, pivots: f.pivots, ld: f.rows, w });
            if self.exchanged[s] && self.transposed {
                let old = w[..f.pivots].to_vec();
                old.iter().zip(self.exchange(f)).for_each(|(x, &e)| w[e as usize] = *x);
            }
        }
        self.children(s, below, &|c, work| {
            let child = &self.symbolic.fronts[c];
            let start = work.len() - child.rows * self.columns;
            let pairs = work[start..].chunks_exact_mut(child.rows).zip(own.chunks_exact(f.rows));
            for (theirs, w) in pairs {
                let wanted = &mut theirs[padded(child.pivots)..];
                for r in &self.symbolic.runs[child.runs.clone()] {
                    let (from, to, len) = (r.from as usize, r.to as usize, r.len as usize);
                    wanted[from..from + len].copy_from_slice(&w[to..to + len]);
                }
            }
            self.backward(c, work);
        });
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
