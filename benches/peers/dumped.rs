//! Jacobians that `cargo bench --bench jacobians` wrote.

use std::path::Path;
use std::sync::Arc;

use holdpoint::linear::{BlockMatrix, BlockPattern};

#[path = "arrays.rs"]
mod arrays;

pub fn load(folder: &Path) -> Result<BlockMatrix, Box<dyn std::error::Error>> {
    let numbers = |name: &str| arrays::load_numbers(&folder.join(name));
    let start: Vec<usize> = numbers("start.npy")?.iter().map(|&s| s as usize).collect();
    let places = numbers("places.npy")?.as_chunks::<2>().0.iter().map(|p| (p[0], p[1])).collect();
    let alone = numbers("alone.npy")?.iter().map(|&a| a != 0).collect();
    let (rows, columns) = (start.len().saturating_sub(1), numbers("columns.npy")?);
    let pattern = Arc::new(BlockPattern { rows, block: 3, start, columns, places, alone });
    Ok(BlockMatrix { pattern, values: arrays::load(&folder.join("values.npy"))? })
}
