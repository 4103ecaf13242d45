//! Level lines and filled level sets of a quantity given at the points of a graded mesh,
//! linear along the cells' edges (marching squares).

/// Values at the points of a mesh: (i, j) at index j·nx + i.
#[derive(Debug, Clone, Copy)]
pub struct Grid<'a> {
    pub x: &'a [f64],
    pub y: &'a [f64],
    pub values: &'a [f64],
}

/// A line through places; closed if its ends are the same.
pub type Polyline = Vec<[f64; 2]>;

impl Grid<'_> {
    fn at(&self, i: usize, j: usize) -> f64 {
        self.values.get(j * self.x.len() + i).copied().unwrap_or(f64::NAN)
    }
}

/// Lines on which the quantity has the value `level`. Cells with a corner that is no
/// number, or that `wanted` refuses, have none.
pub fn lines(grid: Grid, level: f64, wanted: impl Fn(usize, usize) -> bool) -> Vec<Polyline> {
    let (nx, ny) = (grid.x.len(), grid.y.len());
    let mut pieces: Vec<[Cut; 2]> = Vec::new();
    for j in 0..ny.saturating_sub(1) {
        for i in 0..nx.saturating_sub(1) {
            if wanted(i, j) {
                cell(&grid, level, i, j, &mut pieces);
            }
        }
    }
    join(&pieces, |cut| cut.place(&grid, level))
}

/// Closed rings around where the quantity is at least `level`, the frame included: to be
/// filled by the even-odd rule.
pub fn rings(grid: Grid, level: f64) -> Vec<Polyline> {
    // A rim of width zero and far below the level closes all lines on the frame.
    let pad = |v: &[f64]| -> Vec<f64> {
        let ends = (v.first().copied(), v.last().copied());
        ends.0.into_iter().chain(v.iter().copied()).chain(ends.1).collect()
    };
    let (x, y) = (pad(grid.x), pad(grid.y));
    let mut values = vec![level - 1.0; x.len() * y.len()];
    for j in 0..grid.y.len() {
        for i in 0..grid.x.len() {
            let v = grid.at(i, j);
            values[(j + 1) * x.len() + i + 1] = if v.is_finite() { v } else { level - 1.0 };
        }
    }
    lines(Grid { x: &x, y: &y, values: &values }, level, |_, _| true)
}

/// Where a line crosses an edge of the mesh: from point (i, j) along x or y.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
struct Cut {
    i: usize,
    j: usize,
    along_x: bool,
}

impl Cut {
    fn place(self, g: &Grid, level: f64) -> [f64; 2] {
        let (i, j) = (self.i, self.j);
        let (ni, nj) = if self.along_x { (i + 1, j) } else { (i, j + 1) };
        let (a, b) = (g.at(i, j), g.at(ni, nj));
        let t = if a == b { 0.5 } else { ((level - a) / (b - a)).clamp(0.0, 1.0) };
        [g.x[i] + t * (g.x[ni] - g.x[i]), g.y[j] + t * (g.y[nj] - g.y[j])]
    }
}

fn cell(g: &Grid, level: f64, i: usize, j: usize, pieces: &mut Vec<[Cut; 2]>) {
    let corner = [g.at(i, j), g.at(i + 1, j), g.at(i + 1, j + 1), g.at(i, j + 1)];
    if corner.iter().any(|v| !v.is_finite()) {
        return;
    }
    let top = Cut { i, j, along_x: true };
    let right = Cut { i: i + 1, j, along_x: false };
    let bottom = Cut { i, j: j + 1, along_x: true };
    let left = Cut { i, j, along_x: false };
    let case = corner.iter().enumerate().fold(0, |c, (k, v)| c | usize::from(*v >= level) << k);
    let mut put = |a: Cut, b: Cut| pieces.push([a, b]);
    match case {
        1 | 14 => put(left, top),
        2 | 13 => put(top, right),
        4 | 11 => put(right, bottom),
        8 | 7 => put(bottom, left),
        3 | 12 => put(left, right),
        6 | 9 => put(top, bottom),
        // A saddle: the mean decides which corners are joined.
        5 | 10 => {
            let high = corner.iter().sum::<f64>() / 4.0 >= level;
            if (case == 5) == high {
                put(left, bottom);
                put(top, right);
            } else {
                put(left, top);
                put(right, bottom);
            }
        }
        _ => {}
    }
}

/// Strings pieces together at the cuts that they share.
fn join(pieces: &[[Cut; 2]], place: impl Fn(Cut) -> [f64; 2]) -> Vec<Polyline> {
    let mut at: std::collections::BTreeMap<Cut, Vec<usize>> = std::collections::BTreeMap::new();
    for (k, piece) in pieces.iter().enumerate() {
        for cut in piece {
            at.entry(*cut).or_default().push(k);
        }
    }
    let mut used = vec![false; pieces.len()];
    let mut out = Vec::new();
    // Open lines first, from one of their ends; what is left are rings.
    let ends = at.values().filter(|p| p.len() == 1).flatten().copied();
    let starts: Vec<usize> = ends.chain(0..pieces.len()).collect();
    for start in starts {
        if used[start] {
            continue;
        }
        let [a, b] = pieces[start];
        let from_b = at.get(&b).is_some_and(|p| p.len() == 1);
        let (first, mut tip) = if from_b { (b, a) } else { (a, b) };
        used[start] = true;
        let mut line = vec![place(first), place(tip)];
        while let Some(&k) = at.get(&tip).and_then(|p| p.iter().find(|k| !used[**k])) {
            used[k] = true;
            let [a, b] = pieces[k];
            tip = if a == tip { b } else { a };
            line.push(place(tip));
        }
        out.push(line);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn field(n: usize, f: impl Fn(f64, f64) -> f64) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let axis: Vec<f64> = (0..n).map(|k| (k as f64 / (n - 1) as f64).powf(1.3)).collect();
        let values = axis.iter().flat_map(|y| axis.iter().map(|x| f(*x, *y)).collect::<Vec<_>>());
        let values = values.collect();
        (axis.clone(), axis, values)
    }

    /// Shoelace formula.
    fn area(rings: &[Polyline]) -> f64 {
        let of = |r: &Polyline| {
            let cross = r.windows(2).map(|w| w[0][0] * w[1][1] - w[1][0] * w[0][1]);
            0.5 * cross.sum::<f64>()
        };
        rings.iter().map(|r| of(r).abs()).sum()
    }

    #[test]
    fn a_quarter_disc_has_its_area() {
        let (x, y, v) = field(80, |x, y| 0.64 - x * x - y * y);
        let grid = Grid { x: &x, y: &y, values: &v };
        let found = rings(grid, 0.0);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].first(), found[0].last());
        let expected = std::f64::consts::PI * 0.64 / 4.0;
        assert!((area(&found) - expected).abs() < 1e-3, "{}", area(&found));
        let open = lines(grid, 0.0, |_, _| true);
        assert_eq!(open.len(), 1);
        assert!(open[0].iter().all(|p| (p[0].hypot(p[1]) - 0.8).abs() < 2e-3));
    }

    #[test]
    fn everything_above_fills_the_frame() {
        let (x, y, v) = field(9, |_, _| 3.0);
        assert!((area(&rings(Grid { x: &x, y: &y, values: &v }, 1.0)) - 1.0).abs() < 1e-12);
        assert!(rings(Grid { x: &x, y: &y, values: &v }, 4.0).is_empty());
    }

    #[test]
    fn cells_without_numbers_are_left_out() {
        let (x, y, mut v) = field(9, |x, _| x);
        v[4 * 9 + 4] = f64::NAN;
        let found = lines(Grid { x: &x, y: &y, values: &v }, 0.4, |_, j| j != 0);
        assert!(found.len() == 2 || found.len() == 1);
        assert!(found.iter().flatten().all(|p| (p[0] - 0.4).abs() < 1e-12 && p[1] > 0.0));
    }
}
