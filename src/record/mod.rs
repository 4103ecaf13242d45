//! HDF5 in and out, provenance.

mod bars;
mod check;
mod checkpoint;
mod disk;
mod error;
mod gathered;
mod head;
mod heap;
mod json;
mod markup;
mod model;
mod names;
mod opened;
mod provenance;
mod read;
mod read_outcome;
mod scales;
mod seal;
mod sheet;
mod sink;
mod source;
mod superblock;
mod write;
mod write_outcome;
mod xdmf;

pub use checkpoint::Checkpointer;
pub use disk::{ensure_writable, partial_path, put};
pub use error::RecordError;
pub use gathered::{
    AxisValues, Column, Gathered, Values, is_gathered, read_gathered, write_gathered,
};
pub use head::{Head, head};
pub use json::to_json;
pub use markup::{cell, markup};
pub use model::*;
pub use names::SCHEMA_VERSION;
pub use provenance::version;
pub use read::{Outline, outline, read};
pub use write::write;
pub use xdmf::xdmf;
