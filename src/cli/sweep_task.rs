//! `holdpoint sweep task`: some cases of a sweep, one after the other, in this process.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use clap::Args;

use super::sweep::{failed, read};
use super::{BAD_INPUT, DONE, FAILED, INTERRUPTED, Interrupt, Io, Job, Rooms, RunError, Watch};
use crate::experiment::Status;
use crate::record::{self, Checkpointer};
use crate::sweep::{ClaimError, Event, Folder, Summary, Sweep, Took, claim};

/// Run some cases of a sweep in this process (what a cluster's tasks do)
///
/// For `sweep slurm` and for other engines: `--shard i/n` runs every n-th case from the
/// i-th on. Finished cases are kept, interrupted ones go on, cases that another process is
/// at work on are left to it. TERM, INT and HUP save at the next point and end with 130.
#[derive(Debug, Args)]
pub(super) struct Task {
    /// Sweep file (TOML)
    #[arg(value_name = "SWEEP")]
    file: PathBuf,
    /// Folder of the sweep [default: results/<sweep name>]
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// Run this case, counted from 0 as `sweep plan` does (may be given several times)
    #[arg(long, value_name = "N", conflicts_with = "shard")]
    index: Vec<usize>,
    /// Run cases I, I + N, I + 2 N, …; I counts from 0
    #[arg(long, value_name = "I/N", value_parser = shard)]
    shard: Option<(usize, usize)>,
    /// Threads of a case; the result does not depend on it
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: u16,
    /// Read the numbers of cases from the input, answer each with a line
    #[arg(long, hide = true, conflicts_with_all = ["index", "shard"])]
    serve: bool,
}

fn shard(text: &str) -> Result<(usize, usize), String> {
    let wrong = || "write it as I/N with I from 0 to N - 1, e.g. 0/8".to_string();
    let (i, n) = text.split_once('/').ok_or_else(wrong)?;
    match (i.parse(), n.parse()) {
        (Ok(i), Ok(n)) if i < n => Ok((i, n)),
        _ => Err(wrong()),
    }
}

impl Task {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let sweep = match read(&self.file, false, rooms, io) {
            Ok(sweep) => sweep,
            Err(code) => return code,
        };
        let folder = self.output.as_deref().map_or_else(|| Folder::of(&sweep), Folder::new);
        if let Some(k) = self.index.iter().find(|k| **k >= sweep.count) {
            io.error(&format!(
                "there is no case {k}: the sweep has {}, counted from 0",
                sweep.count
            ));
            return BAD_INPUT;
        }
        if !self.serve && self.index.is_empty() && self.shard.is_none() {
            io.error("say which cases: --index N or --shard I/N");
            return BAD_INPUT;
        }
        let threads = usize::from(self.threads);
        super::make_pool(threads);
        let worker = Worker { sweep: &sweep, folder: &folder, threads, rooms };
        if self.serve {
            let interrupt = Interrupt::on_signals_silently();
            return worker.serve(&interrupt, io);
        }
        if let Err(e) = folder.begin(&sweep) {
            return failed(&e, io);
        }
        let interrupt = Interrupt::on_signals();
        let cases: Vec<usize> = match self.shard {
            Some((i, n)) => (i..sweep.count).step_by(n).collect(),
            None => self.index,
        };
        let mut summary = Summary::default();
        for &index in &cases {
            if interrupt.is_set() {
                break;
            }
            let event = worker.case(index, &interrupt, io);
            let name = sweep.case_name(index);
            match &event {
                Event::Done(_, took) => io.note(&format!("{name}: done in {:.1} s", took.seconds)),
                Event::Stopped(_, why) => io.error(&format!("{name}: stopped: {why}")),
                Event::Failed(_, why) => io.error(&format!("{name}: {why}")),
                Event::Elsewhere(_, who) => io.note(&format!("{name}: {who}")),
                Event::Kept(_) => io.note(&format!("{name}: complete already")),
                Event::Interrupted(_) => io.note(&format!("{name}: interrupted and saved")),
                Event::Started(_) => {}
            }
            summary.note(&event);
        }
        if interrupt.is_set() {
            INTERRUPTED
        } else if summary.failed.is_empty() && summary.stopped.is_empty() {
            DONE
        } else {
            FAILED
        }
    }
}

struct Worker<'a> {
    sweep: &'a Sweep,
    folder: &'a Folder,
    threads: usize,
    rooms: &'a dyn Rooms,
}

impl Worker<'_> {
    /// Answers each number on the input. When the input ends (the parent has no more to do,
    /// or is gone) the case under way is saved and the worker ends.
    fn serve(&self, interrupt: &Interrupt, io: &mut Io) -> u8 {
        let numbers = input(interrupt);
        for index in numbers {
            let event = match index < self.sweep.count {
                true => self.case(index, interrupt, io),
                false => Event::Failed(index, "there is no such case".into()),
            };
            io.print(&(event.line() + "\n"));
            if interrupt.is_set() {
                return INTERRUPTED;
            }
        }
        DONE
    }

    /// Runs one case, or finds that there is no need.
    fn case(&self, index: usize, interrupt: &Interrupt, io: &mut Io) -> Event {
        let begun = Instant::now();
        let name = self.sweep.case_name(index);
        let fail = |why: String| {
            self.folder.note_failure(&name, &why);
            Event::Failed(index, why)
        };
        let text = match self.sweep.case_text(index) {
            Ok(text) => text,
            Err(problem) => return fail(problem.text),
        };
        let output = self.folder.result(&name);
        let done = || output.exists() && self.folder.fit(&output, &text).is_ok();
        if done() {
            return Event::Kept(index);
        }
        let held = match claim(&self.folder.claim(&name)) {
            Ok(held) => held,
            Err(ClaimError::Held(holder)) => {
                let who = format!("process {} on {} is at work on it", holder.pid, holder.host);
                return Event::Elsewhere(index, who);
            }
            Err(e) => return fail(e.to_string()),
        };
        // Between the look and the claim another may have finished it.
        if done() {
            return Event::Kept(index);
        }
        let (event, solving) = self.claimed(index, &name, &output, interrupt, io);
        match &event {
            Event::Failed(_, why) => self.folder.note_failure(&name, why),
            Event::Done(..) | Event::Stopped(..) => self.folder.forget_failure(&name),
            _ => {}
        }
        drop(held);
        match event {
            Event::Done(index, mut took) => {
                took.beside = begun.elapsed().saturating_sub(solving).as_secs_f64();
                Event::Done(index, took)
            }
            other => other,
        }
    }

    /// What became of it, and how long meshing and solving took.
    fn claimed(
        &self,
        index: usize,
        name: &str,
        output: &Path,
        interrupt: &Interrupt,
        io: &mut Io,
    ) -> (Event, Duration) {
        let started = Instant::now();
        let without = |event| (event, Duration::ZERO);
        let case = match self.sweep.case(index) {
            Ok((case, _)) => case,
            Err(problems) => {
                let first = problems.first().map(|p| p.text.clone()).unwrap_or_default();
                return without(Event::Failed(index, format!("the case is no good: {first}")));
            }
        };
        let partial = record::partial_path(output);
        let resume = match self.folder.fit(&partial, &case.text) {
            Ok(()) => record::read(&partial).ok(),
            Err(_) => None,
        };
        let (threads, bars) = (self.threads, None);
        let job = Job { case: &case, name, threads, fields: 0, bars, sensitivities: false, resume };
        let mut watch = Watch::new(output, name, true, interrupt.clone(), io);
        let running = Instant::now();
        let ended = self.rooms.run(&job, &mut watch);
        let solving = running.elapsed().saturating_sub(watch.writing());
        let event = match (ended, watch.end()) {
            (Err(why), Some(checkpoint)) => {
                // What there is is kept; the failure is what counts.
                let _ = checkpoint.save();
                Event::Failed(index, said(why))
            }
            (Err(why), None) => Event::Failed(index, said(why)),
            (Ok(()), Some(checkpoint)) => finished(index, checkpoint, started),
            (Ok(()), None) if interrupt.is_set() => Event::Interrupted(index),
            (Ok(()), None) => Event::Failed(index, "the run ended without a record".into()),
        };
        (event, solving)
    }
}

fn said(why: RunError) -> String {
    match why {
        RunError::Failed(why) => why,
        RunError::Input(problems) => problems.first().map(|p| p.text.clone()).unwrap_or_default(),
    }
}

/// Puts the record of a run that ended without an error in its place.
fn finished(index: usize, checkpoint: Checkpointer, started: Instant) -> Event {
    let waiting = |s: &Status| matches!(s, Status::Interrupted | Status::Waiting);
    if checkpoint.record().experiments.iter().any(|e| waiting(&e.status)) {
        return match checkpoint.save() {
            Err(e) => Event::Failed(index, e.to_string()),
            Ok(()) => Event::Interrupted(index),
        };
    }
    let record = match checkpoint.finish() {
        Ok(record) => record,
        Err(e) => return Event::Failed(index, e.to_string()),
    };
    let stopped: Vec<String> = record
        .experiments
        .iter()
        .filter(|e| !e.status.reason().is_empty())
        .map(|e| format!("{}: {}", e.kind, e.status.reason()))
        .collect();
    match stopped.is_empty() {
        true => {
            let seconds = started.elapsed().as_secs_f64();
            Event::Done(index, Took { seconds, beside: 0.0 })
        }
        false => Event::Stopped(index, stopped.join("; ")),
    }
}

/// The numbers on the input; its end interrupts what is under way.
fn input(interrupt: &Interrupt) -> Receiver<usize> {
    let (send, receive) = channel();
    let interrupt = interrupt.clone();
    std::thread::spawn(move || {
        for line in std::io::stdin().lines() {
            let Some(number) = line.ok().and_then(|l| l.trim().parse().ok()) else { break };
            if send.send(number).is_err() {
                break;
            }
        }
        interrupt.set();
    });
    receive
}
