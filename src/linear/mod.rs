//! Sparse direct solver for block systems.

mod block;
mod general;

pub use block::*;
pub use general::*;
