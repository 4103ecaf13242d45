//! The mesh and the laws, turned into the arrays that the residual needs (in cm).

use std::sync::Arc;

use crate::case::{Case, Heat, Plate};
use crate::linear::BlockPattern;
use crate::mesh::{ContactKind, Dopants, Material, Mesh};
use crate::silicon::{Carrier, MobilityPoint, Q, Silicon};

use super::contact::{Neutral, neutral};
use super::heat::HeatLoss;
use super::local::Local;

/// Slot or edge that does not exist.
pub const NONE: u32 = u32::MAX;

/// Directions from a node: to smaller x, larger x, smaller y, larger y.
pub const DIRECTIONS: usize = 4;

/// One mesh edge, from node a to node b (growing x or y).
#[derive(Debug, Clone, Copy)]
pub struct Edge {
    pub a: u32,
    pub b: u32,
    /// Length \[cm\].
    pub h: f64,
    /// ε·width/length [F/cm] (per cm of depth: F/cm).
    pub permittance: f64,
    /// Width of the box face in silicon \[cm\]; 0 if none.
    pub face: f64,
    /// Width of the box face in oxide \[cm\].
    pub oxide: f64,
    /// Donors and acceptors at the midpoint [cm⁻³].
    pub dopants: [f64; 2],
    /// The same as they scatter carriers.
    pub scatterers: [f64; 2],
    /// Low-field mobilities [cm²/(V·s)] by doping at ambient temperature; not used by laws
    /// that look at the carriers.
    pub mu_n: f64,
    pub mu_p: f64,
    /// Difference of ln n_ie, b − a.
    pub d_ln_nie: f64,
}

/// One silicon quarter of a node's box.
#[derive(Debug, Clone, Copy)]
pub struct Quarter {
    /// Area \[cm²\].
    pub area: f64,
    /// Edges of the node in x and y that bound it; directions 0/1 and 2/3.
    pub x_direction: u8,
    pub y_direction: u8,
}

/// What ties a node to a terminal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tie {
    Free,
    /// Index in [`Device::contacts`].
    Ohmic(u16),
    Gate(u16),
}

/// One terminal of the device.
#[derive(Debug, Clone)]
pub struct Contact {
    pub name: String,
    pub nodes: Vec<u32>,
    /// ψ − V at each of its nodes \[V\].
    pub offset: Vec<f64>,
    pub is_gate: bool,
}

/// Everything about the device that does not change during a run.
#[derive(Debug, Clone)]
pub struct Device {
    pub silicon: Silicon,
    pub edges: Vec<Edge>,
    /// For each node its edge in each direction, or NONE.
    pub node_edges: Vec<[u32; DIRECTIONS]>,
    /// For each node its silicon quarters (up to 4; area 0 if absent).
    pub quarters: Vec<[Quarter; 4]>,
    /// Silicon area of the node's box \[cm²\].
    pub area: Vec<f64>,
    /// Box-mean net doping [cm⁻³].
    pub net: Vec<f64>,
    /// Total doping at the node [cm⁻³].
    pub total: Vec<f64>,
    /// Band-gap narrowing at the node \[eV\].
    pub narrowing: Vec<f64>,
    /// Donors and acceptors, means over the box, and at the node [cm⁻³].
    pub dopants: Vec<[f64; 2]>,
    pub dopants_at: Vec<[f64; 2]>,
    /// Length of silicon-oxide interface in the node's box \[cm\].
    pub interface: Vec<f64>,
    /// Fixed charge of silicon-oxide interfaces in the node's box [C/cm].
    pub fixed_charge: Vec<f64>,
    /// Effective intrinsic density [cm⁻³] and all laws at ambient temperature.
    pub nie: Vec<f64>,
    pub ambient: Vec<Local>,
    /// Mobility is a matter of the state: the law looks at the carriers.
    pub local_mobility: bool,
    /// Ways out for heat; `None`: the lattice is at ambient temperature.
    pub heat: Option<HeatLoss>,
    pub ties: Vec<Tie>,
    pub contacts: Vec<Contact>,
    /// Neutral states of ohmic nodes at ambient temperature, index as `contacts[k].nodes`.
    pub neutral_at: Vec<Vec<Neutral>>,
    pub pattern: Arc<BlockPattern>,
    /// (x, y) of each node \[µm\].
    pub position: Vec<[f64; 2]>,
    /// For each node: block index of itself and of its neighbours by direction.
    pub slots: Vec<[u32; 5]>,
}

const CM: f64 = 1e-4;

impl Device {
    /// Number of nodes.
    pub fn nodes(&self) -> usize {
        self.area.len()
    }

    /// Index of a contact by name.
    pub fn contact(&self, name: &str) -> Option<usize> {
        self.contacts.iter().position(|c| c.name == name)
    }

    /// Silicon touches this node.
    pub fn has_silicon(&self, node: usize) -> bool {
        self.area[node] > 0.0
    }

    /// Unknowns per node: ψ, n, p, and with heat T.
    pub fn block(&self) -> usize {
        if self.has_heat() { 4 } else { 3 }
    }

    /// The lattice temperature is an unknown.
    pub fn has_heat(&self) -> bool {
        self.heat.is_some()
    }

    /// Neutral silicon with the doping at node `i`, under the laws at some temperature.
    pub fn neutral(&self, i: usize, local: &Local) -> Neutral {
        let [donors, acceptors] = self.dopants_at[i];
        neutral(&self.silicon, local, donors, acceptors)
    }

    /// The device of a case on its mesh, with heat if the case asks for it.
    pub fn of_case(case: &Case, mesh: &Mesh) -> Device {
        let mut device = Device::new(mesh, Silicon::of_case(case));
        if case.laws.heat == Heat::SelfHeating {
            device.heat = Some(HeatLoss::new(mesh, &device.ties, &case.heat));
            device.build_pattern(mesh);
        }
        device
    }

    /// Build the arrays for a mesh and the laws in force, the lattice at ambient
    /// temperature.
    pub fn new(mesh: &Mesh, silicon: Silicon) -> Device {
        let (nx, ny, nodes) = (mesh.nx(), mesh.ny(), mesh.nodes());
        let d = &mesh.doping;
        let total: Vec<f64> = d.donors_at.iter().zip(&d.acceptors_at).map(|(a, b)| a + b).collect();
        let t = silicon.temperature;
        let narrowing: Vec<f64> = (0..nodes).map(|k| narrowing_at(mesh, &silicon, k)).collect();
        let ambient: Vec<Local> = total
            .iter()
            .zip(&narrowing)
            .map(|(&n, &narrowing)| Local::new(&silicon, n, narrowing, t))
            .collect();
        let mut device = Device {
            edges: Vec::with_capacity(2 * nodes),
            node_edges: vec![[NONE; DIRECTIONS]; nodes],
            quarters: vec![[Quarter { area: 0.0, x_direction: 0, y_direction: 2 }; 4]; nodes],
            area: vec![0.0; nodes],
            net: d.donors.iter().zip(&d.acceptors).map(|(a, b)| a - b).collect(),
            dopants: pairs(&d.donors, &d.acceptors),
            dopants_at: pairs(&d.donors_at, &d.acceptors_at),
            interface: vec![0.0; nodes],
            fixed_charge: (0..nodes)
                .map(|k| Q * d.fixed_charge.get(k).copied().unwrap_or(0.0))
                .collect(),
            local_mobility: silicon.mobility.depends_on_densities(),
            heat: None,
            ties: vec![Tie::Free; nodes],
            contacts: Vec::new(),
            neutral_at: Vec::new(),
            pattern: Arc::new(BlockPattern {
                rows: 0,
                block: 3,
                start: vec![0],
                columns: Vec::new(),
                places: Vec::new(),
                alone: Vec::new(),
            }),
            slots: vec![[NONE; 5]; nodes],
            position: (0..nodes)
                .map(|k| {
                    let (i, j) = mesh.ij(k);
                    [mesh.x[i], mesh.y[j]]
                })
                .collect(),
            total,
            narrowing,
            nie: ambient.iter().map(|l| l.nie.value).collect(),
            ambient,
            silicon,
        };
        let cell = |i: isize, j: isize| {
            if i < 0 || j < 0 || i as usize + 1 >= nx || j as usize + 1 >= ny {
                Material::Void
            } else {
                mesh.cell(i as usize, j as usize)
            }
        };
        for j in 0..ny {
            for i in 0..nx {
                let Some(a) = mesh.node(i, j) else { continue };
                let (si, sj) = (i as isize, j as isize);
                if i + 1 < nx
                    && let Some(b) = mesh.node(i + 1, j)
                {
                    let sides = [
                        (cell(si, sj - 1), half(&mesh.y, sj - 1)),
                        (cell(si, sj), half(&mesh.y, sj)),
                    ];
                    let h = (mesh.x[i + 1] - mesh.x[i]) * CM;
                    let k = j * (nx - 1) + i;
                    device.add_edge([a, b], h, sides, d.at_x(k), [1, 0]);
                }
                if j + 1 < ny
                    && let Some(b) = mesh.node(i, j + 1)
                {
                    let sides = [
                        (cell(si - 1, sj), half(&mesh.x, si - 1)),
                        (cell(si, sj), half(&mesh.x, si)),
                    ];
                    let h = (mesh.y[j + 1] - mesh.y[j]) * CM;
                    device.add_edge([a, b], h, sides, d.at_y(j * nx + i), [3, 2]);
                }
                let corners = [
                    (si - 1, sj - 1, 0, 2),
                    (si, sj - 1, 1, 2),
                    (si - 1, sj, 0, 3),
                    (si, sj, 1, 3),
                ];
                for (k, (ci, cj, dx, dy)) in corners.into_iter().enumerate() {
                    if cell(ci, cj) == Material::Silicon {
                        let area = half(&mesh.x, ci) * half(&mesh.y, cj);
                        device.quarters[a][k] = Quarter { area, x_direction: dx, y_direction: dy };
                        device.area[a] += area;
                    }
                }
            }
        }
        device.tie_contacts(mesh);
        device.build_pattern(mesh);
        device
    }

    fn add_edge(
        &mut self,
        [a, b]: [usize; 2],
        h: f64,
        sides: [(Material, f64); 2],
        dopants: Dopants,
        directions: [usize; 2],
    ) {
        let (mut permittance, mut face, mut oxide) = (0.0, 0.0, 0.0);
        for (material, width) in sides {
            match material {
                Material::Void => {}
                Material::Oxide => {
                    permittance += self.silicon.eps_oxide * width / h;
                    oxide += width;
                }
                Material::Silicon => {
                    permittance += self.silicon.eps_silicon * width / h;
                    face += width;
                }
            }
        }
        if permittance == 0.0 {
            return;
        }
        if let [(Material::Oxide, _), (Material::Silicon, _)]
        | [(Material::Silicon, _), (Material::Oxide, _)] = sides
        {
            for node in [a, b] {
                self.interface[node] += 0.5 * h;
            }
        }
        let point = MobilityPoint::doped(dopants.total, self.silicon.temperature);
        let index = self.edges.len() as u32;
        self.node_edges[a][directions[0]] = index;
        self.node_edges[b][directions[1]] = index;
        let mobility = |carrier| self.silicon.mobility.at(carrier, &point).value;
        self.edges.push(Edge {
            a: a as u32,
            b: b as u32,
            h,
            permittance,
            face,
            oxide,
            dopants: [dopants.donors, dopants.acceptors],
            scatterers: self.silicon.mobility.scatterers(dopants.donors, dopants.acceptors),
            mu_n: mobility(Carrier::Electron),
            mu_p: mobility(Carrier::Hole),
            d_ln_nie: (self.nie[b] / self.nie[a]).ln(),
        });
    }

    fn tie_contacts(&mut self, mesh: &Mesh) {
        for terminal in &mesh.terminals {
            let k = self.contacts.len() as u16;
            let mut neutral_at = Vec::new();
            let mut offset = Vec::new();
            for &node in &terminal.nodes {
                let i = node as usize;
                match terminal.kind {
                    ContactKind::Ohmic => {
                        self.ties[i] = Tie::Ohmic(k);
                        let at = self.neutral(i, &self.ambient[i]);
                        offset.push(at.offset);
                        neutral_at.push(at);
                    }
                    ContactKind::Gate { plate } => {
                        self.ties[i] = Tie::Gate(k);
                        let half_gap = 0.5 * self.silicon.gap;
                        offset.push(match plate {
                            Plate::NPoly => half_gap,
                            Plate::PPoly => -half_gap,
                            Plate::WorkFunction(w) => self.silicon.affinity + half_gap - w,
                        });
                    }
                }
            }
            self.neutral_at.push(neutral_at);
            self.contacts.push(Contact {
                name: terminal.name.clone(),
                nodes: terminal.nodes.clone(),
                offset,
                is_gate: matches!(terminal.kind, ContactKind::Gate { .. }),
            });
        }
    }

    fn build_pattern(&mut self, mesh: &Mesh) {
        let mut start = vec![0];
        let mut columns = Vec::with_capacity(5 * self.nodes());
        for i in 0..self.nodes() {
            let mut row: Vec<(u32, usize)> = vec![(i as u32, 0)];
            for (d, &e) in self.node_edges[i].iter().enumerate() {
                if e != NONE {
                    let edge = &self.edges[e as usize];
                    row.push((if edge.a as usize == i { edge.b } else { edge.a }, d + 1));
                }
            }
            row.sort_unstable();
            for (column, slot) in row {
                self.slots[i][slot] = columns.len() as u32;
                columns.push(column);
            }
            start.push(columns.len());
        }
        let places = (0..self.nodes())
            .map(|n| {
                let (i, j) = mesh.ij(n);
                (i as u32, j as u32)
            })
            .collect();
        self.pattern = Arc::new(BlockPattern {
            rows: self.nodes(),
            block: self.block(),
            start,
            columns,
            places,
            alone: (0..self.nodes())
                .flat_map(|n| self.alone(n).into_iter().take(self.block()))
                .collect(),
        });
    }

    /// Which equations of a node (the last with heat) have their own unknown alone: a tied node's, where the
    /// lattice temperature does not shift what it is tied to, and those of carriers in oxide.
    fn alone(&self, node: usize) -> [bool; 4] {
        let (state, carriers) = match self.ties[node] {
            Tie::Free => (false, !self.has_silicon(node)),
            Tie::Gate(_) => (true, true),
            Tie::Ohmic(_) => (!self.has_heat(), !self.has_heat()),
        };
        [state, carriers, carriers, false]
    }

    /// Neighbour of node `i` in a direction.
    pub fn neighbour(&self, i: usize, direction: usize) -> Option<usize> {
        let e = self.node_edges[i][direction];
        if e == NONE {
            return None;
        }
        let edge = &self.edges[e as usize];
        Some(if edge.a as usize == i { edge.b } else { edge.a } as usize)
    }
}

fn pairs(a: &[f64], b: &[f64]) -> Vec<[f64; 2]> {
    a.iter().zip(b).map(|(a, b)| [*a, *b]).collect()
}

/// Narrowing at node `k` [eV]: on an abrupt edge the mean of its sides by their shares of
/// the box. Of all values this one leaves the fewest errors in the two edges that share it.
fn narrowing_at(mesh: &Mesh, silicon: &Silicon, k: usize) -> f64 {
    let sides = mesh.doping.total_sides[k];
    if sides.iter().all(|&s| s == sides[0]) {
        return silicon.narrowing.at(sides[0]);
    }
    let (i, j) = mesh.ij(k);
    let (i, j) = (i as isize, j as isize);
    let (mut sum, mut whole) = (0.0, 0.0);
    for (quarter, &total) in sides.iter().enumerate() {
        let (ci, cj) = (i - 1 + (quarter % 2) as isize, j - 1 + (quarter / 2) as isize);
        let area = half(&mesh.x, ci) * half(&mesh.y, cj);
        let inside = area > 0.0 && mesh.cell(ci as usize, cj as usize) == Material::Silicon;
        if inside {
            sum += area * silicon.narrowing.at(total);
            whole += area;
        }
    }
    if whole > 0.0 { sum / whole } else { 0.0 }
}

/// Half the interval that follows line `k` [cm]; 0 outside.
fn half(lines: &[f64], k: isize) -> f64 {
    if k < 0 || k as usize + 1 >= lines.len() {
        return 0.0;
    }
    0.5 * (lines[k as usize + 1] - lines[k as usize]) * CM
}
