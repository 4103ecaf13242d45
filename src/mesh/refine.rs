//! Finer and coarser relatives of a mesh, and a mesh on lines that are given outright.
//!
//! An estimate of the mesh error compares solutions on meshes of one family. A mesh built
//! afresh for another node budget is no relative: its lines lie elsewhere, and the
//! difference would be noise. Here every line of the coarser mesh is a line of the finer.

use super::features::Features;
use super::{Mesh, sample};
use crate::case::{Case, Problem};
use crate::structure::Structure;

/// Lines closer than this [µm] are one line.
const SAME: f64 = 2e-6;

/// Lines of both axes \[µm\], each strictly growing, at least 2.
#[derive(Debug, Clone, PartialEq)]
pub struct Lines {
    pub x: Vec<f64>,
    pub y: Vec<f64>,
}

impl Lines {
    /// Those of a mesh.
    pub fn of(mesh: &Mesh) -> Lines {
        Lines { x: mesh.x.clone(), y: mesh.y.clone() }
    }

    /// The lines that no mesh of this cross-section may give up: ends, edges of material
    /// and of terminals, abrupt edges of the doping.
    pub fn kept(case: &Case, structure: &Structure) -> Lines {
        let features = Features::new(case, structure);
        Lines { x: features.x.fixed, y: features.y.fixed }
    }

    /// Every interval split in two. The parts follow the growth around the interval, so
    /// that a graded mesh stays graded: intervals growing by q become ones growing by √q.
    pub fn halved(&self) -> Lines {
        Lines { x: halved(&self.x), y: halved(&self.y) }
    }

    /// Every second line, those of `kept` always. Between two kept lines an odd number of
    /// intervals leaves one unmerged: the largest that lets the others pair.
    pub fn thinned(&self, kept: &Lines) -> Lines {
        Lines { x: thinned(&self.x, &kept.x), y: thinned(&self.y, &kept.y) }
    }
}

/// The mesh of a cross-section on these lines; the doping is sampled on them.
///
/// # Errors
/// `no-node` (a terminal without a node), `shared-node`.
pub fn on_lines(case: &Case, structure: &Structure, lines: Lines) -> Result<Mesh, Vec<Problem>> {
    sample::assemble(case, structure, lines.x, lines.y)
}

fn halved(lines: &[f64]) -> Vec<f64> {
    let sizes: Vec<f64> = lines.windows(2).map(|w| w[1] - w[0]).collect();
    let mut out = Vec::with_capacity(2 * lines.len());
    for (k, w) in lines.windows(2).enumerate() {
        // The growth over an interval: by its two neighbours, or by one at an end.
        let growth = match (k.checked_sub(1).and_then(|b| sizes.get(b)), sizes.get(k + 1)) {
            (Some(before), Some(after)) => (after / before).sqrt(),
            (Some(before), None) => sizes[k] / before,
            (None, Some(after)) => after / sizes[k],
            (None, None) => 1.0,
        };
        out.push(w[0]);
        out.push(w[0] + (w[1] - w[0]) / (1.0 + growth.sqrt()));
    }
    out.extend(lines.last());
    out
}

fn thinned(lines: &[f64], kept: &[f64]) -> Vec<f64> {
    let stays = |v: f64| kept.iter().any(|k| (k - v).abs() <= SAME);
    let mut out: Vec<f64> = lines.first().copied().into_iter().collect();
    let mut from = 0;
    for to in 1..lines.len() {
        if to + 1 < lines.len() && !stays(lines[to]) {
            continue;
        }
        let piece = &lines[from..=to];
        let intervals = piece.len() - 1;
        // First line of the interval that stays as it is, if their number is odd.
        let single = (intervals % 2 == 1).then(|| {
            (0..intervals)
                .step_by(2)
                .max_by(|a, b| (piece[a + 1] - piece[*a]).total_cmp(&(piece[b + 1] - piece[*b])))
                .unwrap_or(0)
        });
        let mut k = 0;
        while k < intervals {
            k += if single == Some(k) { 1 } else { 2 };
            out.push(piece[k.min(intervals)]);
        }
        from = to;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::{Lines, halved, thinned};

    fn sizes(lines: &[f64]) -> Vec<f64> {
        lines.windows(2).map(|w| w[1] - w[0]).collect()
    }

    #[test]
    fn a_geometric_mesh_stays_geometric() {
        let mut lines = vec![0.0];
        for k in 0..12 {
            lines.push(lines[k] + 0.01 * 1.3f64.powi(k as i32));
        }
        let fine = halved(&lines);
        assert_eq!(fine.len(), 2 * lines.len() - 1);
        assert!(lines.iter().all(|l| fine.contains(l)), "a line moved");
        for w in sizes(&fine).windows(2) {
            assert!((w[1] / w[0] - 1.3f64.sqrt()).abs() < 1e-12, "growth {}", w[1] / w[0]);
        }
        // Every second line of it is what it came from.
        assert_eq!(thinned(&fine, &[0.0, *lines.last().unwrap()]), lines);
    }

    #[test]
    fn kept_lines_stay_and_pairs_merge() {
        let lines = [0.0, 1.0, 2.0, 3.0, 5.0, 6.0, 7.0, 8.0];
        // Three intervals to the kept line at 3, then four.
        assert_eq!(thinned(&lines, &[0.0, 3.0, 8.0]), [0.0, 2.0, 3.0, 6.0, 8.0]);
        // A kept line beside an end: its interval stays.
        assert_eq!(thinned(&lines, &[1.0]), [0.0, 1.0, 3.0, 6.0, 8.0]);
        assert_eq!(thinned(&[0.0, 1.0], &[]), [0.0, 1.0]);
    }

    #[test]
    fn halving_is_mirror_symmetric() {
        let lines = vec![0.0, 1.0, 1.5, 1.7, 1.9, 2.4, 3.4];
        let back: Vec<f64> = lines.iter().rev().map(|v| 3.4 - v).collect();
        let (a, b) = (halved(&lines), halved(&back));
        for (l, r) in a.iter().zip(b.iter().rev()) {
            assert!((l - (3.4 - r)).abs() < 1e-12);
        }
        let both = Lines { x: lines.clone(), y: lines };
        assert_eq!(both.halved().x, both.halved().y);
    }
}
