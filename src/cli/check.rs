//! `holdpoint check`.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::report::save_case;
use super::{BAD_INPUT, DONE, Io, Rooms};
use crate::case::{Problem, Severity};

/// Say what is wrong with case files, without solving anything
///
/// Reads each case, reads its cross-section as a circuit (shorts, floating islands),
/// meshes it and reports the mesh's quality. Every problem is listed with its place in
/// the file and what would be right.
#[derive(Debug, Args)]
pub(super) struct Check {
    /// Case files (TOML)
    #[arg(required = true, value_name = "CASE")]
    cases: Vec<PathBuf>,
    /// Print one JSON document: problems with line, column, code and text, and the mesh
    #[arg(long)]
    json: bool,
    /// Draw the cross-section to a file .svg or .png (one case only), also one that has
    /// shorts or floating islands
    #[arg(long, value_name = "FILE")]
    draw: Option<PathBuf>,
}

impl Check {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let mut documents = Vec::new();
        let mut code = DONE;
        if self.draw.is_some() && self.cases.len() > 1 {
            io.error("--draw takes one case: two would be drawn to one file");
            return BAD_INPUT;
        }
        for path in &self.cases {
            let found = look(rooms, path);
            if let Some(file) = &self.draw {
                let drawn = match rooms.read_case(path) {
                    Ok((case, _)) => save_case(&case, false, file, io),
                    Err(_) => {
                        io.note(&format!("{}: not drawn, the case cannot be read", path.display()));
                        BAD_INPUT
                    }
                };
                code = code.max(drawn);
            }
            if has_error(&found.problems) {
                code = BAD_INPUT;
            }
            if self.json {
                documents.push(json!({
                    "path": path.display().to_string(),
                    "problems": rooms.problem_json(&found.problems, &found.text),
                    "mesh": found.report_json,
                }));
            } else {
                say(rooms, &found.problems, &found.text, path, io);
                let end = match has_error(&found.problems) {
                    true => "not good".to_string(),
                    false => format!("good\n{}", found.report.trim_end()),
                };
                io.print(&format!("{}: {end}\n", path.display()));
            }
        }
        if self.json {
            io.print_json(&one_or_all(documents));
        }
        code
    }
}

/// One document as it is, several as a list.
pub(super) fn one_or_all(mut documents: Vec<Value>) -> Value {
    match documents.len() {
        1 => documents.remove(0),
        _ => Value::Array(documents),
    }
}

pub(super) fn has_error(problems: &[Problem]) -> bool {
    problems.iter().any(|p| p.severity == Severity::Error)
}

/// Draws problems on stderr.
pub(super) fn say(rooms: &dyn Rooms, problems: &[Problem], text: &str, path: &Path, io: &mut Io) {
    if !problems.is_empty() {
        let path = path.display().to_string();
        let mut drawn = rooms.render(problems, text, &path, io.err_colour);
        if !drawn.ends_with('\n') {
            drawn.push('\n');
        }
        io.say(&drawn);
    }
}

struct Found {
    /// The case text, for the places; empty if the file could not be read.
    text: String,
    problems: Vec<Problem>,
    report: String,
    report_json: Value,
}

fn look(rooms: &dyn Rooms, path: &Path) -> Found {
    let text = crate::case::load(path).unwrap_or_default();
    let bare = |problems| Found {
        text: text.clone(),
        problems,
        report: String::new(),
        report_json: Value::Null,
    };
    let (case, mut problems) = match rooms.read_case(path) {
        Ok(read) => read,
        Err(problems) => return bare(problems),
    };
    match rooms.mesh(&case) {
        Ok(meshed) => {
            problems.extend(meshed.warnings);
            Found {
                text: case.text.clone(),
                problems,
                report: meshed.report,
                report_json: meshed.report_json,
            }
        }
        Err(more) => {
            problems.extend(more);
            bare(problems)
        }
    }
}
