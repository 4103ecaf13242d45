//! What an engineer measures: snapback, injection, bias.

mod bars;
mod capacitance;
mod figures;
mod grading;
mod limit;
mod outcome;
mod overvoltage;
mod poise;
mod pulse;
mod run;
mod setup;
mod sheet;
mod stress;
mod strike;
mod supply_ramp;
mod time_sheet;
mod variant;
mod warnings;
mod wider;

pub use bars::{Bar, Bars, Change, Cover, Place, PointBars, Rerun};
pub use grading::{GRADING_ROUNDS, Sensitivity, graded_by, sensitivity};
pub use outcome::*;
pub use run::{DEFAULT_STOP, RunOptions, run_experiment};
pub use setup::{Setup, SetupError};
pub use sheet::{Figure, Sheet, Shown};
pub use variant::Variant;
pub use wider::{LARGER, Wider, wider};
