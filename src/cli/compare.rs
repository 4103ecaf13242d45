//! `holdpoint compare`.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::{BAD_INPUT, DONE, FAILED, Io, visible};
use crate::record::{self, Gathered, RecordError, RunRecord};
use crate::sweep::{Report, compare, compare_gathered};

/// Say how results differ: keys of the case, folds, curves, verdict
///
/// Each further file is compared with the first. Points that have error bars are judged by
/// them; curves are compared over a common axis of current. Gathered sweeps are compared
/// case by case.
#[derive(Debug, Args)]
pub(super) struct Compare {
    /// Results (HDF5), or gathered sweeps; two at least
    #[arg(required = true, num_args = 2.., value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Exit with code 1 if a figure differs by more than this share (0.001 is 0.1 %), or a
    /// verdict changed, or a figure is there in one only
    #[arg(long, value_name = "SHARE", value_parser = share)]
    tolerance: Option<f64>,
    /// Print one JSON document (several comparisons: a list)
    #[arg(long)]
    json: bool,
}

fn share(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v),
        _ => Err("a share from 0, e.g. 0.001".to_string()),
    }
}

enum Read {
    One(Box<RunRecord>),
    Many(Box<Gathered>),
}

fn read(path: &Path) -> Result<Read, RecordError> {
    if path.is_file() && record::is_gathered(path) {
        record::read_gathered(path).map(|g| Read::Many(Box::new(g)))
    } else {
        record::read(path).map(|r| Read::One(Box::new(r)))
    }
}

impl Compare {
    pub(super) fn run(self, io: &mut Io) -> u8 {
        let mut all = Vec::new();
        for path in &self.files {
            match read(path) {
                Ok(read) => {
                    if let Read::One(record) = &read {
                        io.note_part(path, record.complete);
                    }
                    all.push((path, read));
                }
                Err(e) => {
                    io.error(&e.to_string());
                    return BAD_INPUT;
                }
            }
        }
        let Some(((first, a), others)) = all.split_first() else { return BAD_INPUT };
        let (mut documents, mut code) = (Vec::new(), DONE);
        for (second, b) in others {
            let report = match (a, b) {
                (Read::One(a), Read::One(b)) => compare(a, b),
                (Read::Many(a), Read::Many(b)) => compare_gathered(a, b),
                _ => {
                    io.error(&format!(
                        "{} and {}: a result and a gathered sweep cannot be compared; gather both, or name two results",
                        first.display(),
                        second.display()
                    ));
                    return BAD_INPUT;
                }
            };
            let beyond = self.tolerance.is_some_and(|t| !report.within(t));
            if beyond {
                code = FAILED;
            }
            if self.json {
                documents.push(document(first, second, &report, self.tolerance));
            } else {
                io.print(&told(first, second, &report, self.tolerance));
            }
        }
        if self.json {
            io.print_json(&super::check::one_or_all(documents));
        }
        code
    }
}

fn document(first: &Path, second: &Path, report: &Report, tolerance: Option<f64>) -> Value {
    let mut document = report.json.clone();
    document["first"] = json!(first.display().to_string());
    document["second"] = json!(second.display().to_string());
    if let Some(t) = tolerance {
        document["tolerance"] = json!(t);
        document["within"] = json!(report.within(t));
    }
    document
}

fn told(first: &Path, second: &Path, report: &Report, tolerance: Option<f64>) -> String {
    /// Lines of one comparison; the JSON document has them all.
    const MOST: usize = 200;
    let mut text = format!("{} -> {}\n", first.display(), second.display());
    if report.lines.is_empty() {
        text += "  no difference\n";
    }
    for line in report.lines.iter().take(MOST) {
        text += &format!("  {}\n", visible::line(line));
    }
    if report.lines.len() > MOST {
        text += &format!("  … and {} more lines; --json has all\n", report.lines.len() - MOST);
    }
    if let Some(t) = tolerance {
        text += &match report.within(t) {
            true => format!("  within {t} (largest: {:.3e})\n", report.worst),
            false if report.changed.is_empty() => {
                format!("  beyond {t}: {:.3e} in {}\n", report.worst, report.worst_of)
            }
            false => format!("  beyond {t}: {} changed in kind\n", report.changed.len()),
        };
    }
    text
}
