//! Graded tensor-product mesh from a structure; control volumes; quality report.

mod build;
mod deform;
mod features;
mod given;
mod isolation;
mod junction;
mod lines;
mod model;
mod quality;
mod refine;
mod sample;
mod smooth;

pub use build::{build, regraded};
pub use deform::moved_lines;
pub use isolation::joined;
pub use junction::{Axis, Junction};
pub use model::*;
pub use quality::{AxisQuality, JunctionQuality, Quality};
pub use refine::{Lines, on_lines};
