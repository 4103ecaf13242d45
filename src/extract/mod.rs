//! Figures from curves: the verdict, the lumped two-transistor model.

mod characteristic;
mod equivalent;
mod lumped;
mod verdict;

pub use characteristic::Characteristic;
pub use equivalent::lumped;
pub use lumped::{
    Bipole, Conditions, Lumped, LumpedCurve, LumpedPoint, Multiplication, Shunt, required_product,
};
pub use verdict::*;
