//! A sweep file to a plan: which cases, in which order, under which names.

use std::path::{Path, PathBuf};

use toml_edit::{Document, Item};

use super::axes::{self, Axis, MOST};
use super::random::Random;
use crate::case::keys::nearest;
use crate::case::{self, Case, Problem, set_path};

/// How the axes are combined.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// Each value of each axis with each of the others; the last axis fastest.
    Grid,
    /// First values together, second values together, …
    Zip,
    /// One sample in each of `samples` equal slices of every axis, at random within the
    /// slice and in random order (McKay, Beckman, Conover, Technometrics 21, 239 (1979)).
    LatinHypercube { samples: usize, seed: u64 },
}

impl Mode {
    pub const WORDS: [&str; 3] = ["grid", "zip", "latin-hypercube"];

    /// The word of the sweep file.
    pub fn word(self) -> &'static str {
        match self {
            Mode::Grid => "grid",
            Mode::Zip => "zip",
            Mode::LatinHypercube { .. } => "latin-hypercube",
        }
    }
}

/// A base case's text and place, or why it cannot be had.
pub type Loaded = Result<(String, PathBuf), String>;

/// A sweep, read and checked.
#[derive(Debug, Clone)]
pub struct Sweep {
    /// File name without `.toml` and `.sweep`.
    pub name: String,
    /// The sweep file's text, verbatim.
    pub text: String,
    /// Where the sweep file lies.
    pub path: PathBuf,
    /// Where the base case lies; profile tables are found beside it.
    pub base_path: PathBuf,
    /// The base case's text, verbatim.
    pub base: String,
    pub mode: Mode,
    pub axes: Vec<Axis>,
    /// Cases.
    pub count: usize,
}

/// More cases than this are no sweep but a mistake in an axis.
const MOST_CASES: usize = 10_000_000;

impl Sweep {
    /// Reads a sweep file and its base case.
    ///
    /// # Errors
    /// All that is wrong with the sweep file, or with its base case.
    pub fn read(path: &Path) -> Result<Sweep, Vec<Problem>> {
        let one = |text: String, help: &str| {
            vec![Problem::error("unreadable-file", None, text).help(help)]
        };
        let text = case::load(path).map_err(|why| {
            one(
                format!("{}: {why}", path.display()),
                "name a sweep file, e.g. meshes/tern180-spacing.sweep.toml",
            )
        })?;
        let folder = path.parent().unwrap_or(Path::new(""));
        Sweep::of_text(&text, path, &|base| {
            let text = case::load_beside(path, base)?;
            Ok((text, folder.join(base)))
        })
    }

    /// Reads a sweep from its text; `load` gives the base case's text and place.
    ///
    /// # Errors
    /// Those of [`Sweep::read`].
    pub fn of_text(
        text: &str,
        path: &Path,
        load: &dyn Fn(&str) -> Loaded,
    ) -> Result<Sweep, Vec<Problem>> {
        let doc = Document::parse(text).map_err(|e| {
            vec![
                Problem::error("syntax", e.span(), format!("this is not TOML: {}", e.message()))
                    .label("here")
                    .help("a sweep file has `base = \"CASE.toml\"` and a table [axes]"),
            ]
        })?;
        let root = doc.as_item();
        let mut problems = unknown_keys(root);
        let mode = mode(root).map_err(|p| problems.push(p)).ok();
        let loaded = base(root, load).map_err(|p| problems.push(p)).ok();
        let (Some(mode), Some((base, base_path))) = (mode, loaded) else { return Err(problems) };
        if let Err(wrong) = case::read_beside(&base, &base_path) {
            let first = wrong.first().map(|p| p.text.clone()).unwrap_or_default();
            problems.push(
                Problem::error(
                    "bad-base",
                    root.get("base").and_then(Item::span),
                    format!("the base case has {} problems, e.g. {first}", wrong.len()),
                )
                .label("this case")
                .help(format!("holdpoint check {}", base_path.display())),
            );
            return Err(problems);
        }
        let axes = read_axes(text, root, &base, mode, &mut problems);
        if !problems.is_empty() {
            return Err(problems);
        }
        let count = count(&axes, mode, root).map_err(|p| vec![p])?;
        let name = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        let name = name.strip_suffix(".sweep").unwrap_or(&name).to_string();
        let text = text.to_string();
        Ok(Sweep { name, text, path: path.to_path_buf(), base_path, base, mode, axes, count })
    }

    /// Which level each axis has in case `index`.
    pub fn point(&self, index: usize) -> Vec<usize> {
        match self.mode {
            Mode::Grid => {
                let mut rest = index;
                let mut point: Vec<usize> = self
                    .axes
                    .iter()
                    .rev()
                    .map(|axis| {
                        let n = axis.levels.len().max(1);
                        let at = rest % n;
                        rest /= n;
                        at
                    })
                    .collect();
                point.reverse();
                point
            }
            _ => vec![index; self.axes.len()],
        }
    }

    /// The name of case `index`, from its values: the name stays if the axes grow.
    pub fn case_name(&self, index: usize) -> String {
        const LONGEST: usize = 180;
        let parts: Vec<String> = self
            .axes
            .iter()
            .zip(self.point(index))
            .filter_map(|(a, k)| Some(format!("{}={}", a.short, a.levels.get(k)?.label)))
            .collect();
        let name = parts.join("_");
        match name.char_indices().nth(LONGEST) {
            None => name,
            // Names are ASCII: bytes are letters.
            Some((cut, _)) => {
                let head = name.get(..cut).unwrap_or_default();
                format!("{head}~{:016x}", fnv(name.as_bytes()))
            }
        }
    }

    /// The text of case `index`.
    ///
    /// # Errors
    /// An axis that does not fit the case as the axes before it left it.
    pub fn case_text(&self, index: usize) -> Result<String, Problem> {
        let mut text = self.base.clone();
        for (axis, k) in self.axes.iter().zip(self.point(index)) {
            let Some(level) = axis.levels.get(k) else { continue };
            text = set_path(&text, &axis.path, &level.toml).map_err(|e| {
                Problem::error(e.code, None, format!("case {index}, {}: {}", axis.path, e.text))
                    .help(e.help)
            })?;
        }
        Ok(text)
    }

    /// Case `index`, read and checked, with its warnings.
    ///
    /// # Errors
    /// All that is wrong with the case.
    pub fn case(&self, index: usize) -> Result<(Case, Vec<Problem>), Vec<Problem>> {
        let text = self.case_text(index).map_err(|p| vec![p])?;
        case::read_beside(&text, &self.base_path)
    }

    /// Cases that are enough to find a value that does not fit: all of a small sweep; else
    /// each value of each axis once with the first ones of the others, and some of the rest.
    pub fn probes(&self) -> Vec<usize> {
        const FEW: usize = 500;
        if self.count <= FEW {
            return (0..self.count).collect();
        }
        let mut probes: Vec<usize> = (0..FEW).map(|k| k * (self.count - 1) / (FEW - 1)).collect();
        if self.mode == Mode::Grid {
            let mut stride = self.count;
            for axis in &self.axes {
                stride /= axis.levels.len().max(1);
                probes.extend((0..axis.levels.len().min(FEW)).map(|k| k * stride));
            }
        }
        probes.sort_unstable();
        probes.dedup();
        probes
    }
}

/// FNV-1a, 64 bits: tells texts apart, keeps no secrets.
pub fn fnv(bytes: &[u8]) -> u64 {
    bytes
        .iter()
        .fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(*b)).wrapping_mul(0x0000_0100_0000_01b3))
}

const KEYS: [&str; 5] = ["base", "mode", "samples", "seed", "axes"];

fn unknown_keys(root: &Item) -> Vec<Problem> {
    let Some(table) = root.as_table_like() else { return Vec::new() };
    let wrong = table.iter().filter(|(key, _)| !KEYS.contains(key));
    wrong
        .map(|(key, item)| {
            let at = root.as_table().and_then(|t| t.key(key)).and_then(|k| k.span());
            let help = match nearest(key, KEYS) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("keys of a sweep file: {}", KEYS.join(", ")),
            };
            Problem::error(
                "unknown-key",
                at.or(item.span()),
                format!("a sweep file has no key `{key}`"),
            )
            .label("unknown key")
            .help(help)
        })
        .collect()
}

fn mode(root: &Item) -> Result<Mode, Problem> {
    let word = root.get("mode").map_or(Some("grid"), Item::as_str);
    let at = |key: &str| root.get(key).and_then(Item::span);
    let bad = |key: &str, text: String, help: &str| {
        Err(Problem::error("bad-mode", at(key), text).label("here").help(help))
    };
    let whole = |key: &str| root.get(key).map(|v| v.as_integer());
    if word != Some("latin-hypercube") {
        for key in ["samples", "seed"] {
            if root.get(key).is_some() {
                let text = format!("`{key}` belongs to mode = \"latin-hypercube\"");
                return bad(key, text, "leave it out, or set the mode");
            }
        }
    }
    match word {
        Some("grid") => Ok(Mode::Grid),
        Some("zip") => Ok(Mode::Zip),
        Some("latin-hypercube") => {
            let samples = match whole("samples") {
                Some(Some(n)) if (1..=MOST as i64).contains(&n) => n as usize,
                _ => {
                    let text = "a Latin hypercube needs `samples`, a whole number from 1";
                    return bad("samples", text.to_string(), "e.g. samples = 200");
                }
            };
            match whole("seed") {
                None => Ok(Mode::LatinHypercube { samples, seed: 0 }),
                Some(Some(seed)) if seed >= 0 => {
                    Ok(Mode::LatinHypercube { samples, seed: seed as u64 })
                }
                _ => bad("seed", "`seed` is a whole number from 0".to_string(), "e.g. seed = 1"),
            }
        }
        _ => bad("mode", "no such mode".to_string(), "\"grid\", \"zip\" or \"latin-hypercube\""),
    }
}

fn base(root: &Item, load: &dyn Fn(&str) -> Loaded) -> Result<(String, PathBuf), Problem> {
    let item = root.get("base");
    let at = item.and_then(Item::span);
    let help = "base = \"CASE.toml\", beside the sweep file";
    match item.map(Item::as_str) {
        Some(Some(name)) => load(name).map_err(|why| {
            Problem::error("bad-base", at, format!("the base case \"{name}\": {why}"))
                .label("cannot be read")
                .help(help)
        }),
        _ => Err(Problem::error("bad-base", at, "the sweep needs its base case").help(help)),
    }
}

fn read_axes(
    text: &str,
    root: &Item,
    base: &str,
    mode: Mode,
    problems: &mut Vec<Problem>,
) -> Vec<Axis> {
    let help = "[axes] with lines such as temperature = [\"25 degC\", \"125 degC\"]";
    let Some(table) = root.get("axes").and_then(Item::as_table_like).filter(|t| !t.is_empty())
    else {
        let at = root.get("axes").and_then(Item::span);
        problems.push(Problem::error("bad-axis", at, "the sweep has no axes").help(help));
        return Vec::new();
    };
    let seed = match mode {
        Mode::LatinHypercube { seed, .. } => seed,
        _ => 0,
    };
    let mut random = Random::new(seed);
    let mut axes = Vec::new();
    let mut entries = Vec::new();
    flatten("", table, &mut entries);
    for (path, at, item) in entries {
        match axes::read(text, &path, at.or(item.span()), item, base, mode, &mut random) {
            Ok(axis) => axes.push(axis),
            Err(problem) => problems.push(problem),
        }
    }
    axes::shorten(&mut axes);
    axes
}

/// Dotted keys without quotes (`wafer.acceptors = […]`) are tables to TOML; both ways of
/// writing a path are taken.
fn flatten<'i>(
    before: &str,
    table: &'i dyn toml_edit::TableLike,
    out: &mut Vec<(String, Option<case::Span>, &'i Item)>,
) {
    for (key, item) in table.iter() {
        let path = if before.is_empty() { key.to_string() } else { format!("{before}.{key}") };
        match item.as_table_like() {
            Some(inner)
                if inner.get("from").is_none_or(Item::is_table_like) && !range_like(inner) =>
            {
                flatten(&path, inner, out);
            }
            _ => out.push((path, table.key(key).and_then(|k| k.span()), item)),
        }
    }
}

/// A table that is meant as a range, if with a slip.
fn range_like(table: &dyn toml_edit::TableLike) -> bool {
    table.is_empty() || ["to", "count", "scale"].iter().any(|k| table.contains_key(k))
}

fn count(axes: &[Axis], mode: Mode, root: &Item) -> Result<usize, Problem> {
    let at = root.get("axes").and_then(Item::span);
    match mode {
        Mode::LatinHypercube { samples, .. } => Ok(samples),
        Mode::Zip => {
            let first = axes.first().map_or(0, |a| a.levels.len());
            match axes.iter().find(|a| a.levels.len() != first) {
                None => Ok(first),
                Some(other) => Err(Problem::error(
                    "bad-axis",
                    at,
                    format!(
                        "with mode = \"zip\" all axes need as many values: `{}` has {}, `{}` has {first}",
                        other.path,
                        other.levels.len(),
                        axes.first().map_or("", |a| a.path.as_str())
                    ),
                )
                .label("of different lengths")
                .help("give each as many values, or take mode = \"grid\"")),
            }
        }
        Mode::Grid => axes
            .iter()
            .try_fold(1usize, |n, a| n.checked_mul(a.levels.len()))
            .filter(|n| *n <= MOST_CASES)
            .ok_or_else(|| {
                Problem::error(
                    "bad-axis",
                    at,
                    format!("the axes make more than {MOST_CASES} cases"),
                )
                .label("too many")
                .help("fewer values, or mode = \"latin-hypercube\"")
            }),
    }
}
