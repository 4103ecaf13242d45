//! `holdpoint sweep run`: all cases of a sweep on this machine.

use std::ffi::OsString;
use std::path::PathBuf;
use std::time::Instant;

use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde_json::json;

use super::sweep::{failed, read};
use super::units::duration;
use super::{DONE, FAILED, INTERRUPTED, Interrupt, Io, Rooms, memory};
use crate::sweep::{self, Event, Folder, Pool, Summary, Sweep};

/// Run the cases of a sweep side by side on this machine
///
/// Does only what is missing: results of the same case text and program version are kept,
/// interrupted cases go on from their last checkpoint. Ctrl-C saves and ends; so does
/// losing the terminal. Several of these, also on several machines with a shared folder,
/// may work on one sweep.
#[derive(Debug, Args)]
pub(super) struct Run {
    /// Sweep file (TOML)
    #[arg(value_name = "SWEEP")]
    file: PathBuf,
    /// Folder of the sweep [default: results/<sweep name>]
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// Cases at the same time [default: as many as cores and memory allow]
    #[arg(short, long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    jobs: Option<u16>,
    /// Threads of a case; the result does not depend on it
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: u16,
    /// Print one JSON document at the end
    #[arg(long)]
    json: bool,
    /// Show no progress
    #[arg(short, long)]
    quiet: bool,
}

impl Run {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let sweep = match read(&self.file, true, rooms, io) {
            Ok(sweep) => sweep,
            Err(code) => return code,
        };
        let folder = self.output.as_deref().map_or_else(|| Folder::of(&sweep), Folder::new);
        if let Err(e) = folder.begin(&sweep) {
            return failed(&e, io);
        }
        folder.tidy();
        let program = match std::env::current_exe() {
            Ok(program) => program,
            Err(e) => return failed(&format!("where this program lies is not known: {e}"), io),
        };
        let jobs = self.jobs.map_or_else(|| room(&sweep, self.threads), usize::from);
        let mut args: Vec<OsString> = vec!["sweep".into(), "task".into(), self.file.into()];
        args.extend(["--output".into(), folder.path().into(), "--serve".into()]);
        args.extend(["--threads".into(), self.threads.to_string().into()]);
        let pool = Pool { program, args, workers: jobs };
        let interrupt = Interrupt::on_signals();
        let cases: Vec<usize> = (0..sweep.count).collect();
        let started = Instant::now();
        let mut show = Show::new(&sweep, jobs, self.quiet, io);
        let summary = pool.run(&cases, &|| interrupt.is_set(), &mut |event| {
            // A process that died could not note it itself.
            if let Event::Failed(k, why) = event
                && why.starts_with("its process")
            {
                folder.note_failure(&sweep.case_name(*k), why);
            }
            show.event(event);
        });
        show.end();
        let wall = started.elapsed().as_secs_f64();
        if self.json {
            io.print_json(&document(&sweep, &folder, &summary, wall));
        } else {
            let said = told(&sweep, &folder, &summary, wall);
            io.print(&said);
        }
        if interrupt.is_set() {
            INTERRUPTED
        } else if summary.failed.is_empty() && summary.stopped.is_empty() && summary.left == 0 {
            DONE
        } else {
            FAILED
        }
    }
}

/// Cases at once on this machine.
fn room(sweep: &Sweep, threads: u16) -> usize {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    fits(cores, threads, sweep::bytes(sweep), memory::available())
}

/// One per core and thread, as many as half again their memory fits; one at least.
fn fits(cores: usize, threads: u16, bytes: f64, free: Option<f64>) -> usize {
    let by_cores = (cores / usize::from(threads).max(1)).max(1);
    match free {
        Some(free) if bytes > 0.0 => by_cores.min(((free / (1.5 * bytes)) as usize).max(1)),
        _ => by_cores,
    }
}

fn document(sweep: &Sweep, folder: &Folder, summary: &Summary, wall: f64) -> serde_json::Value {
    let list = |pairs: &[(usize, String)]| -> Vec<serde_json::Value> {
        pairs
            .iter()
            .map(|(k, why)| json!({ "index": k, "case": sweep.case_name(*k), "reason": why }))
            .collect()
    };
    json!({
        "sweep": sweep.name,
        "folder": folder.path().display().to_string(),
        "cases": sweep.count,
        "done": summary.done,
        "kept": summary.kept,
        "stopped": list(&summary.stopped),
        "failed": list(&summary.failed),
        "elsewhere": list(&summary.elsewhere),
        "left": summary.left,
        "case_seconds": summary.seconds,
        "beside_solving_s": summary.beside,
        "wall_s": wall,
    })
}

fn told(sweep: &Sweep, folder: &Folder, s: &Summary, wall: f64) -> String {
    let mut text = format!(
        "{}: {} of {} cases run, {} kept, {} stopped early, {} failed, {} left, in {}\n",
        sweep.name,
        s.done + s.stopped.len(),
        sweep.count,
        s.kept,
        s.stopped.len(),
        s.failed.len(),
        s.left,
        duration(wall)
    );
    for (word, list) in
        [("failed", &s.failed), ("stopped", &s.stopped), ("elsewhere", &s.elsewhere)]
    {
        for (k, why) in list.iter().take(50) {
            text += &format!("  {word:<9} {}: {why}\n", sweep.case_name(*k));
        }
        if list.len() > 50 {
            text +=
                &format!("  … and {} more ({word}): `holdpoint sweep status`\n", list.len() - 50);
        }
    }
    text + &format!("results in {}\n", folder.cases().display())
}

/// Progress over all cases.
struct Show<'a, 'io> {
    sweep: &'a Sweep,
    bar: Option<ProgressBar>,
    quiet: bool,
    io: &'io mut Io,
    since: Instant,
    workers: usize,
    running: Vec<usize>,
    ended: usize,
    ran: usize,
    failed: usize,
    /// Twentieths that were said.
    said: usize,
}

impl<'a, 'io> Show<'a, 'io> {
    fn new(sweep: &'a Sweep, workers: usize, quiet: bool, io: &'io mut Io) -> Show<'a, 'io> {
        let bar = (io.err_terminal && !quiet).then(|| {
            let target = ProgressDrawTarget::stderr_with_hz(8);
            let bar = ProgressBar::with_draw_target(Some(sweep.count as u64), target);
            let style = ProgressStyle::with_template("{prefix} [{bar:24}] {pos}/{len} {wide_msg}");
            bar.set_style(
                style.unwrap_or_else(|_| ProgressStyle::default_bar()).progress_chars("=> "),
            );
            bar.set_prefix(sweep.name.clone());
            bar
        });
        let since = Instant::now();
        let running = Vec::new();
        Show {
            sweep,
            bar,
            quiet,
            io,
            since,
            workers,
            running,
            ended: 0,
            ran: 0,
            failed: 0,
            said: 0,
        }
    }

    fn event(&mut self, event: &Event) {
        let (index, bad) = match event {
            Event::Started(k) => {
                self.running.push(*k);
                self.draw();
                return;
            }
            Event::Failed(k, why) => (*k, Some(format!("failed: {why}"))),
            Event::Stopped(k, why) => (*k, Some(format!("stopped early: {why}"))),
            Event::Done(k, _) | Event::Kept(k) | Event::Interrupted(k) | Event::Elsewhere(k, _) => {
                (*k, None)
            }
        };
        self.running.retain(|r| *r != index);
        self.ended += 1;
        self.ran += usize::from(matches!(event, Event::Done(..) | Event::Stopped(..)));
        if let Some(what) = bad {
            self.failed += 1;
            let line = format!("{}: {what}", self.sweep.case_name(index));
            match &self.bar {
                Some(bar) => bar.println(line),
                None if self.quiet => {}
                None => self.io.say(&(line + "\n")),
            }
        }
        self.draw();
    }

    fn draw(&mut self) {
        let total = self.sweep.count;
        let gone = self.since.elapsed().as_secs_f64();
        let left = match self.ran {
            0 => "time left unknown".to_string(),
            n => {
                let rest = total.saturating_sub(self.ended) as f64;
                format!("about {} left", duration(gone / n as f64 * rest))
            }
        };
        let failed = match self.failed {
            0 => String::new(),
            n => format!(", {n} failed or stopped"),
        };
        if let Some(bar) = &self.bar {
            let now = self.running.first().map_or(String::new(), |k| self.sweep.case_name(*k));
            bar.set_position(self.ended as u64);
            bar.set_message(format!("{} at once{failed}, {left}; {now}", self.running.len()));
            return;
        }
        let twentieth = self.ended * 20 / total.max(1);
        if twentieth > self.said && !self.quiet {
            self.said = twentieth;
            let line = format!(
                "{}: {} of {total} cases{failed}, {} at once, {left}\n",
                self.sweep.name, self.ended, self.workers
            );
            self.io.say(&line);
        }
    }

    fn end(&mut self) {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::fits;

    #[test]
    fn cases_at_once_follow_cores_and_memory() {
        let gib = 1_073_741_824.0;
        assert_eq!(fits(8, 1, gib, Some(64.0 * gib)), 8);
        assert_eq!(fits(8, 3, gib, Some(64.0 * gib)), 2);
        // Three take 4.5 of 5 GiB with their half again.
        assert_eq!(fits(8, 1, gib, Some(5.0 * gib)), 3);
        // A case is tried even if it may not fit.
        assert_eq!((fits(8, 1, gib, Some(0.1 * gib)), fits(2, 4, gib, None)), (1, 1));
    }
}
