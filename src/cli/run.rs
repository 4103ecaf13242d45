//! `holdpoint run`.

use std::path::PathBuf;

use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use serde_json::Value;

use super::check::say;
use super::run_plan::{Plan, Start, plans};
use super::{
    BAD_INPUT, DONE, FAIL_ON, FAILED, INTERRUPTED, Interrupt, Io, Job, Rooms, RunError, Watch,
    summary, visible,
};
use crate::experiment::{Cover, Status};
use crate::record::{self, Checkpointer, RunRecord};

/// Run cases: trace the curves, give the verdict, write the result
///
/// Each case's result goes to `results/<case name>.h5`, or to the file named with -o. A
/// partial result is saved while the run goes on, beside it under the name
/// `….h5.partial`: Ctrl-C ends a run at its next point, and `--resume` goes on from
/// there. An existing result is not replaced without `--force`. A summary ends with the
/// verdict; `show --details` prints all there is.
#[derive(Debug, Args)]
pub(super) struct Run {
    /// Case files (TOML)
    #[arg(required = true, value_name = "CASE")]
    pub(super) cases: Vec<PathBuf>,
    /// Write the result to this file, in a folder that exists (one case only)
    #[arg(short, long, value_name = "FILE.h5")]
    pub(super) output: Option<PathBuf>,
    /// Print one JSON document on stdout instead of the summary (several cases: a list)
    #[arg(long)]
    json: bool,
    /// Threads to use; the result does not depend on it [default: all cores]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Go on from the partial result of an interrupted run, if there is one
    #[arg(long)]
    pub(super) resume: bool,
    /// Replace an existing result, start over in spite of a partial one
    #[arg(long, conflicts_with = "resume")]
    pub(super) force: bool,
    /// Keep the fields of N more points of each curve beside those of the folds
    #[arg(long, value_name = "N", default_value_t = 0)]
    fields: u16,
    /// Give each figure an error bar, from solving again on a coarser and a finer mesh
    /// (about six times the work); with `=cut` also again in a cut with 1.5 times the depth
    /// and side margins. `--resume` adds bars to a result that is there
    #[arg(long, value_name = "COVER", num_args = 0..=1, require_equals = true,
          default_missing_value = "mesh", value_parser = cover())]
    pub(super) error_bars: Option<Cover>,
    /// Give the derivative of each trigger, holding and critical point by every number of the
    /// case: doping, depths, positions, slides, lifetimes, temperature, resistances
    #[arg(long)]
    sensitivities: bool,
    /// Exit with code 3 if the verdict is this one (may be given several times)
    #[arg(long, value_name = "ANSWER", value_parser = PossibleValuesParser::new(ANSWERS))]
    fail_on: Vec<String>,
    /// Show no progress
    #[arg(short, long)]
    quiet: bool,
}

/// The words of [`crate::extract::Answer::word`]; a test compares them.
const ANSWERS: [&str; 4] = ["no-on-state", "not-reached", "latches", "undecided"];

/// What error bars are to cover, from its word.
fn cover() -> impl TypedValueParser<Value = Cover> {
    let words = [Cover::Mesh, Cover::Cut].map(Cover::word);
    PossibleValuesParser::new(words).map(|word| Cover::from_word(&word).unwrap_or(Cover::Mesh))
}

impl Run {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let plans = match plans(&self, rooms, io) {
            Ok(plans) => plans,
            Err(code) => return code,
        };
        let threads = match self.threads {
            Some(n) => usize::from(n),
            None => std::thread::available_parallelism().map_or(1, usize::from),
        };
        super::make_pool(threads);
        let interrupt = Interrupt::on_signals();
        let mut documents = Vec::new();
        let mut codes = Vec::new();
        let single = plans.len() == 1;
        for plan in plans {
            // Ctrl-C in the last step of one case is still a wish to end.
            if interrupt.is_set() {
                codes.push(INTERRUPTED);
                break;
            }
            let (code, record) = self.one(plan, threads, &interrupt, rooms, io);
            if let Some(record) = &record {
                if self.json {
                    documents.push(record::to_json(record));
                } else {
                    io.print_styled(&summary::record(&visible::record(record), io.out_columns));
                }
            }
            codes.push(code);
        }
        match documents.len() {
            0 => {}
            1 if single => io.print_json(&documents.remove(0)),
            _ => io.print_json(&Value::Array(documents)),
        }
        let worst = [INTERRUPTED, BAD_INPUT, FAIL_ON, FAILED];
        worst.into_iter().find(|c| codes.contains(c)).unwrap_or(DONE)
    }

    /// Runs one case: its exit code and what there is of its record.
    fn one(
        &self,
        mut plan: Plan,
        threads: usize,
        interrupt: &Interrupt,
        rooms: &dyn Rooms,
        io: &mut Io,
    ) -> (u8, Option<RunRecord>) {
        let resume = match std::mem::replace(&mut plan.start, Start::New) {
            Start::Done(record) => {
                io.note(&format!("{} is complete already", plan.output.display()));
                return (self.code(&record), Some(*record));
            }
            Start::From(record) => Some(*record),
            Start::New => None,
        };
        let fields = usize::from(self.fields);
        let (case, name, bars) = (&plan.case, plan.name.as_str(), self.error_bars);
        let sensitivities = self.sensitivities;
        let job = Job { case, name, threads, fields, bars, sensitivities, resume };
        let mut watch = Watch::new(&plan.output, &plan.name, self.quiet, interrupt.clone(), io);
        let ended = rooms.run(&job, &mut watch);
        let checkpoint = watch.end();
        if let Err(RunError::Input(problems)) = &ended {
            say(rooms, problems, &plan.case.text, &plan.path, io);
            return (BAD_INPUT, None);
        }
        let failed = match ended {
            Err(RunError::Failed(what)) => {
                io.error(&format!("{}: {what}", plan.path.display()));
                true
            }
            _ => false,
        };
        let Some(checkpoint) = checkpoint else {
            return (if interrupt.is_set() { INTERRUPTED } else { FAILED }, None);
        };
        let waiting = |s: &Status| matches!(s, Status::Interrupted | Status::Waiting);
        let unfinished = checkpoint
            .record()
            .experiments
            .iter()
            .any(|e| waiting(&e.status) || e.next_rerun().is_some())
            || (plan.case.verdict.is_some() && checkpoint.record().verdict.is_none());
        if failed || unfinished {
            return self.keep(checkpoint, interrupt.is_set(), &plan, io);
        }
        let whole = checkpoint.record().clone();
        match checkpoint.finish() {
            Ok(record) => {
                if !self.quiet {
                    io.note(&format!("{}: result in {}", plan.name, plan.output.display()));
                }
                for (k, e) in record.experiments.iter().enumerate() {
                    if let Status::Stopped(reason) = &e.status {
                        io.error(&format!(
                            "{}: experiment {k} ({}) stopped: {reason}",
                            plan.path.display(),
                            e.kind
                        ));
                    }
                }
                (self.code(&record), Some(record))
            }
            Err(e) => {
                io.error(&e.to_string());
                (FAILED, Some(whole))
            }
        }
    }

    /// Saves what there is of an unfinished run.
    fn keep(
        &self,
        checkpoint: Checkpointer,
        interrupted: bool,
        plan: &Plan,
        io: &mut Io,
    ) -> (u8, Option<RunRecord>) {
        match checkpoint.save() {
            Ok(()) => io.note(&format!(
                "{}: what was traced is in {}; --resume goes on from there",
                plan.name,
                checkpoint.partial().display()
            )),
            Err(e) => io.error(&e.to_string()),
        }
        let code = if interrupted { INTERRUPTED } else { FAILED };
        (code, Some(checkpoint.record().clone()))
    }

    /// The exit code of a finished run. A verdict that was asked about comes first: a
    /// trace that stopped early is one way to be `undecided`.
    fn code(&self, record: &RunRecord) -> u8 {
        let answer = record.verdict.as_ref().map(|v| v.answer.word());
        if answer.is_some_and(|a| self.fail_on.iter().any(|f| f == a)) {
            FAIL_ON
        } else if record.experiments.iter().any(|e| matches!(e.status, Status::Stopped(_))) {
            FAILED
        } else {
            DONE
        }
    }
}

#[cfg(test)]
mod tests {
    use super::ANSWERS;
    use crate::extract::Answer;

    #[test]
    fn the_answers_are_the_verdict_s() {
        let all = [Answer::NoOnState, Answer::NotReached, Answer::Latches, Answer::Undecided];
        assert_eq!(all.map(Answer::word), ANSWERS);
    }
}
