//! Fill-reducing ordering of the nodes: nested dissection with geometric cuts (see `cut`).
//!
//! Method: A. George, SIAM J. Numer. Anal. 10 (1973) 345; leaves by minimum degree: A. George
//! and J. Liu, SIAM Rev. 31 (1989) 1.

use super::block::BlockPattern;
use super::cut::{AFTER, BEFORE};

/// Regions of at most this many nodes are ordered by minimum degree.
pub(super) const LEAF: usize = 24;
pub(super) const NONE: u32 = u32::MAX;

/// Neighbours of each node, symmetric, the node itself left out, and nodes none of whose
/// unknowns are in the fronts.
pub(super) struct Graph {
    pub start: Vec<usize>,
    pub next: Vec<u32>,
    /// Unknowns of each node in the fronts.
    pub width: Vec<u32>,
}

impl Graph {
    /// The graph of pattern + its transpose: an unsymmetric pattern is made symmetric.
    pub fn of(pattern: &BlockPattern) -> Graph {
        let n = pattern.rows;
        let width: Vec<u32> = (0..n).map(|node| pattern.live(node).count() as u32).collect();
        let mut pairs: Vec<(u32, u32)> = Vec::with_capacity(2 * pattern.columns.len());
        for r in (0..n).filter(|&r| width[r] > 0) {
            for &c in &pattern.columns[pattern.start[r]..pattern.start[r + 1]] {
                if c as usize != r && width[c as usize] > 0 {
                    pairs.push((r as u32, c));
                    pairs.push((c, r as u32));
                }
            }
        }
        pairs.sort_unstable();
        pairs.dedup();
        let mut start = vec![0usize; n + 1];
        for &(r, _) in &pairs {
            start[r as usize + 1] += 1;
        }
        for r in 0..n {
            start[r + 1] += start[r];
        }
        Graph { start, next: pairs.into_iter().map(|p| p.1).collect(), width }
    }

    pub fn of_node(&self, node: u32) -> &[u32] {
        &self.next[self.start[node as usize]..self.start[node as usize + 1]]
    }
}

/// Elimination order of the nodes that have unknowns in the fronts, `block` at most: element
/// k is the node eliminated as number k.
pub(super) fn nested_dissection(graph: &Graph, places: &[(u32, u32)], block: usize) -> Vec<u32> {
    let n = graph.width.len();
    let mut nodes: Vec<u32> = (0..n as u32).filter(|&v| graph.width[v as usize] > 0).collect();
    let mut cutter = Cutter {
        graph,
        places,
        block: block as f64,
        region: vec![0; n],
        regions: 1,
        side: vec![0; n],
        stamp: vec![0; n],
        stamps: 0,
        level: vec![0; n],
    };
    cutter.order(&mut nodes);
    nodes
}

pub(super) struct Cutter<'a> {
    pub graph: &'a Graph,
    pub places: &'a [(u32, u32)],
    /// Unknowns of a whole node.
    pub block: f64,
    /// Region that a node still belongs to; `NONE` once it is ordered.
    pub region: Vec<u32>,
    pub regions: u32,
    /// Where a node lies relative to a cut.
    pub side: Vec<u8>,
    pub stamp: Vec<u32>,
    pub stamps: u32,
    pub level: Vec<u32>,
}

impl Cutter<'_> {
    /// Put `nodes`, which are one region, into elimination order.
    fn order(&mut self, nodes: &mut [u32]) {
        if nodes.is_empty() {
            return;
        }
        let label = self.region[nodes[0] as usize];
        if nodes.len() <= LEAF {
            self.minimum_degree(nodes, label);
            return;
        }
        if self.components(nodes, label) > 1 {
            let mut parts = Vec::new();
            let mut rest = nodes;
            while let Some(&head) = rest.first() {
                let stamp = self.stamp[head as usize];
                let size = rest.iter().take_while(|&&v| self.stamp[v as usize] == stamp).count();
                let (one, others) = rest.split_at_mut(size);
                self.relabel(one);
                parts.push(one);
                rest = others;
            }
            // Only after all are split off: ordering one overwrites the stamps.
            parts.into_iter().for_each(|one| self.order(one));
            return;
        }
        match self.best_cut(nodes, label) {
            Some(cut) => {
                self.mark(nodes, label, cut);
                nodes.sort_unstable_by_key(|&v| (self.side[v as usize], v));
                let before = nodes.iter().filter(|&&v| self.side[v as usize] == BEFORE).count();
                let after = nodes.iter().filter(|&&v| self.side[v as usize] == AFTER).count();
                let (one, rest) = nodes.split_at_mut(before);
                let (two, cut) = rest.split_at_mut(after);
                for &v in cut.iter() {
                    self.region[v as usize] = NONE;
                }
                self.along(cut);
                self.relabel(one);
                self.relabel(two);
                self.order(one);
                self.order(two);
            }
            None => self.minimum_degree(nodes, label),
        }
    }

    /// Order a separator along its line, so that parents see long runs.
    fn along(&self, cut: &mut [u32]) {
        cut.sort_unstable_by_key(|&v| (self.places[v as usize], v));
    }

    /// Make the nodes a region of their own; its label.
    pub fn relabel(&mut self, nodes: &[u32]) -> u32 {
        let label = self.regions;
        self.regions += 1;
        for &v in nodes {
            self.region[v as usize] = label;
        }
        label
    }

    /// Group the nodes by component (equal stamps); the number of components. If it is 1,
    /// `level` is the distance from a far end.
    fn components(&mut self, nodes: &mut [u32], label: u32) -> usize {
        let fresh = self.stamps;
        let mut end = nodes[0];
        let mut count = 0;
        for &v in nodes.iter() {
            if self.stamp[v as usize] <= fresh {
                end = self.sweep(v, label);
                count += 1;
            }
        }
        if count == 1 {
            self.sweep(end, label);
        } else {
            nodes.sort_unstable_by_key(|&v| (self.stamp[v as usize], v));
        }
        count
    }

    /// Breadth-first search inside a region; the last node found.
    fn sweep(&mut self, from: u32, label: u32) -> u32 {
        self.stamps += 1;
        let mut found = vec![from];
        self.stamp[from as usize] = self.stamps;
        self.level[from as usize] = 0;
        let mut k = 0;
        while k < found.len() {
            let v = found[k];
            k += 1;
            for &w in self.graph.of_node(v) {
                let w_ = w as usize;
                if self.region[w_] == label && self.stamp[w_] != self.stamps {
                    self.stamp[w_] = self.stamps;
                    self.level[w_] = self.level[v as usize] + 1;
                    found.push(w);
                }
            }
        }
        found.last().copied().unwrap_or(from)
    }

    /// Minimum degree on a small region and the ordered nodes around it.
    fn minimum_degree(&mut self, nodes: &mut [u32], label: u32) {
        let mut members: Vec<u32> = nodes.to_vec();
        self.stamps += 1;
        for &v in nodes.iter() {
            for &w in self.graph.of_node(v) {
                if self.region[w as usize] != label && self.stamp[w as usize] != self.stamps {
                    self.stamp[w as usize] = self.stamps;
                    members.push(w);
                }
            }
        }
        for &v in nodes.iter() {
            self.region[v as usize] = NONE;
        }
        if members.len() > 128 {
            return; // a clique, or nearly: any order
        }
        let mut near = vec![0u128; nodes.len()];
        for (near, &v) in near.iter_mut().zip(nodes.iter()) {
            for w in self.graph.of_node(v) {
                if let Some(at) = members.iter().position(|m| m == w) {
                    *near |= 1 << at;
                }
            }
        }
        let mut left: u128 = !0 >> (128 - nodes.len());
        for slot in nodes.iter_mut() {
            let open = (0..near.len()).filter(|&k| left >> k & 1 == 1);
            let Some(pick) = open.min_by_key(|&k| near[k].count_ones()) else { return };
            left &= !(1 << pick);
            *slot = members[pick];
            // Its neighbours become a clique.
            let clique = near[pick];
            for (k, near) in near.iter_mut().enumerate() {
                if (clique & left) >> k & 1 == 1 {
                    *near = (*near | clique) & !(1 << k) & !(1 << pick);
                }
            }
        }
    }
}
