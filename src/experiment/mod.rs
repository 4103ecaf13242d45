//! What an engineer measures: snapback, injection, bias.

mod figures;
mod outcome;
mod run;
mod setup;
mod warnings;

pub use outcome::*;
pub use run::{DEFAULT_STOP, RunOptions, run_experiment};
pub use setup::{Setup, SetupError};
