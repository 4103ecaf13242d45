//! HDF5 in and out, provenance.

mod check;
mod disk;
mod error;
mod model;
mod names;
mod read;
mod read_outcome;
mod scales;
mod seal;
mod sink;
mod source;
mod superblock;
mod write;
mod write_outcome;

pub use disk::{ensure_writable, partial_path};
pub use error::RecordError;
pub use model::*;
pub use names::SCHEMA_VERSION;
pub use read::read;
pub use write::write;
