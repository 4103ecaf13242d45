//! Graded tensor-product mesh from a structure; control volumes; quality report.

mod model;

pub use model::*;
