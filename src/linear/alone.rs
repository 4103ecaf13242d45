//! Unknowns whose rows have their diagonal alone: solved for before all others, or after them
//! with the transposed matrix. A contact's unknowns and the carriers in oxide are such; in the
//! fronts they would be a tenth of the work (the pad at 29,586 unknowns, one order: 340 Mflop
//! with them, 302 without).

use super::block::{BlockMatrix, BlockPattern};

/// Where those unknowns and their columns are in matrices of a pattern.
#[derive(Debug)]
pub(super) struct Alone {
    /// Unknown, and its diagonal in `BlockMatrix::values`.
    diagonals: Vec<(u32, u32)>,
    /// Their columns, but for the diagonal.
    entries: Vec<Entry>,
}

#[derive(Debug, Clone, Copy)]
struct Entry {
    /// In `BlockMatrix::values`.
    value: u32,
    row: u32,
    column: u32,
}

/// Their part of one matrix.
#[derive(Debug, Default)]
pub(super) struct AloneFactors {
    /// Unknown and diagonal.
    diagonals: Vec<(u32, f64)>,
    /// Row, column and value of what is not zero in their columns.
    entries: Vec<(u32, u32, f64)>,
}

impl Alone {
    pub fn of(pattern: &BlockPattern) -> Alone {
        let b = pattern.block;
        let mut alone = Alone { diagonals: Vec::new(), entries: Vec::new() };
        for r in 0..pattern.rows {
            for k in pattern.start[r]..pattern.start[r + 1] {
                let c = pattern.columns[k] as usize;
                for e in (0..b * b).filter(|e| pattern.is_alone(c * b + e % b)) {
                    let (row, column) = (r * b + e / b, c * b + e % b);
                    let value = (k * b * b + e) as u32;
                    if row == column {
                        alone.diagonals.push((row as u32, value));
                    } else if !pattern.is_alone(row) {
                        alone.entries.push(Entry { value, row: row as u32, column: column as u32 });
                    }
                }
            }
        }
        alone
    }

    pub fn unknowns(&self) -> impl Iterator<Item = u32> {
        self.diagonals.iter().map(|d| d.0)
    }

    /// Take this part of a matrix.
    pub fn factor(&self, matrix: &BlockMatrix, factors: &mut AloneFactors) {
        let value = |at: u32| matrix.values[at as usize];
        factors.diagonals.clear();
        factors.diagonals.extend(self.diagonals.iter().map(|&(u, at)| (u, value(at))));
        factors.entries.clear();
        // Room for all: later matrices may have other zeros.
        factors.entries.reserve(self.entries.len());
        let entries = self.entries.iter().map(|e| (e.row, e.column, value(e.value)));
        factors.entries.extend(entries.filter(|e| e.2 != 0.0));
    }
}

impl AloneFactors {
    /// Solve for these unknowns and take them out of the other equations.
    pub fn before(&self, x: &mut [f64]) {
        self.divide(x);
        for &(row, column, v) in &self.entries {
            x[row as usize] -= v * x[column as usize];
        }
    }

    /// The same with the transposed matrix, where the other unknowns come first.
    pub fn after_transposed(&self, x: &mut [f64]) {
        for &(row, column, v) in &self.entries {
            x[column as usize] -= v * x[row as usize];
        }
        self.divide(x);
    }

    fn divide(&self, x: &mut [f64]) {
        for &(u, diagonal) in &self.diagonals {
            x[u as usize] /= diagonal;
        }
    }
}
