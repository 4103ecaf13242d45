//! A file from anywhere, opened. The HDF5 library only sees it once its seal fits and its
//! texts' heaps hold together, and what is then read from it is counted: a few bytes that
//! stand for many must not fill the memory.

use std::cell::{Cell, RefCell};
use std::fs;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use super::heap::{Heaps, REFERENCE};
use super::source::Shelf;
use super::{RecordError, heap, seal};

type Got<T> = Result<T, RecordError>;

/// What may be read from a file of `length` bytes. Fields compress to a half or less, a
/// field of zeros to a thousandth (measured on shipped cases: a whole result to 0.3); a
/// result that gives this much was not written by a run.
fn allowance(length: u64) -> u64 {
    length.saturating_mul(50).saturating_add(256 << 20)
}

pub(super) const NO_TEXT: &str = "no UTF-8 text";
pub(super) const TOO_MUCH: &str = "it stands for more than a file of this size can hold";

/// A sealed file and what may still be read from it.
pub(super) struct Opened {
    pub(super) path: PathBuf,
    file: hdf5::File,
    bytes: RefCell<fs::File>,
    length: u64,
    heaps: Heaps,
    left: Cell<u64>,
}

impl Opened {
    /// # Errors
    /// [`RecordError::Io`], [`RecordError::Foreign`] without our seal,
    /// [`RecordError::Damaged`] if the seal does not fit.
    pub(super) fn new(path: &Path) -> Got<Opened> {
        // The system's own words for a missing or unreadable file are better than the
        // library's.
        let fail = |e| RecordError::io(path, "reading the result", e);
        let foreign = |detail: String| RecordError::Foreign { path: path.to_path_buf(), detail };
        let about = fs::metadata(path).map_err(fail)?;
        if about.is_dir() {
            return Err(foreign("it is a folder".into()));
        }
        if !about.is_file() {
            return Err(foreign("it is a device or a pipe, not a file".into()));
        }
        let mut bytes = fs::File::open(path).map_err(fail)?;
        let damaged = |at: &str, detail: String| RecordError::Damaged {
            path: path.to_path_buf(),
            at: at.into(),
            detail,
        };
        match seal::check_file(&mut bytes, about.len()).map_err(fail)? {
            seal::Seal::Whole => {}
            seal::Seal::Missing => {
                let detail =
                    "it does not end with our seal: another program's file, or its end is missing";
                return Err(foreign(detail.into()));
            }
            seal::Seal::Broken => {
                let detail = "the checksum does not fit: bytes were changed since it was written";
                return Err(damaged("its seal", detail.into()));
            }
        }
        let heaps = Heaps::read(&mut bytes, about.len()).map_err(fail)?;
        let heaps = heaps.map_err(|detail| damaged("its texts", detail))?;
        let file = hdf5::File::open(path);
        let file = file.map_err(|e| foreign(format!("not a whole HDF5 file: {e}")))?;
        Ok(Opened {
            path: path.to_path_buf(),
            file,
            bytes: RefCell::new(bytes),
            length: about.len(),
            heaps,
            left: Cell::new(allowance(about.len())),
        })
    }

    /// The root, of this schema and this major version.
    pub(super) fn root(&self, schema: &str, version: [u32; 2]) -> Got<Shelf<'_>> {
        let foreign = |detail: String| RecordError::Foreign { path: self.path.clone(), detail };
        let group = self.file.group("/").map_err(|e| foreign(e.to_string()))?;
        let root = Shelf::open(self, group, String::new())?;
        match root.maybe_text("schema") {
            Some(found) if found == schema => {}
            Some(other) => return Err(foreign(format!("its schema is {other:?}"))),
            None => return Err(foreign("it has no text attribute `schema`".into())),
        }
        let found = root.vector::<u32>("schema_version", 2)?;
        if found.first() != version.first() {
            return Err(RecordError::OtherSchema {
                path: self.path.clone(),
                found: found.iter().map(u32::to_string).collect::<Vec<_>>().join("."),
                known: format!("{}.x", version[0]),
                by: root.maybe_text("version").unwrap_or_default().to_string(),
            });
        }
        Ok(root)
    }

    /// The texts whose `count` references stand at byte `at`, or what is wrong with them.
    pub(super) fn texts(&self, at: u64, count: usize) -> Result<Vec<String>, String> {
        let size = count as u64 * REFERENCE as u64;
        if at.checked_add(size).is_none_or(|end| end > self.length) {
            return Err("it does not stand in the file".into());
        }
        let mut file = self.bytes.borrow_mut();
        let mut read = |at, n| heap::bytes_at(&mut file, at, n).map_err(|e| e.to_string());
        let references = read(at, size as usize)?;
        let mut texts = Vec::new();
        for reference in references.chunks_exact(REFERENCE) {
            let (at, length) = self.heaps.find(reference).ok_or("a text is not there")?;
            if !self.takes(length) {
                return Err(TOO_MUCH.into());
            }
            let text = String::from_utf8(read(at, length as usize)?);
            texts.push(text.map_err(|_| NO_TEXT)?);
        }
        Ok(texts)
    }

    /// Counts `bytes` that are about to be read; false if they are too many.
    pub(super) fn takes(&self, bytes: u64) -> bool {
        match self.left.get().checked_sub(bytes) {
            Some(left) => {
                self.left.set(left);
                true
            }
            None => false,
        }
    }
}

/// Calls `each` with all bytes of a file up to `length`, in blocks, each with the place
/// of its first byte; a block repeats the last `overlap` bytes of the one before.
pub(super) fn in_blocks(
    file: &mut fs::File,
    length: u64,
    overlap: usize,
    mut each: impl FnMut(u64, &[u8]),
) -> io::Result<()> {
    const BLOCK: usize = 1 << 20;
    file.seek(SeekFrom::Start(0))?;
    let (mut block, mut kept, mut at) = (vec![0; BLOCK + overlap], 0, 0u64);
    while at < length {
        let next = usize::try_from(length - at).map_or(BLOCK, |n| n.min(BLOCK));
        file.read_exact(&mut block[kept..kept + next])?;
        let end = kept + next;
        each(at - kept as u64, &block[..end]);
        at += next as u64;
        kept = overlap.min(end);
        block.copy_within(end - kept..end, 0);
    }
    Ok(())
}
