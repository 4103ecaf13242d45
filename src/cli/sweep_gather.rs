//! `holdpoint sweep gather`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::sweep::{failed, locate};
use super::{BAD_INPUT, DONE, Io, Rooms};
use crate::record::{self, Values};
use crate::sweep;

/// Put the figures of all cases into one table over the axes
///
/// The HDF5 file has the axes as dimensions and one dataset per figure, so that
/// labelled-array readers open it as it is; the cases themselves are linked under /cases.
/// Cases without a result leave gaps, and `status` says why.
#[derive(Debug, Args)]
pub(super) struct Gather {
    /// Sweep file, or folder of a sweep
    #[arg(value_name = "SWEEP")]
    sweep: PathBuf,
    /// Folder of the sweep, if a file is named [default: results/<sweep name>]
    #[arg(long, value_name = "DIR")]
    folder: Option<PathBuf>,
    /// Write the table to this file [default: gathered.h5 in the sweep's folder]
    #[arg(short, long, value_name = "FILE.h5")]
    output: Option<PathBuf>,
    /// Also write it as CSV, one line per case
    #[arg(long, value_name = "FILE.csv")]
    csv: Option<PathBuf>,
}

impl Gather {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let (plan, folder) = match locate(&self.sweep, self.folder.as_deref(), rooms, io) {
            Ok(found) => found,
            Err(code) => return code,
        };
        if !folder.cases().is_dir() {
            io.error(&format!(
                "{}: there are no results; `holdpoint sweep run` makes them, --folder names another folder",
                folder.cases().display()
            ));
            return BAD_INPUT;
        }
        let output = self.output.unwrap_or_else(|| folder.path().join("gathered.h5"));
        let same = |a: &Path, b: &Path| std::path::absolute(a).ok() == std::path::absolute(b).ok();
        if self.csv.as_ref().is_some_and(|c| same(c, &output)) {
            io.error("-o and --csv name the same file");
            return BAD_INPUT;
        }
        let gathered = sweep::gather(&plan, &folder, &output);
        if let Err(e) = record::write_gathered(&output, &gathered) {
            return failed(&e, io);
        }
        if let Some(path) = &self.csv
            && let Err(e) = record::put(path, sweep::csv(&gathered).as_bytes())
        {
            return failed(&e, io);
        }
        let mut gaps = std::collections::BTreeMap::new();
        if let Some(Values::Texts(words)) = gathered.column("status").map(|c| &c.values) {
            for word in words {
                *gaps.entry(word.clone()).or_insert(0usize) += 1;
            }
        }
        let counts: Vec<String> = gaps.iter().map(|(word, n)| format!("{n} {word}")).collect();
        io.print(&format!(
            "{}: {} cases ({}), {} columns in {}\n",
            plan.name,
            plan.count,
            counts.join(", "),
            gathered.columns.len(),
            output.display()
        ));
        DONE
    }
}
