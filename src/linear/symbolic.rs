//! Symbolic analysis: fronts, where matrix entries go, how a child's contribution is added
//! to its parent. Once per pattern; shared by threads and cases.
//!
//! Multifrontal method: I. Duff and J. Reid, ACM Trans. Math. Softw. 9 (1983) 302;
//! J. Liu, SIAM Rev. 34 (1992) 82.

use std::ops::Range;

use crate::bare::Places;

use super::alone::Alone;
use super::block::BlockPattern;
use super::entries::{Entry, Single};
use super::kernel::group_start;
use super::ordering::{Graph, nested_dissection};
use super::supernode::{Supernode, supernodes};
use super::wide::workspace;

/// Rows of fronts come in groups of this many (one vector of the widest instruction set).
pub(super) const LANE: usize = 8;
/// A subtree below this many flops is not worth a thread of its own,
const PARALLEL_FLOPS: f64 = 2e6;
/// nor one below this part of the whole: workspaces of parallel subtrees are disjoint, which
/// costs one thread 4 % at 116,640 unknowns, while 1/16 costs two threads 7 to 9 % there
/// (the pad's Jacobian; none of either on the matrices of `benches/linear.rs`).
const PARALLEL_SHARE: f64 = 1.0 / 32.0;
/// A front above this many flops is worth two threads.
const WIDE_FLOPS: f64 = 4e6;

pub(super) fn padded(n: usize) -> usize {
    n.div_ceil(LANE) * LANE
}

/// One front: `pivots` unknowns that are eliminated in it, `rest` that it updates. Its L half
/// is stored by columns, one per pivot, its U half transposed likewise; rows are the pivots,
/// padding to a multiple of `LANE`, the rest, padding again. That is how it is built; finished
/// columns are kept without the rows above their diagonal.
#[derive(Debug, Clone)]
pub(super) struct Front {
    /// First pivot in elimination order (unknowns).
    pub first: usize,
    pub pivots: usize,
    pub rest: usize,
    /// Rows: padded(pivots) + padded(rest).
    pub rows: usize,
    /// Start in the factor arena: L half, then U half, each as `panel::Kept` has it.
    pub factor: usize,
    /// Length of one half there.
    pub kept: usize,
    pub children: Range<usize>,
    /// In `Symbolic::rest_nodes`.
    pub rest_nodes: Range<usize>,
    /// In `Symbolic::entries` and `singles`.
    pub entries: Range<usize>,
    pub singles: Range<usize>,
    /// In `Symbolic::runs` and `groups`: where this front's rest goes in its parent.
    pub runs: Range<usize>,
    pub groups: Range<usize>,
    /// Length of one half of the contribution block.
    pub half: usize,
    /// Start of its workspace in that of the parent; length of it, own contribution first, a
    /// group to spare last: contributions are read by groups.
    pub region: usize,
    pub region_len: usize,
    /// First front of the subtree (postorder).
    pub leftmost: usize,
    /// Numbers of factors and pivots of the subtree, the front itself included.
    pub all_factor: usize,
    pub all_pivots: usize,
    /// Children's subtrees run in parallel.
    pub parallel: bool,
    /// One of those subtrees, all of one thread: its workspace, but for its own contribution,
    /// is that thread's.
    pub apart: bool,
    /// Start of its rows in the workspace of substitutions.
    pub work: usize,
    /// Large enough for two threads of its own.
    pub wide: bool,
}

impl Front {
    /// Numbers of both halves while it is built.
    pub fn built(&self) -> usize {
        2 * self.rows * self.pivots
    }
}

/// `len` rows of a child's rest from `from` go to rows of the parent from `to`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Run {
    pub from: u32,
    pub len: u32,
    pub to: u32,
}

/// The rows of a parent from `to` on (a multiple of `LANE`): those at `places` receive rows of
/// the child's rest from `from` on. A first child has one for every `LANE` rows of its parent,
/// others for those that receive something.
#[derive(Debug, Clone, Copy)]
pub(super) struct Group {
    pub to: u32,
    pub from: u32,
    pub places: Places,
}

/// The analysis of one pattern.
#[derive(Debug)]
pub struct Symbolic {
    pub(super) block: usize,
    /// Unknowns, those in no front included.
    pub(super) size: usize,
    /// Postorder: children before parents.
    pub(super) fronts: Vec<Front>,
    pub(super) children: Vec<u32>,
    /// Fronts without a parent.
    pub(super) roots: Vec<u32>,
    /// Elimination positions of the nodes in the rest of each front, growing, and the row of
    /// the rest at which each starts.
    rest_nodes: Vec<u32>,
    rest_rows: Vec<u32>,
    pub(super) entries: Vec<Entry>,
    pub(super) singles: Vec<Single>,
    pub(super) runs: Vec<Run>,
    pub(super) groups: Vec<Group>,
    /// Unknown of the matrix at each elimination position.
    pub(super) unknowns: Vec<u32>,
    /// Unknowns that are in no front.
    pub(super) alone: Alone,
    pub(super) factor_len: usize,
    pub(super) region_len: usize,
    /// Workspace of a subtree `apart`.
    pub(super) spare_len: usize,
    /// Rows of all fronts.
    pub(super) work_len: usize,
    flops: f64,
    fill: usize,
}

impl Symbolic {
    /// Order, find the fronts, lay out the arenas.
    pub fn new(pattern: &BlockPattern) -> Symbolic {
        let graph = Graph::of(pattern);
        let order = nested_dissection(&graph, &pattern.places, pattern.block);
        let (order, nodes) = supernodes(&graph, order);
        let mut symbolic = Symbolic {
            block: pattern.block,
            size: pattern.rows * pattern.block,
            fronts: Vec::with_capacity(nodes.len()),
            children: Vec::new(),
            roots: Vec::new(),
            rest_nodes: Vec::new(),
            rest_rows: Vec::new(),
            entries: Vec::with_capacity(pattern.columns.len()),
            singles: Vec::new(),
            runs: Vec::new(),
            groups: Vec::new(),
            unknowns: Vec::with_capacity(pattern.rows * pattern.block),
            alone: Alone::of(pattern),
            factor_len: 0,
            region_len: 0,
            spare_len: 0,
            work_len: 0,
            flops: 0.0,
            fill: 0,
        };
        let mut starts = vec![0];
        for &node in &order {
            symbolic.unknowns.extend(pattern.live(node as usize).map(|u| u as u32));
            starts.push(symbolic.unknowns.len());
        }
        symbolic.add_fronts(&nodes, &starts);
        symbolic.add_tree(&nodes);
        symbolic.add_runs(&nodes, &starts);
        symbolic.add_entries(pattern, &order, &starts);
        symbolic
    }

    /// Floating-point operations of one factorization (multiplies and adds).
    pub fn flops(&self) -> f64 {
        self.flops
    }

    /// Numbers in L + U, zeros of amalgamation included.
    pub fn fill(&self) -> usize {
        self.fill
    }

    /// All unknowns in elimination order: those solved for by themselves first.
    pub fn order(&self) -> impl Iterator<Item = u32> {
        self.alone.unknowns().chain(self.unknowns.iter().copied())
    }

    /// Number of fronts.
    pub fn fronts(&self) -> usize {
        self.fronts.len()
    }

    /// Bytes of a solver's own storage beside the matrix.
    pub fn bytes(&self) -> usize {
        8 * (self.factor_len + self.region_len)
    }

    /// `starts`: first unknown of each elimination position of nodes.
    fn add_fronts(&mut self, nodes: &[Supernode], starts: &[usize]) {
        let width = |k: u32| starts[k as usize + 1] - starts[k as usize];
        let (mut first_node, mut first) = (0, 0);
        for node in nodes {
            first_node += node.pivots;
            let pivots = starts[first_node] - first;
            let at = self.rest_nodes.len();
            let mut rest = 0;
            for &k in &node.rest {
                self.rest_nodes.push(k);
                self.rest_rows.push(rest as u32);
                rest += width(k);
            }
            let rows = padded(pivots) + padded(rest);
            let groups = padded(rest) / LANE;
            let panels = pivots / LANE;
            let kept = group_start(panels, rows) + pivots % LANE * (rows - panels * LANE);
            self.fronts.push(Front {
                first,
                pivots,
                rest,
                rows,
                factor: self.factor_len,
                kept,
                children: 0..0,
                rest_nodes: at..self.rest_nodes.len(),
                entries: 0..0,
                singles: 0..0,
                runs: 0..0,
                groups: 0..0,
                half: LANE * LANE * groups * (groups + 1) / 2,
                region: 0,
                region_len: 0,
                leftmost: 0,
                all_factor: 0,
                all_pivots: 0,
                parallel: false,
                apart: false,
                work: self.work_len,
                wide: flops(pivots, rest) > WIDE_FLOPS,
            });
            first += pivots;
            self.factor_len += 2 * kept;
            self.work_len += rows;
            self.flops += flops(pivots, rest);
            self.fill += pivots * (pivots + 2 * rest);
        }
    }

    fn add_tree(&mut self, nodes: &[Supernode]) {
        let count = nodes.len();
        let mut kids: Vec<Vec<u32>> = vec![Vec::new(); count];
        let mut work: Vec<f64> = self.fronts.iter().map(|f| flops(f.pivots, f.rest)).collect();
        // Something in the subtree runs in parallel.
        let mut divided = vec![false; count];
        let enough = PARALLEL_FLOPS.max(PARALLEL_SHARE * self.flops);
        for s in 0..count {
            self.fronts[s].leftmost =
                kids[s].first().map_or(s, |&c| self.fronts[c as usize].leftmost);
            let left = &self.fronts[self.fronts[s].leftmost];
            let (factor, first) = (left.factor, left.first);
            let front = &mut self.fronts[s];
            front.all_factor = front.factor + 2 * front.kept - factor;
            front.all_pivots = front.first + front.pivots - first;
            self.fronts[s].children = self.children.len()..self.children.len() + kids[s].len();
            self.children.extend_from_slice(&kids[s]);
            let heavy = kids[s].iter().filter(|&&c| work[c as usize] > enough).count();
            let parallel = heavy > 1;
            self.fronts[s].parallel = parallel;
            divided[s] = parallel || kids[s].iter().any(|&c| divided[c as usize]);
            // Own contribution first, then the children's workspaces: one after the other if
            // they run at the same time, else each on top of the others' contributions.
            let mut at = 0;
            let mut end = 0;
            for &c in &kids[s] {
                let child = &mut self.fronts[c as usize];
                if parallel && !divided[c as usize] {
                    child.apart = true;
                    self.spare_len = self.spare_len.max(child.region_len - 2 * child.half);
                    child.region_len = 2 * child.half + LANE;
                }
                child.region = at;
                end = end.max(at + child.region_len);
                at += if parallel { child.region_len } else { 2 * child.half };
            }
            let front = &mut self.fronts[s];
            let own = if front.wide { front.built() + workspace(front.pivots) } else { 0 };
            front.region_len = 2 * front.half + end + own + LANE;
            match nodes[s].parent {
                Some(parent) => {
                    kids[parent].push(s as u32);
                    work[parent] += work[s];
                }
                None => {
                    self.roots.push(s as u32);
                    self.region_len = self.region_len.max(self.fronts[s].region_len);
                }
            }
        }
    }

    /// Row of a front at which the node at elimination position `k` starts.
    pub(super) fn row_of(&self, front: &Front, k: u32, starts: &[usize]) -> usize {
        let inside = starts[k as usize] - front.first;
        if inside < front.pivots {
            return inside;
        }
        let rest = front.rest_nodes.clone();
        let at = self.rest_nodes[rest.clone()].partition_point(|&v| v < k);
        padded(front.pivots) + self.rest_rows[rest.start + at] as usize
    }

    fn add_runs(&mut self, nodes: &[Supernode], starts: &[usize]) {
        for (s, node) in nodes.iter().enumerate() {
            let start = self.runs.len();
            if let Some(parent) = node.parent {
                let mut from = 0;
                for &k in &node.rest {
                    let to = self.row_of(&self.fronts[parent], k, starts) as u32;
                    let len = (starts[k as usize + 1] - starts[k as usize]) as u32;
                    match self.runs[start..].last_mut() {
                        Some(run) if run.to + run.len == to => run.len += len,
                        _ => self.runs.push(Run { from, len, to }),
                    }
                    from += len;
                }
            }
            self.fronts[s].runs = start..self.runs.len();
            let start = self.groups.len();
            // The first child is written, not added: with zeros where it has no rows.
            let parent = node.parent.map(|p| &self.fronts[p]);
            let rows = parent
                .filter(|p| self.children[p.children.start] as usize == s)
                .map_or(0, |p| p.rows as u32);
            let lane = LANE as u32;
            let empty = |to, from| Group { to, from, places: Places::new(0) };
            let mut seen = 0;
            for r in &self.runs[self.fronts[s].runs.clone()] {
                for (from, to) in (r.from..).zip(r.to..r.to + r.len) {
                    let (at, bit) = (to / lane * lane, 1 << (to % lane));
                    match self.groups[start..].last_mut() {
                        Some(group) if group.to == at => {
                            group.places = Places::new(group.places.mask() | bit);
                        }
                        _ => {
                            let gap = (seen..at.min(rows)).step_by(LANE);
                            self.groups.extend(gap.map(|to| empty(to, from)));
                            self.groups.push(Group { to: at, from, places: Places::new(bit) });
                            seen = at + lane;
                        }
                    }
                }
            }
            let gap = (seen..rows).step_by(LANE);
            self.groups.extend(gap.map(|to| empty(to, self.fronts[s].rest as u32)));
            self.fronts[s].groups = start..self.groups.len();
        }
    }
}

/// Multiplies and adds of eliminating `p` unknowns from a front of `p + c`.
pub(super) fn flops(p: usize, c: usize) -> f64 {
    let (p, c) = (p as f64, c as f64);
    2.0 / 3.0 * p * p * p + 2.0 * p * p * c + 2.0 * p * c * c
}
