//! `holdpoint sweep`: what its parts share, and `plan` and `status`.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde_json::json;

use super::check::say;
use super::sweep_gather::Gather;
use super::sweep_run::Run;
use super::sweep_slurm::Slurm;
use super::sweep_task::Task;
use super::units::duration;
use super::{BAD_INPUT, DONE, FAILED, Io, Rooms};
use crate::sweep::{self, Basis, Estimate, Folder};

/// Many cases made from one: plan, run here or on a cluster, gather
///
/// A sweep file names a base case and the keys that vary (`holdpoint schema --sweep`).
/// Every case has a result of its own under `results/<sweep name>/cases/`; whatever stops,
/// the same command goes on where it was. docs/sweeps.md explains it.
#[derive(Debug, Args)]
pub(super) struct Sweep {
    #[command(subcommand)]
    part: Part,
}

#[derive(Debug, Subcommand)]
enum Part {
    Plan(Plan),
    Run(Run),
    Slurm(Slurm),
    Status(Status),
    Gather(Gather),
    Task(Task),
}

impl Sweep {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        match self.part {
            Part::Plan(part) => part.run(rooms, io),
            Part::Run(part) => part.run(rooms, io),
            Part::Slurm(part) => part.run(rooms, io),
            Part::Status(part) => part.run(rooms, io),
            Part::Gather(part) => part.run(rooms, io),
            Part::Task(part) => part.run(rooms, io),
        }
    }
}

/// Reads a sweep file and looks for values that do not fit; on trouble it is said, and the
/// exit code comes back.
pub(super) fn read(
    path: &Path,
    probe: bool,
    rooms: &dyn Rooms,
    io: &mut Io,
) -> Result<sweep::Sweep, u8> {
    let sweep = sweep::Sweep::read(path).map_err(|problems| {
        let text = crate::case::load(path).unwrap_or_default();
        say(rooms, &problems, &text, path, io);
        BAD_INPUT
    })?;
    if !probe {
        return Ok(sweep);
    }
    /// More bad cases than this are counted, not shown.
    const SHOWN: usize = 3;
    let mut bad = 0;
    for index in sweep.probes() {
        let Err(problems) = sweep.case(index) else { continue };
        bad += 1;
        if bad <= SHOWN {
            io.error(&format!("case {index} ({}) is no good:", sweep.case_name(index)));
            let text = sweep.case_text(index).unwrap_or_default();
            say(rooms, &problems, &text, &sweep.base_path, io);
        }
    }
    match bad {
        0 => Ok(sweep),
        n => {
            io.error(&format!(
                "{n} of the cases looked at are no good; change the axes or the base case"
            ));
            Err(BAD_INPUT)
        }
    }
}

/// The sweep and its folder from a sweep file or the folder of one.
pub(super) fn locate(
    path: &Path,
    folder: Option<&Path>,
    rooms: &dyn Rooms,
    io: &mut Io,
) -> Result<(sweep::Sweep, Folder), u8> {
    if path.is_dir() {
        let folder = Folder::new(path);
        return match folder.sweep() {
            Ok(sweep) => Ok((sweep, folder)),
            Err(problems) => {
                say(rooms, &problems, "", path, io);
                Err(BAD_INPUT)
            }
        };
    }
    let sweep = read(path, false, rooms, io)?;
    let folder = folder.map_or_else(|| Folder::of(&sweep), Folder::new);
    Ok((sweep, folder))
}

/// Time and memory of a case, and what that rests on.
pub(super) fn estimate(sweep: &sweep::Sweep, folder: &Folder) -> (Estimate, String) {
    let e = sweep::estimate(sweep, folder);
    let (low, high) = (duration(e.low), duration(e.high));
    let how = match e.basis {
        Basis::Results(n) => format!("{low} to {high} in {n} results that are there"),
        Basis::Steps => {
            format!(
                "likely {low} to {high}, from Newton steps timed now; one finished case makes it better"
            )
        }
        Basis::Formula => {
            format!(
                "by formula, likely {low} to {high} on a fast core; one finished case makes it better"
            )
        }
    };
    (e, how)
}

/// Memory for people.
pub(super) fn mebibytes(bytes: f64) -> String {
    format!("{:.0} MiB", (bytes / 1_048_576.0).ceil())
}

/// Say which cases a sweep has, and what they will take
///
/// Reads the sweep and its base case and checks every path and value against the case. For
/// the time it looks at results that are there, or takes some Newton steps of the middle
/// case on a small mesh (0.1 s). Writes nothing.
#[derive(Debug, Args)]
struct Plan {
    /// Sweep file (TOML)
    #[arg(value_name = "SWEEP")]
    file: PathBuf,
    /// Folder of the sweep [default: results/<sweep name>]
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// List every case, not only the first and last ones
    #[arg(long)]
    all: bool,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
}

impl Plan {
    fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let sweep = match read(&self.file, true, rooms, io) {
            Ok(sweep) => sweep,
            Err(code) => return code,
        };
        let folder = self.output.as_deref().map_or_else(|| Folder::of(&sweep), Folder::new);
        let (e, how) = estimate(&sweep, &folder);
        let total = e.seconds * sweep.count as f64;
        let all = self.all || self.json;
        let listed: Vec<usize> = match all || sweep.count <= 12 {
            true => (0..sweep.count).collect(),
            false => (0..6).chain(sweep.count - 3..sweep.count).collect(),
        };
        if self.json {
            let from = match e.basis {
                Basis::Results(_) => "results",
                Basis::Steps => "newton-steps",
                Basis::Formula => "formula",
            };
            let axes: Vec<_> = sweep
                .axes
                .iter()
                .map(|a| {
                    let values: Vec<_> = a.levels.iter().map(|l| &l.toml).collect();
                    json!({ "path": a.path, "name": a.short, "unit": a.unit, "values": values })
                })
                .collect();
            io.print_json(&json!({
                "sweep": sweep.name,
                "base": sweep.base_path.display().to_string(),
                "folder": folder.path().display().to_string(),
                "mode": sweep.mode.word(),
                "cases": sweep.count,
                "axes": axes,
                "names": listed.iter().map(|k| sweep.case_name(*k)).collect::<Vec<_>>(),
                "estimate": {
                    "seconds_per_case": e.seconds, "seconds": total,
                    "seconds_per_case_low": e.low, "seconds_per_case_high": e.high,
                    "bytes_per_case": e.bytes, "from": from,
                    "measured": matches!(e.basis, Basis::Results(_)),
                },
            }));
            return DONE;
        }
        let mut text = format!(
            "{}: {} cases ({}) from {}\n",
            sweep.name,
            sweep.count,
            sweep.mode.word(),
            sweep.base_path.display()
        );
        for a in &sweep.axes {
            let ends = match (a.levels.first(), a.levels.last()) {
                (Some(first), Some(last)) if a.levels.len() > 1 => {
                    format!("{} … {}", first.toml, last.toml)
                }
                (Some(only), _) => only.toml.clone(),
                _ => String::new(),
            };
            text += &format!("  {}: {} values, {ends}\n", a.path, a.levels.len());
        }
        let mut before = None;
        for k in listed {
            if before.is_some_and(|b| k > b + 1) {
                text += "  …\n";
            }
            text += &format!("  {k:>6}  {}\n", sweep.case_name(k));
            before = Some(k);
        }
        text += &format!(
            "about {} a case and {} in all on one core, {} a case ({how})\nresults in {}\n",
            duration(e.seconds),
            duration(total),
            mebibytes(e.bytes),
            folder.cases().display()
        );
        io.print(&text);
        DONE
    }
}

/// Say how far a sweep is
///
/// Read from the files, whoever runs the sweep and wherever; if the sweep was given to
/// Slurm and the queue can be asked, also what is waiting there.
#[derive(Debug, Args)]
struct Status {
    /// Sweep file, or folder of a sweep
    #[arg(value_name = "SWEEP")]
    sweep: PathBuf,
    /// Folder of the sweep, if a file is named [default: results/<sweep name>]
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// Print one JSON document
    #[arg(long)]
    json: bool,
}

impl Status {
    fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let (plan, folder) = match locate(&self.sweep, self.output.as_deref(), rooms, io) {
            Ok(found) => found,
            Err(code) => return code,
        };
        let status = sweep::status(&plan, &folder);
        let job = std::fs::read_to_string(folder.slurm().join("job")).ok();
        let queue = job.as_deref().map(str::trim).and_then(|j| Some((j, sweep::queue(j)?)));
        if self.json {
            let mut document = status.json();
            if let Some((job, states)) = &queue {
                document["slurm"] = json!({ "job": job, "tasks": states });
            }
            io.print_json(&document);
            return DONE;
        }
        let c = status.counts;
        let mut text = format!(
            "{}: {} of {} cases done; {} running, {} interrupted, {} failed, {} outdated, {} missing\n",
            plan.name,
            c.done,
            status.cases,
            c.running,
            c.interrupted,
            c.failed,
            c.outdated,
            c.missing
        );
        for (name, host, pid) in status.running.iter().take(20) {
            text += &format!("  running   {name}  (process {pid} on {host})\n");
        }
        for (word, list) in [("failed", &status.failed), ("outdated", &status.outdated)] {
            for (name, why) in list.iter().take(20) {
                text += &format!("  {word:<9} {name}: {why}\n");
            }
            if list.len() > 20 {
                text += &format!("  … and {} more ({word})\n", list.len() - 20);
            }
        }
        match (&job, queue) {
            (_, Some((job, states))) if !states.is_empty() => {
                let list: Vec<String> = states.iter().map(|(s, n)| format!("{n} {s}")).collect();
                text += &format!("Slurm job {job}: {}\n", list.join(", "));
            }
            (Some(job), _) => {
                text += &format!("Slurm job {}: no longer in the queue\n", job.trim())
            }
            _ => {}
        }
        io.print(&text);
        DONE
    }
}

/// The exit code of something that could not be written.
pub(super) fn failed(e: &dyn std::fmt::Display, io: &mut Io) -> u8 {
    io.error(&e.to_string());
    FAILED
}
