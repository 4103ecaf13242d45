//! Files that are whole or not there: temporary name, fsync, rename, fsync of the folder.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use super::RecordError;

/// Where the checkpoint of a run lies while it is under way: `NAME.h5.partial`.
pub fn partial_path(path: &Path) -> PathBuf {
    with_suffix(path, ".partial")
}

fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_os_string();
    name.push(suffix);
    PathBuf::from(name)
}

fn folder(path: &Path) -> &Path {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    }
}

/// Checks, before a long run, that its result can be written: the folder exists, a file
/// can be made in it, and no result is there already unless `force`.
///
/// # Errors
/// [`RecordError::NoFolder`], [`RecordError::Exists`], [`RecordError::Io`].
pub fn ensure_writable(path: &Path, force: bool) -> Result<(), RecordError> {
    let folder = folder(path);
    if !folder.is_dir() {
        let (path, folder) = (path.to_path_buf(), folder.to_path_buf());
        return Err(RecordError::NoFolder { path, folder });
    }
    if path.is_dir() || path.file_name().is_none() {
        let source = std::io::Error::from(std::io::ErrorKind::IsADirectory);
        return Err(RecordError::io(path, "writing the result", source));
    }
    if path.exists() && !force {
        return Err(RecordError::Exists { path: path.to_path_buf() });
    }
    let probe = temporary(path);
    let made = OpenOptions::new().write(true).create(true).truncate(true).open(&probe);
    made.map_err(|e| RecordError::io(path, "making a file in its folder", e))?;
    fs::remove_file(&probe).map_err(|e| RecordError::io(path, "removing a trial file", e))
}

fn temporary(path: &Path) -> PathBuf {
    with_suffix(path, &format!(".tmp-{}", std::process::id()))
}

/// Puts `bytes` at `path`, in one step as seen by others: either the old file or the
/// whole new one is there, also after a power cut.
///
/// # Errors
/// [`RecordError::NoFolder`], [`RecordError::Io`].
pub fn put(path: &Path, bytes: &[u8]) -> Result<(), RecordError> {
    let folder = folder(path);
    if !folder.is_dir() {
        let (path, folder) = (path.to_path_buf(), folder.to_path_buf());
        return Err(RecordError::NoFolder { path, folder });
    }
    let temp = temporary(path);
    let placed = place(&temp, path, bytes);
    if placed.is_err() {
        // The half-written file says nothing; the first error is the one to report.
        let _ = fs::remove_file(&temp);
    }
    placed
}

fn place(temp: &Path, path: &Path, bytes: &[u8]) -> Result<(), RecordError> {
    let fail = |doing| move |e| RecordError::io(path, doing, e);
    let mut file = File::create(temp).map_err(fail("making the file"))?;
    file.write_all(bytes).map_err(fail("writing the result"))?;
    file.sync_all().map_err(fail("writing the result to disk"))?;
    drop(file);
    fs::rename(temp, path).map_err(fail("giving the result its name"))?;
    sync_folder(path)
}

/// Makes names in the folder of `path` last a power cut.
pub(super) fn sync_folder(path: &Path) -> Result<(), RecordError> {
    let fail = |e| RecordError::io(path, "writing its folder to disk", e);
    File::open(folder(path)).and_then(|f| f.sync_all()).map_err(fail)
}
