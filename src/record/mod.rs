//! HDF5 in and out, provenance.

mod model;

pub use model::*;
