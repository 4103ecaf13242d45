//! Figures from curves: the verdict.

mod verdict;

pub use verdict::*;
