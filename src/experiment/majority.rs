//! Conduction by the majority carriers of a solved state: −∇·(q µ n ∇V) = injected current,
//! linear in V, the small drop of their quasi-Fermi potential. Box method on the device's own
//! edges, each with the conductance that the discretized current has in the state.

use nalgebra::{DMatrix, DVector};

use crate::discretize::{Assembly, DIRECTIONS, Device, NONE, State};
use crate::linear::LinearError;
use crate::silicon::Carrier;
use crate::solve::ScalarSystem;

use super::regions::silicon_neighbour;

/// Ω·cm to Ω·µm, and back.
const UM: f64 = 1e4;

/// A test current at node `node`: a share of the whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    pub node: usize,
    pub share: f64,
}

/// A contact that leads the current away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Index into the device's contacts.
    pub contact: usize,
    /// In series with it [Ω·µm].
    pub resistance: f64,
}

/// The majority region around some taps.
pub struct Majority<'d> {
    device: &'d Device,
    /// By edge [A/(V·cm)].
    conductance: Vec<f64>,
    /// By node: joined to the taps through nodes where this carrier is the majority.
    reach: Vec<bool>,
    major: Vec<f64>,
}

impl<'d> Majority<'d> {
    /// Of `state`, which `assembly` holds evaluated, around the contacts `taps`.
    pub fn new(
        device: &'d Device,
        state: &State,
        assembly: &Assembly,
        carrier: Carrier,
        taps: &[usize],
    ) -> Majority<'d> {
        let (c, major, minor) = match carrier {
            Carrier::Electron => (0, &state.n, &state.p),
            Carrier::Hole => (1, &state.p, &state.n),
        };
        let conductance = device
            .edges
            .iter()
            .zip(&assembly.edges)
            .map(|(edge, flow)| {
                let (a, b) = (edge.a as usize, edge.b as usize);
                let flow = if c == 0 { &flow.n } else { &flow.p };
                // J = rate·c·(exp(δφ/V_T) − 1) at either end; degenerate: d ln n = dη/slope.
                let rate = (flow.rate[0] * major[a]).min(flow.rate[1] * major[b]);
                let slope = 0.5 * (state.filling(a, c).slope + state.filling(b, c).slope);
                let vt = 0.5 * (state.local(device, a).vt + state.local(device, b).vt);
                edge.face * rate / (vt * slope)
            })
            .collect();
        let mut reach = vec![false; device.nodes()];
        let mut left: Vec<usize> = taps
            .iter()
            .filter_map(|&k| device.contacts.get(k))
            .flat_map(|c| c.nodes.iter().map(|&n| n as usize))
            .filter(|&n| major[n] > minor[n])
            .collect();
        left.iter().for_each(|&n| reach[n] = true);
        while let Some(i) = left.pop() {
            for d in 0..DIRECTIONS {
                let Some(j) = silicon_neighbour(device, i, d) else { continue };
                if !reach[j] && major[j] > minor[j] {
                    reach[j] = true;
                    left.push(j);
                }
            }
        }
        Majority { device, conductance, reach, major: major.clone() }
    }

    /// Node `i` belongs to the neutral part of the region.
    pub fn is_neutral(&self, i: usize) -> bool {
        let of = |v: &[f64]| v.get(i).copied().unwrap_or(0.0);
        self.reach.get(i).copied().unwrap_or(false)
            && of(&self.major) >= 0.5 * of(&self.device.net).abs()
    }

    /// True if contact `k` stands in the region.
    pub fn touches(&self, k: usize) -> bool {
        let nodes = self.device.contacts.get(k).filter(|c| !c.is_gate).map(|c| &c.nodes);
        nodes.is_some_and(|n| n.iter().any(|&n| self.reach[n as usize]))
    }

    /// Resistance [Ω·µm] from `sources`, whose shares add up to one, to the outside of
    /// `ways`: the mean potential over the sources, weighted as the current is.
    pub fn resistance(&self, sources: &[Source], ways: &[Way]) -> Result<f64, LinearError> {
        self.transfer(sources, sources, ways)
    }

    /// The same, the potential taken over `probes` instead: by reciprocity it does not matter
    /// which of the two carries the current.
    pub fn transfer(
        &self,
        sources: &[Source],
        probes: &[Source],
        ways: &[Way],
    ) -> Result<f64, LinearError> {
        let n = self.device.nodes();
        // v = r·I at each contact behind a resistance, I = I₀ + Σ v·I_k.
        let behind: Vec<Way> = ways.iter().filter(|w| w.resistance > 0.0).copied().collect();
        let mut injected = vec![0.0; n];
        for s in sources {
            if let Some(i) = injected.get_mut(s.node) {
                *i += s.share;
            }
        }
        let columns = self.solve(&injected, ways, &behind)?;
        let mean = |column: usize| -> f64 {
            probes.iter().map(|s| s.share * columns[column * n + s.node]).sum()
        };
        let m = behind.len();
        if m == 0 {
            return Ok(UM * mean(0));
        }
        let out = |k: usize, column: usize| {
            self.leaving(behind[k].contact, &columns[column * n..(column + 1) * n])
        };
        let of = |k: usize| behind[k].resistance / UM;
        let matrix =
            DMatrix::from_fn(m, m, |r, k| f64::from(u8::from(r == k)) - of(r) * out(r, k + 1));
        let right = DVector::from_fn(m, |r, _| of(r) * out(r, 0));
        let singular = LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 };
        let volts = matrix.lu().solve(&right).ok_or(singular)?;
        Ok(UM * (mean(0) + (0..m).map(|k| volts[k] * mean(k + 1)).sum::<f64>()))
    }

    /// Resistance [Ω·µm] between two contacts.
    pub fn between(&self, one: usize, other: usize) -> Result<f64, LinearError> {
        let ways = [one, other].map(|contact| Way { contact, resistance: 0.0 });
        let columns = self.solve(&vec![0.0; self.device.nodes()], &ways, &ways[..1])?;
        let n = self.device.nodes();
        Ok(UM / self.leaving(other, &columns[n..2 * n]))
    }

    /// Potentials with `injected` [A/cm] by node, all of `ways` at 0 V; then, in a column
    /// each, with one of `raised` at 1 V and nothing injected.
    fn solve(
        &self,
        injected: &[f64],
        ways: &[Way],
        raised: &[Way],
    ) -> Result<Vec<f64>, LinearError> {
        let device = self.device;
        let n = device.nodes();
        let mut held: Vec<Option<usize>> = vec![None; n];
        for w in ways {
            for &node in device.contacts.get(w.contact).iter().flat_map(|c| &c.nodes) {
                held[node as usize] = Some(w.contact);
            }
        }
        let mut system = ScalarSystem::new(device)?;
        system.clear();
        system.rhs = vec![0.0; n * (1 + raised.len())];
        for i in 0..n {
            if held[i].is_some() || !self.reach[i] {
                system.add(device, i, 0, 1.0);
                for (k, w) in raised.iter().enumerate() {
                    if held[i] == Some(w.contact) {
                        system.rhs[(k + 1) * n + i] = 1.0;
                    }
                }
                continue;
            }
            let mut own = 0.0;
            for (d, &e) in device.node_edges[i].iter().enumerate() {
                let Some(j) = silicon_neighbour(device, i, d) else { continue };
                if e == NONE || !self.reach[j] {
                    continue;
                }
                let g = self.conductance[e as usize];
                system.add(device, i, d + 1, -g);
                own += g;
            }
            system.add(device, i, 0, own);
            system.rhs[i] = injected[i];
        }
        Ok(system.solve_columns(1 + raised.len())?.to_vec())
    }

    /// Current that leaves through contact `k` [A/cm].
    fn leaving(&self, k: usize, potential: &[f64]) -> f64 {
        let device = self.device;
        let Some(contact) = device.contacts.get(k) else { return 0.0 };
        let mut sum = 0.0;
        for &node in &contact.nodes {
            let i = node as usize;
            for (d, &e) in device.node_edges[i].iter().enumerate() {
                let Some(j) = silicon_neighbour(device, i, d) else { continue };
                if e != NONE
                    && self.reach[i]
                    && self.reach[j]
                    && !contact.nodes.contains(&(j as u32))
                {
                    sum += self.conductance[e as usize] * (potential[j] - potential[i]);
                }
            }
        }
        sum
    }
}
