//! Lines of the total current, each carrying the same share of it.

use super::contour::{Grid, Polyline, lines};
use super::outline::on_grid;
use crate::mesh::{Material, Mesh};
use crate::trace::Fields;

/// Lines between which equal shares of the current flow.
const LINES: usize = 16;

/// The stream function of the total current at all points of the mesh [A/cm² · µm]: what
/// flows between two points is the difference of its values. At rest nothing accumulates,
/// so it exists for the sum of both carriers; it starts at the lower left corner, goes
/// along the bottom (through which current may leave to a contact) and up each line.
pub fn stream(mesh: &Mesh, f: &Fields) -> Vec<f64> {
    let sum = |a: &[f64], b: &[f64]| -> Vec<f64> {
        let total: Vec<f64> = a.iter().zip(b).map(|(a, b)| a + b).collect();
        on_grid(mesh, &total).into_iter().map(|v| if v.is_finite() { v } else { 0.0 }).collect()
    };
    let jx = sum(&f.electron_current_x, &f.hole_current_x);
    let jy = sum(&f.electron_current_y, &f.hole_current_y);
    let (nx, ny) = (mesh.nx(), mesh.ny());
    let last = ny - 1;
    // Without a contact nothing passes the bottom; its nodes only tell what flows above.
    let contact = |i: usize| {
        mesh.node(i, last).is_some_and(|n| {
            mesh.terminals.iter().any(|t| t.nodes.binary_search(&(n as u32)).is_ok())
        })
    };
    let through: Vec<f64> =
        (0..nx).map(|i| if contact(i) { jy[last * nx + i] } else { 0.0 }).collect();
    let mut psi = vec![0.0; nx * ny];
    for i in 1..nx {
        let step = 0.5 * (through[i - 1] + through[i]) * (mesh.x[i] - mesh.x[i - 1]);
        psi[last * nx + i] = psi[last * nx + i - 1] - step;
    }
    for j in (0..last).rev() {
        for i in 0..nx {
            // Across a cell column half in oxide only the silicon's currents count: zeros
            // stand in the oxide, so the mean of the ends would miss the rest.
            let (a, b) = (jx[j * nx + i], jx[(j + 1) * nx + i]);
            let step = 0.5 * (a + b) * (mesh.y[j + 1] - mesh.y[j]);
            psi[j * nx + i] = psi[(j + 1) * nx + i] + step;
        }
    }
    psi
}

/// Lines of the total current in silicon, µm; none if hardly any current flows.
pub fn flow_lines(mesh: &Mesh, f: &Fields) -> Vec<Polyline> {
    let psi = stream(mesh, f);
    let low = psi.iter().copied().fold(f64::INFINITY, f64::min);
    let high = psi.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // A/cm² µm · 1e-8 is A/µm: below 1 fA/µm rounding draws the lines.
    if (high - low).is_nan() || (high - low) * 1e-8 < 1e-15 {
        return Vec::new();
    }
    let grid = Grid { x: &mesh.x, y: &mesh.y, values: &psi };
    let silicon = |i: usize, j: usize| mesh.cell(i, j) == Material::Silicon;
    (0..LINES)
        .map(|k| low + (high - low) * (k as f64 + 0.5) / LINES as f64)
        .flat_map(|level| lines(grid, level, silicon))
        .filter(|line| line.len() > 3)
        .collect()
}
