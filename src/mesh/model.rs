//! The mesh as the rooms to the right see it.

use crate::case::Plate;

/// What fills a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Material {
    /// Outside the device (above the surface beside the gates).
    Void = 0,
    Silicon = 1,
    Oxide = 2,
}

/// A tensor-product mesh. Grid point (i, j) is (x\[i\], y\[j\]), µm; y grows downwards,
/// negative inside gate oxides. Grid index of a point: j·nx + i. A *node* is a grid
/// point that touches silicon or oxide; nodes are numbered in grid order.
#[derive(Debug, Clone)]
pub struct Mesh {
    /// Lines \[µm\], strictly growing, at least 2.
    pub x: Vec<f64>,
    /// Lines \[µm\], strictly growing, at least 2.
    pub y: Vec<f64>,
    /// Material of cell (i, j), between lines i, i+1 and j, j+1; index j·(nx−1) + i.
    pub cells: Vec<Material>,
    /// Node number of each grid point, `None` in the void; length nx·ny.
    pub node_at: Vec<Option<u32>>,
    /// Grid index of each node, growing.
    pub grid_of: Vec<u32>,
    /// In the order of the case: terminals first, then gates.
    pub terminals: Vec<TerminalNodes>,
    /// Doping sampled for the discretization.
    pub doping: Doping,
}

/// The nodes that a terminal owns, growing.
#[derive(Debug, Clone, PartialEq)]
pub struct TerminalNodes {
    pub name: String,
    pub kind: ContactKind,
    pub nodes: Vec<u32>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ContactKind {
    /// Carriers at equilibrium, neutral.
    Ohmic,
    /// Potential only; `discretize` turns the plate into an offset.
    Gate { plate: Plate },
}

/// Densities [cm⁻³] at the nodes (length: nodes) and at the midpoints of the edges.
#[derive(Debug, Clone, Default)]
pub struct Doping {
    /// Mean over the silicon part of the node's box; 0 where it has none.
    pub donors: Vec<f64>,
    pub acceptors: Vec<f64>,
    /// Value at the node itself; on an abrupt edge the mean of its sides, by their shares of
    /// the box.
    pub donors_at: Vec<f64>,
    pub acceptors_at: Vec<f64>,
    /// Donors + acceptors in the limit from the quarters left-up, right-up, left-down,
    /// right-down of the node; they differ on an abrupt edge only.
    pub total_sides: Vec<[f64; 4]>,
    /// Donors + acceptors at the midpoint of the edge from grid point (i, j) to
    /// (i+1, j); index j·(nx−1) + i, length (nx−1)·ny.
    pub total_x: Vec<f64>,
    /// The same from (i, j) to (i, j+1); index j·nx + i, length nx·(ny−1).
    pub total_y: Vec<f64>,
    /// Fixed charge on the interfaces of silicon and oxide in the node's box, per length of
    /// width [elementary charges/cm]; empty: none anywhere.
    pub fixed_charge: Vec<f64>,
    /// Donors alone there, for laws that tell majority from minority carriers.
    pub donors_x: Vec<f64>,
    pub donors_y: Vec<f64>,
}

/// Dopants at one place [cm⁻³].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Dopants {
    pub total: f64,
    pub donors: f64,
    pub acceptors: f64,
}

impl Doping {
    /// At the midpoint of edge `k` along x, in the order of `total_x`.
    pub fn at_x(&self, k: usize) -> Dopants {
        dopants(&self.total_x, &self.donors_x, k)
    }

    /// At the midpoint of edge `k` along y, in the order of `total_y`.
    pub fn at_y(&self, k: usize) -> Dopants {
        dopants(&self.total_y, &self.donors_y, k)
    }
}

fn dopants(total: &[f64], donors: &[f64], k: usize) -> Dopants {
    let of = |list: &[f64]| list.get(k).copied().unwrap_or(0.0);
    let (total, donors) = (of(total), of(donors));
    Dopants { total, donors, acceptors: (total - donors).max(0.0) }
}

impl Mesh {
    /// Number of nodes (unknown sites).
    pub fn nodes(&self) -> usize {
        self.grid_of.len()
    }

    /// Number of lines in x.
    pub fn nx(&self) -> usize {
        self.x.len()
    }

    /// Number of lines in y.
    pub fn ny(&self) -> usize {
        self.y.len()
    }

    /// Node number at grid point (i, j).
    pub fn node(&self, i: usize, j: usize) -> Option<usize> {
        self.node_at[j * self.x.len() + i].map(|n| n as usize)
    }

    /// (i, j) of a node.
    pub fn ij(&self, node: usize) -> (usize, usize) {
        let g = self.grid_of[node] as usize;
        (g % self.x.len(), g / self.x.len())
    }

    /// Material of cell (i, j).
    pub fn cell(&self, i: usize, j: usize) -> Material {
        self.cells[j * (self.x.len() - 1) + i]
    }
}
