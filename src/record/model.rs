//! Everything that one run says, as one value: written to HDF5, read back, shown.

use crate::experiment::{Outcome, Sheet};
use crate::extract::Verdict;
use crate::mesh::Mesh;

/// One run, complete or in progress.
#[derive(Debug, Clone)]
pub struct RunRecord {
    pub title: String,
    /// Name of the case (file stem).
    pub case_name: String,
    /// Case text, verbatim.
    pub case_text: String,
    /// Constants in force: (law, key, value, unit).
    pub constants: Vec<ConstantInForce>,
    /// Laws in force: (property, law).
    pub laws: Vec<(String, String)>,
    /// Ambient \[K\] and width \[µm\].
    pub temperature: f64,
    pub width: f64,
    pub provenance: Provenance,
    pub mesh: Mesh,
    /// Equilibrium potential \[V\] by node; empty if not solved yet.
    pub equilibrium: Vec<f64>,
    pub experiments: Vec<Outcome>,
    pub verdict: Option<Verdict>,
    /// What follows from several experiments (the lumped model), by name; empty if nothing.
    pub extract: Sheet,
    /// While a run over temperatures is under way: those that are done.
    pub temperatures: Vec<Sheet>,
    /// Points followed along numbers, rules solved, spreads.
    pub follows: Vec<Sheet>,
    pub rules: Vec<Sheet>,
    pub spreads: Vec<Sheet>,
    /// Warnings of the whole run (structure, mesh).
    pub warnings: Vec<String>,
    /// False while the run is under way or was interrupted.
    pub complete: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub struct ConstantInForce {
    pub law: String,
    pub key: String,
    pub value: f64,
    pub unit: String,
    /// The case gave it.
    pub overridden: bool,
}

/// Who made this result.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Provenance {
    /// Program version, with the revision if known.
    pub version: String,
    /// E.g. "x86_64 linux".
    pub machine: String,
    pub threads: usize,
    /// UTC, ISO 8601.
    pub started: String,
    /// \[s\]
    pub wall: f64,
}
