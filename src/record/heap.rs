//! The global heaps of a result, where the HDF5 library keeps texts. They are the one part
//! of a file without a checksum, and the library (1.10.8) believes all that stands there: a
//! length that leads out of a heap, or a list's reference to a text that is not there, was
//! seen to crash it. So the heaps are checked before the library sees the file, and lists
//! of texts are read here and not by it.
//!
//! Layout: HDF5 File Format Specification, section III.E (Global Heap) and, for references,
//! the variable-length datatype in section IV.A.2.d.

use std::collections::HashMap;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::opened::in_blocks;

/// Signature and version. The zero words after it are left out: the library does not look.
const BEGIN: &[u8; 5] = b"GCOL\x01";
/// Bytes of a collection's head, and of an object's.
const HEAD: u64 = 16;
/// Bytes of a reference: length, collection, number.
pub(super) const REFERENCE: usize = 16;

/// Where each text of a file stands: collection and number to place and length.
#[derive(Debug, Default)]
pub(super) struct Heaps(HashMap<(u64, u32), (u64, u64)>);

impl Heaps {
    /// Finds all heaps; says what is wrong with the first that does not hold together.
    pub(super) fn read(file: &mut File, length: u64) -> io::Result<Result<Heaps, String>> {
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
        let mut heaps = Heaps::default();
        for at in begins {
            if let Err(what) = heaps.collection(file, at, length)? {
                return Ok(Err(format!("{what} in the heap at byte {at}")));
            }
        }
        Ok(Ok(heaps))
    }

    /// Objects follow each other up to the collection's end; number 0 is the free rest.
    fn collection(&mut self, file: &mut File, at: u64, end: u64) -> io::Result<Result<(), String>> {
        let bad = |what: &str| Ok(Err(what.to_string()));
        let Some(size) = word(file, at + 8, end)? else { return bad("a cut head") };
        if size < HEAD || size > end.saturating_sub(at) {
            return bad("a length that leads out of the file");
        }
        let mut from = HEAD;
        while from + HEAD <= size {
            let (Some(first), Some(bytes)) =
                (word(file, at + from, end)?, word(file, at + from + 8, end)?)
            else {
                return bad("a cut object");
            };
            let number = u32::from(first as u16);
            // Objects are padded to 8 bytes; the length of the free rest counts its head.
            let need = match number {
                0 => Some(bytes),
                _ => bytes.checked_next_multiple_of(8).and_then(|b| b.checked_add(HEAD)),
            };
            let Some(need) = need.filter(|n| *n >= HEAD && *n <= size - from) else {
                return bad("a text that leads out of its heap");
            };
            let place = (at + from + HEAD, bytes);
            if number != 0 && self.0.insert((at, number), place).is_some() {
                return bad("two texts of one number");
            }
            from += need;
        }
        Ok(Ok(()))
    }

    /// Place and length of the text that a reference stands for; `None` if there is none.
    pub(super) fn find(&self, reference: &[u8]) -> Option<(u64, u64)> {
        let (length, rest) = reference.split_first_chunk::<4>()?;
        let (heap, rest) = rest.split_first_chunk::<8>()?;
        let (number, _) = rest.split_first_chunk::<4>()?;
        let length = u64::from(u32::from_le_bytes(*length));
        if length == 0 {
            return Some((0, 0));
        }
        let key = (u64::from_le_bytes(*heap), u32::from_le_bytes(*number));
        let (at, there) = self.0.get(&key)?;
        (length <= *there).then_some((*at, length))
    }
}

/// `length` bytes at `at`.
pub(super) fn bytes_at(file: &mut File, at: u64, length: usize) -> io::Result<Vec<u8>> {
    let mut bytes = vec![0; length];
    file.seek(SeekFrom::Start(at))?;
    file.read_exact(&mut bytes)?;
    Ok(bytes)
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
