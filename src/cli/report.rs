//! `holdpoint report`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::{BAD_INPUT, DONE, FAILED, Io};
use crate::case::Case;
use crate::record;
use crate::report::{self, Drawing, Item};

/// Make results visible: a self-contained page, or one figure
///
/// The page opens from disk and asks for no network. It starts with the verdict, then the
/// curves (hover, zoom, linear or logarithmic), the cross-section, maps of the fields with
/// current lines, the case text and who made it.
#[derive(Debug, Args)]
pub(super) struct Report {
    /// Result files (HDF5): one, several to be compared, or one gathered sweep
    #[arg(required = true, value_name = "RESULT")]
    results: Vec<PathBuf>,
    /// Where to write: a page (.html) or, with --figure, .svg or .png
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Only this figure of the first result, of the sweep, or of all results together; `list`
    /// prints the names
    #[arg(long, value_name = "NAME")]
    figure: Option<String>,
    /// Write an XDMF sidecar instead, by which general-purpose viewers open the fields: beside
    /// the result, its name with .xmf
    #[arg(long, conflicts_with_all = ["figure", "output"])]
    xdmf: bool,
    /// Pixels of a PNG per unit of its SVG
    #[arg(long, value_name = "FACTOR", default_value_t = 2.0)]
    scale: f64,
}

impl Report {
    pub(super) fn run(self, io: &mut Io) -> u8 {
        if let [path] = self.results.as_slice()
            && path.is_file()
            && record::is_gathered(path)
        {
            return self.sweep(path, io);
        }
        let mut items = Vec::new();
        for path in &self.results {
            match record::read(path) {
                Ok(record) => {
                    io.note_part(path, record.complete);
                    items.push(Item { name: stem(path), record });
                }
                Err(e) => {
                    io.error(&e.to_string());
                    return BAD_INPUT;
                }
            }
        }
        let Some(first) = items.first() else { return BAD_INPUT };
        if self.xdmf {
            return sidecars(&self.results, &items, io);
        }
        if let Some(name) = &self.figure {
            let shared = if items.len() > 1 { items.as_slice() } else { &[] };
            let mut names = report::overlay_names(shared);
            names.extend(report::names(&first.record));
            let drawing =
                || report::overlay(shared, name).or_else(|| report::figure(&first.record, name));
            return self.one(name, &names, drawing, io);
        }
        let path = self.output.clone().unwrap_or_else(|| self.results[0].with_extension("html"));
        save(&path, report::page(&items).as_bytes(), io)
    }

    /// One figure, or for `list` the names of all.
    fn one(
        &self,
        name: &str,
        names: &[String],
        drawing: impl Fn() -> Option<Drawing>,
        io: &mut Io,
    ) -> u8 {
        if name == "list" {
            io.print(&(names.join("\n") + "\n"));
            return DONE;
        }
        let Some(drawing) = drawing() else {
            io.error(&format!(
                "{}: there is no figure {name}; there are: {}",
                self.results[0].display(),
                names.join(", ")
            ));
            return BAD_INPUT;
        };
        let path = self.output.clone().unwrap_or_else(|| PathBuf::from(format!("{name}.svg")));
        save_drawing(&drawing, &path, self.scale, io)
    }

    fn sweep(&self, path: &Path, io: &mut Io) -> u8 {
        if self.xdmf {
            io.error(&format!(
                "{}: a gathered sweep has no fields; name the results of its cases",
                path.display()
            ));
            return BAD_INPUT;
        }
        let gathered = match record::read_gathered(path) {
            Ok(gathered) => gathered,
            Err(e) => {
                io.error(&e.to_string());
                return BAD_INPUT;
            }
        };
        // Along each axis, for the families of curves.
        let folder = path.parent().unwrap_or(Path::new("."));
        let wanted = report::sweep_cases(&gathered);
        let some = gathered.files.iter().filter(|f| wanted.contains(&f.0));
        let some = some.filter_map(|(name, file)| {
            let record = record::read(&folder.join(file)).ok()?;
            Some(Item { name: name.clone(), record })
        });
        let some: Vec<Item> = some.collect();
        if let Some(name) = &self.figure {
            let names = report::sweep_names(&gathered, &some);
            let drawing = || report::sweep_figure(&gathered, &some, name);
            return self.one(name, &names, drawing, io);
        }
        let output = self.output.clone().unwrap_or_else(|| path.with_extension("html"));
        save(&output, report::sweep_page(&gathered, &some).as_bytes(), io)
    }
}

fn sidecars(paths: &[PathBuf], items: &[Item], io: &mut Io) -> u8 {
    let mut worst = DONE;
    for (path, item) in paths.iter().zip(items) {
        let file = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let text = record::xdmf(&item.record, &file);
        worst = worst.max(save(&path.with_extension("xmf"), text.as_bytes(), io));
    }
    worst
}

fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| "result".into(), |s| s.to_string_lossy().into_owned())
}

/// Writes a drawing as its name's ending says.
fn save_drawing(drawing: &Drawing, path: &Path, scale: f64, io: &mut Io) -> u8 {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("svg") => save(path, report::to_svg(drawing).as_bytes(), io),
        Some("png") => match report::png(drawing, scale) {
            Ok(bytes) => save(path, &bytes, io),
            Err(why) => {
                io.error(&format!("{}: {why}", path.display()));
                BAD_INPUT
            }
        },
        _ => {
            io.error(&format!("{}: a figure's file ends in .svg or .png", path.display()));
            BAD_INPUT
        }
    }
}

/// Draws the cross-section of a case, with or without its mesh.
pub(super) fn save_case(case: &Case, lines: bool, path: &Path, io: &mut Io) -> u8 {
    match report::draw_case(case, lines) {
        Ok(drawing) => save_drawing(&drawing, path, 2.0, io),
        Err(problems) => {
            let why = problems.first().map_or("it cannot be meshed", |p| p.text.as_str());
            io.note(&format!("{}: not drawn: {why}", path.display()));
            BAD_INPUT
        }
    }
}

fn save(path: &Path, bytes: &[u8], io: &mut Io) -> u8 {
    match std::fs::write(path, bytes) {
        Ok(()) => {
            io.note(&format!("written: {}", path.display()));
            DONE
        }
        Err(e) => {
            io.error(&format!("{}: could not be written: {e}", path.display()));
            FAILED
        }
    }
}
