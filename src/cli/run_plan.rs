//! What `run` is going to do, settled before anything is solved: every case is read and
//! every output checked first, so that nothing fails after hours that could fail at once.

use std::path::{Path, PathBuf};

use super::check::say;
use super::run::Run;
use super::{BAD_INPUT, FAILED, Io, Rooms, memory};
use crate::case::Case;
use crate::experiment::Outcome;
use crate::record::{self, RunRecord};

/// Where results go without -o.
const FOLDER: &str = "results";

/// One case to run.
pub(super) struct Plan {
    pub(super) path: PathBuf,
    pub(super) name: String,
    pub(super) case: Case,
    pub(super) output: PathBuf,
    pub(super) start: Start,
}

/// What there is already.
pub(super) enum Start {
    New,
    /// An interrupted run, or one that is to get error bars.
    From(Box<RunRecord>),
    /// The result itself (only with `--resume`).
    Done(Box<RunRecord>),
}

/// The plans of all cases, or the exit code after saying what is wrong.
pub(super) fn plans(run: &Run, rooms: &dyn Rooms, io: &mut Io) -> Result<Vec<Plan>, u8> {
    if run.output.is_some() && run.cases.len() > 1 {
        io.error("-o names one file, but there are several cases; leave it out");
        return Err(BAD_INPUT);
    }
    let mut plans: Vec<Plan> = Vec::new();
    let mut bad = false;
    for path in &run.cases {
        let (case, warnings) = match rooms.read_case(path) {
            Ok(read) => read,
            Err(problems) => {
                let text = crate::case::load(path).unwrap_or_default();
                say(rooms, &problems, &text, path, io);
                bad = true;
                continue;
            }
        };
        say(rooms, &warnings, &case.text, path, io);
        // Error bars solve on a mesh with half the intervals.
        if run.error_bars.is_some()
            && let Some(problem) = memory::beyond(&case, 4.0)
        {
            say(rooms, &[problem], &case.text, path, io);
            bad = true;
            continue;
        }
        let name = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        if let Some(other) = plans.iter().find(|p| p.name == name) {
            io.error(&format!(
                "{} and {} would both be written to {}; run them one by one with -o",
                other.path.display(),
                path.display(),
                other.output.display()
            ));
            bad = true;
            continue;
        }
        let output = match &run.output {
            Some(file) => file.clone(),
            None => Path::new(FOLDER).join(format!("{name}.h5")),
        };
        match start(run, &case, &output, io) {
            Ok(start) => plans.push(Plan { path: path.clone(), name, case, output, start }),
            Err(FAILED) => return Err(FAILED),
            Err(_) => bad = true,
        }
    }
    if bad { Err(BAD_INPUT) } else { Ok(plans) }
}

/// Checks the output and looks for what can be resumed.
fn start(run: &Run, case: &Case, output: &Path, io: &mut Io) -> Result<Start, u8> {
    let partial = record::partial_path(output);
    if run.output.is_none()
        && let Err(e) = std::fs::create_dir_all(FOLDER)
    {
        io.error(&format!("the folder {FOLDER} cannot be made: {e}; name a file with -o"));
        return Err(FAILED);
    }
    if run.resume && partial.exists() {
        let found = same_case(&partial, case, io)?;
        writable(output, false, io)?;
        return Ok(Start::From(Box::new(found)));
    }
    if run.resume && output.exists() {
        let found = same_case(output, case, io)?;
        let lacks = |o: &Outcome| {
            !o.points().is_empty() && o.bars.as_ref().map(|b| b.cover) < run.error_bars
        };
        return Ok(match found.experiments.iter().any(lacks) {
            true => Start::From(Box::new(found)),
            false => Start::Done(Box::new(found)),
        });
    }
    if partial.exists() && !run.force {
        io.error(&format!(
            "{}: an interrupted run left this; --resume goes on from there, --force starts over",
            partial.display()
        ));
        return Err(BAD_INPUT);
    }
    writable(output, run.force, io)?;
    if run.resume {
        io.note(&format!("{}: nothing to resume, starting", output.display()));
    }
    Ok(Start::New)
}

fn writable(output: &Path, force: bool, io: &mut Io) -> Result<(), u8> {
    record::ensure_writable(output, force).map_err(|e| {
        io.error(&e.to_string());
        BAD_INPUT
    })
}

/// Reads what is to be resumed; it must come from the very same case text.
fn same_case(path: &Path, case: &Case, io: &mut Io) -> Result<RunRecord, u8> {
    match record::read(path) {
        Ok(found) if found.case_text == case.text => Ok(found),
        Ok(_) => {
            io.error(&format!(
                "{}: comes from another text of this case; --force instead of --resume starts over",
                path.display()
            ));
            Err(BAD_INPUT)
        }
        Err(e) => {
            io.error(&e.to_string());
            Err(BAD_INPUT)
        }
    }
}
