//! The cross-section: doping at any (x, y) and its exact means over rectangles, the
//! material there, and the cross-section read as a circuit before meshing.

mod circuit;
mod doping;
mod junction_depth;
mod material;
mod profile;
mod regions;
mod sampling;

pub(crate) use doping::has_error;
pub use doping::{Structure, Term};
pub use material::Filling;
pub use profile::{Lateral, Vertical};
pub use sampling::SampleLines;
