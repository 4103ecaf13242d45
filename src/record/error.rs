//! What can go wrong between a run and its file.

use std::io;
use std::path::{Path, PathBuf};

/// Says what, where, and what would be right.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// A result is there already.
    #[error("{}: a result is there already; --force replaces it, -o names another file", .path.display())]
    Exists { path: PathBuf },
    /// The folder of the file is missing.
    #[error(
        "{}: the folder {} does not exist; make it, or name another file with -o",
        .path.display(), .folder.display()
    )]
    NoFolder { path: PathBuf, folder: PathBuf },
    /// The operating system refused.
    #[error("{}: {doing} failed: {source}{}", .path.display(), hint(.source))]
    Io { path: PathBuf, doing: &'static str, source: io::Error },
    /// Not an HDF5 file, or not one of ours.
    #[error(
        "{}: not a result file of holdpoint ({detail}); `holdpoint run` writes one", .path.display()
    )]
    Foreign { path: PathBuf, detail: String },
    /// Ours, in a layout that this program does not know.
    #[error(
        "{}: written with result schema {found}, this program reads {known}; read it with the version that wrote it{}",
        .path.display(), if .by.is_empty() { String::new() } else { format!(" ({by})") }
    )]
    OtherSchema { path: PathBuf, found: String, known: String, by: String },
    /// Truncated or altered.
    #[error("{}: damaged at {at}: {detail}; restore a copy or run the case again", .path.display())]
    Damaged { path: PathBuf, at: String, detail: String },
    /// The record contradicts itself and cannot be written.
    #[error("the record cannot be written, at {at}: {detail}")]
    Unfit { at: String, detail: String },
}

fn hint(e: &io::Error) -> &'static str {
    match e.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "; free some space or name a file on another disk with -o"
        }
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "; allow writing there or name another file with -o"
        }
        io::ErrorKind::FileTooLarge => "; raise the limit on file sizes (ulimit -f)",
        io::ErrorKind::NotFound => "; is the name right?",
        _ => "",
    }
}

impl RecordError {
    pub(super) fn io(path: &Path, doing: &'static str, source: io::Error) -> RecordError {
        RecordError::Io { path: path.to_path_buf(), doing, source }
    }

    pub(super) fn unfit(at: impl Into<String>, detail: impl Into<String>) -> RecordError {
        RecordError::Unfit { at: at.into(), detail: detail.into() }
    }
}
