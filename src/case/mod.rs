//! TOML to a validated [`Case`]: units, spans, diagnostics that point into the file,
//! the JSON Schema.

pub mod constants;
mod model;
mod problem;

pub use constants::{CONSTANTS, ConstantSpec, Constants, Dim, ElectronRow};
pub use model::*;
pub use problem::{Problem, Severity};
