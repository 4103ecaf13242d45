//! `holdpoint sweep slurm`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::sweep::{estimate, failed, mebibytes, read};
use super::units::duration;
use super::{BAD_INPUT, DONE, Io, Rooms};
use crate::record;
use crate::sweep::{Folder, Script, submit};

/// Elements of a job array that clusters take unless they were told otherwise.
const ELEMENTS: usize = 1000;

/// Give a sweep to a Slurm cluster as a job array
///
/// Writes a batch script to read and keep, `results/<sweep name>/slurm/job.sh`, and submits
/// it. Tasks may be cancelled, requeued and killed at will; submitting again does what is
/// missing.
#[derive(Debug, Args)]
pub(super) struct Slurm {
    /// Sweep file (TOML)
    #[arg(value_name = "SWEEP")]
    file: PathBuf,
    /// Folder of the sweep, seen by all nodes [default: results/<sweep name>]
    #[arg(short, long, value_name = "DIR")]
    output: Option<PathBuf>,
    /// Print the script; write and submit nothing
    #[arg(long)]
    dry_run: bool,
    /// Partition to ask for
    #[arg(long, value_name = "NAME")]
    partition: Option<String>,
    /// Account to charge
    #[arg(long, value_name = "NAME")]
    account: Option<String>,
    /// Cases of one task, one after the other [default: as many as keep a task above 10 min
    /// and the array below 1000 elements]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    tasks_per_job: Option<u32>,
    /// Time limit of one task [min] [default: three times the estimate and 10 min]
    #[arg(long, value_name = "MIN", value_parser = clap::value_parser!(u32).range(1..=527_040))]
    time: Option<u32>,
    /// Memory of one task [MiB] [default: twice the estimate]
    #[arg(long, value_name = "MIB", value_parser = clap::value_parser!(u32).range(1..))]
    mem: Option<u32>,
    /// Threads (and cores) of one task
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: u16,
}

impl Slurm {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let sweep = match read(&self.file, true, rooms, io) {
            Ok(sweep) => sweep,
            Err(code) => return code,
        };
        let folder = self.output.as_deref().map_or_else(|| Folder::of(&sweep), Folder::new);
        let (each, how) = estimate(&sweep, &folder);
        let full = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_path_buf());
        let program = match std::env::current_exe() {
            Ok(program) => program,
            Err(e) => return failed(&format!("where this program lies is not known: {e}"), io),
        };
        let long = (600.0 / each.seconds.max(1e-3)).floor().clamp(1.0, 1e6) as usize;
        let per_task = self
            .tasks_per_job
            .map_or(long.min(sweep.count.div_ceil(16)), |n| n as usize)
            .max(if self.tasks_per_job.is_some() { 1 } else { sweep.count.div_ceil(ELEMENTS) })
            .max(1);
        let minutes = 3.0 * each.seconds * per_task as f64 / 60.0 + 10.0;
        let script = Script {
            name: sweep.name.clone(),
            program,
            sweep: full(&self.file),
            folder: full(folder.path()),
            logs: full(&folder.slurm()),
            cases: sweep.count,
            per_task,
            threads: usize::from(self.threads),
            memory: self.mem.map_or((2.0 * each.bytes / 1_048_576.0).ceil() as u64 + 64, u64::from),
            minutes: self.time.map_or(minutes.ceil() as u64, u64::from),
            partition: self.partition,
            account: self.account,
        };
        let text = match script.text() {
            Ok(text) => text,
            Err(why) => {
                io.error(&why);
                return BAD_INPUT;
            }
        };
        io.note(&format!(
            "{} cases in {} tasks of {per_task}; about {} and {} a case ({how})",
            sweep.count,
            script.tasks(),
            duration(each.seconds),
            mebibytes(each.bytes)
        ));
        if self.dry_run {
            io.print(&text);
            return DONE;
        }
        if let Err(e) = folder.begin(&sweep) {
            return failed(&e, io);
        }
        let place = folder.slurm().join("job.sh");
        if let Err(e) = std::fs::create_dir_all(folder.slurm()) {
            return failed(&format!("{}: {e}", folder.slurm().display()), io);
        }
        if let Err(e) = record::put(&place, text.as_bytes()) {
            return failed(&e, io);
        }
        match submit(&place) {
            Ok(job) => {
                if let Err(e) = record::put(&folder.slurm().join("job"), job.as_bytes()) {
                    io.error(&e.to_string());
                }
                io.print(&format!("job {job}, script {}\n", place.display()));
                DONE
            }
            Err(why) => failed(&why, io),
        }
    }
}
