//! What a result looks like: the self-contained page, figures for papers, the cross-section
//! and the mesh. Reads records, solves nothing.

mod axis;
mod chart;
mod compare;
mod contour;
mod curves;
mod draw;
mod escape;
mod figures;
mod flow;
mod ink;
mod labels;
mod maps;
mod outline;
mod page;
mod raster;
mod section;
mod svg;
mod tables;
pub(crate) mod units;

use crate::case::Case;
use crate::mesh::Mesh;
use crate::record::RunRecord;

pub use draw::Drawing;
pub use figures::{figure, names};
pub use raster::png;

/// A result with the name it is shown by (its file's stem).
#[derive(Debug)]
pub struct Item {
    pub name: String,
    pub record: RunRecord,
}

/// The page of one result, or of several side by side.
pub fn page(items: &[Item]) -> String {
    match items {
        [one] => page::single(&one.record),
        _ => compare::several(items),
    }
}

/// The cross-section of a case on its mesh, `lines` with the mesh drawn in.
pub fn draw_section(case: &Case, mesh: &Mesh, lines: bool) -> Drawing {
    let name = if case.title.is_empty() { "Cross-section" } else { &case.title };
    section::section(mesh, Some(case), name, lines)
}

/// A drawing as an SVG document of its own.
pub fn to_svg(drawing: &Drawing) -> String {
    svg::svg(drawing, true, "figure")
}
