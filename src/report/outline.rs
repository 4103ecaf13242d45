//! What a mesh shows of the layout: where terminals and gates lie, where oxide is, the net
//! doping; and the names that the case gives to pieces.

use super::contour::{Grid, Polyline, lines};
use crate::case::{Case, Polarity};
use crate::mesh::{ContactKind, Material, Mesh};

/// A place of a terminal; lengths in µm.
#[derive(Debug, Clone, PartialEq)]
pub enum Spot {
    Surface { from: f64, to: f64 },
    Left,
    Right,
    Back,
    Gate { from: f64, to: f64, oxide: f64 },
}

#[derive(Debug, Clone, PartialEq)]
pub struct Contact {
    pub name: String,
    pub spots: Vec<Spot>,
}

/// A rectangle of the cut [µm].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    pub x0: f64,
    pub x1: f64,
    pub y0: f64,
    pub y1: f64,
}

/// Index of the line y = 0.
pub fn surface(mesh: &Mesh) -> usize {
    mesh.y.partition_point(|y| *y < -1e-9).min(mesh.ny().saturating_sub(1))
}

/// Terminals and gates, in the order of the case.
pub fn contacts(mesh: &Mesh) -> Vec<Contact> {
    mesh.terminals
        .iter()
        .map(|t| {
            let at: Vec<(usize, usize)> = t
                .nodes
                .iter()
                .filter(|n| (**n as usize) < mesh.nodes())
                .map(|n| mesh.ij(*n as usize))
                .collect();
            let spots = match t.kind {
                ContactKind::Gate { .. } => gate(mesh, &at),
                ContactKind::Ohmic => ohmic(mesh, &at),
            };
            Contact { name: t.name.clone(), spots }
        })
        .collect()
}

fn gate(mesh: &Mesh, at: &[(usize, usize)]) -> Vec<Spot> {
    let left = at.iter().map(|p| p.0).min();
    let right = at.iter().map(|p| p.0).max();
    let top = at.iter().map(|p| p.1).min();
    match (left, right, top) {
        (Some(a), Some(b), Some(j)) => {
            vec![Spot::Gate { from: mesh.x[a], to: mesh.x[b], oxide: -mesh.y[j] }]
        }
        _ => Vec::new(),
    }
}

fn ohmic(mesh: &Mesh, at: &[(usize, usize)]) -> Vec<Spot> {
    let (top, right, bottom) = (surface(mesh), mesh.nx() - 1, mesh.ny() - 1);
    let mut spots = Vec::new();
    let has = |test: &dyn Fn(&(usize, usize)) -> bool| at.iter().filter(|p| test(p)).count() > 1;
    if has(&|p| p.0 == 0) {
        spots.push(Spot::Left);
    }
    if has(&|p| p.0 == right) {
        spots.push(Spot::Right);
    }
    if has(&|p| p.1 == bottom) {
        spots.push(Spot::Back);
    }
    let beside = !spots.is_empty();
    let mut columns: Vec<usize> = at.iter().filter(|p| p.1 == top).map(|p| p.0).collect();
    columns.sort_unstable();
    for run in columns.chunk_by(|a, b| a + 1 == *b) {
        if let (Some(a), Some(b)) = (run.first(), run.last())
            && !(beside && a == b)
        {
            spots.push(Spot::Surface { from: mesh.x[*a], to: mesh.x[*b] });
        }
    }
    spots
}

/// Oxide below the surface, as few rectangles as rows allow.
pub fn oxide(mesh: &Mesh) -> Vec<Rect> {
    let mut open: Vec<Rect> = Vec::new();
    let mut done = Vec::new();
    for j in surface(mesh)..mesh.ny() - 1 {
        let cells: Vec<usize> =
            (0..mesh.nx() - 1).filter(|i| mesh.cell(*i, j) == Material::Oxide).collect();
        let mut next = Vec::new();
        for run in cells.chunk_by(|a, b| a + 1 == *b) {
            if let (Some(a), Some(b)) = (run.first(), run.last()) {
                let (x0, x1, y1) = (mesh.x[*a], mesh.x[*b + 1], mesh.y[j + 1]);
                match open.iter().position(|r| r.x0 == x0 && r.x1 == x1) {
                    Some(k) => next.push(Rect { y1, ..open.remove(k) }),
                    None => next.push(Rect { x0, x1, y0: mesh.y[j], y1 }),
                }
            }
        }
        done.append(&mut open);
        open = next;
    }
    done.append(&mut open);
    done
}

/// A quantity of the nodes at all points of the mesh; NaN where there is no node.
pub fn on_grid(mesh: &Mesh, by_node: &[f64]) -> Vec<f64> {
    let of = |n: &Option<u32>| n.and_then(|n| by_node.get(n as usize).copied()).unwrap_or(f64::NAN);
    mesh.node_at.iter().map(of).collect()
}

/// Donors − acceptors at all points [cm⁻³]; NaN in the void.
pub fn net_doping(mesh: &Mesh) -> Vec<f64> {
    let d = &mesh.doping;
    let net: Vec<f64> = d.donors_at.iter().zip(&d.acceptors_at).map(|(n, p)| n - p).collect();
    on_grid(mesh, &net)
}

/// asinh(N / 2·10¹²): about linear in the exponent, smooth through zero.
pub fn squeeze(density: f64) -> f64 {
    (density / 2e12).asinh()
}

/// ln(donors/acceptors) at all points: zero on a metallurgical junction and, with Gaussian
/// tails, smooth across it, so that lines between far mesh points find it well.
pub fn balance(mesh: &Mesh) -> Vec<f64> {
    // 1 cm⁻³ keeps the logarithm where there is none of one kind.
    let of = |(n, p): (&f64, &f64)| (n.max(0.0) + 1.0).ln() - (p.max(0.0) + 1.0).ln();
    let d = &mesh.doping;
    let all: Vec<f64> = d.donors_at.iter().zip(&d.acceptors_at).map(of).collect();
    on_grid(mesh, &all)
}

/// Metallurgical junctions: lines of zero net doping in silicon.
pub fn junctions(mesh: &Mesh) -> Vec<Polyline> {
    let grid = Grid { x: &mesh.x, y: &mesh.y, values: &balance(mesh) };
    lines(grid, 0.0, |i, j| mesh.cell(i, j) == Material::Silicon)
}

/// A named piece of doping.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    pub name: String,
    pub from: f64,
    pub to: f64,
    pub well: bool,
}

/// Wells, then diffusions, from left to right; none without a case.
pub fn pieces(case: Option<&Case>) -> Vec<Piece> {
    let Some(case) = case else { return Vec::new() };
    let list = |pieces: &[crate::case::Piece], well: bool| -> Vec<Piece> {
        let within = |v: f64| v.clamp(0.0, case.wafer.span);
        let mut list: Vec<Piece> = pieces
            .iter()
            .map(|p| Piece { name: p.name.clone(), from: within(p.from), to: within(p.to), well })
            .collect();
        list.sort_by(|a, b| (a.from + a.to).total_cmp(&(b.from + b.to)));
        list
    };
    let mut all = list(&case.wells, true);
    all.extend(list(&case.diffusions, false));
    all
}

/// What the wafer is, in a few words.
pub fn wafer(case: Option<&Case>) -> Option<String> {
    let (polarity, density) = case?.wafer.doping?;
    let sort = match polarity {
        Polarity::Donors => "n",
        Polarity::Acceptors => "p",
    };
    Some(format!("{sort}-wafer, {density:.0e} cm⁻³"))
}
