//! Where the numbers of the matrix go in the fronts.

use std::cmp::Ordering;

use super::block::BlockPattern;
use super::symbolic::Symbolic;

/// One block of the matrix, all of it in the fronts, and where it goes in its front.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entry {
    /// Number of the block in `BlockMatrix::values`.
    pub block: u32,
    pub row_node: u32,
    pub column_node: u32,
    /// Row and column in the half it goes to.
    pub row: u32,
    pub column: u32,
    pub half: Half,
}

/// One number of the matrix, from a block that is not all in the fronts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Single {
    /// In `BlockMatrix::values`.
    pub value: u32,
    /// Unknowns of its row and column.
    pub row_unknown: u32,
    pub column_unknown: u32,
    /// In the half it goes to; both for a diagonal.
    pub to: u32,
    pub half: Half,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Half {
    Lower,
    /// Stored transposed.
    Upper,
    /// On the diagonal: lower part to the one, upper to the other.
    Both,
}

impl Symbolic {
    pub(super) fn add_entries(&mut self, pattern: &BlockPattern, order: &[u32], starts: &[usize]) {
        let b = self.block;
        // Nodes without a front have no position.
        let mut position = vec![u32::MAX; pattern.rows];
        for (k, &v) in order.iter().enumerate() {
            position[v as usize] = k as u32;
        }
        let mut front_of = vec![0u32; order.len()];
        let mut k = 0;
        for (s, f) in self.fronts.iter().enumerate() {
            while k < order.len() && starts[k] < f.first + f.pivots {
                front_of[k] = s as u32;
                k += 1;
            }
        }
        let width = |k: u32| starts[k as usize + 1] - starts[k as usize];
        let mut whole: Vec<(u32, Entry)> = Vec::with_capacity(pattern.columns.len());
        let mut singles: Vec<(u32, Single)> = Vec::new();
        for r in 0..pattern.rows {
            for k in pattern.start[r]..pattern.start[r + 1] {
                let c = pattern.columns[k];
                let (pr, pc) = (position[r], position[c as usize]);
                if pr == u32::MAX || pc == u32::MAX {
                    continue;
                }
                let s = front_of[pr.min(pc) as usize];
                let f = &self.fronts[s as usize];
                let row = self.row_of(f, pr.max(pc), starts) as u32;
                let column = self.row_of(f, pr.min(pc), starts) as u32;
                let half = match pr.cmp(&pc) {
                    Ordering::Less => Half::Upper,
                    Ordering::Equal => Half::Both,
                    Ordering::Greater => Half::Lower,
                };
                let (block, row_node, column_node) = (k as u32, r as u32, c);
                let entry = Entry { block, row_node, column_node, row, column, half };
                if width(pr) == b && width(pc) == b {
                    whole.push((s, entry));
                } else {
                    let of = singles_of(pattern, entry, f.rows);
                    singles.extend(of.map(|single| (s, single)));
                }
            }
        }
        whole.sort_by_key(|e| e.0);
        singles.sort_by_key(|e| e.0);
        let (mut at, mut single) = (0, 0);
        for (s, f) in self.fronts.iter_mut().enumerate() {
            let (from, single_from) = (at, single);
            at += whole[at..].partition_point(|e| e.0 == s as u32);
            single += singles[single..].partition_point(|e| e.0 == s as u32);
            (f.entries, f.singles) = (from..at, single_from..single);
        }
        self.entries.extend(whole.into_iter().map(|e| e.1));
        self.singles.extend(singles.into_iter().map(|e| e.1));
    }
}

/// The numbers of a block that are in a front of so many rows: those of unknowns that are not
/// alone.
fn singles_of(
    pattern: &BlockPattern,
    entry: Entry,
    rows: usize,
) -> impl Iterator<Item = Single> + '_ {
    let b = pattern.block;
    let live = move |node: u32| pattern.live(node as usize).enumerate();
    live(entry.row_node).flat_map(move |(i, row)| {
        live(entry.column_node).map(move |(j, column)| {
            let half = match entry.half {
                Half::Both if i > j => Half::Lower,
                Half::Both if i < j => Half::Upper,
                half => half,
            };
            let (along, across) = if half == Half::Upper { (j, i) } else { (i, j) };
            let to = (entry.column as usize + across) * rows + entry.row as usize + along;
            let value = entry.block as usize * b * b + row % b * b + column % b;
            Single {
                value: value as u32,
                row_unknown: row as u32,
                column_unknown: column as u32,
                to: to as u32,
                half,
            }
        })
    })
}
