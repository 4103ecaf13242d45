//! What a mesh must fulfil to be written, and to be believed when read.

use crate::mesh::Mesh;

fn lines(name: &str, lines: &[f64]) -> Result<(), String> {
    if lines.len() < 2 {
        return Err(format!("fewer than 2 lines in {name}"));
    }
    if lines.iter().any(|v| !v.is_finite()) || lines.windows(2).any(|w| w[0] >= w[1]) {
        return Err(format!("the lines in {name} do not grow"));
    }
    Ok(())
}

/// Lengths agree, nodes are numbered in grid order, terminals own existing nodes.
pub(super) fn mesh(mesh: &Mesh) -> Result<(), String> {
    lines("x", &mesh.x)?;
    lines("y", &mesh.y)?;
    let points = mesh.nx() * mesh.ny();
    let expect = |name: &str, found: usize, right: usize| {
        if found == right { Ok(()) } else { Err(format!("{name}: {found} values for {right}")) }
    };
    expect("material", mesh.cells.len(), (mesh.nx() - 1) * (mesh.ny() - 1))?;
    expect("node", mesh.node_at.len(), points)?;
    let numbered = mesh.node_at.iter().enumerate().filter_map(|(g, n)| n.map(|n| (g, n)));
    let mut count = 0;
    for (grid, node) in numbered {
        let known = mesh.grid_of.get(count).copied();
        if node as usize != count || known != u32::try_from(grid).ok() {
            return Err(format!("node {node} is not number {count} in grid order"));
        }
        count += 1;
    }
    expect("grid_of", mesh.grid_of.len(), count)?;
    for t in &mesh.terminals {
        let grows = t.nodes.windows(2).all(|w| w[0] < w[1]);
        if !grows || t.nodes.last().is_some_and(|n| *n as usize >= count) {
            return Err(format!("terminal {}: its nodes do not grow or do not exist", t.name));
        }
    }
    Ok(())
}
