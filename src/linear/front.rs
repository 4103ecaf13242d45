//! Numeric factorization: a walk over the tree of fronts, subtrees in parallel.
//!
//! Every front adds its children in a fixed order and every front's arithmetic is done by one
//! thread in a fixed order: the number of threads changes no bit.

use pulp::Arch;

use crate::bare::{prefetch, settle};

use super::block::BlockMatrix;
use super::entries::Half;
use super::extend::{Clear, Extend, Target};
use super::keep::Keep;
use super::kernel::Contribution;
use super::panel::Eliminate;
use super::pivoted::eliminate_pivoted;
#[cfg(target_arch = "x86_64")]
use super::spread::Spread;
use super::stream::{in_spare, in_workspace};
use super::symbolic::{Front, LANE, Symbolic};
use super::wide::{eliminate_wide, workspace};

/// What a factorization met.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Met {
    /// Fronts in which rows were exchanged.
    pub pivoted: u32,
    /// Pivots that were zero even so and were replaced.
    pub replaced: u32,
}

impl Met {
    fn plus(self, other: Met) -> Met {
        Met { pivoted: self.pivoted + other.pivoted, replaced: self.replaced + other.replaced }
    }
}

/// Factors of the fronts of one subtree.
pub(super) struct Store<'a> {
    /// Both halves, front after front.
    pub factor: &'a mut [f64],
    /// Row exchanges of each pivot, local to its front.
    pub exchange: &'a mut [u32],
    /// Per front: rows were exchanged.
    pub exchanged: &'a mut [bool],
}

impl<'a> Store<'a> {
    fn split(self, factor: usize, pivots: usize, fronts: usize) -> (Store<'a>, Store<'a>) {
        let (f0, f1) = self.factor.split_at_mut(factor);
        let (p0, p1) = self.exchange.split_at_mut(pivots);
        let (x0, x1) = self.exchanged.split_at_mut(fronts);
        (
            Store { factor: f0, exchange: p0, exchanged: x0 },
            Store { factor: f1, exchange: p1, exchanged: x1 },
        )
    }
}

/// What all fronts share.
pub(super) struct Numeric<'a> {
    pub symbolic: &'a Symbolic,
    pub matrix: &'a BlockMatrix,
    /// Scaling of rows and columns.
    pub row_scale: &'a [f64],
    pub column_scale: &'a [f64],
    pub arch: Arch,
    /// More than one thread may work: alone, a large front is built like any other, which
    /// gives the same bits (one thread: 4 % of the time at 29,586 unknowns).
    pub together: bool,
}

impl Numeric<'_> {
    /// Factor the whole matrix. `region` is the workspace of contribution blocks.
    pub fn factor(&self, mut store: Store<'_>, region: &mut [f64]) -> Met {
        let mut met = Met::default();
        for &root in &self.symbolic.roots {
            let (mine, rest) = self.split(store, root as usize);
            store = rest;
            met = met.plus(self.settled(root as usize, mine, region));
        }
        met
    }

    /// Cut the part of one subtree off the front of `store`.
    fn split<'s>(&self, store: Store<'s>, s: usize) -> (Store<'s>, Store<'s>) {
        let front = &self.symbolic.fronts[s];
        store.split(front.all_factor, front.all_pivots, s + 1 - front.leftmost)
    }

    fn subtree(&self, s: usize, store: Store<'_>, region: &mut [f64]) -> Met {
        let front = &self.symbolic.fronts[s];
        let (out, work) = region.split_at_mut(2 * front.half);
        if front.apart {
            in_spare(self.symbolic.spare_len, |work| self.below_and_own(s, store, out, work))
        } else {
            self.below_and_own(s, store, out, work)
        }
    }

    fn below_and_own(&self, s: usize, store: Store<'_>, out: &mut [f64], work: &mut [f64]) -> Met {
        let front = &self.symbolic.fronts[s];
        let children = &self.symbolic.children[front.children.clone()];
        let mut met = Met::default();
        let mut store = store;
        if front.parallel {
            let (factor, pivots) =
                (front.all_factor - 2 * front.kept, front.all_pivots - front.pivots);
            let (below, own) = store.split(factor, pivots, s - front.leftmost);
            met = self.side_by_side(children, below, work);
            store = own;
        } else {
            for &c in children {
                let (mine, rest) = self.split(store, c as usize);
                store = rest;
                let child = &self.symbolic.fronts[c as usize];
                let work = &mut work[child.region..child.region + child.region_len];
                met = met.plus(self.subtree(c as usize, mine, work));
            }
        }
        met.plus(self.front(s, store, out, work))
    }

    /// A subtree, its factors visible to other threads.
    fn settled(&self, s: usize, store: Store<'_>, region: &mut [f64]) -> Met {
        let met = self.subtree(s, store, region);
        settle();
        met
    }

    fn side_by_side(&self, children: &[u32], store: Store<'_>, work: &mut [f64]) -> Met {
        let Some((&c, others)) = children.split_first() else { return Met::default() };
        let (mine, rest) = self.split(store, c as usize);
        let (here, there) = work.split_at_mut(self.symbolic.fronts[c as usize].region_len);
        if others.is_empty() {
            return self.settled(c as usize, mine, here);
        }
        let (one, two) = rayon::join(
            || self.settled(c as usize, mine, here),
            || self.side_by_side(others, rest, there),
        );
        one.plus(two)
    }

    /// Assemble and eliminate one front.
    fn front(&self, s: usize, store: Store<'_>, out: &mut [f64], work: &mut [f64]) -> Met {
        let front = &self.symbolic.fronts[s];
        if self.is_wide(front) {
            // Not in the thread's workspace: while it waits for another thread's half it may
            // build another front there.
            let (work, own) =
                work.split_at_mut(work.len() - front.built() - workspace(front.pivots));
            let (hot, copies) = own.split_at_mut(front.built());
            self.build(s, hot, store, out, (work, copies))
        } else {
            in_workspace(front.built(), |hot| self.build(s, hot, store, out, (work, &mut [])))
        }
    }

    fn is_wide(&self, front: &Front) -> bool {
        self.together && front.wide
    }

    fn build(
        &self,
        s: usize,
        hot: &mut [f64],
        store: Store<'_>,
        out: &mut [f64],
        (work, copies): (&[f64], &mut [f64]),
    ) -> Met {
        let front = &self.symbolic.fronts[s];
        let (pivots, ld) = (front.pivots, front.rows);
        let (lower, upper) = hot.split_at_mut(ld * pivots);
        self.assemble(front, lower, upper, out, work);
        let mut met = Met::default();
        self.ask_for_entries(s + 1);
        let rest_row = ld - self.rest(front);
        let good = if self.is_wide(front) {
            eliminate_wide(self.arch, (lower, upper), (pivots, ld), copies)
        } else {
            self.arch.dispatch(Eliminate { lower, upper, ld, columns: 0..pivots, end: ld })
        };
        store.exchanged[0] = !good;
        if !good {
            // The front was overwritten: build it again.
            self.assemble(front, lower, upper, out, work);
            met.pivoted = 1;
            met.replaced = eliminate_pivoted(lower, upper, pivots, ld, rest_row, store.exchange);
        }
        let (fresh, rest, row) = (front.children.is_empty(), self.rest(front), rest_row);
        let (low, up) = out.split_at_mut(front.half);
        let (low_factor, up_factor) = store.factor.split_at_mut(front.kept);
        let (l, u) = (&*lower, &*upper);
        let product = |lower, upper, out, to| {
            let keep = Keep { from: lower, to, rows: ld, columns: 0..pivots };
            self.arch.dispatch(Contribution {
                lower,
                upper,
                row,
                pivots,
                ld,
                rest,
                out,
                fresh,
                keep,
            });
        };
        if self.is_wide(front) {
            rayon::join(
                || product(l, u, low, low_factor),
                || {
                    product(u, l, up, up_factor);
                    settle();
                },
            );
        } else {
            product(l, u, low, low_factor);
            product(u, l, up, up_factor);
        }
        met
    }

    /// Rows of the rest, padded.
    fn rest(&self, front: &Front) -> usize {
        super::symbolic::padded(front.rest)
    }

    fn assemble(&self, front: &Front, l: &mut [f64], u: &mut [f64], out: &mut [f64], work: &[f64]) {
        let rest = self.rest(front);
        let (out_lower, out_upper) = out.split_at_mut(front.half);
        let mut target = Target {
            lower: l,
            upper: u,
            pivots: front.pivots,
            ld: front.rows,
            out_lower,
            out_upper,
            rest_row: front.rows - rest,
            rest,
        };
        for (k, &c) in self.symbolic.children[front.children.clone()].iter().enumerate() {
            let child = &self.symbolic.fronts[c as usize];
            let (target, first, child_rest) = (target.again(), k == 0, self.rest(child));
            let values = &work[child.region..child.region + 2 * child.half + LANE];
            #[cfg(target_arch = "x86_64")]
            if Spread::fits(self.arch) {
                let groups = &self.symbolic.groups[child.groups.clone()];
                Spread { child: values, child_rest, groups, target, first }.run(self.arch);
                continue;
            }
            let runs = &self.symbolic.runs[child.runs.clone()];
            let values = &values[..2 * child.half];
            self.arch.dispatch(Extend { child: values, child_rest, runs, target, first });
        }
        if front.children.is_empty() {
            self.arch.dispatch(Clear { target: target.again(), pivots_only: true });
        }
        match self.symbolic.block {
            1 => self.entries::<1>(front, l, u),
            3 => self.entries::<3>(front, l, u),
            4 => self.entries::<4>(front, l, u),
            _ => self.entries::<0>(front, l, u),
        }
        for e in &self.symbolic.singles[front.singles.clone()] {
            let row = self.row_scale[e.row_unknown as usize];
            let column = self.column_scale[e.column_unknown as usize];
            let v = self.matrix.values[e.value as usize] * row * column;
            if e.half != Half::Upper {
                l[e.to as usize] += v;
            }
            if e.half != Half::Lower {
                u[e.to as usize] += v;
            }
        }
    }

    /// Ask for what the matrix has for a front to be in the second-level cache: its blocks lie
    /// by mesh lines, not in elimination order.
    fn ask_for_entries(&self, s: usize) {
        let b = self.symbolic.block;
        let Some(front) = self.symbolic.fronts.get(s) else { return };
        for e in &self.symbolic.entries[front.entries.clone()] {
            prefetch(&self.matrix.values[e.block as usize * b * b..][..b * b]);
            prefetch(&self.row_scale[e.row_node as usize * b..][..b]);
            prefetch(&self.column_scale[e.column_node as usize * b..][..b]);
        }
    }

    /// Scatter the blocks of the matrix; B is the block size, 0 if only known at run time.
    fn entries<const B: usize>(&self, front: &Front, l: &mut [f64], u: &mut [f64]) {
        let b = if B == 0 { self.symbolic.block } else { B };
        let ld = front.rows;
        for e in &self.symbolic.entries[front.entries.clone()] {
            let at = e.block as usize * b * b;
            let v = &self.matrix.values[at..at + b * b];
            let r = &self.row_scale[e.row_node as usize * b..][..b];
            let c = &self.column_scale[e.column_node as usize * b..][..b];
            let to = e.column as usize * ld + e.row as usize;
            match e.half {
                Half::Lower => {
                    for j in 0..b {
                        let column = &mut l[to + j * ld..][..b];
                        for i in 0..b {
                            column[i] += v[i * b + j] * r[i] * c[j];
                        }
                    }
                }
                Half::Upper => {
                    for i in 0..b {
                        let column = &mut u[to + i * ld..][..b];
                        for j in 0..b {
                            column[j] += v[i * b + j] * r[i] * c[j];
                        }
                    }
                }
                Half::Both => {
                    for k in 0..b {
                        for m in k..b {
                            l[to + k * ld + m] += v[m * b + k] * r[m] * c[k];
                            u[to + k * ld + m] += v[k * b + m] * r[k] * c[m];
                        }
                    }
                }
            }
        }
    }
}
