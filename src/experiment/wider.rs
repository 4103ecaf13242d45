//! The same cross-section in a larger cut: deeper, and with wider margins at its sides.
//!
//! A cut ends somewhere, and the current that would flow beyond is missing. How much that
//! matters shows when the cut is made larger and everything in it stays where it is.

use crate::case::{Case, Piece, Profile, Side, Touch};
use crate::mesh::Lines;

/// Depth and margins grow by this factor.
pub const LARGER: f64 = 1.5;
/// Places closer than this [µm] are one.
const SAME: f64 = 1e-6;
/// Growth of the intervals that continue the mesh into the added silicon.
const GROWTH: f64 = 1.2;

/// A case in a larger cut, and the lines of its mesh: those of the original one, moved,
/// and more in what was added.
#[derive(Debug, Clone)]
pub struct Wider {
    pub case: Case,
    pub lines: Lines,
}

/// Makes thickness and side margins [`LARGER`] times as large.
///
/// A margin is the silicon between a side and the first thing drawn beside it: a
/// terminal, a gate, a trench, an edge of a well or diffusion. A side that something
/// touches or a terminal sits on has no margin and stays: it is an edge of the device or
/// a mirror, not of the cut. A well or diffusion that reaches a side that moves, or a box that
/// reaches the bottom, still does. A bar, whose layers are all as deep as the cut with
/// terminals on its sides only, keeps its depth: that is the bar's, not the cut's.
pub fn wider(case: &Case, lines: &Lines) -> Wider {
    let (span, thickness) = (case.wafer.span, case.wafer.thickness);
    let [left, right] = margins(case).map(|m| (LARGER - 1.0) * m);
    let deeper = if is_bar(case) { 0.0 } else { (LARGER - 1.0) * thickness };
    let mut out = case.clone();
    let moved = |v: f64| v + left;
    out.wafer.span = span + left + right;
    out.wafer.thickness = thickness + deeper;
    for piece in out.wells.iter_mut().chain(&mut out.diffusions) {
        let (from, to) = (piece.from, piece.to);
        // What reaches a side, or beyond it, reaches the new one as well.
        piece.from = if from <= SAME { from } else { moved(from) };
        piece.to = if to >= span - SAME { moved(to) + right } else { moved(to) };
        if let Profile::Box { bottom, .. } = &mut piece.profile
            && *bottom >= thickness - SAME
        {
            *bottom += deeper;
        }
    }
    for trench in &mut out.trenches {
        (trench.from, trench.to) = (moved(trench.from), moved(trench.to));
    }
    for gate in &mut out.gates {
        (gate.from, gate.to) = (moved(gate.from), moved(gate.to));
    }
    for touch in out.terminals.iter_mut().flat_map(|t| &mut t.touches) {
        if let Touch::Surface { from, to } = touch {
            (*from, *to) = (moved(*from), moved(*to));
        }
    }
    let mut x: Vec<f64> = lines.x.iter().map(|v| moved(*v)).collect();
    if left > SAME {
        // Grows outwards: built mirrored.
        let mirrored: Vec<f64> = x.iter().rev().map(|v| -v).collect();
        x = continued(mirrored, left).iter().rev().map(|v| -v).collect();
        if let Some(first) = x.first_mut() {
            *first = 0.0;
        }
    }
    x = continued(x, right);
    let mut y = continued(lines.y.clone(), deeper);
    // The ends to the bit, whatever the sums rounded to.
    if let (Some(a), Some(b)) = (x.last_mut(), y.last_mut()) {
        (*a, *b) = (out.wafer.span, out.wafer.thickness);
    }
    // Given lines are those of the old cut.
    (out.grid.x, out.grid.y) = (Some(x.clone()), Some(y.clone()));
    Wider { case: out, lines: Lines { x, y } }
}

/// True if nothing in the cut depends on y.
fn is_bar(case: &Case) -> bool {
    let thickness = case.wafer.thickness;
    let through = |p: &Piece| {
        matches!(p.profile, Profile::Box { top, bottom }
            if top <= SAME && bottom >= thickness - SAME)
    };
    let on_side = |t: &Touch| matches!(t, Touch::Side(Side::Left | Side::Right));
    case.wells.iter().chain(&case.diffusions).all(through)
        && case.terminals.iter().flat_map(|t| &t.touches).all(on_side)
        && case.trenches.is_empty()
        && case.gates.is_empty()
        && case.wafer.epi.is_none()
}

/// Distance of the left and of the right side from the first thing drawn [µm].
fn margins(case: &Case) -> [f64; 2] {
    let span = case.wafer.span;
    let mut places: Vec<f64> = Vec::new();
    let edges = |p: &Piece| [p.from, p.to];
    // A well that reaches a side ends with the cut and is nothing drawn beside it.
    let inside = |v: &f64| *v > SAME && *v < span - SAME;
    places.extend(case.wells.iter().flat_map(edges).filter(inside));
    places.extend(case.diffusions.iter().flat_map(edges));
    places.extend(case.trenches.iter().flat_map(|t| [t.from, t.to]));
    places.extend(case.gates.iter().flat_map(|g| [g.from, g.to]));
    for touch in case.terminals.iter().flat_map(|t| &t.touches) {
        match touch {
            Touch::Surface { from, to } => places.extend([*from, *to]),
            Touch::Side(Side::Left) => places.push(0.0),
            Touch::Side(Side::Right) => places.push(span),
            Touch::Side(Side::Back) => {}
        }
    }
    let first = places.iter().copied().fold(span, f64::min);
    let last = places.iter().copied().fold(0.0, f64::max);
    [first.max(0.0), (span - last).max(0.0)]
}

/// Lines that go on beyond the last one for `length` \[µm\], their intervals growing.
fn continued(mut lines: Vec<f64>, length: f64) -> Vec<f64> {
    let (Some(&end), Some(&before)) = (lines.last(), lines.get(lines.len().wrapping_sub(2))) else {
        return lines;
    };
    if length <= SAME {
        return lines;
    }
    let first = end - before;
    // Intervals of a geometric row that fill the length, then scaled to fill it exactly.
    let mut sizes = vec![];
    let (mut size, mut sum) = (first, 0.0);
    while sum < length && sizes.len() < 200 {
        size *= GROWTH;
        sizes.push(size);
        sum += size;
    }
    // Within a factor of √GROWTH at most if dropping the last one is nearer.
    if sizes.len() > 1 && sum / length > length / (sum - size) {
        sizes.pop();
        sum -= size;
    }
    let mut at = end;
    for s in sizes {
        at += s * length / sum;
        lines.push(at);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::{continued, wider};
    use crate::case::{Touch, read_str};
    use crate::mesh::Lines;

    fn shipped(name: &str) -> crate::case::Case {
        let path = format!("{}/meshes/{name}", env!("CARGO_MANIFEST_DIR"));
        read_str(&std::fs::read_to_string(path).unwrap(), "").unwrap().0
    }

    #[test]
    fn the_pad_keeps_its_layout_in_a_larger_cut() {
        let case = shipped("tern180-pad.toml");
        let lines = Lines { x: vec![0.0, 0.25, 10.0, 23.0, 24.0], y: vec![-0.007, 0.0, 8.0, 10.0] };
        let w = wider(&case, &lines);
        // Margins of 0.5 µm on both sides, thickness 10 µm.
        assert!((w.case.wafer.span - 24.5).abs() < 1e-9);
        assert!((w.case.wafer.thickness - 15.0).abs() < 1e-9);
        let well = |k: usize| (w.case.wells[k].from, w.case.wells[k].to);
        assert_eq!(well(0), (12.25, 24.5), "the n-well reaches the right side");
        assert_eq!(well(1), (0.0, 12.25), "the p-well reaches the left side");
        let Touch::Surface { from, .. } = w.case.terminals[0].touches[0] else { panic!() };
        assert!((from - 0.95).abs() < 1e-9);
        assert_eq!((w.lines.x[0], *w.lines.x.last().unwrap()), (0.0, 24.5));
        assert_eq!((w.lines.y[0], *w.lines.y.last().unwrap()), (-0.007, 15.0));
        for l in &lines.x {
            assert!(w.lines.x.iter().any(|v| (v - l - 0.25).abs() < 1e-12), "line {l} is lost");
        }
        assert!(w.lines.x.windows(2).chain(w.lines.y.windows(2)).all(|p| p[0] < p[1]));
    }

    #[test]
    fn sides_with_terminals_and_the_depth_of_a_bar_stay() {
        let case = shipped("four-layer-bar.toml");
        let lines = Lines { x: vec![0.0, 4.0, 8.0], y: vec![0.0, 0.5, 1.0] };
        let w = wider(&case, &lines);
        assert_eq!((w.case.wafer.span, w.case.wafer.thickness), (8.0, 1.0));
        assert_eq!(w.lines, lines);
        // With its base contacted from above the strip has a depth of the cut's.
        let case = shipped("npn-strip.toml");
        let w = wider(&case, &Lines { x: vec![0.0, 2.5, 5.0], y: vec![0.0, 1.0, 2.0] });
        assert_eq!((w.case.wafer.span, w.case.wafer.thickness), (5.0, 3.0));
        let bottoms = w.case.diffusions.iter().filter_map(|p| match p.profile {
            crate::case::Profile::Box { bottom, .. } => Some(bottom),
            _ => None,
        });
        assert!(bottoms.into_iter().all(|b| b == 3.0), "the layers still reach the bottom");
    }

    #[test]
    fn continued_lines_fill_the_length() {
        for length in [0.01, 0.3, 1.0, 7.0, 100.0] {
            let lines = continued(vec![0.0, 1.0], length);
            assert!((lines.last().unwrap() - 1.0 - length).abs() < 1e-9 * length);
            assert!(lines.windows(2).all(|w| w[1] > w[0]));
        }
        assert_eq!(continued(vec![0.0, 1.0], 0.0), [0.0, 1.0]);
    }
}
