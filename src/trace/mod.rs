//! Continuation through folds, exact folds; owns the trait through which points are kept.

mod keep;
mod model;

pub use keep::*;
pub use model::*;
