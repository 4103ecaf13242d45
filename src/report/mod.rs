//! What a result looks like: the self-contained page, figures for papers, the cross-section
//! and the mesh. Reads records, solves nothing.

mod axis;
mod chart;
mod chart_table;
mod compare;
mod contour;
mod curves;
mod draw;
mod escape;
mod families;
mod figures;
mod flow;
mod heat;
mod ink;
mod labels;
mod map_sets;
mod maps;
mod outline;
mod page;
mod raster;
mod section;
mod svg;
mod sweep;
mod tables;
pub(crate) mod units;

use crate::case::{Case, Problem};
use crate::mesh;
use crate::record::{Gathered, RunRecord};
use crate::structure::{SampleLines, Structure};

pub(crate) use curves::shown_unit;
pub use draw::Drawing;
pub use figures::{figure, names};
pub use flow::stream;
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

/// Names of the figures of several results together: their curves over each other.
pub fn overlay_names(items: &[Item]) -> Vec<String> {
    compare::drawings(items).into_iter().map(|f| f.0).collect()
}

/// One figure of several results together.
pub fn overlay(items: &[Item], name: &str) -> Option<Drawing> {
    compare::drawings(items).into_iter().find(|f| f.0 == name).map(|f| f.1)
}

/// Names of the figures of a gathered sweep.
pub fn sweep_names(gathered: &Gathered, some: &[Item]) -> Vec<String> {
    sweep::names(gathered, some)
}

/// One figure of a gathered sweep.
pub fn sweep_figure(gathered: &Gathered, some: &[Item], name: &str) -> Option<Drawing> {
    sweep::figure(gathered, some, name)
}

/// Names of the cases of a sweep whose curves its page shows.
pub fn sweep_cases(gathered: &Gathered) -> Vec<String> {
    families::wanted(gathered)
}

/// The page of a gathered sweep; `some` of its cases give families of curves.
pub fn sweep_page(gathered: &Gathered, some: &[Item]) -> String {
    sweep::gathered(gathered, some)
}

/// The cross-section of a case, `lines` with its mesh drawn in; also of one that is wrong as
/// a circuit (a short, a floating island), so that this can be seen.
///
/// # Errors
/// What keeps it from being meshed.
pub fn draw_case(case: &Case, lines: bool) -> Result<Drawing, Vec<Problem>> {
    let (structure, _) = Structure::unchecked(case)?;
    let mesh = match lines {
        true => mesh::build(case, &structure)?.0,
        // Lines for the eye: they see every tail, and no node is missing for want of budget.
        false => {
            let SampleLines { x, y } = SampleLines::new(case, &structure);
            let mut down: Vec<f64> = structure.gates().iter().map(|g| -g.oxide).collect();
            down.sort_by(f64::total_cmp);
            down.dedup_by(|b, a| *b - *a < 1e-9);
            down.extend(y);
            mesh::on_lines(case, &structure, mesh::Lines { x, y: down })?
        }
    };
    let name = if case.title.is_empty() { "Cross-section" } else { &case.title };
    Ok(section::section(&mesh, Some(case), name, lines))
}

/// A drawing as an SVG document of its own.
pub fn to_svg(drawing: &Drawing) -> String {
    svg::svg(drawing, true, "figure")
}
