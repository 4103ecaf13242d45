//! Does the mesh keep apart what the cross-section keeps apart?
//!
//! Too few lines average a narrow channel or base away: its boxes then have the doping of
//! its neighbours' tails, and the mesh is a short that the layout is not. The layout itself
//! was read as a circuit before ([`crate::structure::Structure::new`]).

use super::{ContactKind, Mesh};
use crate::case::{Case, Problem, Role};

/// A terminal that must be an island and is joined to another by nodes of its own polarity.
pub fn joined(case: &Case, mesh: &Mesh) -> Option<Problem> {
    let net: Vec<f64> =
        mesh.doping.donors.iter().zip(&mesh.doping.acceptors).map(|(d, a)| d - a).collect();
    let mut owner: Vec<Option<usize>> = vec![None; mesh.nodes()];
    for (k, terminal) in mesh.terminals.iter().enumerate() {
        if terminal.kind == ContactKind::Ohmic {
            for &n in &terminal.nodes {
                owner[n as usize] = Some(k);
            }
        }
    }
    let islands = case
        .terminals
        .iter()
        .enumerate()
        .filter(|(_, t)| matches!(t.role, Role::Anode | Role::Cathode | Role::Drain));
    for (k, terminal) in islands {
        let Some(own) = mesh.terminals.get(k) else { continue };
        let mut seen = vec![false; mesh.nodes()];
        let mut open: Vec<usize> = own.nodes.iter().map(|&n| n as usize).collect();
        while let Some(n) = open.pop() {
            if std::mem::replace(&mut seen[n], true) {
                continue;
            }
            if let Some(other) = owner[n].filter(|o| *o != k) {
                let (i, j) = mesh.ij(n);
                let name = mesh.terminals.get(other).map_or("", |t| t.name.as_str());
                let text = format!(
                    "this mesh of {} nodes joins `{}` to `{name}` (at x = {:.3} µm, y = {:.3} µm): it has too few lines between them",
                    mesh.nodes(),
                    terminal.name,
                    mesh.x[i],
                    mesh.y[j]
                );
                return Some(
                    Problem::error("mesh-joins", Some(terminal.at.clone()), text)
                        .label("an island in the layout, not on this mesh")
                        .help("give the grid more `nodes`, or more lines between the two"),
                );
            }
            for next in neighbours(mesh, n) {
                if !seen[next] && net[next] * net[n] > 0.0 {
                    open.push(next);
                }
            }
        }
    }
    None
}

/// Nodes beside node `n`, across an edge that runs through silicon.
fn neighbours(mesh: &Mesh, n: usize) -> impl Iterator<Item = usize> + '_ {
    let (i, j) = mesh.ij(n);
    let (nx, ny) = (mesh.nx(), mesh.ny());
    let beside = [
        (i > 0).then(|| (i - 1, j)),
        (i + 1 < nx).then_some((i + 1, j)),
        (j > 0).then(|| (i, j - 1)),
        (j + 1 < ny).then_some((i, j + 1)),
    ];
    beside.into_iter().flatten().filter_map(move |(i, j)| mesh.node(i, j))
}
