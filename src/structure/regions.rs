//! Connected regions of one polarity on the sampling cells, and the strongest path
//! between two contacts within one of them.

use super::{SampleLines, Structure};

/// Net doping below this [cm⁻³] counts as neither polarity: silicon is intrinsic there
/// (intrinsic density near 300 K, 1e10).
const INTRINSIC: f64 = 1e10;
const NOWHERE: u32 = u32::MAX;

/// Net doping and silicon at the centres of the sampling cells, row by row.
pub(super) struct Sampled {
    pub lines: SampleLines,
    /// [cm⁻³], 0 outside the silicon.
    pub net: Vec<f64>,
    pub silicon: Vec<bool>,
}

/// Labels of the connected regions.
pub(super) struct Regions {
    label: Vec<u32>,
    pub count: usize,
    /// Samples in each.
    pub size: Vec<usize>,
}

impl Regions {
    /// Region of a sample; `None` outside the silicon and where it is intrinsic.
    pub fn of(&self, cell: u32) -> Option<usize> {
        let label = self.label[cell as usize];
        (label != NOWHERE).then_some(label as usize)
    }
}

/// Two contacts that are joined, and the weakest sample on the strongest path.
pub(super) struct Join {
    pub one: usize,
    pub other: usize,
    pub cell: u32,
}

impl Sampled {
    pub fn new(structure: &Structure, lines: SampleLines) -> Sampled {
        let mids = |v: &[f64]| v.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect::<Vec<_>>();
        let (xs, ys) = (mids(&lines.x), mids(&lines.y));
        let mut net = vec![0.0; xs.len() * ys.len()];
        for term in &structure.terms {
            let signed = match term.polarity {
                crate::case::Polarity::Donors => term.peak,
                crate::case::Polarity::Acceptors => -term.peak,
            };
            let lateral: Vec<f64> = xs.iter().map(|x| term.lateral.value(*x)).collect();
            for (row, y) in net.chunks_exact_mut(xs.len()).zip(&ys) {
                let vertical = signed * term.vertical.value(*y);
                if vertical != 0.0 {
                    row.iter_mut().zip(&lateral).for_each(|(n, l)| *n += vertical * l);
                }
            }
        }
        let mut silicon = vec![true; net.len()];
        for trench in structure.trenches() {
            let a = xs.partition_point(|x| *x < trench.from);
            let b = xs.partition_point(|x| *x <= trench.to);
            let rows = ys.partition_point(|y| *y <= trench.depth);
            for j in 0..rows {
                silicon[j * xs.len() + a..j * xs.len() + b.max(a)].fill(false);
            }
        }
        for (n, s) in net.iter_mut().zip(&silicon) {
            if !s {
                *n = 0.0;
            }
        }
        Sampled { lines, net, silicon }
    }

    pub fn nx(&self) -> usize {
        self.lines.x.len() - 1
    }

    pub fn ny(&self) -> usize {
        self.lines.y.len() - 1
    }

    /// +1 n-type, −1 p-type, 0 intrinsic.
    pub fn polarity(net: f64) -> i8 {
        if net.abs() <= INTRINSIC {
            0
        } else if net > 0.0 {
            1
        } else {
            -1
        }
    }

    /// Centre of a sample \[µm\].
    pub fn centre(&self, cell: u32) -> (f64, f64) {
        let (i, j) = (cell as usize % self.nx(), cell as usize / self.nx());
        let (x, y) = (&self.lines.x, &self.lines.y);
        (0.5 * (x[i] + x[i + 1]), 0.5 * (y[j] + y[j + 1]))
    }

    /// Up to four neighbours; `NOWHERE` where there is none.
    fn neighbours(&self, cell: u32) -> [u32; 4] {
        let (nx, ny) = (self.nx(), self.ny());
        let (i, j) = (cell as usize % nx, cell as usize / nx);
        let pick = |ok: bool, c: i64| if ok { c as u32 } else { NOWHERE };
        let c = i64::from(cell);
        [
            pick(i > 0, c - 1),
            pick(i + 1 < nx, c + 1),
            pick(j > 0, c - nx as i64),
            pick(j + 1 < ny, c + nx as i64),
        ]
    }

    /// Connected regions of one polarity, four neighbours each.
    pub fn regions(&self) -> Regions {
        let mut label = vec![NOWHERE; self.net.len()];
        let mut size = Vec::new();
        let mut stack = Vec::new();
        for seed in 0..self.net.len() as u32 {
            let sign = Sampled::polarity(self.net[seed as usize]);
            if sign == 0 || label[seed as usize] != NOWHERE {
                continue;
            }
            let mut members = 0;
            label[seed as usize] = size.len() as u32;
            stack.push(seed);
            while let Some(cell) = stack.pop() {
                members += 1;
                for next in self.neighbours(cell) {
                    if next != NOWHERE
                        && label[next as usize] == NOWHERE
                        && Sampled::polarity(self.net[next as usize]) == sign
                    {
                        label[next as usize] = size.len() as u32;
                        stack.push(next);
                    }
                }
            }
            size.push(members);
        }
        Regions { label, count: size.len(), size }
    }
}

/// The contacts joined by silicon of one polarity, at least one of each pair an island.
///
/// Samples are taken in falling order of |net| and merged with their neighbours
/// (Kruskal's maximum spanning tree, Proc. AMS 7, 48 (1956)): the sample at which two
/// groups with contacts meet is the weakest one on the strongest path between them.
pub(super) fn joins(sampled: &Sampled, touched: &[&[u32]], is_island: &[bool]) -> Vec<Join> {
    let regions = sampled.regions();
    // Only regions with an island and a second contact need the search.
    let mut seen: Vec<Vec<usize>> = vec![Vec::new(); regions.count];
    for (contact, cells) in touched.iter().enumerate() {
        for region in cells.iter().filter_map(|c| regions.of(*c)) {
            if seen[region].last() != Some(&contact) {
                seen[region].push(contact);
            }
        }
    }
    let suspect: Vec<bool> =
        seen.iter().map(|s| s.len() > 1 && s.iter().any(|c| is_island[*c])).collect();
    if !suspect.contains(&true) {
        return Vec::new();
    }
    let mut order: Vec<u32> = (0..sampled.net.len() as u32)
        .filter(|c| regions.of(*c).is_some_and(|r| suspect[r]))
        .collect();
    let weight = |c: &u32| sampled.net[*c as usize].abs();
    order.sort_by(|a, b| weight(b).total_cmp(&weight(a)).then(a.cmp(b)));

    // One more element per contact: all its samples are one node of the circuit.
    let cells = sampled.net.len();
    let mut contact_of = vec![Vec::new(); cells];
    for (contact, list) in touched.iter().enumerate() {
        for c in list.iter() {
            contact_of[*c as usize].push(contact);
        }
    }
    let mut groups = Groups::new(cells, touched.len());
    let mut active = vec![false; cells];
    let mut found = Vec::new();
    for cell in order {
        active[cell as usize] = true;
        let sign = Sampled::polarity(sampled.net[cell as usize]);
        let near = sampled.neighbours(cell).into_iter().filter(|n| {
            *n != NOWHERE
                && active[*n as usize]
                && Sampled::polarity(sampled.net[*n as usize]) == sign
        });
        let own = contact_of[cell as usize].iter().map(|c| (cells + *c) as u32);
        for next in own.chain(near) {
            if let Some((a, b)) = groups.merge(cell, next)
                && let Some((one, other)) = name_pair(&a, &b, is_island)
            {
                found.push(Join { one, other, cell });
            }
        }
    }
    found
}

/// The island and the contact it is joined with.
fn name_pair(a: &[usize], b: &[usize], is_island: &[bool]) -> Option<(usize, usize)> {
    let island = |s: &[usize]| s.iter().copied().find(|c| is_island[*c]);
    match (island(a), island(b)) {
        (Some(one), Some(other)) => Some((one.min(other), one.max(other))),
        (Some(one), None) => Some((one, *b.first()?)),
        (None, Some(one)) => Some((one, *a.first()?)),
        (None, None) => None,
    }
}

/// Disjoint sets that know which contacts they hold.
struct Groups {
    parent: Vec<u32>,
    contacts: Vec<Vec<usize>>,
}

impl Groups {
    fn new(cells: usize, contacts: usize) -> Groups {
        let mut lists = vec![Vec::new(); cells];
        lists.extend((0..contacts).map(|c| vec![c]));
        Groups { parent: (0..(cells + contacts) as u32).collect(), contacts: lists }
    }

    fn root(&mut self, mut a: u32) -> u32 {
        while self.parent[a as usize] != a {
            let up = self.parent[self.parent[a as usize] as usize];
            self.parent[a as usize] = up;
            a = up;
        }
        a
    }

    /// Unites two sets; both contact lists if they were apart and both held some.
    fn merge(&mut self, a: u32, b: u32) -> Option<(Vec<usize>, Vec<usize>)> {
        let (a, b) = (self.root(a), self.root(b));
        if a == b {
            return None;
        }
        // The set with contacts stays the root, so that lists move rarely.
        let (keep, gone) = if self.contacts[a as usize].is_empty() { (b, a) } else { (a, b) };
        self.parent[gone as usize] = keep;
        let moved = std::mem::take(&mut self.contacts[gone as usize]);
        if moved.is_empty() {
            return None;
        }
        let before = self.contacts[keep as usize].clone();
        self.contacts[keep as usize].extend(moved.iter().copied());
        Some((before, moved))
    }
}
