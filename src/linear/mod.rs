//! Sparse direct solver for block systems.

mod aligned;
mod block;
mod bordered;
mod extend;
mod front;
mod general;
mod kernel;
mod ordering;
mod pivoted;
mod scale;
mod solve;
mod stream;
mod substitute;
mod supernode;
mod symbolic;
mod wide;

pub use block::*;
pub use bordered::{Border, BorderedSolver, solve_bordered};
pub use general::GeneralLu;
pub use solve::{DirectSolver, SolveInfo, SolverWork};
pub use symbolic::Symbolic;
