//! Fill-reducing ordering of the nodes: nested dissection with geometric cuts.
//!
//! A cut runs along a grid line or a grid diagonal. On a five-point stencil the shortest
//! closed separators are diamonds (the ball of the 1-norm), so diagonal cuts halve the work
//! of the factorization against straight ones. Method: A. George, SIAM J. Numer. Anal. 10
//! (1973) 345; leaves by minimum degree: A. George and J. Liu, SIAM Rev. 31 (1989) 1. The
//! choice among cuts by an estimate of the flops below is our own.

use super::block::BlockPattern;

/// Regions of at most this many nodes are ordered by minimum degree.
const LEAF: usize = 12;
/// Exact evaluations per direction; the rest is judged by counts alone.
const TRIED: usize = 3;
const NONE: u32 = u32::MAX;

/// Neighbours of each node, symmetric, the node itself left out.
pub(super) struct Graph {
    pub start: Vec<usize>,
    pub next: Vec<u32>,
}

impl Graph {
    /// The graph of pattern + its transpose: an unsymmetric pattern is made symmetric.
    pub fn of(pattern: &BlockPattern) -> Graph {
        let n = pattern.rows;
        let mut pairs: Vec<(u32, u32)> = Vec::with_capacity(2 * pattern.columns.len());
        for r in 0..n {
            for &c in &pattern.columns[pattern.start[r]..pattern.start[r + 1]] {
                if c as usize != r {
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
        Graph { start, next: pairs.into_iter().map(|p| p.1).collect() }
    }

    pub fn of_node(&self, node: u32) -> &[u32] {
        &self.next[self.start[node as usize]..self.start[node as usize + 1]]
    }
}

/// Elimination order: element k is the node eliminated as number k.
pub(super) fn nested_dissection(graph: &Graph, places: &[(u32, u32)]) -> Vec<u32> {
    let n = graph.start.len() - 1;
    let mut nodes: Vec<u32> = (0..n as u32).collect();
    let mut cutter = Cutter {
        graph,
        places,
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

/// Where a node lies relative to a cut.
const BEFORE: u8 = 0;
const AFTER: u8 = 1;
const CUT: u8 = 2;

#[derive(Clone, Copy)]
enum Direction {
    X,
    Y,
    Falling,
    Rising,
    /// Breadth-first levels, for graphs whose places do not separate them.
    Level,
}

struct Cutter<'a> {
    graph: &'a Graph,
    places: &'a [(u32, u32)],
    /// Region that a node still belongs to; `NONE` once it is ordered.
    region: Vec<u32>,
    regions: u32,
    side: Vec<u8>,
    stamp: Vec<u32>,
    stamps: u32,
    level: Vec<u32>,
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
            Some((direction, at)) => {
                self.mark(nodes, label, direction, at);
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

    fn relabel(&mut self, nodes: &[u32]) {
        let label = self.regions;
        self.regions += 1;
        for &v in nodes {
            self.region[v as usize] = label;
        }
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

    fn key(&self, node: u32, direction: Direction) -> i64 {
        let (i, j) = self.places[node as usize];
        let (i, j) = (i64::from(i), i64::from(j));
        match direction {
            Direction::X => i,
            Direction::Y => j,
            Direction::Falling => i + j,
            Direction::Rising => i - j,
            Direction::Level => i64::from(self.level[node as usize]),
        }
    }

    fn best_cut(&mut self, nodes: &[u32], label: u32) -> Option<(Direction, i64)> {
        let outside = self.outside(nodes, label);
        let geometric = [Direction::X, Direction::Y, Direction::Falling, Direction::Rising];
        let mut best = None;
        let mut least = f64::INFINITY;
        for directions in [&geometric[..], &[Direction::Level]] {
            for &direction in directions {
                for at in self.promising(nodes, direction, outside) {
                    let cut = self.mark(nodes, label, direction, at);
                    if cut.before == 0 || cut.after == 0 {
                        continue;
                    }
                    let cost = front_flops(cut.size, outside)
                        + region_flops(cut.before, cut.edge_before)
                        + region_flops(cut.after, cut.edge_after);
                    if cost < least {
                        least = cost;
                        best = Some((direction, at));
                    }
                }
            }
            if best.is_some() {
                break;
            }
        }
        best
    }

    /// Number of ordered nodes that a region touches.
    fn outside(&mut self, nodes: &[u32], label: u32) -> usize {
        self.stamps += 1;
        let mut count = 0;
        for &v in nodes {
            for &w in self.graph.of_node(v) {
                if self.region[w as usize] != label && self.stamp[w as usize] != self.stamps {
                    self.stamp[w as usize] = self.stamps;
                    count += 1;
                }
            }
        }
        count
    }

    /// Positions of a direction that look best by counts.
    fn promising(&self, nodes: &[u32], direction: Direction, outside: usize) -> Vec<i64> {
        let keys = || nodes.iter().map(|&v| self.key(v, direction));
        let (Some(low), Some(high)) = (keys().min(), keys().max()) else { return Vec::new() };
        // A graph whose places are far apart and sparse: counts by sorting would do, but a
        // histogram is bounded by the grid, which the pattern's nodes fill for the most part.
        let width = (high - low + 1) as usize;
        if width < 3 || width > 64 * nodes.len() + 1024 {
            return Vec::new();
        }
        let mut count = vec![0usize; width];
        keys().for_each(|k| count[(k - low) as usize] += 1);
        let mut scored = Vec::new();
        let mut before = 0;
        for (k, &here) in count.iter().enumerate() {
            let after = nodes.len() - before - here;
            if before > 0 && after > 0 && here > 0 {
                let share = |part: usize| outside * part / nodes.len() + here;
                let cost = front_flops(here, outside)
                    + region_flops(before, share(before))
                    + region_flops(after, share(after));
                scored.push((cost, low + k as i64));
            }
            before += here;
        }
        scored.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        scored.truncate(TRIED);
        scored.into_iter().map(|s| s.1).collect()
    }

    /// Label the nodes as before, after or on a cut, the cut mended (no edge may cross it)
    /// and trimmed (a node that touches one side only joins that side).
    fn mark(&mut self, nodes: &[u32], label: u32, direction: Direction, at: i64) -> CutSize {
        for &v in nodes {
            self.side[v as usize] = match self.key(v, direction).cmp(&at) {
                std::cmp::Ordering::Less => BEFORE,
                std::cmp::Ordering::Greater => AFTER,
                std::cmp::Ordering::Equal => CUT,
            };
        }
        let touches = |side: &[u8], region: &[u32], v: u32, which: u8| {
            let near = self.graph.of_node(v);
            near.iter().any(|&w| region[w as usize] == label && side[w as usize] == which)
        };
        for &v in nodes {
            if self.side[v as usize] == BEFORE && touches(&self.side, &self.region, v, AFTER) {
                self.side[v as usize] = CUT;
            }
        }
        for &v in nodes {
            if self.side[v as usize] == CUT {
                if !touches(&self.side, &self.region, v, AFTER) {
                    self.side[v as usize] = BEFORE;
                } else if !touches(&self.side, &self.region, v, BEFORE) {
                    self.side[v as usize] = AFTER;
                }
            }
        }
        let mut cut = CutSize::default();
        self.stamps += 2;
        for &v in nodes {
            match self.side[v as usize] {
                BEFORE => cut.before += 1,
                AFTER => cut.after += 1,
                _ => cut.size += 1,
            }
        }
        // Edges of the two sides: ordered nodes next to them, and the cut.
        for (which, edge) in [(BEFORE, &mut cut.edge_before), (AFTER, &mut cut.edge_after)] {
            self.stamps += 1;
            for &v in nodes.iter().filter(|&&v| self.side[v as usize] == which) {
                for &w in self.graph.of_node(v) {
                    let w_ = w as usize;
                    if self.region[w_] != label && self.stamp[w_] != self.stamps {
                        self.stamp[w_] = self.stamps;
                        *edge += 1;
                    }
                }
            }
            *edge += cut.size;
        }
        cut
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

#[derive(Default)]
struct CutSize {
    before: usize,
    after: usize,
    size: usize,
    edge_before: usize,
    edge_after: usize,
}

/// Multiply-adds, up to a factor, of a front with `pivots` and `rest` nodes.
fn front_flops(pivots: usize, rest: usize) -> f64 {
    let (s, m) = (pivots as f64, rest as f64);
    s * s * s / 3.0 + s * s * m + s * m * m
}

/// Estimate for a compact region of `nodes` with `edge` nodes around it, halved until small.
fn region_flops(nodes: usize, edge: usize) -> f64 {
    let (mut n, mut m, mut copies, mut flops) = (nodes as f64, edge as f64, 1.0, 0.0);
    while n > 6.0 {
        let s = 0.8 * n.sqrt();
        flops += copies * (s * s * s / 3.0 + s * s * m + s * m * m);
        copies *= 2.0;
        n = 0.5 * (n - s);
        m = 0.5 * m + s;
    }
    flops + copies * (n * n * n / 3.0 + n * n * m + n * m * m)
}
