//! What an engineer measures: snapback, injection, bias.

mod bars;
mod deformed;
mod figures;
mod fold_point;
mod grading;
mod limit;
mod outcome;
mod poise;
mod pulse;
mod run;
mod setup;
mod sheet;
mod strike;
mod supply_ramp;
mod time_sheet;
mod variant;
mod warnings;
mod wider;

pub use bars::{Bar, Bars, Change, Cover, Place, PointBars, Rerun};
pub use deformed::{deformed, on_moved_lines, with_value};
pub use fold_point::{FoldPoint, Mark, branch_setup};
pub use grading::{GRADING_ROUNDS, Sensitivity, graded_by, sensitivity};
pub use outcome::*;
pub use run::{DEFAULT_STOP, RunOptions, run_experiment};
pub use setup::{Setup, SetupError};
pub use sheet::{Figure, Sheet, Shown};
pub use variant::Variant;
pub use wider::{LARGER, Wider, wider};
