//! Elimination tree, supernodes and their relaxed amalgamation.
//!
//! J. Liu, SIAM J. Matrix Anal. Appl. 11 (1990) 134 (elimination tree); C. Ashcraft and
//! R. Grimes, ACM Trans. Math. Softw. 15 (1989) 291 (relaxed supernodes). The cost model that
//! decides a merge is our own.

use super::ordering::Graph;
use super::symbolic::{flops, padded};

/// Nodes eliminated together.
#[derive(Debug, Clone)]
pub(super) struct Supernode {
    /// Number of nodes eliminated; their positions follow those of the supernode before.
    pub pivots: usize,
    /// Positions of the nodes that it updates, growing.
    pub rest: Vec<u32>,
    pub parent: Option<usize>,
}

/// Time of a front [ns], measured roughly on one core: a fixed part, memory, arithmetic. A
/// fixed part of 300 takes half as many fronts again and 5 % fewer flops for 5 % more time
/// (29,586 unknowns, AVX-512); at 116,640 unknowns there is no difference.
fn front_time(p: usize, c: usize) -> f64 {
    let (pp, cc) = (padded(p), padded(c));
    let memory = 2 * p * (pp + cc) + 2 * cc * cc;
    600.0 + 0.25 * memory as f64 + flops(p.div_ceil(4) * 4, cc) / 40.0
}

/// Elimination order made a postorder, and the supernodes in it.
pub(super) fn supernodes(graph: &Graph, order: Vec<u32>) -> (Vec<u32>, Vec<Supernode>) {
    let mut position = vec![0u32; graph.width.len()];
    for (k, &v) in order.iter().enumerate() {
        position[v as usize] = k as u32;
    }
    let groups = fundamental(graph, &order, &position);
    let width: Vec<usize> = order.iter().map(|&v| graph.width[v as usize] as usize).collect();
    let groups = amalgamate(groups, &width);
    postorder(groups, order)
}

/// A group of positions while merging: all in the numbers of the first order.
struct Group {
    pivots: Vec<u32>,
    rest: Vec<u32>,
    parent: Option<usize>,
}

/// Fundamental supernodes by symbolic elimination, children before parents.
fn fundamental(graph: &Graph, order: &[u32], position: &[u32]) -> Vec<Group> {
    let n = order.len();
    let mut groups: Vec<Group> = Vec::new();
    // Group of a position once eliminated; groups waiting for the node they update next.
    let mut waiting: Vec<Vec<usize>> = vec![Vec::new(); n];
    let mut stamp = vec![u32::MAX; n];
    let mut found: Vec<u32> = Vec::new();
    for k in 0..n {
        let kids = std::mem::take(&mut waiting[k]);
        found.clear();
        stamp[k] = k as u32;
        let mut largest = 0;
        let near = graph.of_node(order[k]).iter().map(|&w| position[w as usize]);
        let mut add = |w: u32| {
            if w as usize > k && stamp[w as usize] != k as u32 {
                stamp[w as usize] = k as u32;
                found.push(w);
            }
        };
        near.for_each(&mut add);
        for &g in &kids {
            groups[g].rest.iter().copied().for_each(&mut add);
            largest = largest.max(groups[g].rest.len());
        }
        // Same structure as the only child but for this node: one supernode.
        if kids.len() == 1 && largest == found.len() + 1 {
            let g = kids[0];
            groups[g].pivots.push(k as u32);
            groups[g].rest.remove(0);
            if let Some(&next) = groups[g].rest.first() {
                waiting[next as usize].push(g);
            }
            continue;
        }
        found.sort_unstable();
        let g = groups.len();
        for c in kids {
            groups[c].parent = Some(g);
        }
        if let Some(&next) = found.first() {
            waiting[next as usize].push(g);
        }
        groups.push(Group { pivots: vec![k as u32], rest: found.clone(), parent: None });
    }
    groups
}

/// Merge children into parents where the model says that it saves time. `width`: unknowns at
/// each position.
fn amalgamate(mut groups: Vec<Group>, width: &[usize]) -> Vec<Group> {
    let count = groups.len();
    let unknowns = |nodes: &[u32]| nodes.iter().map(|&k| width[k as usize]).sum::<usize>();
    let mut kids: Vec<Vec<usize>> = vec![Vec::new(); count];
    for (g, group) in groups.iter().enumerate() {
        if let Some(parent) = group.parent {
            kids[parent].push(g);
        }
    }
    let mut gone = vec![false; count];
    for g in 0..count {
        // The child with the largest rest loses least.
        let mut open: Vec<usize> = kids[g].clone();
        open.sort_by_key(|&c| (std::cmp::Reverse(groups[c].rest.len()), c));
        for c in open {
            let (pc, rc) = (unknowns(&groups[c].pivots), unknowns(&groups[c].rest));
            let (pg, rg) = (unknowns(&groups[g].pivots), unknowns(&groups[g].rest));
            if front_time(pc + pg, rg) <= front_time(pc, rc) + front_time(pg, rg) {
                gone[c] = true;
                let mut pivots = std::mem::take(&mut groups[c].pivots);
                pivots.append(&mut groups[g].pivots);
                pivots.sort_unstable();
                groups[g].pivots = pivots;
                let adopted = std::mem::take(&mut kids[c]);
                for &a in &adopted {
                    groups[a].parent = Some(g);
                }
                kids[g].retain(|&k| k != c);
                kids[g].extend(adopted);
            }
        }
    }
    // Close the gaps.
    let mut number = vec![0; count];
    let mut next = 0;
    for g in 0..count {
        number[g] = next;
        next += usize::from(!gone[g]);
    }
    let mut kept: Vec<Group> =
        groups.into_iter().zip(&gone).filter(|(_, gone)| !**gone).map(|(g, _)| g).collect();
    for g in &mut kept {
        g.parent = g.parent.map(|p| number[p]);
    }
    kept
}

/// Depth-first order of the groups, so that a subtree is a contiguous range.
fn postorder(groups: Vec<Group>, order: Vec<u32>) -> (Vec<u32>, Vec<Supernode>) {
    let count = groups.len();
    let mut kids: Vec<Vec<usize>> = vec![Vec::new(); count];
    let mut stack: Vec<(usize, bool)> = Vec::new();
    for (g, group) in groups.iter().enumerate() {
        match group.parent {
            Some(parent) => kids[parent].push(g),
            None => stack.push((g, false)),
        }
    }
    stack.reverse();
    let mut sequence = Vec::with_capacity(count);
    while let Some((g, opened)) = stack.pop() {
        if opened {
            sequence.push(g);
        } else {
            stack.push((g, true));
            stack.extend(kids[g].iter().rev().map(|&c| (c, false)));
        }
    }
    let mut number = vec![0; count];
    let mut moved = vec![0u32; order.len()];
    let mut last = Vec::with_capacity(order.len());
    for (k, &g) in sequence.iter().enumerate() {
        number[g] = k;
        for &p in &groups[g].pivots {
            moved[p as usize] = last.len() as u32;
            last.push(order[p as usize]);
        }
    }
    let nodes = sequence
        .iter()
        .map(|&g| {
            let mut rest: Vec<u32> = groups[g].rest.iter().map(|&p| moved[p as usize]).collect();
            rest.sort_unstable();
            let parent = groups[g].parent.map(|p| number[p]);
            Supernode { pivots: groups[g].pivots.len(), rest, parent }
        })
        .collect();
    (last, nodes)
}
