//! Follows, rules and spreads after the experiments of a run.

use super::{Job, Watch};
use crate::discretize::Device;
use crate::rule::answers;

/// Solves what the case asks for beyond its experiments and keeps it in the watch's record.
pub(super) fn ruled(job: &Job, device: &Device, watch: &mut Watch) {
    let case = job.case;
    if case.follows.is_empty() && case.rules.is_empty() && case.spreads.is_empty() {
        return;
    }
    let Some(record) = watch.record() else { return };
    let (mesh, outcomes) = (record.mesh.clone(), record.experiments.clone());
    watch.rerun("rules");
    let interrupt = watch.interrupt();
    let go_on = || !interrupt.is_set();
    let [follows, rules, spreads] = answers(case, &mesh, device, &outcomes, watch, &go_on);
    if let Some(record) = watch.record_mut() {
        record.follows = follows;
        record.rules = rules;
        record.spreads = spreads;
    }
}
