//! `holdpoint mesh`.

use std::path::PathBuf;

use clap::Args;

use super::check::say;
use super::report::save_case;
use super::{BAD_INPUT, DONE, Io, Rooms};

/// Mesh a case and report the mesh's quality
///
/// Prints the number of nodes, the finest and coarsest intervals, the growth, and how
/// well each junction and edge is resolved.
#[derive(Debug, Args)]
pub(super) struct Mesh {
    /// Case file (TOML)
    #[arg(value_name = "CASE")]
    case: PathBuf,
    /// Print the report as JSON
    #[arg(long, conflicts_with = "lines")]
    json: bool,
    /// Print the mesh lines as a `[grid]` table, to be edited and put into the case
    #[arg(long)]
    lines: bool,
    /// Draw the cross-section with the mesh in it, to a file .svg or .png
    #[arg(long, value_name = "FILE")]
    draw: Option<PathBuf>,
}

impl Mesh {
    pub(super) fn run(self, rooms: &dyn Rooms, io: &mut Io) -> u8 {
        let path = &self.case;
        let (case, warnings) = match rooms.read_case(path) {
            Ok(read) => read,
            Err(problems) => {
                let text = crate::case::load(path).unwrap_or_default();
                say(rooms, &problems, &text, path, io);
                return BAD_INPUT;
            }
        };
        say(rooms, &warnings, &case.text, path, io);
        let meshed = match rooms.mesh(&case) {
            Ok(meshed) => meshed,
            Err(problems) => {
                say(rooms, &problems, &case.text, path, io);
                return BAD_INPUT;
            }
        };
        say(rooms, &meshed.warnings, &case.text, path, io);
        if let Some(file) = &self.draw {
            match save_case(&case, true, file, io) {
                DONE => {}
                code => return code,
            }
        }
        if self.json {
            io.print_json(&meshed.report_json);
        } else if self.lines {
            let list = |lines: &[f64]| {
                let texts: Vec<String> = lines.iter().map(|v| format!("{v:?}")).collect();
                texts.join(", ")
            };
            let (x, y) = (list(&meshed.mesh.x), list(&meshed.mesh.y));
            io.print(&format!("[grid]\nx = [{x}]\ny = [{y}]\n"));
        } else {
            io.print(&format!("{}\n", meshed.report.trim_end()));
        }
        DONE
    }
}
