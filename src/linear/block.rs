//! Block-sparse matrices: one b×b block per pair of neighbouring nodes.

use std::sync::Arc;

use thiserror::Error;

/// Pattern of the blocks, by rows (symmetric in pattern). Built once per mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockPattern {
    /// Block rows.
    pub rows: usize,
    /// Unknowns per block (3, or 4 with heat).
    pub block: usize,
    /// Start of each row in `columns`; length rows + 1.
    pub start: Vec<usize>,
    /// Block columns of each row, growing, the diagonal included.
    pub columns: Vec<u32>,
    /// Grid coordinates (i, j) of each block row, for the ordering.
    pub places: Vec<(u32, u32)>,
    /// For each unknown, or empty: its row has its diagonal alone, in every matrix of this
    /// pattern (a promise: a matrix that breaks it is answered by the general-purpose LU).
    /// Such unknowns are solved for by themselves.
    pub alone: Vec<bool>,
}

impl BlockPattern {
    /// The same neighbours with blocks of another size and no promise about rows.
    pub fn with_block(&self, block: usize) -> BlockPattern {
        BlockPattern { block, alone: Vec::new(), ..self.clone() }
    }

    /// Unknowns of a block row that are in the fronts: those not alone.
    pub(super) fn live(&self, node: usize) -> impl Iterator<Item = usize> {
        (node * self.block..(node + 1) * self.block).filter(|&u| !self.is_alone(u))
    }

    /// Whether an unknown's row has its diagonal alone.
    pub fn is_alone(&self, unknown: usize) -> bool {
        self.alone.get(unknown).copied().unwrap_or(false)
    }
}

/// Values: block k (in the order of `pattern.columns`) holds b·b numbers, row by row,
/// from k·b·b.
#[derive(Debug, Clone)]
pub struct BlockMatrix {
    pub pattern: Arc<BlockPattern>,
    pub values: Vec<f64>,
}

#[derive(Debug, Error, Clone, PartialEq)]
pub enum LinearError {
    /// Neither the block solver nor the general-purpose one gave a usable answer.
    #[error(
        "the linear system is singular to working precision (backward error {backward_error:.1e} at unknown {unknown} of block row {row})"
    )]
    Singular { backward_error: f64, row: usize, unknown: usize },
    /// A value is not a number.
    #[error("the linear system holds a value that is not finite in block row {row}")]
    NotFinite { row: usize },
}

impl BlockMatrix {
    /// All zero.
    pub fn new(pattern: Arc<BlockPattern>) -> BlockMatrix {
        let n = pattern.columns.len() * pattern.block * pattern.block;
        BlockMatrix { pattern, values: vec![0.0; n] }
    }

    /// y = A x; both of length rows·block.
    pub fn multiply(&self, x: &[f64], y: &mut [f64]) {
        let b = self.pattern.block;
        for r in 0..self.pattern.rows {
            let yr = &mut y[r * b..(r + 1) * b];
            yr.fill(0.0);
            for k in self.pattern.start[r]..self.pattern.start[r + 1] {
                let c = self.pattern.columns[k] as usize;
                let v = &self.values[k * b * b..(k + 1) * b * b];
                for (i, out) in yr.iter_mut().enumerate() {
                    for j in 0..b {
                        *out += v[i * b + j] * x[c * b + j];
                    }
                }
            }
        }
    }
}
