//! Continuation through folds, exact folds; owns the trait through which points are kept.

mod advance;
mod branch;
mod control;
mod fields;
mod fold;
mod inside;
mod keep;
mod model;
mod params;
mod point;
mod time;
mod time_feed;
mod time_ledger;
mod walk;

pub use branch::{Branch, End, Start, StartError, describe, follow, terminal_values};
pub use fields::fields;
pub use fold::find_fold;
pub use keep::*;
pub use model::*;
pub use params::TraceParams;
pub use point::Point;
pub use time::{GAMMA, Moment, TimeError, TimeParams, Watch, run_time};
pub use time_feed::{Branches, Feed, Feeds, Load, Shower, Wave};
pub use time_ledger::{Ledger, stored};
pub use walk::{WalkError, walk};
