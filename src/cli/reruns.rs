//! The reruns behind error bars: every experiment once more on a coarser and a finer mesh
//! and, if asked, in a larger cut.

use super::{Job, RunError, Watch};
use crate::case::ExperimentKind;
use crate::discretize::{Device, State};
use crate::experiment::{Change, Outcome, Rerun, RunOptions, Status, Variant, run_experiment};
use crate::mesh::Lines;
use crate::silicon::Silicon;
use crate::solve::equilibrium;

/// Makes the reruns that the outcomes of the watch's record still lack. Ends early, with
/// what there is saved, when interrupted. A rerun that fails is a reason why a bar is
/// missing, not an error.
pub(super) fn reruns(job: &Job, watch: &mut Watch) -> Result<(), RunError> {
    let Some(record) = watch.record() else { return Ok(()) };
    let lines = Lines::of(&record.mesh);
    loop {
        let Some(record) = watch.record() else { return Ok(()) };
        let Some(change) = record.experiments.iter().find_map(Outcome::next_rerun) else {
            return Ok(());
        };
        if watch.interrupted() {
            return Ok(());
        }
        if !all_with(job, watch, &lines, change)? {
            return Ok(());
        }
    }
}

/// All experiments with one change; false if interrupted.
fn all_with(job: &Job, watch: &mut Watch, lines: &Lines, change: Change) -> Result<bool, RunError> {
    watch.phase(&format!("error bars, {}", change.plain()));
    let solved = Variant::new(job.case, lines, change).and_then(|variant| {
        let device = Device::new(&variant.mesh, Silicon::of_case(&variant.case));
        watch.line(&format!("error bars, {}: {} nodes", change.plain(), variant.mesh.nodes()));
        let (state, _) = equilibrium(&device)
            .map_err(|e| format!("the equilibrium could not be solved: {e}"))?;
        Ok((variant, device, state))
    });
    let count = job.case.experiments.len();
    for k in 0..count {
        let earlier = watch.record().and_then(|r| r.experiments.get(k));
        let Some(earlier) = earlier.filter(|o| o.next_rerun() == Some(change)) else { continue };
        let points = earlier.points().len();
        if watch.interrupted() {
            return Ok(false);
        }
        let rerun = match &solved {
            Err(reason) => Rerun::failed(change, 0, points, reason),
            Ok(solved) => {
                watch.rerun(&format!(
                    "error bars, {}: {} ({} of {count})",
                    change.plain(),
                    earlier.kind,
                    k + 1
                ));
                let made = one(solved, k, watch)?;
                if made.status == Status::Interrupted {
                    return Ok(false);
                }
                Rerun::of(change, solved.0.mesh.nodes(), &made)
            }
        };
        watch.bar(k, rerun).map_err(|e| RunError::Failed(e.to_string()))?;
    }
    Ok(true)
}

fn one(
    (variant, device, state): &(Variant, Device, State),
    k: usize,
    watch: &mut Watch,
) -> Result<Outcome, RunError> {
    let experiment = variant.case.experiments.get(k);
    let experiment = experiment
        .ok_or_else(|| RunError::Failed("an outcome belongs to no experiment".to_string()))?;
    let options = RunOptions::default();
    // Only the points count here, not what a transient makes of them.
    let mut experiment = experiment.clone();
    if let ExperimentKind::Injection { confirm, .. } = &mut experiment.kind {
        *confirm = false;
    }
    run_experiment(&variant.case, device, state, &experiment, options, None, watch)
        .map_err(|e| RunError::Failed(e.to_string()))
}
