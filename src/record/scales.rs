//! Dimension scales, which the HDF5 binding does not offer and other readers need.
//!
//! The marks of a scale must be null-terminated text: the binding writes null-padded, and the
//! netCDF library then finds no scale.

use std::ffi::CString;

use hdf5::types::VarLenArray;
use hdf5::{Dataset, H5Type, ObjectReference1};

use crate::bare::text_attribute;

/// What the HDF5 library says went wrong, in its words.
pub(super) type Raw<T> = Result<T, String>;

/// One entry of `REFERENCE_LIST`: a dataset that a scale is attached to, and along which
/// of its dimensions. Names and order are those of the HDF5 dimension scale
/// specification.
#[derive(H5Type, Clone, Copy)]
#[repr(C)]
pub(super) struct BackRef {
    dataset: ObjectReference1,
    dimension: u32,
}

impl BackRef {
    pub(super) fn new(dataset: ObjectReference1, dimension: usize) -> BackRef {
        BackRef { dataset, dimension: dimension as u32 }
    }
}

fn said(e: hdf5::Error) -> String {
    e.to_string()
}

/// Makes a 1-D dataset a dimension scale.
pub(super) fn make_scale(data: &Dataset, name: &str) -> Raw<()> {
    text_attribute(data, "CLASS", c"DIMENSION_SCALE")?;
    let name = CString::new(name).map_err(|e| e.to_string())?;
    text_attribute(data, "NAME", &name)
}

/// Names the scale of each dimension of a dataset that is not itself a scale.
pub(super) fn attach(data: &Dataset, scales: &[ObjectReference1]) -> Raw<()> {
    let list: Vec<VarLenArray<ObjectReference1>> =
        scales.iter().map(|s| VarLenArray::from_slice(&[*s])).collect();
    let attr = data
        .new_attr::<VarLenArray<ObjectReference1>>()
        .shape(list.len())
        .create("DIMENSION_LIST")
        .map_err(said)?;
    attr.write_raw(list.as_slice()).map_err(said)
}

/// Tells a scale what it is attached to: once, since attributes cannot grow.
pub(super) fn write_back(scale: &Dataset, list: &[BackRef]) -> Raw<()> {
    if list.is_empty() {
        return Ok(());
    }
    let attr =
        scale.new_attr::<BackRef>().shape(list.len()).create("REFERENCE_LIST").map_err(said)?;
    attr.write_raw(list).map_err(said)
}
