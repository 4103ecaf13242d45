//! Follows folds in the numbers of a case, solves design rules, spreads tolerances.
//!
//! Everything starts from one traced curve: its trigger, holding or critical point is taken
//! up again, on a device whose layout, doping or laws have moved a little.

mod cusp;
mod follow;
mod ground;
mod track;

pub use cusp::Cusp;
pub use follow::{Followed, Sample, follow};
pub use ground::Ground;
pub use track::{Spent, Track};
