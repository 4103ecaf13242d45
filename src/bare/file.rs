//! Calls of the HDF5 C library: every one passes ids owned by live handles and buffers sized
//! from what the library says, under the library's lock.

use std::ffi::CStr;

use hdf5::{Datatype, File, Location};
use hdf5_sys::{h5a, h5f, h5t};

/// Writes an attribute of null-terminated ASCII text of fixed length (the binding writes
/// null-padded text only). Errors: what the library said.
pub(crate) fn text_attribute(at: &Location, name: &str, text: &CStr) -> Result<(), String> {
    let said = |e: hdf5::Error| e.to_string();
    let size = text.to_bytes_with_nul().len();
    let id = hdf5::sync::sync(|| {
        // SAFETY: the type copied is the library's own, and the copy is ours.
        unsafe {
            let id = h5t::H5Tcopy(*h5t::H5T_C_S1);
            if id >= 0 && h5t::H5Tset_size(id, size) >= 0 { Some(id) } else { None }
        }
    });
    // SAFETY: the id is that of a datatype that nobody else owns.
    let kind = unsafe { hdf5::from_id::<Datatype>(id.ok_or("no text type of this size")?) };
    let kind = kind.map_err(said)?;
    let attr = at.new_attr_builder().empty_as(&kind).create(name).map_err(said)?;
    let done = hdf5::sync::sync(|| {
        // SAFETY: attribute and type are live, and the text has the size of the type.
        unsafe { h5a::H5Awrite(attr.id(), kind.id(), text.as_ptr().cast()) }
    });
    if done < 0 { Err("the text was not taken".into()) } else { Ok(()) }
}

/// The bytes that a file held in memory would have on disk. Errors: what the library said.
pub(crate) fn image(file: &File) -> Result<Vec<u8>, String> {
    file.flush().map_err(|e| e.to_string())?;
    let size = hdf5::sync::sync(|| {
        // SAFETY: with no buffer the call only says how many bytes there are.
        unsafe { h5f::H5Fget_file_image(file.id(), std::ptr::null_mut(), 0) }
    });
    let mut bytes = vec![0u8; usize::try_from(size).map_err(|_| "no image of the file")?];
    let got = hdf5::sync::sync(|| {
        // SAFETY: the buffer is as long as is said.
        unsafe { h5f::H5Fget_file_image(file.id(), bytes.as_mut_ptr().cast(), bytes.len()) }
    });
    if got == size { Ok(bytes) } else { Err("no image of the file".into()) }
}
