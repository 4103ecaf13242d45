//! Figures from curves: the verdict, sensitivities.

mod parameters;
mod sensitivity;
mod verdict;

pub use parameters::{Parameter, parameters};
pub use sensitivity::{POINTS, Slope, Slopes, sensitivities};
pub use verdict::*;
