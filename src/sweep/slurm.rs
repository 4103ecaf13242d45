//! A sweep as a Slurm job array. The script is meant to be read.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What the batch script says.
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    /// Name of the sweep.
    pub name: String,
    /// The program, in full.
    pub program: PathBuf,
    /// Sweep file and folder, in full.
    pub sweep: PathBuf,
    pub folder: PathBuf,
    /// Where the tasks' output goes, in full.
    pub logs: PathBuf,
    pub cases: usize,
    /// Cases of one task, one after the other.
    pub per_task: usize,
    pub threads: usize,
    /// Of one task \[MiB\] and \[min\].
    pub memory: u64,
    pub minutes: u64,
    pub partition: Option<String>,
    pub account: Option<String>,
}

impl Script {
    /// Elements of the job array.
    pub fn tasks(&self) -> usize {
        self.cases.div_ceil(self.per_task.max(1))
    }

    /// The batch script.
    ///
    /// # Errors
    /// A name that a batch directive cannot hold.
    pub fn text(&self) -> Result<String, String> {
        let tasks = self.tasks();
        let mut lines = vec![
            "#!/bin/sh".to_string(),
            format!(
                "# Sweep {}: {} cases in {tasks} tasks, made by holdpoint.",
                plain(&self.name),
                self.cases
            ),
            "# A task can be cancelled, requeued or killed at any time: what is finished stays,"
                .to_string(),
            "# what is under way goes on from its last checkpoint.".to_string(),
            format!("#SBATCH --job-name={}", directive(&self.name)?),
            format!("#SBATCH --array=0-{}", tasks.saturating_sub(1)),
            "#SBATCH --ntasks=1".to_string(),
            format!("#SBATCH --cpus-per-task={}", self.threads),
            format!("#SBATCH --mem={}M", self.memory),
            format!("#SBATCH --time={}:{:02}:00", self.minutes / 60, self.minutes % 60),
            format!(
                "#SBATCH --output={}",
                directive(&self.logs.join("%A_%a.log").to_string_lossy())?
            ),
            "# A requeued task goes on in its log.".to_string(),
            "#SBATCH --open-mode=append".to_string(),
            "#SBATCH --requeue".to_string(),
            "# 90 s before the time is up: save and end.".to_string(),
            "#SBATCH --signal=B:TERM@90".to_string(),
        ];
        for (key, value) in [("partition", &self.partition), ("account", &self.account)] {
            if let Some(value) = value {
                lines.push(format!("#SBATCH --{key}={}", directive(value)?));
            }
        }
        lines.push(String::new());
        lines.push("# exec: signals reach the program itself.".to_string());
        lines.push(format!(
            "exec {} sweep task {} \\\n    --output {} \\\n    --shard \"$SLURM_ARRAY_TASK_ID/{tasks}\" --threads {}",
            quoted(&self.program),
            quoted(&self.sweep),
            quoted(&self.folder),
            self.threads
        ));
        Ok(lines.join("\n") + "\n")
    }
}

/// One word of a shell command.
fn quoted(path: &Path) -> String {
    format!("'{}'", path.to_string_lossy().replace('\'', "'\\''"))
}

/// A value of a batch directive: these lines have no escapes.
fn directive(text: &str) -> Result<String, String> {
    let bad = |c: char| c.is_control() || matches!(c, '"' | '\'' | '\\' | '#');
    match text.chars().find(|c| bad(*c)) {
        Some(c) => {
            Err(format!("{text:?} cannot stand in a batch script: it has the character {c:?}"))
        }
        None if text.contains(char::is_whitespace) => Ok(format!("\"{text}\"")),
        None => Ok(text.to_string()),
    }
}

/// For a comment line.
fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// Hands the script to the cluster; gives the job's number.
///
/// # Errors
/// `sbatch` is not there, or what it says.
pub fn submit(script: &Path) -> Result<String, String> {
    let out = Command::new("sbatch").arg("--parsable").arg(script).output().map_err(|e| {
        format!("sbatch could not be started: {e}; is this a machine of the cluster? --dry-run prints the script")
    })?;
    let said = String::from_utf8_lossy(&out.stdout);
    if !out.status.success() {
        let why = String::from_utf8_lossy(&out.stderr);
        return Err(format!("sbatch refused the job: {}", why.trim()));
    }
    // "NUMBER" or "NUMBER;CLUSTER".
    let job = said.trim().split(';').next().unwrap_or("").to_string();
    match job.is_empty() || !job.chars().all(|c| c.is_ascii_digit()) {
        true => Err(format!("sbatch gave no job number but {:?}", said.trim())),
        false => Ok(job),
    }
}

/// The queue's tasks of a job by state, e.g. RUNNING; `None` if the queue cannot be asked or
/// has forgotten the job.
pub fn queue(job: &str) -> Option<BTreeMap<String, usize>> {
    let out = Command::new("squeue").args(["-h", "-r", "-o", "%T", "-j", job]).output().ok()?;
    if !out.status.success() {
        return None;
    }
    let mut states = BTreeMap::new();
    for state in String::from_utf8_lossy(&out.stdout).split_whitespace() {
        *states.entry(state.to_string()).or_insert(0) += 1;
    }
    Some(states)
}
