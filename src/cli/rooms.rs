//! What the verbs ask of the rooms to their left. `main` passes the real ones; tests
//! pass others.

use std::path::Path;

use serde_json::Value;

use super::Watch;
use crate::case::{Case, Problem};
use crate::experiment::Cover;
use crate::mesh::Mesh;
use crate::record::RunRecord;

/// A mesh with what there is to say about it.
pub struct Meshed {
    pub mesh: Mesh,
    /// Warnings of structure and mesh.
    pub warnings: Vec<Problem>,
    /// The quality report for people, several lines.
    pub report: String,
    /// The same for programs.
    pub report_json: Value,
}

/// What `run` asks for.
pub struct Job<'a> {
    pub case: &'a Case,
    /// Name of the case (file stem).
    pub name: &'a str,
    /// Threads in use, for the record.
    pub threads: usize,
    /// Keep the fields of this many points beside those of the folds.
    pub fields: usize,
    /// Error bars that are wanted.
    pub bars: Option<Cover>,
    /// Derivatives of the marked points by the numbers of the case.
    pub sensitivities: bool,
    /// Go on from here: complete experiments are kept, an interrupted one has a snapshot.
    pub resume: Option<RunRecord>,
}

/// Why a run ended without an answer. What was traced is in the [`Watch`].
pub enum RunError {
    /// Something is wrong with the case after all (a short found before meshing, say).
    Input(Vec<Problem>),
    /// The solver, or the disk under a checkpoint.
    Failed(String),
}

/// The rooms.
pub trait Rooms {
    /// Reads a case: the case and its warnings, or all that is wrong.
    fn read_case(&self, path: &Path) -> Result<(Case, Vec<Problem>), Vec<Problem>>;

    /// Problems for people: each with its place in the text.
    fn render(&self, problems: &[Problem], text: &str, path: &str, colour: bool) -> String;

    /// Problems for programs: a list with line, column, code, severity and text.
    fn problem_json(&self, problems: &[Problem], text: &str) -> Value;

    /// The JSON Schema of a case file.
    fn schema(&self) -> Value;

    /// Reads the cross-section as a circuit and meshes it.
    fn mesh(&self, case: &Case) -> Result<Meshed, Vec<Problem>>;

    /// Runs a case. Calls, in this order: [`Watch::phase`] as it goes along;
    /// [`Watch::start`] with the record once the mesh is there; for each experiment
    /// [`Watch::experiment`], then traces with the watch as keeper, then
    /// [`Watch::outcome`]; then fills in the verdict through [`Watch::record_mut`]; then
    /// makes the reruns for error bars, [`Watch::rerun`] and [`Watch::bar`] each. Stops after an outcome that was interrupted.
    fn run(&self, job: &Job, watch: &mut Watch) -> Result<(), RunError>;
}
