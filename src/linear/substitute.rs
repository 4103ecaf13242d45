//! Forward and backward substitution over the tree of fronts.

use pulp::Arch;

use super::passes::{Backward, Forward};
#[cfg(target_arch = "x86_64")]
use super::spread::Rows;
use super::stream::prefetch;
use super::symbolic::{Front, Symbolic, padded};

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
        let n = self.symbolic.size;
        let mut rest = &mut *work;
        for &root in &self.symbolic.roots {
            let (mine, others) = rest.split_at_mut(self.span(root as usize));
            rest = others;
            self.forward(root as usize, mine, x, before);
            self.backward(root as usize, mine);
        }
        for f in &self.symbolic.fronts {
            let own = &work[f.work * self.columns..(f.work + f.rows) * self.columns];
            for (w, x) in own.chunks_exact(f.rows).zip(x.chunks_exact_mut(n)) {
                for (w, &u) in w.iter().zip(self.unknowns(f)) {
                    x[u as usize] = w * after[u as usize];
                }
            }
        }
    }

    /// Those eliminated in a front.
    fn unknowns(&self, f: &Front) -> &[u32] {
        &self.symbolic.unknowns[f.first..f.first + f.pivots]
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
        let n = self.symbolic.size;
        let (below, own) = work.split_at_mut(work.len() - f.rows * self.columns);
        self.children(s, below, &|c, work| self.forward(c, work, x, before));
        for (w, x) in own.chunks_exact_mut(f.rows).zip(x.chunks_exact(n)) {
            for (w, &u) in w.iter_mut().zip(self.unknowns(f)) {
                *w = x[u as usize] * before[u as usize];
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
            // Columns of a border are zero but on the way from a contact to the root.
            if w.iter().all(|&w| w == 0.0) {
                continue;
            }
            if self.exchanged[s] && !self.transposed {
                let old = w[..f.pivots].to_vec();
                w.iter_mut().zip(self.exchange(f)).for_each(|(w, &e)| *w = old[e as usize]);
            }
            self.arch.dispatch(Forward { half, scale, pivots: f.pivots, w });
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
            self.arch.dispatch(Backward { half, scale, pivots: f.pivots, w });
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
        self.factor[f.factor..f.factor + 2 * f.kept].split_at(f.kept)
    }
}
