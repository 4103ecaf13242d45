//! Forward and backward substitution over the tree of fronts.

// Loops over registers index several arrays alike; iterators would hide that.
#![allow(clippy::needless_range_loop)]

use pulp::{Arch, Simd, WithSimd};

#[cfg(target_arch = "x86_64")]
use super::spread::Rows;
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
            match b {
                1 => self.forward::<1>(root as usize, mine, x, before),
                3 => self.forward::<3>(root as usize, mine, x, before),
                4 => self.forward::<4>(root as usize, mine, x, before),
                _ => self.forward::<0>(root as usize, mine, x, before),
            }
            self.backward(root as usize, mine);
        }
        for f in &self.symbolic.fronts {
            let nodes = &self.symbolic.order[f.first / b..(f.first + f.pivots) / b];
            let own = &work[f.work * self.columns..(f.work + f.rows) * self.columns];
            for (w, x) in own.chunks_exact(f.rows).zip(x.chunks_exact_mut(n)) {
                match b {
                    1 => scatter::<1>(w, nodes, x, after),
                    3 => scatter::<3>(w, nodes, x, after),
                    4 => scatter::<4>(w, nodes, x, after),
                    _ => w.chunks_exact(b).zip(nodes).for_each(|(w, &node)| {
                        let at = node as usize * b;
                        (0..b).for_each(|i| x[at + i] = w[i] * after[at + i]);
                    }),
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

    /// B is the block size, 0 if only known at run time.
    fn forward<const B: usize>(&self, s: usize, work: &mut [f64], x: &[f64], before: &[f64]) {
        let f = &self.symbolic.fronts[s];
        let b = if B == 0 { self.symbolic.block } else { B };
        let n = self.symbolic.order.len() * b;
        let (below, own) = work.split_at_mut(work.len() - f.rows * self.columns);
        self.children(s, below, &|c, work| self.forward::<B>(c, work, x, before));
        let nodes = &self.symbolic.order[f.first / b..(f.first + f.pivots) / b];
        for (w, x) in own.chunks_exact_mut(f.rows).zip(x.chunks_exact(n)) {
            for (w, &node) in w.chunks_exact_mut(b).zip(nodes) {
                let at = node as usize * b;
                let (x, before) = (&x[at..at + b], &before[at..at + b]);
                for i in 0..b {
                    w[i] = x[i] * before[i];
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
                self.pass_up(child, &theirs[padded(child.pivots)..], w);
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
                self.hand_down(child, w, &mut theirs[padded(child.pivots)..]);
            }
            self.backward(c, work);
        });
    }

    /// Add what a child passes on to the rows of its parent.
    fn pass_up(&self, child: &Front, passed: &[f64], w: &mut [f64]) {
        #[cfg(target_arch = "x86_64")]
        if Rows::fits(self.arch) {
            let groups = &self.symbolic.groups[child.groups.clone()];
            return Rows::Up { groups, passed, w }.run(self.arch);
        }
        for r in &self.symbolic.runs[child.runs.clone()] {
            let (from, to, len) = (r.from as usize, r.to as usize, r.len as usize);
            for (w, p) in w[to..to + len].iter_mut().zip(&passed[from..from + len]) {
                *w += p;
            }
        }
    }

    /// Give a child the rows of its rest.
    fn hand_down(&self, child: &Front, w: &[f64], wanted: &mut [f64]) {
        #[cfg(target_arch = "x86_64")]
        if Rows::fits(self.arch) {
            let groups = &self.symbolic.groups[child.groups.clone()];
            return Rows::Down { groups, w, wanted }.run(self.arch);
        }
        for r in &self.symbolic.runs[child.runs.clone()] {
            let (from, to, len) = (r.from as usize, r.to as usize, r.len as usize);
            wanted[from..from + len].copy_from_slice(&w[to..to + len]);
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

/// x ← w times `after`, by the nodes that the rows belong to; B is the block size.
fn scatter<const B: usize>(w: &[f64], nodes: &[u32], x: &mut [f64], after: &[f64]) {
    for (w, &node) in w.as_chunks::<B>().0.iter().zip(nodes) {
        let at = node as usize * B;
        let (x, after) = (&mut x[at..at + B], &after[at..at + B]);
        for i in 0..B {
            x[i] = w[i] * after[i];
        }
    }
}

/// Evaluate `$call` with the width of a panel of which `$left` columns are left.
macro_rules! by_width {
    ($left:expr, |$w:ident| $call:expr) => {
        by_width!(@ $left, $w, $call, 1 2 3 4 5 6 7)
    };
    (@ $left:expr, $w:ident, $call:expr, $($n:literal)*) => {
        match $left {
            $($n => { const $w: usize = $n; $call })*
            _ => { const $w: usize = LANE; $call }
        }
    };
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
        let ld = self.ld;
        let columns = &self.half[at * ld..(at + W) * ld];
        let mut z: [f64; W] = std::array::from_fn(|a| self.w[at + a]);
        for a in 0..W {
            if let Some(scale) = self.scale {
                z[a] *= scale[(at + a) * ld + at + a];
            }
            let column = &columns[a * ld + at..][..W];
            for i in a + 1..W {
                z[i] -= column[i] * z[a];
            }
        }
        self.w[at..at + W].copy_from_slice(&z);
        axpy::<S, W>(simd, &columns[at + LANE..], ld, &mut self.w[at + LANE..ld], &z);
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
        let ld = self.ld;
        let columns = &self.half[at * ld..(at + W) * ld];
        let sum = dots::<S, W>(simd, &columns[at + LANE..], ld, &self.w[at + LANE..ld]);
        let mut z: [f64; W] = std::array::from_fn(|a| self.w[at + a] - sum[a]);
        for a in (0..W).rev() {
            let column = &columns[a * ld + at..][..W];
            for i in a + 1..W {
                z[a] -= column[i] * z[i];
            }
            if let Some(scale) = self.scale {
                z[a] *= scale[(at + a) * ld + at + a];
            }
        }
        self.w[at..at + W].copy_from_slice(&z);
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
