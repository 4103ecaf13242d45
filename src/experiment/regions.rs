//! Connected regions of one doping polarity.

use crate::discretize::{DIRECTIONS, Device, NONE};

/// Node to region.
pub struct Regions {
    of: Vec<u32>,
}

impl Regions {
    /// Regions of silicon joined through silicon of the same sign of net doping.
    pub fn new(device: &Device) -> Regions {
        let mut of = vec![NONE; device.nodes()];
        let mut count = 0;
        for first in 0..device.nodes() {
            if of[first] != NONE || !device.has_silicon(first) {
                continue;
            }
            of[first] = count;
            let mut left = vec![first];
            while let Some(i) = left.pop() {
                for d in 0..DIRECTIONS {
                    let Some(j) = silicon_neighbour(device, i, d) else { continue };
                    let same = (device.net[i] > 0.0) == (device.net[j] > 0.0);
                    if same && of[j] == NONE {
                        of[j] = count;
                        left.push(j);
                    }
                }
            }
            count += 1;
        }
        Regions { of }
    }

    /// The region of node `i`; [`NONE`] outside silicon.
    pub fn at(&self, i: usize) -> u32 {
        self.of.get(i).copied().unwrap_or(NONE)
    }

    /// Regions that the contacts touch.
    pub fn under(&self, device: &Device, contacts: &[usize]) -> Vec<u32> {
        let nodes = contacts.iter().filter_map(|&k| device.contacts.get(k)).flat_map(|c| &c.nodes);
        let mut regions: Vec<u32> =
            nodes.map(|&n| self.at(n as usize)).filter(|r| *r != NONE).collect();
        regions.sort_unstable();
        regions.dedup();
        regions
    }
}

/// The neighbour of node `i` in a direction, through silicon.
pub fn silicon_neighbour(device: &Device, i: usize, direction: usize) -> Option<usize> {
    let e = *device.node_edges.get(i)?.get(direction)?;
    if e == NONE || device.edges[e as usize].face <= 0.0 {
        return None;
    }
    device.neighbour(i, direction)
}
