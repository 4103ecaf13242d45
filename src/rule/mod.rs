//! Follows folds in the numbers of a case, solves design rules, spreads tolerances.
//!
//! Everything starts from one traced curve: its trigger, holding or critical point is taken
//! up again, on a device whose layout, doping or laws have moved a little.

mod check;
mod cusp;
mod follow;
mod ground;
mod proof;
mod sheets;
mod solve;
mod spread;
mod track;

pub use check::check;
pub use cusp::Cusp;
pub use follow::{Followed, Sample, follow};
pub use ground::Ground;
pub use proof::Proof;
pub use sheets::{answers, follow_sheet, rule_sheet, spread_sheet};
pub use solve::{Answer, Solved, Solving, solve};
pub use spread::{Share, Spreading, spread};
pub use track::{Spent, Track};
