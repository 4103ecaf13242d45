//! What the HDF5 binding does not offer and other readers need: dimension scales, and
//! the bytes of a file that lives in memory.
//!
//! The marks of a dimension scale must be null-terminated text (the binding writes
//! null-padded, and the netCDF library then finds no scale), so these calls are made
//! here, and only here is `unsafe` allowed: every call passes ids owned by live handles
//! and buffers sized from what the library says, under the library's lock.
#![allow(unsafe_code)]

use std::ffi::{CStr, CString};

use hdf5::types::VarLenArray;
use hdf5::{Dataset, Datatype, File, H5Type, Location, ObjectReference1};
use hdf5_sys::{h5a, h5f, h5t};

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

/// Writes an attribute of null-terminated ASCII text of fixed length.
fn write_mark(at: &Location, name: &str, text: &CStr) -> Raw<()> {
    let size = text.to_bytes_with_nul().len();
    let id = hdf5::sync::sync(|| unsafe {
        let id = h5t::H5Tcopy(*h5t::H5T_C_S1);
        if id >= 0 && h5t::H5Tset_size(id, size) >= 0 { Some(id) } else { None }
    });
    let kind = unsafe { hdf5::from_id::<Datatype>(id.ok_or("no text type of this size")?) };
    let kind = kind.map_err(said)?;
    let attr = at.new_attr_builder().empty_as(&kind).create(name).map_err(said)?;
    let done =
        hdf5::sync::sync(|| unsafe { h5a::H5Awrite(attr.id(), kind.id(), text.as_ptr().cast()) });
    if done < 0 { Err("the text was not taken".into()) } else { Ok(()) }
}

/// Makes a 1-D dataset a dimension scale.
pub(super) fn make_scale(data: &Dataset, name: &str) -> Raw<()> {
    write_mark(data, "CLASS", c"DIMENSION_SCALE")?;
    let name = CString::new(name).map_err(|e| e.to_string())?;
    write_mark(data, "NAME", &name)
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

/// The bytes that a file held in memory would have on disk.
pub(super) fn image(file: &File) -> Raw<Vec<u8>> {
    file.flush().map_err(said)?;
    let size =
        hdf5::sync::sync(|| unsafe { h5f::H5Fget_file_image(file.id(), std::ptr::null_mut(), 0) });
    let mut bytes = vec![0u8; usize::try_from(size).map_err(|_| "no image of the file")?];
    let got = hdf5::sync::sync(|| unsafe {
        h5f::H5Fget_file_image(file.id(), bytes.as_mut_ptr().cast(), bytes.len())
    });
    if got == size { Ok(bytes) } else { Err("no image of the file".into()) }
}
