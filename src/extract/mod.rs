//! Figures from curves: the verdict.

mod margins;
mod temperatures;
mod verdict;

pub use temperatures::{Interrupted, next_temperature, verdict_over_temperatures};
pub use verdict::*;
