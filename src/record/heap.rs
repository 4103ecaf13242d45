//! The global heaps of a result, where the HDF5 library keeps texts. They are the one part
//! of its metadata without a checksum, and the library (1.10.8) walks them without looking:
//! a length that leads out of a collection was seen to crash it. So their lengths are
//! checked here first.
//!
//! Layout: HDF5 File Format Specification, section III.E (Global Heap).

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::opened::in_blocks;

/// Signature and version. The zero words after it are left out: the library does not look.
const BEGIN: &[u8; 5] = b"GCOL\x01";
/// Bytes of a collection's head, and of an object's.
const HEAD: u64 = 16;

/// Says what is wrong with the first collection that does not hold together.
pub(super) fn check(file: &mut File, length: u64) -> io::Result<Result<(), String>> {
    let mut begins = Vec::new();
    in_blocks(file, length, BEGIN.len() - 1, |at, block| {
        let mut from = 0;
        while let Some(k) = block[from..].iter().position(|b| *b == BEGIN[0]) {
            from += k;
            if block[from..].starts_with(BEGIN) {
                begins.push(at + from as u64);
            }
            from += 1;
        }
    })?;
    for at in begins {
        if let Err(what) = collection(file, at, length)? {
            return Ok(Err(format!("{what} in the heap at byte {at}")));
        }
    }
    Ok(Ok(()))
}

/// Objects follow each other up to the collection's end; number 0 is the free rest.
fn collection(file: &mut File, at: u64, length: u64) -> io::Result<Result<(), String>> {
    let bad = |what: &str| Ok(Err(what.to_string()));
    let Some(size) = word(file, at + 8, length)? else { return bad("a cut head") };
    if size < HEAD || size > length.saturating_sub(at) {
        return bad("a length that leads out of the file");
    }
    let mut seen = std::collections::HashSet::new();
    let mut from = HEAD;
    while from + HEAD <= size {
        let (Some(first), Some(bytes)) =
            (word(file, at + from, length)?, word(file, at + from + 8, length)?)
        else {
            return bad("a cut object");
        };
        let number = first as u16;
        // Objects are padded to 8 bytes; the length of the free rest counts its head.
        let need = match number {
            0 => Some(bytes),
            _ => bytes.checked_next_multiple_of(8).and_then(|b| b.checked_add(HEAD)),
        };
        match need {
            Some(n) if n >= HEAD && n <= size - from => from += n,
            _ => return bad("a text that leads out of its heap"),
        }
        if number != 0 && !seen.insert(number) {
            return bad("two texts of one number");
        }
    }
    Ok(Ok(()))
}

fn word(file: &mut File, at: u64, length: u64) -> io::Result<Option<u64>> {
    if at.checked_add(8).is_none_or(|end| end > length) {
        return Ok(None);
    }
    let mut bytes = [0; 8];
    file.seek(SeekFrom::Start(at))?;
    file.read_exact(&mut bytes)?;
    Ok(Some(u64::from_le_bytes(bytes)))
}
