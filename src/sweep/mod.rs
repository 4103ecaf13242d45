//! Many cases from one: plan, run side by side or on a cluster, survive, gather, compare.

// A problem is made once and shown once: its size on the stack costs nothing here.
#![allow(clippy::result_large_err)]

mod axes;
mod claim;
mod compare;
mod curves;
mod estimate;
mod figures;
mod folder;
mod gather;
mod outcomes;
mod plan;
mod pool;
mod random;
mod schema;
mod slurm;
mod status;

pub use axes::{Axis, Level};
pub use claim::{Claim, ClaimError, Holder, claim, holder};
pub use compare::{Difference, Report, compare, compare_gathered};
pub use estimate::{Basis, Estimate, bytes, bytes_of, estimate, nodes_asked, nodes_in};
pub use folder::{Folder, Measured, Standing};
pub use gather::{csv, gather};
pub use plan::{Loaded, Mode, Sweep};
pub use pool::{Event, Pool, Summary, Took};
pub use schema::schema;
pub use slurm::{Script, queue, submit};
pub use status::{Counts, Status, status};
