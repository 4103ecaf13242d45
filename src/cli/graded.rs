//! The mesh of a run: that of the structure or, if the case asks for it, one graded by a
//! first solution.

use super::joined::meshed;
use super::{Job, RunError, Watch};
use crate::case::{Case, Grading, Problem};
use crate::discretize::Device;
use crate::experiment::{GRADING_ROUNDS, Outcome, RunOptions, Status, graded_by, run_experiment};
use crate::mesh::{Lines, Mesh, on_lines};
use crate::silicon::Silicon;
use crate::solve::equilibrium;
use crate::structure::Structure;

/// The mesh and its warnings; `None` if interrupted.
pub(super) fn mesh_of(
    job: &Job,
    watch: &mut Watch,
) -> Result<Option<(Mesh, Vec<Problem>)>, RunError> {
    let case = job.case;
    watch.phase("mesh");
    let (structure, mesh, mut warnings) = meshed(case).map_err(RunError::Input)?;
    if !by_solution(case) {
        return Ok(Some((mesh, warnings)));
    }
    if let Some(earlier) = &job.resume {
        // The same lines as before the interruption: they were found then.
        let lines = Lines::of(&earlier.mesh);
        let mesh = on_lines(case, &structure, lines).map_err(RunError::Input)?;
        return Ok(Some((mesh, warnings)));
    }
    let mut mesh = mesh;
    for round in 1..=GRADING_ROUNDS {
        watch.line(&format!(
            "{} nodes to grade by, {} x {} lines (round {round} of {GRADING_ROUNDS})",
            mesh.nodes(),
            mesh.nx(),
            mesh.ny()
        ));
        let graded = regraded(case, &structure, &mesh, watch);
        if watch.interrupted() {
            watch.line("interrupted before the mesh was graded: there is nothing to keep yet");
            return Ok(None);
        }
        let why = match graded.map(|lines| on_lines(case, &structure, lines)) {
            Ok(Ok(finer)) => {
                mesh = finer;
                continue;
            }
            Ok(Err(problems)) => problems.first().map_or(String::new(), |p| p.text.clone()),
            Err(reason) => reason,
        };
        let text = match round {
            1 => format!("the mesh is that of the structure, not graded by the solution: {why}"),
            _ => format!("the mesh is graded by the solution once only: {why}"),
        };
        watch.line(&text);
        warnings.push(Problem::warning("not-graded", Some(case.grid.at.clone()), text));
        break;
    }
    Ok(Some((mesh, warnings)))
}

/// True if the case asks for such a mesh and leaves lines to choose.
pub(super) fn by_solution(case: &Case) -> bool {
    let given = case.grid.x.is_some() && case.grid.y.is_some();
    case.grid.grading == Grading::Solution && !given
}

/// Traces every experiment on `mesh` and grades its lines by what was found.
fn regraded(
    case: &Case,
    structure: &Structure,
    mesh: &Mesh,
    watch: &mut Watch,
) -> Result<Lines, String> {
    let device = Device::new(mesh, Silicon::of_case(case));
    let (state, _) =
        equilibrium(&device).map_err(|e| format!("the equilibrium could not be solved: {e}"))?;
    let count = case.experiments.len();
    let mut outcomes: Vec<Outcome> = Vec::new();
    for (k, experiment) in case.experiments.iter().enumerate() {
        watch.rerun(&format!("grading, {} ({} of {count})", experiment.kind.word(), k + 1));
        let options = RunOptions::default();
        let outcome = run_experiment(case, &device, &state, experiment, options, None, watch)
            .map_err(|e| e.to_string())?;
        if outcome.status == Status::Interrupted {
            return Err("interrupted".to_string());
        }
        outcomes.push(outcome);
    }
    watch.phase("grading, where lines matter");
    graded_by(case, structure, mesh, &outcomes, &mut |share| watch.share(share))
}
