//! What an engineer measures: snapback, injection, bias, gains, resistances; who carries what.

mod bars;
mod collected;
mod figures;
mod flow;
mod gains;
mod grading;
mod gummel;
mod limit;
mod majority;
mod outcome;
mod poise;
mod pulse;
mod regions;
mod resistances;
mod roles;
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
pub use collected::{Collected, collected};
pub use flow::flow;
pub use grading::{GRADING_ROUNDS, Sensitivity, graded_by, sensitivity};
pub use majority::{Majority, Source, Way};
pub use outcome::*;
pub use run::{DEFAULT_STOP, RunOptions, run_experiment};
pub use setup::{Setup, SetupError};
pub use sheet::{Figure, Sheet, Shown};
pub use variant::Variant;
pub use wider::{LARGER, Wider, wider};
