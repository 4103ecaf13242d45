//! A mesh that moves with the layout: the same lines, stretched between what is drawn.
//!
//! Derivatives by a length and small motions must not see another mesh: its lines would lie
//! elsewhere, and the difference would be noise.

use super::Lines;
use crate::case::{Case, Piece, Profile, Touch};

/// Positions closer than this [µm] are one.
const SAME: f64 = 1e-9;

/// One position of the layout and how much it counts where two that were one part.
#[derive(Debug, Clone, Copy)]
struct Anchor {
    at: f64,
    rank: u8,
}

/// Lines of `before`'s mesh for the layout `after`, which has the same pieces at other
/// places \[µm\]: straight between the edges of what is drawn, edges onto edges. `None` if
/// the pieces are not the same or have changed their order.
pub fn moved_lines(before: &Case, after: &Case, lines: &Lines) -> Option<Lines> {
    let [bx, by] = anchors(before);
    let [ax, ay] = anchors(after);
    Some(Lines { x: moved(&lines.x, &bx, &ax)?, y: moved(&lines.y, &by, &ay)? })
}

/// Positions of the layout in x and in y, in the order of the case file.
fn anchors(case: &Case) -> [Vec<Anchor>; 2] {
    let (mut x, mut y) = (Vec::new(), Vec::new());
    // Ends first, then what must lie on lines, then doping, which may lie between them.
    let put = |list: &mut Vec<Anchor>, at: f64, rank: u8| list.push(Anchor { at, rank });
    put(&mut x, 0.0, 0);
    put(&mut x, case.wafer.span, 0);
    put(&mut y, 0.0, 0);
    put(&mut y, case.wafer.thickness, 0);
    for touch in case.terminals.iter().flat_map(|t| &t.touches) {
        if let Touch::Surface { from, to } = touch {
            put(&mut x, *from, 1);
            put(&mut x, *to, 1);
        }
    }
    for gate in &case.gates {
        put(&mut x, gate.from, 2);
        put(&mut x, gate.to, 2);
        put(&mut y, -gate.oxide, 2);
    }
    for trench in &case.trenches {
        put(&mut x, trench.from, 3);
        put(&mut x, trench.to, 3);
        put(&mut y, trench.depth, 3);
    }
    for Piece { from, to, profile, .. } in case.wells.iter().chain(&case.diffusions) {
        put(&mut x, *from, 4);
        put(&mut x, *to, 4);
        if let Profile::Box { top, bottom } = profile {
            put(&mut y, *top, 4);
            put(&mut y, *bottom, 4);
        }
    }
    if let Some(epi) = &case.wafer.epi {
        put(&mut y, epi.thickness, 4);
    }
    [x, y]
}

fn moved(lines: &[f64], before: &[Anchor], after: &[Anchor]) -> Option<Vec<f64>> {
    if before.len() != after.len() {
        return None;
    }
    let (first, last) = (*lines.first()?, *lines.last()?);
    let inside = |at: f64| at >= first - SAME && at <= last + SAME;
    let mut pairs: Vec<(f64, f64, u8)> = before
        .iter()
        .zip(after)
        .filter(|(b, _)| inside(b.at))
        .map(|(b, a)| (b.at, a.at, b.rank))
        .collect();
    pairs.sort_by(|p, q| p.0.total_cmp(&q.0).then(p.2.cmp(&q.2)));
    // Of positions that were one, the first by rank leads its line.
    pairs.dedup_by(|q, p| (q.0 - p.0).abs() <= SAME);
    if pairs.windows(2).any(|w| w[1].1 <= w[0].1) {
        return None;
    }
    lines
        .iter()
        .map(|&line| {
            let k = pairs.partition_point(|p| p.0 < line - SAME).min(pairs.len().checked_sub(1)?);
            let (at, to, _) = pairs[k];
            if (at - line).abs() <= SAME {
                return Some(to);
            }
            if k == 0 {
                // Above everything that is drawn.
                return Some(to + (line - at));
            }
            let (low, low_to, _) = pairs[k - 1];
            Some(low_to + (to - low_to) * ((line - low) / (at - low)))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(list: &[f64]) -> Vec<Anchor> {
        list.iter().map(|&at| Anchor { at, rank: 0 }).collect()
    }

    #[test]
    fn lines_follow_the_nearest_edges() {
        let lines = [0.0, 0.5, 1.0, 2.0, 3.0];
        let new = moved(&lines, &at(&[0.0, 1.0, 3.0]), &at(&[0.0, 1.2, 3.2])).unwrap();
        assert_eq!(new, [0.0, 0.6, 1.2, 2.2, 3.2]);
    }

    #[test]
    fn where_edges_part_the_rank_decides_and_order_is_kept() {
        let before = [Anchor { at: 0.0, rank: 0 }, Anchor { at: 1.0, rank: 4 }];
        let mut after = before;
        after[1].at = 1.1;
        let add = |mut v: Vec<Anchor>| {
            v.extend([Anchor { at: 1.0, rank: 1 }, Anchor { at: 2.0, rank: 0 }]);
            v
        };
        let new = moved(&[0.0, 1.0, 2.0], &add(before.to_vec()), &add(after.to_vec())).unwrap();
        assert_eq!(new, [0.0, 1.0, 2.0], "the contact's edge stays on its line");
        assert!(moved(&[0.0, 1.0], &at(&[0.0, 0.4, 1.0]), &at(&[0.0, 1.2, 1.0])).is_none());
    }
}
