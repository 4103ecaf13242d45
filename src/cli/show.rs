//! `holdpoint show`.

use std::path::PathBuf;

use clap::Args;

use super::{BAD_INPUT, DONE, Io, csv, summary, table, visible};
use crate::record;

/// Print a result: what each experiment found, and the verdict
///
/// On a terminal the curves are drawn as well. A partial file of a run under way
/// (`….partial`) can be shown too.
#[derive(Debug, Args)]
pub(super) struct Show {
    /// Result file (HDF5)
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Print one JSON document, the same as `run --json`
    #[arg(long, conflicts_with_all = ["curve", "csv", "details"])]
    json: bool,
    /// Print all folds, the work, and each curve thinned to about 30 rows
    #[arg(long, conflicts_with_all = ["curve", "csv"])]
    details: bool,
    /// Print every point, fold and terminal of the curves as comma-separated values
    #[arg(long, conflicts_with = "curve")]
    csv: bool,
    /// Print every point and terminal of the curves as tab-separated columns
    #[arg(long)]
    curve: bool,
}

impl Show {
    pub(super) fn run(self, io: &mut Io) -> u8 {
        let record = match record::read(&self.file) {
            Ok(record) => record,
            Err(e) => {
                io.error(&e.to_string());
                return BAD_INPUT;
            }
        };
        io.note_part(&self.file, record.complete);
        if self.json {
            io.print_json(&record::to_json(&record));
        } else if self.curve {
            io.print(&table::columns(&visible::record(&record)));
        } else if self.csv {
            io.print(&csv::curves(&record));
        } else if self.details {
            io.print_styled(&table::record(&visible::record(&record), io.out_columns));
        } else {
            io.print_styled(&summary::record(&visible::record(&record), io.out_columns));
        }
        DONE
    }
}
