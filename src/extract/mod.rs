//! Figures from curves: the verdict, the lumped two-transistor model, sensitivities.

mod parameters;
mod sensitivity;
mod verdict;

pub use parameters::{Parameter, parameters};
pub use sensitivity::{POINTS, Slope, Slopes, sensitivities};
mod characteristic;
mod equivalent;
mod lumped;

pub use characteristic::Characteristic;
pub use equivalent::lumped;
pub use lumped::{
    Bipole, Conditions, Lumped, LumpedCurve, LumpedPoint, Multiplication, Shunt, required_product,
};
pub use verdict::*;
