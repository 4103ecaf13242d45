//! Cases side by side: worker processes that are told which case to run, one at a time.
//! A worker that dies takes one case with it, not the sweep.

use std::ffi::OsString;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// How workers are started.
#[derive(Debug, Clone)]
pub struct Pool {
    pub program: PathBuf,
    /// A worker reads numbers of cases from its input, one a line, and answers each with a
    /// line `NUMBER WORD SECONDS BESIDE REASON`; it ends when its input does.
    pub args: Vec<OsString>,
    pub workers: usize,
}

/// Wall time of a case \[s\].
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Took {
    pub seconds: f64,
    /// Of it for everything but meshing and solving: looks at its files, claim,
    /// checkpoints, result.
    pub beside: f64,
}

/// What became of a case.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    Started(usize),
    /// Run to its end, in that time.
    Done(usize, Took),
    /// The result was there.
    Kept(usize),
    /// Run to its end, but a trace stopped early: why.
    Stopped(usize, String),
    Failed(usize, String),
    /// Another process is at work on it: which.
    Elsewhere(usize, String),
    Interrupted(usize),
}

/// What became of all cases.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Summary {
    pub done: usize,
    pub kept: usize,
    /// Seconds of the cases that were run, added up.
    pub seconds: f64,
    /// Of them beside meshing and solving.
    pub beside: f64,
    pub stopped: Vec<(usize, String)>,
    pub failed: Vec<(usize, String)>,
    pub elsewhere: Vec<(usize, String)>,
    /// Interrupted or not begun.
    pub left: usize,
}

/// Worker deaths in a row after which no other is started.
const DEATHS: usize = 5;

struct Shared {
    queue: Mutex<Vec<usize>>,
    /// Inputs of the workers: closing them ends the workers at their next point.
    inputs: Mutex<Vec<Option<ChildStdin>>>,
    stop: AtomicBool,
}

impl Pool {
    /// Runs the cases. Ends early, with every worker's state saved, once `stop` says so.
    pub fn run(
        &self,
        cases: &[usize],
        stop: &dyn Fn() -> bool,
        on: &mut dyn FnMut(&Event),
    ) -> Summary {
        let mut summary = Summary::default();
        self.pass(cases, stop, on, &mut summary);
        // Cases that were another's then may have been given up since.
        if !summary.elsewhere.is_empty() && !stop() {
            let again: Vec<usize> =
                std::mem::take(&mut summary.elsewhere).into_iter().map(|(k, _)| k).collect();
            self.pass(&again, stop, on, &mut summary);
        }
        let ended = summary.done
            + summary.kept
            + summary.stopped.len()
            + summary.failed.len()
            + summary.elsewhere.len();
        summary.left = cases.len().saturating_sub(ended);
        summary
    }

    fn pass(
        &self,
        cases: &[usize],
        stop: &dyn Fn() -> bool,
        on: &mut dyn FnMut(&Event),
        summary: &mut Summary,
    ) {
        let workers = self.workers.clamp(1, cases.len().max(1));
        let shared = Arc::new(Shared {
            queue: Mutex::new(cases.iter().rev().copied().collect()),
            inputs: Mutex::new((0..workers).map(|_| None).collect()),
            stop: AtomicBool::new(false),
        });
        let (send, receive) = channel();
        let threads: Vec<_> = (0..workers)
            .map(|k| {
                let (pool, shared, send) = (self.clone(), shared.clone(), send.clone());
                std::thread::spawn(move || pool.serve(k, &shared, &send))
            })
            .collect();
        drop(send);
        loop {
            match receive.recv_timeout(Duration::from_millis(100)) {
                Ok(event) => {
                    summary.note(&event);
                    on(&event);
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            if stop() && !shared.stop.swap(true, Ordering::SeqCst) {
                close_all(&shared);
            }
        }
        for thread in threads {
            // A panic there was printed; its case counts as left over.
            let _ = thread.join();
        }
    }

    /// One worker after another, each until it dies or there is nothing left.
    fn serve(&self, k: usize, shared: &Shared, send: &Sender<Event>) {
        let mut deaths = 0;
        while deaths < DEATHS && !shared.stop.load(Ordering::SeqCst) {
            let Some(first) = take(shared) else { return };
            let tell = |event| drop(send.send(event));
            let mut child = match self.start() {
                Ok(child) => child,
                Err(e) => {
                    deaths += 1;
                    tell(Event::Failed(first, format!("no worker could be started: {e}")));
                    continue;
                }
            };
            put_input(shared, k, child.stdin.take());
            let Some(out) = child.stdout.take() else { continue };
            let mut lines = BufReader::new(out).lines();
            let mut next = Some(first);
            while let Some(case) = next {
                tell(Event::Started(case));
                let answer = match ask(shared, k, case) {
                    true => lines.next().and_then(Result::ok),
                    false => None,
                };
                let Some(answer) = answer else {
                    put_input(shared, k, None);
                    let ended = child.wait().map_or_else(|e| e.to_string(), |s| s.to_string());
                    if shared.stop.load(Ordering::SeqCst) {
                        tell(Event::Interrupted(case));
                    } else {
                        deaths += 1;
                        tell(Event::Failed(case, format!("its process ended: {ended}")));
                    }
                    break;
                };
                let event = parse(case, &answer);
                let ends = event == Event::Interrupted(case);
                tell(event);
                if ends {
                    // The worker was told to end, perhaps with the whole sweep: wait for
                    // that to be known before another is started.
                    std::thread::sleep(Duration::from_millis(250));
                    deaths += 1;
                    break;
                }
                deaths = 0;
                next = take(shared);
            }
            put_input(shared, k, None);
            let _ = child.wait();
        }
    }

    fn start(&self) -> std::io::Result<Child> {
        Command::new(&self.program)
            .args(&self.args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
    }
}

fn take(shared: &Shared) -> Option<usize> {
    if shared.stop.load(Ordering::SeqCst) {
        return None;
    }
    shared.queue.lock().ok()?.pop()
}

fn put_input(shared: &Shared, k: usize, input: Option<ChildStdin>) {
    if let Ok(mut inputs) = shared.inputs.lock()
        && let Some(place) = inputs.get_mut(k)
    {
        *place = input;
    }
    // Between the start of a worker and this line the sweep may have been stopped.
    if shared.stop.load(Ordering::SeqCst) {
        close_all(shared);
    }
}

fn close_all(shared: &Shared) {
    if let Ok(mut inputs) = shared.inputs.lock() {
        inputs.iter_mut().for_each(|i| *i = None);
    }
}

fn ask(shared: &Shared, k: usize, case: usize) -> bool {
    let Ok(mut inputs) = shared.inputs.lock() else { return false };
    match inputs.get_mut(k) {
        Some(Some(input)) => writeln!(input, "{case}").and_then(|()| input.flush()).is_ok(),
        _ => false,
    }
}

/// The event that a worker's answer stands for.
fn parse(case: usize, answer: &str) -> Event {
    let mut parts = answer.splitn(5, ' ');
    let (number, word) = (parts.next(), parts.next());
    let mut time = || parts.next().and_then(|s| s.parse().ok()).unwrap_or(0.0);
    let took = Took { seconds: time(), beside: time() };
    let reason = parts.next().unwrap_or("").to_string();
    if number.and_then(|n| n.parse().ok()) != Some(case) {
        return Event::Failed(case, format!("its process answered nonsense: {answer}"));
    }
    match word {
        Some("done") => Event::Done(case, took),
        Some("kept") => Event::Kept(case),
        Some("stopped") => Event::Stopped(case, reason),
        Some("elsewhere") => Event::Elsewhere(case, reason),
        Some("interrupted") => Event::Interrupted(case),
        _ => Event::Failed(case, reason),
    }
}

impl Event {
    /// The line that [`Pool`] expects from a worker.
    pub fn line(&self) -> String {
        let flat = |text: &str| text.replace(['\n', '\r'], " ");
        match self {
            Event::Started(k) => format!("{k} started 0 0 "),
            Event::Done(k, t) => format!("{k} done {} {} ", t.seconds, t.beside),
            Event::Kept(k) => format!("{k} kept 0 0 "),
            Event::Stopped(k, why) => format!("{k} stopped 0 0 {}", flat(why)),
            Event::Failed(k, why) => format!("{k} failed 0 0 {}", flat(why)),
            Event::Elsewhere(k, why) => format!("{k} elsewhere 0 0 {}", flat(why)),
            Event::Interrupted(k) => format!("{k} interrupted 0 0 "),
        }
    }
}

impl Summary {
    /// Counts an event.
    pub fn note(&mut self, event: &Event) {
        match event {
            Event::Started(_) | Event::Interrupted(_) => {}
            Event::Done(_, took) => {
                self.done += 1;
                self.seconds += took.seconds;
                self.beside += took.beside;
            }
            Event::Kept(_) => self.kept += 1,
            Event::Stopped(k, why) => self.stopped.push((*k, why.clone())),
            Event::Failed(k, why) => self.failed.push((*k, why.clone())),
            Event::Elsewhere(k, why) => self.elsewhere.push((*k, why.clone())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_come_back_as_they_were_sent() {
        for event in [
            Event::Done(3, Took { seconds: 1.25, beside: 0.5 }),
            Event::Kept(0),
            Event::Stopped(7, "no voltage minimum was met".into()),
            Event::Failed(1, "disk full".into()),
            Event::Elsewhere(2, "process 4 on five".into()),
            Event::Interrupted(9),
        ] {
            let (Event::Done(k, _)
            | Event::Kept(k)
            | Event::Stopped(k, _)
            | Event::Failed(k, _)
            | Event::Elsewhere(k, _)
            | Event::Interrupted(k)
            | Event::Started(k)) = event;
            assert_eq!(parse(k, &event.line()), event);
        }
        assert!(matches!(parse(1, "2 done 0 0 "), Event::Failed(1, _)));
        assert!(matches!(parse(1, ""), Event::Failed(1, _)));
    }
}
