//! The head of a result: enough to know whether it is the one that is wanted.

use std::path::Path;

use super::RecordError;
use super::names::{SCHEMA, SCHEMA_VERSION};
use super::opened::Opened;

/// Where a result or checkpoint comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Head {
    /// Program version that wrote it.
    pub version: String,
    pub case_text: String,
    /// False for a checkpoint.
    pub complete: bool,
    /// Wall time \[s\].
    pub wall: f64,
}

/// Reads the head alone. The seal of the whole file is checked all the same: the HDF5
/// library is not trusted with a damaged one.
///
/// # Errors
/// Those of [`super::read`].
pub fn head(path: &Path) -> Result<Head, RecordError> {
    let file = Opened::new(path)?;
    let root = file.root(SCHEMA, SCHEMA_VERSION)?;
    Ok(Head {
        version: root.text("version")?.to_string(),
        case_text: root.text("case_text")?.to_string(),
        complete: root.flag("complete")?,
        wall: root.number("wall_s")?,
    })
}
