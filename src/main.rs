use std::path::Path;
use std::process::ExitCode;

use holdpoint::case::{Case, Problem};
use holdpoint::cli::{self, Job, Meshed, Rooms, RunError, Watch};
use serde_json::Value;

/// Stands where the real rooms come when they are joined: says so, does nothing.
struct NotJoined;

fn sorry() -> Vec<Problem> {
    vec![Problem::error("not-joined", None, "this build has neither case reader nor solver")]
}

impl Rooms for NotJoined {
    fn read_case(&self, _: &Path) -> Result<(Case, Vec<Problem>), Vec<Problem>> {
        Err(sorry())
    }

    fn render(&self, problems: &[Problem], _: &str, path: &str, _: bool) -> String {
        problems.iter().map(|p| format!("{path}: {}\n", p.text)).collect()
    }

    fn problem_json(&self, problems: &[Problem], _: &str) -> Value {
        problems.iter().map(|p| Value::from(p.text.clone())).collect()
    }

    fn schema(&self) -> Value {
        Value::Null
    }

    fn mesh(&self, _: &Case) -> Result<Meshed, Vec<Problem>> {
        Err(sorry())
    }

    fn run(&self, _: &Job, _: &mut Watch) -> Result<(), RunError> {
        Err(RunError::Input(sorry()))
    }
}

fn main() -> ExitCode {
    cli::main(&NotJoined)
}
