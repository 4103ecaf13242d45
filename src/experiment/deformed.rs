//! The case with one number changed, on the mesh moved with it.

use crate::case::{Case, read_beside, set_path};
use crate::mesh::{Lines, Mesh, moved_lines, on_lines};
use crate::structure::Structure;
use std::path::Path;

use super::variant::{Variant, first};

/// `case` with the number at `path` set to `value` (plain unit of the key; for a slide its
/// motion \[µm\]). `mesh` is the mesh of `case`; the new one has the same lines, moved with
/// the layout.
///
/// # Errors
/// In words: no such key, a case that is wrong with this value, a layout whose edges change
/// their order.
pub fn deformed(case: &Case, mesh: &Mesh, path: &str, value: f64) -> Result<Variant, String> {
    let after = with_value(case, path, value)?;
    on_moved_lines(case, mesh, after)
}

/// The case with the number at `path` changed. Errors: as [`deformed`].
pub fn with_value(case: &Case, path: &str, value: f64) -> Result<Case, String> {
    let text = set_path(&case.text, path, &format!("{value:?}")).map_err(|e| e.to_string())?;
    read_beside(&text, Path::new(&case.path)).map(|(case, _)| case).map_err(first)
}

/// The case `after` on the lines of `before`'s mesh, moved. Errors: as [`deformed`].
pub fn on_moved_lines(before: &Case, mesh: &Mesh, after: Case) -> Result<Variant, String> {
    let lines = moved_lines(before, &after, &Lines::of(mesh))
        .ok_or_else(|| "edges of the layout would change their order".to_string())?;
    let (structure, _) = Structure::new(&after).map_err(first)?;
    let mesh = on_lines(&after, &structure, lines).map_err(first)?;
    Ok(Variant { case: after, mesh })
}
