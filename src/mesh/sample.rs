//! From lines to a mesh: materials, nodes, terminals, sampled doping.

use super::{ContactKind, Doping, Material, Mesh, TerminalNodes};
use crate::case::{Case, Polarity, Problem, Side, Touch};
use crate::structure::{Filling, Structure};

/// A coordinate on a line within this [µm] is on it.
const ON_LINE: f64 = 2e-6;

/// Material of every cell, index j·(nx−1) + i.
pub(super) fn cells(structure: &Structure, x: &[f64], y: &[f64]) -> Vec<Material> {
    let mid = |w: &[f64]| 0.5 * (w[0] + w[1]);
    y.windows(2)
        .flat_map(|wy| {
            let v = mid(wy);
            x.windows(2).map(move |wx| match structure.filling(mid(wx), v) {
                Filling::Silicon => Material::Silicon,
                Filling::TrenchOxide | Filling::GateOxide => Material::Oxide,
                Filling::Void => Material::Void,
            })
        })
        .collect()
}

/// The four cells around grid point (i, j): left-up, right-up, left-down, right-down.
fn around(i: usize, j: usize, nx: usize, ny: usize) -> [Option<usize>; 4] {
    let at = |ok: bool, i: usize, j: usize| ok.then(|| j * (nx - 1) + i);
    let (left, right, up, down) = (i > 0, i + 1 < nx, j > 0, j + 1 < ny);
    let (l, u) = (i.wrapping_sub(1), j.wrapping_sub(1));
    [at(left && up, l, u), at(right && up, i, u), at(left && down, l, j), at(right && down, i, j)]
}

fn touches(
    cells: &[Material],
    around: [Option<usize>; 4],
    wanted: impl Fn(Material) -> bool,
) -> bool {
    around.into_iter().flatten().any(|c| wanted(cells[c]))
}

/// Grid points that touch silicon or oxide.
pub(super) fn count_nodes(structure: &Structure, x: &[f64], y: &[f64]) -> usize {
    let below = y.iter().filter(|v| **v >= 0.0).count();
    let above: usize = y
        .iter()
        .filter(|v| **v < 0.0)
        .map(|v| {
            x.iter()
                .filter(|p| {
                    structure.gates().iter().any(|g| {
                        -g.oxide <= *v + ON_LINE && g.from <= **p + ON_LINE && **p <= g.to + ON_LINE
                    })
                })
                .count()
        })
        .sum();
    x.len() * below + above
}

/// Numbers the nodes, finds the terminals' and samples the doping.
///
/// # Errors
/// A terminal or gate without a node; two terminals on one node.
pub(super) fn assemble(
    case: &Case,
    structure: &Structure,
    x: Vec<f64>,
    y: Vec<f64>,
) -> Result<Mesh, Vec<Problem>> {
    let cells = cells(structure, &x, &y);
    let (nx, ny) = (x.len(), y.len());
    let mut node_at = vec![None; nx * ny];
    let mut grid_of = Vec::new();
    for (g, node) in node_at.iter_mut().enumerate() {
        if touches(&cells, around(g % nx, g / nx, nx, ny), |m| m != Material::Void) {
            *node = Some(grid_of.len() as u32);
            grid_of.push(g as u32);
        }
    }
    let mut mesh =
        Mesh { x, y, cells, node_at, grid_of, terminals: Vec::new(), doping: Doping::default() };
    let mut problems = Vec::new();
    mesh.terminals = terminals(case, &mesh, &mut problems);
    if !problems.is_empty() {
        return Err(problems);
    }
    mesh.doping = doping(structure, &mesh);
    Ok(mesh)
}

fn terminals(case: &Case, mesh: &Mesh, problems: &mut Vec<Problem>) -> Vec<TerminalNodes> {
    let (nx, ny) = (mesh.nx(), mesh.ny());
    let silicon: Vec<bool> = mesh
        .grid_of
        .iter()
        .map(|g| {
            let (i, j) = (*g as usize % nx, *g as usize / nx);
            touches(&mesh.cells, around(i, j, nx, ny), |m| m == Material::Silicon)
        })
        .collect();
    let (span, thickness) = (mesh.x[nx - 1], mesh.y[ny - 1]);
    let place = |n: usize| {
        let (i, j) = mesh.ij(n);
        (mesh.x[i], mesh.y[j])
    };
    let on = |a: f64, b: f64| (a - b).abs() <= ON_LINE;
    let mut owner: Vec<Option<usize>> = vec![None; mesh.nodes()];
    let mut out: Vec<TerminalNodes> = Vec::new();
    for (k, terminal) in case.terminals.iter().enumerate() {
        let inside = |x: f64, y: f64| {
            terminal.touches.iter().any(|touch| match touch {
                Touch::Surface { from, to } => {
                    on(y, 0.0) && from - ON_LINE <= x && x <= to + ON_LINE
                }
                Touch::Side(Side::Left) => on(x, 0.0),
                Touch::Side(Side::Right) => on(x, span),
                Touch::Side(Side::Back) => on(y, thickness),
            })
        };
        let (mut nodes, mut shared) = (Vec::new(), false);
        for n in (0..mesh.nodes()).filter(|n| silicon[*n]) {
            let (px, py) = place(n);
            if !inside(px, py) {
                continue;
            }
            if let Some(first) = owner[n] {
                problems.push(
                    Problem::error(
                        "shared-node",
                        Some(terminal.at.clone()),
                        format!(
                            "terminals `{}` and `{}` meet at x = {px:.4} µm, y = {py:.4} µm",
                            case.terminals[first].name, terminal.name
                        ),
                    )
                    .help("leave silicon between them, or make them one terminal of two pieces"),
                );
                shared = true;
                break;
            }
            owner[n] = Some(k);
            nodes.push(n as u32);
        }
        if nodes.is_empty() && !shared {
            problems.push(
                Problem::error(
                    "no-node",
                    Some(terminal.at.clone()),
                    format!("no mesh node lies on terminal `{}`", terminal.name),
                )
                .help("put a line of the grid on it"),
            );
        }
        out.push(TerminalNodes { name: terminal.name.clone(), kind: ContactKind::Ohmic, nodes });
    }
    for gate in &case.gates {
        let nodes: Vec<u32> = (0..mesh.nodes())
            .filter(|n| {
                let (px, py) = place(*n);
                on(py, -gate.oxide) && gate.from - ON_LINE <= px && px <= gate.to + ON_LINE
            })
            .map(|n| n as u32)
            .collect();
        if nodes.is_empty() {
            problems.push(
                Problem::error(
                    "no-node",
                    Some(gate.at.clone()),
                    format!(
                        "no mesh node lies on gate `{}` at y = {:.4} µm, the top of its oxide",
                        gate.name, -gate.oxide
                    ),
                )
                .help("put a grid line in y there and one in x within the gate"),
            );
        }
        out.push(TerminalNodes {
            name: gate.name.clone(),
            kind: ContactKind::Gate { plate: gate.plate },
            nodes,
        });
    }
    out
}

/// One term's factors on the lines: means over half intervals, values at lines and
/// midpoints.
struct Factors {
    /// Means over the halves [x_i, x_{i+½}], [x_{i+½}, x_{i+1}]: entries 2i, 2i + 1.
    halves: Vec<f64>,
    at: Vec<f64>,
    /// Limits at lines from both sides.
    limits: Vec<[f64; 2]>,
    mids: Vec<f64>,
}

impl Factors {
    fn new(
        lines: &[f64],
        value: impl Fn(f64) -> f64,
        limits: impl Fn(f64) -> [f64; 2],
        mean: impl Fn(f64, f64) -> f64,
    ) -> Factors {
        let mid = |w: &[f64]| 0.5 * (w[0] + w[1]);
        Factors {
            halves: lines
                .windows(2)
                .flat_map(|w| [mean(w[0], mid(w)), mean(mid(w), w[1])])
                .collect(),
            at: lines.iter().map(|p| value(*p)).collect(),
            limits: lines.iter().map(|p| limits(*p)).collect(),
            mids: lines.windows(2).map(|w| value(mid(w))).collect(),
        }
    }
}

fn doping(structure: &Structure, mesh: &Mesh) -> Doping {
    let (nx, ny, nodes) = (mesh.nx(), mesh.ny(), mesh.nodes());
    let silicon = |cell: Option<usize>| cell.filter(|c| mesh.cells[*c] == Material::Silicon);
    let mut out = Doping {
        donors: vec![0.0; nodes],
        acceptors: vec![0.0; nodes],
        donors_at: vec![0.0; nodes],
        acceptors_at: vec![0.0; nodes],
        total_sides: vec![[0.0; 4]; nodes],
        total_x: vec![0.0; (nx - 1) * ny],
        total_y: vec![0.0; nx * (ny - 1)],
        fixed_charge: fixed_charge(structure, mesh),
        donors_x: vec![0.0; (nx - 1) * ny],
        donors_y: vec![0.0; nx * (ny - 1)],
    };
    for term in &structure.terms {
        let lateral = Factors::new(
            &mesh.x,
            |p| term.lateral.value(p),
            |p| term.lateral.limits(p),
            |a, b| term.lateral.mean(a, b),
        );
        let vertical = Factors::new(
            &mesh.y,
            |p| term.vertical.value(p),
            |p| term.vertical.limits(p),
            |a, b| term.vertical.mean(a, b),
        );
        let share = if term.polarity == Polarity::Donors { 1.0 } else { 0.0 };
        let (mean, at) = match term.polarity {
            Polarity::Donors => (&mut out.donors, &mut out.donors_at),
            Polarity::Acceptors => (&mut out.acceptors, &mut out.acceptors_at),
        };
        for n in 0..nodes {
            let (i, j) = mesh.ij(n);
            let (mut sum, mut here, mut area) = (0.0, 0.0, 0.0);
            for (quarter, cell) in around(i, j, nx, ny).into_iter().enumerate() {
                let Some(cell) = silicon(cell) else { continue };
                let (ci, cj) = (cell % (nx - 1), cell / (nx - 1));
                let a = (mesh.x[ci + 1] - mesh.x[ci]) * (mesh.y[cj + 1] - mesh.y[cj]);
                // The near half of the cell: its first if the cell starts at the node.
                let (hx, hy) = (2 * ci + usize::from(ci != i), 2 * cj + usize::from(cj != j));
                sum += a * lateral.halves[hx] * vertical.halves[hy];
                let limit = lateral.limits[i][quarter % 2] * vertical.limits[j][quarter / 2];
                here += a * limit;
                out.total_sides[n][quarter] += term.peak * limit;
                area += a;
            }
            if area > 0.0 {
                mean[n] += term.peak * sum / area;
                at[n] += term.peak * here / area;
            }
        }
        for j in 0..ny {
            for i in 0..nx {
                let around = around(i, j, nx, ny);
                let right = silicon(around[1]).or(silicon(around[3])).is_some();
                if i + 1 < nx && right {
                    let here = term.peak * lateral.mids[i] * vertical.at[j];
                    out.total_x[j * (nx - 1) + i] += here;
                    out.donors_x[j * (nx - 1) + i] += share * here;
                }
                let down = silicon(around[2]).or(silicon(around[3])).is_some();
                if j + 1 < ny && down {
                    let here = term.peak * lateral.at[i] * vertical.mids[j];
                    out.total_y[j * nx + i] += here;
                    out.donors_y[j * nx + i] += share * here;
                }
            }
        }
    }
    out
}

/// Fixed charge of each node's box [elementary charges/cm]: half of each interface edge.
fn fixed_charge(structure: &Structure, mesh: &Mesh) -> Vec<f64> {
    const CM: f64 = 1e-4;
    let (nx, ny) = (mesh.nx(), mesh.ny());
    let mut out = vec![0.0; mesh.nodes()];
    let mid = |lines: &[f64], k: usize| 0.5 * (lines[k] + lines[k + 1]);
    let mut add = |cells: [(usize, usize); 2], ends: [(usize, usize); 2], length: f64| {
        let is = cells.map(|(i, j)| mesh.cell(i, j));
        let oxide = match is {
            [Material::Oxide, Material::Silicon] => cells[0],
            [Material::Silicon, Material::Oxide] => cells[1],
            _ => return,
        };
        let density = structure.fixed_charge(mid(&mesh.x, oxide.0), mid(&mesh.y, oxide.1));
        for (i, j) in ends {
            if let Some(n) = mesh.node(i, j) {
                out[n] += 0.5 * length * CM * density;
            }
        }
    };
    for j in 0..ny - 1 {
        for i in 0..nx - 1 {
            if j > 0 {
                let length = mesh.x[i + 1] - mesh.x[i];
                add([(i, j - 1), (i, j)], [(i, j), (i + 1, j)], length);
            }
            if i > 0 {
                let length = mesh.y[j + 1] - mesh.y[j];
                add([(i - 1, j), (i, j)], [(i, j), (i, j + 1)], length);
            }
        }
    }
    out
}
