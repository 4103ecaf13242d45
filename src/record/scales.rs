//! What the HDF5 binding does not offer and other readers need: null-terminated text of
//! fixed length, dimension scales, and the bytes of a file that lives in memory.
//!
//! Text in datasets has a fixed length because variable-length text lies in HDF5's global
//! heap, the one place without a checksum; and text is null-terminated because the netCDF
//! library does not find dimension scales whose `CLASS` is null-padded. The binding writes
//! neither, so the calls are made here, and only here is `unsafe` allowed: every call
//! passes ids owned by live handles and buffers sized from what the library says, under
//! the library's lock.
#![allow(unsafe_code)]

use hdf5::types::VarLenArray;
use hdf5::{Dataset, Datatype, File, Group, H5Type, Location, ObjectReference1};
use hdf5_sys::{h5a, h5d, h5f, h5p, h5s, h5t};

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

/// Null-terminated text of `size` bytes, terminator included.
fn text_type(size: usize, ascii: bool) -> Raw<Datatype> {
    let id = hdf5::sync::sync(|| unsafe {
        let id = h5t::H5Tcopy(*h5t::H5T_C_S1);
        let set =
            if ascii { h5t::H5T_cset_t::H5T_CSET_ASCII } else { h5t::H5T_cset_t::H5T_CSET_UTF8 };
        let ok = id >= 0 && h5t::H5Tset_size(id, size) >= 0 && h5t::H5Tset_cset(id, set) >= 0;
        if ok { Some(id) } else { None }
    });
    let id = id.ok_or("no text type of this size")?;
    unsafe { hdf5::from_id::<Datatype>(id) }.map_err(said)
}

/// Texts one after the other, each padded with NUL to `size` bytes.
fn padded(texts: &[String], size: usize) -> Raw<Vec<u8>> {
    let mut bytes = vec![0u8; texts.len() * size];
    for (text, place) in texts.iter().zip(bytes.chunks_exact_mut(size)) {
        if text.contains('\0') {
            return Err(format!("the text {text:?} contains a NUL character"));
        }
        place[..text.len()].copy_from_slice(text.as_bytes());
    }
    Ok(bytes)
}

/// The reverse of [`padded`].
fn unpadded(bytes: &[u8], size: usize) -> Raw<Vec<String>> {
    bytes
        .chunks_exact(size)
        .map(|place| {
            let end = place.iter().position(|b| *b == 0).unwrap_or(place.len());
            String::from_utf8(place[..end].to_vec()).map_err(|_| "not UTF-8 text".to_string())
        })
        .collect()
}

/// Writes an attribute of null-terminated ASCII text of fixed length.
fn write_mark(at: &Location, name: &str, text: &str) -> Raw<()> {
    let size = text.len() + 1;
    let bytes = padded(&[text.to_string()], size)?;
    let kind = text_type(size, true)?;
    let attr = at.new_attr_builder().empty_as(&kind).create(name).map_err(said)?;
    let done =
        hdf5::sync::sync(|| unsafe { h5a::H5Awrite(attr.id(), kind.id(), bytes.as_ptr().cast()) });
    if done < 0 { Err("the text was not taken".into()) } else { Ok(()) }
}

/// The type itself and its size in bytes, if it is text of fixed length.
fn text_size(kind: Datatype) -> Raw<(Datatype, usize)> {
    let size = hdf5::sync::sync(|| unsafe {
        let text = h5t::H5Tget_class(kind.id()) == h5t::H5T_class_t::H5T_STRING
            && h5t::H5Tis_variable_str(kind.id()) == 0;
        if text { h5t::H5Tget_size(kind.id()) } else { 0 }
    });
    // 1 GiB: no text of ours; a foreign file must not make us ask for memory without end.
    if size == 0 || size > 1 << 30 {
        return Err("text of fixed length expected".into());
    }
    Ok((kind, size))
}

/// Creates a 1-D text dataset, compressed and checksummed; `texts` is not empty.
pub(super) fn write_texts(at: &Group, name: &str, texts: &[String]) -> Raw<Dataset> {
    let size = texts.iter().map(String::len).max().unwrap_or(0) + 1;
    let bytes = padded(texts, size)?;
    let kind = text_type(size, texts.iter().all(|t| t.is_ascii()))?;
    let data = at
        .new_dataset_builder()
        .empty_as(&kind)
        .shape(texts.len())
        .chunk(texts.len())
        .obj_track_times(false)
        .deflate(1)
        .fletcher32()
        .create(name)
        .map_err(said)?;
    let done = hdf5::sync::sync(|| unsafe {
        h5d::H5Dwrite(
            data.id(),
            kind.id(),
            h5s::H5S_ALL,
            h5s::H5S_ALL,
            h5p::H5P_DEFAULT,
            bytes.as_ptr().cast(),
        )
    });
    if done < 0 { Err("the texts were not taken".into()) } else { Ok(data) }
}

/// The texts of a 1-D text dataset of at most `most` entries.
pub(super) fn read_texts(data: &Dataset, most: usize) -> Raw<Vec<String>> {
    let (kind, size) = text_size(data.dtype().map_err(said)?)?;
    let count = data.size();
    if data.ndim() != 1 || count > most {
        return Err(format!("a list of at most {most} texts expected"));
    }
    let length = count.checked_mul(size).filter(|n| *n <= 1 << 30).ok_or("too much text")?;
    let mut bytes = vec![0u8; length];
    let done = hdf5::sync::sync(|| unsafe {
        h5d::H5Dread(
            data.id(),
            kind.id(),
            h5s::H5S_ALL,
            h5s::H5S_ALL,
            h5p::H5P_DEFAULT,
            bytes.as_mut_ptr().cast(),
        )
    });
    if done < 0 {
        return Err("the texts cannot be read (checksum?)".into());
    }
    unpadded(&bytes, size)
}

/// Makes a 1-D dataset a dimension scale.
pub(super) fn make_scale(data: &Dataset, name: &str) -> Raw<()> {
    write_mark(data, "CLASS", "DIMENSION_SCALE")?;
    write_mark(data, "NAME", if name.is_ascii() { name } else { "axis" })
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
