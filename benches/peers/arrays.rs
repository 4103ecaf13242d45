//! One-dimensional NumPy arrays, little-endian: the format is fixed in NumPy's own
//! documentation (NEP 1, version 1.0).
#![allow(dead_code)] // readers and writers each use their share

use std::io;
use std::path::Path;

fn file(kind: &str, count: usize, data: impl Iterator<Item = u8>) -> Vec<u8> {
    let mut head = format!("{{'descr': '{kind}', 'fortran_order': False, 'shape': ({count},), }}");
    while !(10 + head.len() + 1).is_multiple_of(64) {
        head.push(' ');
    }
    head.push('\n');
    let mut out = b"\x93NUMPY\x01\x00".to_vec();
    out.extend((head.len() as u16).to_le_bytes());
    out.extend(head.bytes());
    out.extend(data);
    out
}

pub fn save(path: &Path, values: &[f64]) -> io::Result<()> {
    std::fs::write(path, file("<f8", values.len(), values.iter().flat_map(|v| v.to_le_bytes())))
}

pub fn save_numbers(path: &Path, values: &[u32]) -> io::Result<()> {
    std::fs::write(path, file("<u4", values.len(), values.iter().flat_map(|v| v.to_le_bytes())))
}

/// The bytes after the header.
fn data(path: &Path, kind: &str) -> io::Result<Vec<u8>> {
    let wrong = || io::Error::other(format!("{}: not an array of {kind}", path.display()));
    let bytes = std::fs::read(path)?;
    let length = bytes.get(8..10).ok_or_else(wrong)?;
    let start = 10 + usize::from(u16::from_le_bytes([length[0], length[1]]));
    let head = bytes.get(10..start).ok_or_else(wrong)?;
    if !bytes.starts_with(b"\x93NUMPY\x01") || !String::from_utf8_lossy(head).contains(kind) {
        return Err(wrong());
    }
    Ok(bytes[start..].to_vec())
}

pub fn load(path: &Path) -> io::Result<Vec<f64>> {
    Ok(data(path, "<f8")?.as_chunks::<8>().0.iter().map(|b| f64::from_le_bytes(*b)).collect())
}

pub fn load_numbers(path: &Path) -> io::Result<Vec<u32>> {
    Ok(data(path, "<u4")?.as_chunks::<4>().0.iter().map(|b| u32::from_le_bytes(*b)).collect())
}
