//! The case on another mesh or in another cut.

use crate::case::{Case, Problem};
use crate::mesh::{Lines, Mesh, joined, on_lines};
use crate::structure::Structure;

use super::bars::Change;
use super::wider::wider;

/// A case and the mesh to solve it on.
#[derive(Debug, Clone)]
pub struct Variant {
    pub case: Case,
    pub mesh: Mesh,
}

impl Variant {
    /// The relative of a case on its own mesh, `lines`.
    ///
    /// # Errors
    /// Why there is none: the larger cut has a short, the coarser mesh joins what the layout
    /// keeps apart.
    pub fn new(case: &Case, lines: &Lines, change: Change) -> Result<Variant, String> {
        let (case, lines) = match change {
            Change::Finer => (case.clone(), lines.halved()),
            Change::Coarser => {
                let kept = Lines::kept(case, &structure(case)?);
                (case.clone(), lines.thinned(&kept))
            }
            Change::Wider => {
                let w = wider(case, lines);
                (w.case, w.lines)
            }
        };
        let mesh = on_lines(&case, &structure(&case)?, lines).map_err(first)?;
        // A relative on which an island of the layout is none is no relative.
        if let Some(problem) = joined(&case, &mesh) {
            return Err(problem.text);
        }
        Ok(Variant { case, mesh })
    }
}

fn structure(case: &Case) -> Result<Structure, String> {
    Structure::new(case).map(|(s, _)| s).map_err(first)
}

/// The first error in words; the others mostly follow from it.
pub(super) fn first(problems: Vec<Problem>) -> String {
    let error = problems.iter().find(|p| p.severity == crate::case::Severity::Error);
    error.map_or_else(|| "the case or its mesh could not be made".to_string(), |p| p.text.clone())
}
