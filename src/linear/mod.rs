//! Sparse direct solver for block systems: block multifrontal LU, refinement measured by the
//! componentwise backward error, a general-purpose LU for what that cannot answer.
//!
//! Order of work: `ordering` with `cut` → `supernode` → `symbolic` with `entries` (once per
//! pattern), then `scale` → `alone` → `front` with `extend`, `spread`, `kernel`, `panel`,
//! `wide`, `pivoted`, `stream` (per matrix), then `substitute` with `passes` → `solve` →
//! `bordered` with `refine` (per right-hand side).

mod adjoint;
mod aligned;
mod alone;
mod block;
mod bordered;
mod cut;
mod entries;
mod extend;
mod front;
mod general;
mod keep;
mod kernel;
mod krylov;
mod ordering;
mod panel;
mod passes;
mod pivoted;
mod refine;
mod scale;
mod solve;
#[cfg(target_arch = "x86_64")]
mod spread;
mod stream;
mod substitute;
mod supernode;
mod symbolic;
mod unrolled;
mod wide;

pub use block::*;
pub use bordered::{Border, BorderedFactors};
pub use general::GeneralLu;
pub use solve::{DirectSolver, SolveInfo, SolverWork};
pub use symbolic::Symbolic;
