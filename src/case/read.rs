//! A case file's text to a [`Case`]: parse, walk, check, build.

use std::collections::BTreeSet;
use std::io::Read as _;
use std::path::Path;

use toml::de::DeTable;

use super::build;
use super::constants::{ConstantSpec, Constants};
use super::experiment_read::Nodes;
use super::key_tables::{CASE, THERMAL};
use super::keys::Bounds;
use super::model::{
    Avalanche, Case, Dopants, Heat, HeatPaths, Laws, Mobility, Narrowing, Saturation, Span,
    Statistics,
};
use super::problem::{Problem, Severity};
use super::render::Lines;
use super::walk::{MOST_PROBLEMS, Read, Value, Walker};

/// A case file is some kilobytes; a profile some more. Larger ones are something else.
const LARGEST_FILE: u64 = 16 << 20;

/// What reading gives: the case and its warnings, or all problems, by place.
pub type Reading = Result<(Case, Vec<Problem>), Vec<Problem>>;

/// Reads a case from memory. `path` is for messages only; a profile table cannot be
/// found from here: use [`read_file`].
pub fn read_str(text: &str, path: &str) -> Reading {
    read_with(text, path, &|file| {
        Err(format!(
            "the table \"{file}\" can only be found beside a case that is read from a file"
        ))
    })
}

/// Reads a case file; profile tables are found beside it and nowhere else.
pub fn read_file(path: &Path) -> Reading {
    let shown = path.display().to_string();
    let text = load(path).map_err(|why| {
        vec![
            Problem::error("unreadable-file", None, format!("{shown}: {why}"))
                .help("name a case file, e.g. meshes/diode-strip.toml"),
        ]
    })?;
    read_with(&text, &shown, &|file| load_beside(path, file))
}

/// Reads a case from memory as if it stood in the file `path`: profile tables are found
/// beside that.
pub fn read_beside(text: &str, path: &Path) -> Reading {
    read_with(text, &path.display().to_string(), &|file| load_beside(path, file))
}

/// The text of a case, sweep or profile: a file of at most 16 MiB, or why there is none.
///
/// # Errors
/// What the system says, or what else is wrong with the file.
pub fn load(path: &Path) -> Result<String, String> {
    let about = std::fs::metadata(path).map_err(|e| e.to_string())?;
    if !about.is_file() {
        return Err("not a file".to_string());
    }
    if about.len() > LARGEST_FILE {
        return Err(format!("{} bytes, more than {LARGEST_FILE}", about.len()));
    }
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(|e| e.to_string())?;
    // The system's word for the length is not always kept (/proc).
    file.take(LARGEST_FILE).read_to_end(&mut bytes).map_err(|e| e.to_string())?;
    String::from_utf8(bytes).map_err(|e| format!("no UTF-8 text: {e}"))
}

/// The text of a file in the folder of `case` or below it; links that lead out are refused.
///
/// # Errors
/// As for [`load`].
pub fn load_beside(case: &Path, file: &str) -> Result<String, String> {
    let folder = match case.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    if Path::new(file).is_absolute() {
        return Err(format!("\"{file}\" is an absolute path"));
    }
    let cannot = |e: std::io::Error| format!("\"{file}\": {e}");
    let folder = folder.canonicalize().map_err(cannot)?;
    let full = folder.join(file).canonicalize().map_err(cannot)?;
    if !full.starts_with(&folder) {
        return Err(format!("\"{file}\" lies outside the case's folder"));
    }
    load(&full).map_err(|why| format!("\"{file}\": {why}"))
}

fn read_with(text: &str, path: &str, load: build::Loader<'_>) -> Reading {
    let (document, syntax) = DeTable::parse_recoverable(text);
    let mut walker = Walker { text, problems: Vec::new() };
    let root = walker.table(document.get_ref(), 0..0, &CASE);
    if !syntax.is_empty() {
        return Err(with_syntax(&syntax, walker.problems, text));
    }
    let case = assemble(&mut walker, &root, text, path, load);
    let mut problems = walker.problems;
    problems.sort_by_key(|p| p.at.as_ref().map_or(0, |at| at.start));
    match case {
        Some(case) if problems.iter().all(|p| p.severity == Severity::Warning) => {
            Ok((case, problems))
        }
        _ => Err(problems),
    }
}

/// Syntax problems first of all. Of the others only those about a value itself are
/// kept: what seems missing may stand in the lines that could not be read.
fn with_syntax(syntax: &[toml::de::Error], others: Vec<Problem>, text: &str) -> Vec<Problem> {
    const SURE: &[&str] =
        &["unknown-key", "wrong-unit", "missing-unit", "bad-word", "not-available"];
    let places = Lines::new(text);
    let line = |at: &Span| places.place(at.start).0;
    let mut problems: Vec<Problem> = syntax
        .iter()
        .take(MOST_PROBLEMS)
        .map(|e| {
            Problem::error("syntax", e.span(), format!("this is not TOML: {}", e.message()))
                .label(e.message().lines().next().unwrap_or("here").to_string())
                .help("a line is `key = value`; text stands in quotes; a table starts with [name] or [[name]]")
        })
        .collect();
    let lines: BTreeSet<usize> = problems.iter().filter_map(|p| p.at.as_ref().map(line)).collect();
    problems.extend(others.into_iter().filter(|p| {
        SURE.contains(&p.code) && p.at.as_ref().is_some_and(|at| !lines.contains(&line(at)))
    }));
    problems.sort_by_key(|p| p.at.as_ref().map_or(0, |at| at.start));
    problems
}

/// Checks across tables, and the case if all of it could be read.
fn assemble(
    walker: &mut Walker<'_>,
    root: &Read,
    text: &str,
    path: &str,
    load: build::Loader<'_>,
) -> Option<Case> {
    walker.geometry(root);
    walker.names_once(root, &["well"], "well");
    walker.names_once(root, &["diffusion"], "diffusion");
    walker.names_once(root, &["terminal", "gate"], "terminal or gate");
    if root.tables("terminal").is_empty() && root.field("terminal").is_none() {
        walker.push(
            Problem::error(
                "missing-terminal",
                None,
                "the case has no terminal: nothing can be driven",
            )
            .help("add a [[terminal]] with name and touches = [{ from = 1.0, to = 2.0 }]"),
        );
    }
    walker.names_once(root, &["slide"], "slide");
    walker.names_once(root, &["rule"], "rule");
    let nodes = Nodes::new(root);
    walker.follows(root, &nodes);
    let experiments: Vec<_> =
        root.tables("experiment").iter().map(|e| walker.experiment(e, &nodes)).collect();
    let wafer = root.table("wafer").and_then(build::wafer);
    let thickness = wafer.as_ref().map_or(f64::INFINITY, |w| w.thickness);
    let wells: Vec<_> =
        root.tables("well").iter().map(|r| walker.piece(r, thickness, load)).collect();
    let diffusions: Vec<_> =
        root.tables("diffusion").iter().map(|r| walker.piece(r, thickness, load)).collect();
    let terminals: Vec<_> = root
        .tables("terminal")
        .iter()
        .map(|r| {
            let touches = walker.touches(r);
            build::terminal(r, touches)
        })
        .collect();
    let laws = build::laws(root.table("laws"));
    let heat = build::heat(root.table("heat"));
    if let Some(laws) = &laws {
        walker.heat_used(root, laws, heat);
    }
    let constants = match root.field("constants").map(|f| &f.value) {
        Some(Value::Constants(c, places)) => {
            if let Some(laws) = &laws {
                walker.constants_used(laws, c, places);
            }
            c.clone()
        }
        _ => Constants::default(),
    };
    walker.purpose(root);
    let follows: Vec<_> = root.tables("follow").iter().map(|r| walker.follow(r)).collect();
    let rules: Vec<_> = root.tables("rule").iter().map(|r| walker.rule(r, root)).collect();
    let spreads: Vec<_> = root.tables("spread").iter().map(|r| walker.spread(r)).collect();
    walker.contradictions(&rules.iter().flatten().cloned().collect::<Vec<_>>(), root);
    Some(Case {
        title: root.text("title").map(|t| t.value).unwrap_or_default(),
        temperature: root.number("temperature")?,
        temperatures: root
            .numbers("temperatures")
            .map(|list| list.iter().map(|t| t.value).collect())
            .unwrap_or_default(),
        width: root.number("width")?,
        wafer: wafer?,
        wells: wells.into_iter().collect::<Option<_>>()?,
        diffusions: diffusions.into_iter().collect::<Option<_>>()?,
        trenches: root.tables("trench").iter().map(build::trench).collect::<Option<_>>()?,
        gates: root.tables("gate").iter().map(build::gate).collect::<Option<_>>()?,
        terminals: terminals.into_iter().collect::<Option<_>>()?,
        laws: laws?,
        heat,
        constants,
        grid: build::grid(root.table("grid")),
        slides: root.tables("slide").iter().map(build::slide).collect::<Option<_>>()?,
        experiments: experiments.into_iter().collect::<Option<_>>()?,
        follows: follows.into_iter().collect::<Option<_>>()?,
        rules: rules.into_iter().collect::<Option<_>>()?,
        spreads: spreads.into_iter().collect::<Option<_>>()?,
        verdict: match root.table("verdict") {
            Some(v) => Some(build::verdict(v)?),
            None => None,
        },
        text: text.to_string(),
        path: path.to_string(),
    })
}

impl Walker<'_> {
    /// Names within these lists of tables are given once.
    fn names_once(&mut self, root: &Read, lists: &[&str], kind: &str) {
        let mut names: Vec<_> = lists
            .iter()
            .flat_map(|list| root.tables(list))
            .filter_map(|r| r.text("name"))
            .collect();
        names.sort_by_key(|n| n.at.start);
        for (i, name) in names.iter().enumerate() {
            if let Some(first) = names.iter().take(i).find(|n| n.value == name.value) {
                let text = format!("there are two of name \"{}\" ({kind})", name.value);
                self.push(
                    Problem::error("duplicate-name", Some(name.at.clone()), text)
                        .label("this name is taken")
                        .other(first.at.clone(), "first given here")
                        .help("give each its own name: they are addressed by it"),
                );
            }
        }
    }

    /// Warns of constants that differ from their default but belong to a law that is
    /// not in force.
    /// Self-heating needs a way out for the heat; a way out needs self-heating.
    fn heat_used(&mut self, root: &Read, laws: &Laws, heat: HeatPaths) {
        let none = heat == HeatPaths::default();
        let table = root.field("heat").map(|f| f.at.clone());
        if laws.heat == Heat::SelfHeating && none {
            let at = root.table("laws").map(|l| l.at("heat")).or(table);
            let Bounds { low, high, .. } = THERMAL;
            self.push(
                Problem::error(
                    "no-heat-path",
                    at,
                    "heat = \"self-heating\", but no heat can leave the cut: without a thermal resistance to the ambient there is no steady temperature",
                )
                .label("needs a way out for the heat")
                .help(format!(
                    "add a table [heat] with at least one of surface, back, terminals: a specific thermal resistance from {low:e} to {high:e} K*cm^2/W, e.g. back = \"0.05 K*cm^2/W\""
                )),
            );
        } else if laws.heat == Heat::None && !none {
            self.push(
                Problem::warning(
                    "unused-heat",
                    table,
                    "[heat] is not used: the lattice is held at ambient temperature",
                )
                .label("has no effect")
                .help("write heat = \"self-heating\" in [laws], or drop this table"),
            );
        }
    }

    fn constants_used(&mut self, laws: &Laws, constants: &Constants, places: &[(&str, Span)]) {
        let used = |spec: &ConstantSpec| match spec.law {
            "mobility" => laws.mobility == Mobility::Constant,
            "masetti-1983" => laws.mobility == Mobility::Masetti1983,
            "arora-1982" => laws.mobility == Mobility::Arora1982,
            // One table for two laws of that name.
            "klaassen-1992" if matches!(spec.key, "v_1" | "n_0" | "c") => {
                laws.narrowing == Narrowing::Klaassen1992
            }
            "klaassen-1992" => laws.mobility == Mobility::Klaassen1992,
            "del-alamo-1985" => laws.narrowing == Narrowing::DelAlamo1985,
            "okuto-crowell-1975" => laws.avalanche == Avalanche::OkutoCrowell1975,
            "surface-recombination" => laws.surface,
            "altermatt-2006" => laws.dopants == Dopants::Incomplete,
            "density-of-states" => laws.statistics == Statistics::FermiDirac,
            "glassbrenner-slack-1964" | "heat" => laws.heat == Heat::SelfHeating,
            "canali-1975" => laws.saturation == Saturation::Canali1975,
            "shockley-read-hall" => laws.shockley_read_hall,
            "auger" => laws.auger,
            "slotboom-1977" => laws.narrowing == Narrowing::Slotboom1977,
            "van-overstraeten-1970" => laws.avalanche == Avalanche::VanOverstraeten1970,
            _ => true,
        };
        for c in constants.in_force().iter().filter(|c| c.given && !used(c.spec)) {
            if constants.default_of(c.spec) != c.value {
                let at = places.iter().find(|p| p.0 == c.spec.law).map(|p| p.1.clone());
                let text = format!(
                    "the constant {}.{} has no effect: that law is not in force",
                    c.spec.law, c.spec.key
                );
                self.push(
                    Problem::warning("constant-not-used", at, text)
                        .label("given here")
                        .help("choose the law in [laws], or leave its constants out"),
                );
            }
        }
    }

    /// Warns of a case that measures nothing, or judges nothing.
    fn purpose(&mut self, root: &Read) {
        let experiments = root.tables("experiment");
        if experiments.is_empty() && root.field("experiment").is_none() {
            self.push(
                Problem::warning(
                    "no-experiment",
                    None,
                    "the case has no experiment: a run only solves the equilibrium",
                )
                .help("add an [[experiment]] with kind = \"snapback\", \"injection\" or \"bias\""),
            );
        } else if let Some(verdict) = root.field("verdict") {
            let traced = experiments.iter().any(|e| e.word("kind") == Some("snapback") || e.bad);
            if !traced {
                let text = "the verdict cannot be more than undecided: no snapback is traced";
                self.push(
                    Problem::warning("verdict-without-snapback", Some(verdict.at.clone()), text)
                        .label("needs a holding voltage")
                        .help("add an [[experiment]] with kind = \"snapback\""),
                );
            }
        }
    }
}
