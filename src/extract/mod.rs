//! Figures from curves: the verdict, the lumped two-transistor model, sensitivities.

mod characteristic;
mod equivalent;
mod junctions;
mod lumped;
mod margins;
mod parameters;
mod sensitivity;
mod sensitivity_sheet;
mod temperatures;
mod temperatures_kept;
mod verdict;

pub use characteristic::Characteristic;
pub use equivalent::lumped;
pub use lumped::{
    Bipole, Conditions, Lumped, LumpedCurve, LumpedPoint, Multiplication, Shunt, required_product,
};
pub use parameters::{Parameter, parameters};
pub use sensitivity::{POINTS, Slope, Slopes, sensitivities};
pub use sensitivity_sheet::sensitivity_sheet;

pub use temperatures::{Along, Interrupted, next_temperature, verdict_over_temperatures};
pub use verdict::*;
