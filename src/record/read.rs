//! A record from HDF5.

use std::path::Path;

use super::names::{SCHEMA, SCHEMA_VERSION, groups_of};
use super::opened::Opened;
use super::source::Shelf;
use super::{ConstantInForce, Provenance, RecordError, RunRecord, check, read_outcome, sheet};
use crate::case::Plate;
use crate::experiment::Sheet;
use crate::extract::{Answer, Verdict};
use crate::mesh::{ContactKind, Doping, Material, Mesh, TerminalNodes};

type Got<T> = Result<T, RecordError>;

/// Reads a record; equal, bit for bit, to the one written.
///
/// # Errors
/// [`RecordError::Io`] if the file cannot be opened, [`RecordError::Foreign`] if it is
/// not one of ours, [`RecordError::OtherSchema`] for another major schema version,
/// [`RecordError::Damaged`] if a checksum or a length is wrong.
pub fn read(path: &Path) -> Result<RunRecord, RecordError> {
    with_root(path, whole)
}

/// What a result answers, without mesh, curves and fields: for tables over many results.
#[derive(Debug, Clone)]
pub struct Outline {
    pub provenance: Provenance,
    pub case_text: String,
    /// Ambient \[K\] and width \[µm\].
    pub temperature: f64,
    pub width: f64,
    /// Mesh nodes.
    pub nodes: usize,
    /// With empty curves, folds and fields.
    pub experiments: Vec<crate::experiment::Outcome>,
    pub verdict: Option<Verdict>,
    pub complete: bool,
}

/// Reads the answers of a result alone. The whole file is checked all the same.
///
/// # Errors
/// Those of [`read`].
pub fn outline(path: &Path) -> Result<Outline, RecordError> {
    with_root(path, |root| {
        let experiments = root.group("experiment")?;
        let count = experiments.count("count")?;
        let mut outcomes = Vec::new();
        for k in 0..count {
            outcomes.push(read_outcome::outline(&experiments.group(&k.to_string())?)?);
        }
        let at = root.group("mesh")?;
        let (nx, ny) = (at.list::<f64>("x")?.len(), at.list::<f64>("y")?.len());
        let nodes = at.column::<i64>("node", &[ny, nx])?.iter().filter(|n| **n >= 0).count();
        Ok(Outline {
            provenance: provenance(root)?,
            case_text: root.text("case_text")?.to_string(),
            temperature: root.number("temperature_K")?,
            width: root.number("width_um")?,
            nodes,
            experiments: outcomes,
            verdict: verdict(&root.group("verdict")?)?,
            complete: root.flag("complete")?,
        })
    })
}

/// Checks the seal and the schema, then reads.
fn with_root<T>(path: &Path, read: impl FnOnce(&Shelf) -> Got<T>) -> Got<T> {
    let file = Opened::new(path)?;
    read(&file.root(SCHEMA, SCHEMA_VERSION)?)
}

fn provenance(root: &Shelf) -> Got<Provenance> {
    Ok(Provenance {
        version: root.text("version")?.to_string(),
        machine: root.text("machine")?.to_string(),
        threads: root.count("threads")?,
        started: root.text("started")?.to_string(),
        wall: root.number("wall_s")?,
    })
}

fn whole(root: &Shelf) -> Got<RunRecord> {
    let (mesh, net) = mesh(root)?;
    let experiments = root.group("experiment")?;
    let count = experiments.count("count")?;
    let mut outcomes = Vec::new();
    for k in 0..count {
        outcomes.push(read_outcome::outcome(&experiments.group(&k.to_string())?, &net)?);
    }
    Ok(RunRecord {
        title: root.text("title")?.to_string(),
        case_name: root.text("case_name")?.to_string(),
        case_text: root.text("case_text")?.to_string(),
        constants: constants(&root.group("constants")?)?,
        laws: laws(&root.group("laws")?)?,
        temperature: root.number("temperature_K")?,
        width: root.number("width_um")?,
        provenance: provenance(root)?,
        equilibrium: net.field(&root.group("equilibrium")?, "potential")?,
        mesh,
        experiments: outcomes,
        verdict: verdict(&root.group("verdict")?)?,
        extract: extract(root)?,
        temperatures: sheets(root, "temperature")?,
        follows: sheets(root, "follow")?,
        rules: sheets(root, "rule")?,
        spreads: sheets(root, "spread")?,
        warnings: root.texts("run_warnings")?,
        complete: root.flag("complete")?,
    })
}

/// The sheets of a group that may be absent.
fn sheets(root: &Shelf, name: &str) -> Got<Vec<Sheet>> {
    if !root.has(name) {
        return Ok(Vec::new());
    }
    let at = root.group(name)?;
    let count = at.count("count")?;
    (0..count).map(|k| sheet::read(&at.group(&k.to_string())?)).collect()
}

fn laws(at: &Shelf) -> Got<Vec<(String, String)>> {
    let count = at.count("count")?;
    let properties = at.texts_of("property", count)?;
    Ok(properties.into_iter().zip(at.texts_of("law", count)?).collect())
}

fn constants(at: &Shelf) -> Got<Vec<ConstantInForce>> {
    let count = at.count("count")?;
    if count == 0 {
        return Ok(Vec::new());
    }
    let keys = at.texts_of("key", count)?;
    let units = at.texts_of("value_unit", count)?;
    let values = at.column::<f64>("value", &[count])?;
    let flags = at.column::<u8>("overridden", &[count])?;
    let numbers = values.into_iter().zip(flags);
    let rows = at.texts_of("law", count)?.into_iter().zip(keys).zip(units).zip(numbers);
    Ok(rows
        .map(|(((law, key), unit), (value, flag))| ConstantInForce {
            law,
            key,
            value,
            unit,
            overridden: flag != 0,
        })
        .collect())
}

/// Where the nodes lie on the grid: turns (y, x) fields back into values by node.
pub(super) struct Net {
    shape: [usize; 2],
    grid_of: Vec<u32>,
}

impl Net {
    /// A field by node; empty if absent.
    pub(super) fn field(&self, at: &Shelf, name: &str) -> Got<Vec<f64>> {
        if !at.has(name) {
            return Ok(Vec::new());
        }
        let grid = at.column::<f64>(name, &self.shape)?;
        let by_node: Vec<f64> =
            self.grid_of.iter().filter_map(|g| grid.get(*g as usize).copied()).collect();
        Ok(by_node)
    }
}

fn mesh(root: &Shelf) -> Got<(Mesh, Net)> {
    let at = root.group("mesh")?;
    let x = at.list::<f64>("x")?;
    let y = at.list::<f64>("y")?;
    let (nx, ny) = (x.len(), y.len());
    if nx < 2 || ny < 2 || nx.saturating_mul(ny) > super::source::MOST {
        return Err(at.damaged("x", format!("{nx} by {ny} lines cannot be")));
    }
    let cells = at
        .column::<u8>("material", &[ny - 1, nx - 1])?
        .into_iter()
        .map(|code| match code {
            0 => Ok(Material::Void),
            1 => Ok(Material::Silicon),
            2 => Ok(Material::Oxide),
            _ => Err(at.damaged("material", format!("no material has the code {code}"))),
        })
        .collect::<Got<Vec<Material>>>()?;
    let node_at: Vec<Option<u32>> = at
        .column::<i64>("node", &[ny, nx])?
        .into_iter()
        .map(|n| match n {
            -1 => Ok(None),
            n => u32::try_from(n)
                .map(Some)
                .map_err(|_| at.damaged("node", format!("no node has the number {n}"))),
        })
        .collect::<Got<_>>()?;
    let numbered = node_at.iter().enumerate().filter(|(_, n)| n.is_some());
    let grid_of: Vec<u32> = numbered.map(|(g, _)| g as u32).collect();
    let net = Net { shape: [ny, nx], grid_of: grid_of.clone() };
    let edges = |name, shape: [usize; 2]| match at.has(name) {
        true => at.column::<f64>(name, &shape),
        false => Ok(Vec::new()),
    };
    let from = root.group("doping")?;
    let (donors_at, acceptors_at) = (net.field(&from, "donors")?, net.field(&from, "acceptors")?);
    let doping = Doping {
        donors: net.field(&from, "donors_mean")?,
        acceptors: net.field(&from, "acceptors_mean")?,
        // Not kept: the sides of an abrupt edge.
        total_sides: donors_at.iter().zip(&acceptors_at).map(|(a, b)| [a + b; 4]).collect(),
        donors_at,
        acceptors_at,
        total_x: edges("total_doping_x", [ny, nx - 1])?,
        total_y: edges("total_doping_y", [ny - 1, nx])?,
        fixed_charge: match from.has("fixed_charge") {
            true => net.field(&from, "fixed_charge")?,
            false => Vec::new(),
        },
        donors_x: edges("donors_x", [ny, nx - 1])?,
        donors_y: edges("donors_y", [ny - 1, nx])?,
    };
    let terminals = terminals(&at)?;
    let mesh = Mesh { x, y, cells, node_at, grid_of, terminals, doping };
    check::mesh(&mesh).map_err(|detail| at.damaged("", detail))?;
    Ok((mesh, net))
}

fn terminals(at: &Shelf) -> Got<Vec<TerminalNodes>> {
    let names = at.texts("terminal_names")?;
    let groups = groups_of(&names, &[]);
    let within = at.group("terminal")?;
    let one = |(name, group): (String, String)| {
        let at = within.group(&group)?;
        let kind = match at.text("kind")? {
            "ohmic" => ContactKind::Ohmic,
            "gate" => ContactKind::Gate { plate: plate(&at)? },
            other => return Err(at.damaged("kind", format!("{other:?} is not a kind of contact"))),
        };
        let nodes = at.list::<u32>("node")?;
        if nodes.len() != at.count("nodes")? {
            return Err(at.damaged("node", "not as many nodes as the group says"));
        }
        Ok(TerminalNodes { name, kind, nodes })
    };
    names.into_iter().zip(groups).map(one).collect()
}

fn plate(at: &Shelf) -> Got<Plate> {
    match at.text("plate")? {
        "n+ poly" => Ok(Plate::NPoly),
        "p+ poly" => Ok(Plate::PPoly),
        "work function" => Ok(Plate::WorkFunction(at.number("work_function_eV")?)),
        other => Err(at.damaged("plate", format!("{other:?} is not a plate"))),
    }
}

/// Empty in files without any.
fn extract(root: &Shelf) -> Got<Sheet> {
    if !root.has("extract") {
        return Ok(Sheet::new());
    }
    let at = root.group("extract")?;
    if at.has("figure") { sheet::read(&at) } else { Ok(Sheet::new()) }
}

fn verdict(at: &Shelf) -> Got<Option<Verdict>> {
    let Some(word) = at.maybe_text("answer") else { return Ok(None) };
    let answer = Answer::from_word(word)
        .ok_or_else(|| at.damaged("answer", format!("{word:?} is not an answer")))?;
    Ok(Some(Verdict {
        answer,
        supply: at.scalar("supply")?,
        margin: at.scalar("margin")?,
        reasons: at.texts("reasons")?,
        // Files of the first versions have none.
        more: match at.has("named") {
            true => sheet::read(&at.group("named")?)?,
            false => Sheet::new(),
        },
    }))
}
