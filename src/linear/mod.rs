//! Sparse direct solver for block systems.

mod block;
mod front;
mod general;
mod kernel;
mod ordering;
mod pivoted;
mod scale;
mod solve;
mod supernode;
mod symbolic;

pub use block::*;
pub use general::GeneralLu;
pub use solve::{DirectSolver, SolveInfo, SolverWork};
pub use symbolic::Symbolic;
