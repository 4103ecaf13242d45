//! The head of a result: enough to know whether it is the one that is wanted.

use std::path::Path;

use hdf5::File;

use super::RecordError;
use super::names::SCHEMA;
use super::source::Shelf;

/// Where a result or checkpoint comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Head {
    /// Program version that wrote it.
    pub version: String,
    pub case_text: String,
    /// False for a checkpoint.
    pub complete: bool,
    /// Wall time [s].
    pub wall: f64,
}

/// Reads the head alone. The seal is not checked: a file under a result's name was put
/// there whole; whoever reads the rest of it checks the rest.
///
/// # Errors
/// [`RecordError::Io`], [`RecordError::Foreign`], [`RecordError::Damaged`].
pub fn head(path: &Path) -> Result<Head, RecordError> {
    let foreign = |detail: String| RecordError::Foreign { path: path.to_path_buf(), detail };
    std::fs::metadata(path).map_err(|e| RecordError::io(path, "reading the result", e))?;
    let file = File::open(path).map_err(|e| foreign(format!("not a whole HDF5 file: {e}")))?;
    let group = file.group("/").map_err(|e| foreign(e.to_string()))?;
    let root = Shelf::open(path, group, String::new())?;
    if root.maybe_text("schema") != Some(SCHEMA) {
        return Err(foreign("its schema is another".into()));
    }
    Ok(Head {
        version: root.text("version")?.to_string(),
        case_text: root.text("case_text")?.to_string(),
        complete: root.flag("complete")?,
        wall: root.number("wall_s")?,
    })
}
