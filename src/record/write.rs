//! A record to HDF5. The layout is described in `results/README.md`, which a test
//! compares with a written file.

use std::path::Path;

use super::names::{SCHEMA, SCHEMA_VERSION, groups_of};
use super::sink::{Axis, Place, Sink, label};
use super::{ConstantInForce, RecordError, RunRecord, disk, sheet, write_outcome};
use crate::case::Plate;
use crate::experiment::Sheet;
use crate::extract::{Answer, Verdict};
use crate::mesh::{ContactKind, Material, Mesh};

type Made<T> = Result<T, RecordError>;

/// Writes a record: to a temporary name in the same folder, then renamed. An existing
/// file is replaced (see [`super::ensure_writable`]).
///
/// # Errors
/// [`RecordError::NoFolder`], [`RecordError::Io`] (permission, full disk), and
/// [`RecordError::Unfit`] if lengths in the record contradict each other.
pub fn write(path: &Path, record: &RunRecord) -> Result<(), RecordError> {
    disk::put(path, &to_bytes(record)?)
}

/// The bytes of the result file.
fn to_bytes(record: &RunRecord) -> Made<Vec<u8>> {
    let sink = Sink::new()?;
    let root = sink.root()?;
    head(&root, record)?;
    let plane = mesh(&root, &record.mesh)?;
    doping(&root.group("doping")?, &record.mesh, &plane)?;
    let at_rest = root.group("equilibrium")?;
    plane.field(&at_rest, "potential", &record.equilibrium, "V", "potential at equilibrium")?;
    let experiments = root.group("experiment")?;
    experiments.number("count", record.experiments.len() as u64)?;
    for (k, outcome) in record.experiments.iter().enumerate() {
        write_outcome::outcome(&experiments.group(&k.to_string())?, outcome, &plane)?;
    }
    let extract = root.group("extract")?;
    if !record.extract.figures.is_empty() {
        sheet::write(&extract, &record.extract)?;
    }
    verdict(&root.group("verdict")?, record.verdict.as_ref())?;
    for (name, sheets) in lists(record) {
        // Absent where the case asks for none.
        if !sheets.is_empty() {
            let at = root.group(name)?;
            at.number("count", sheets.len() as u64)?;
            for (k, s) in sheets.iter().enumerate() {
                sheet::write(&at.group(&k.to_string())?, s)?;
            }
        }
    }
    sink.finish()
}

/// Follows, rules, spreads and temperatures by the name of their group.
fn lists(record: &RunRecord) -> [(&'static str, &[Sheet]); 4] {
    [
        ("follow", &record.follows),
        ("rule", &record.rules),
        ("spread", &record.spreads),
        ("temperature", &record.temperatures),
    ]
}

fn head(root: &Place, record: &RunRecord) -> Made<()> {
    let made_by = &record.provenance;
    root.text("Conventions", "CF-1.11")?;
    root.text("schema", SCHEMA)?;
    root.vector("schema_version", &SCHEMA_VERSION)?;
    root.text("title", &record.title)?;
    root.text("case_name", &record.case_name)?;
    root.number("temperature_K", record.temperature)?;
    root.number("width_um", record.width)?;
    root.number("complete", u8::from(record.complete))?;
    root.text("version", &made_by.version)?;
    root.text("machine", &made_by.machine)?;
    root.number("threads", made_by.threads as u64)?;
    root.text("started", &made_by.started)?;
    root.number("wall_s", made_by.wall)?;
    root.text("case_text", &record.case_text)?;
    list(root, "run_warnings", &record.warnings, "warnings of the whole run")?;
    laws(&root.group("laws")?, &record.laws)?;
    constants(&root.group("constants")?, &record.constants)
}

/// A list of texts, absent if empty.
pub(super) fn list(at: &Place, name: &str, texts: &[String], meaning: &str) -> Made<()> {
    if !texts.is_empty() {
        at.text_axis(name, texts, meaning)?;
    }
    Ok(())
}

fn laws(at: &Place, laws: &[(String, String)]) -> Made<()> {
    at.number("count", laws.len() as u64)?;
    if laws.is_empty() {
        return Ok(());
    }
    let row = at.rows("row", laws.len(), "row of this table")?;
    let column = |pick: fn(&(String, String)) -> &String| laws.iter().map(pick).cloned().collect();
    let properties: Vec<String> = column(|l| &l.0);
    let named: Vec<String> = column(|l| &l.1);
    at.texts("property", &properties, row, "what the law is for")?;
    at.texts("law", &named, row, "law in force, named after its paper")
}

fn constants(at: &Place, constants: &[ConstantInForce]) -> Made<()> {
    at.number("count", constants.len() as u64)?;
    if constants.is_empty() {
        return Ok(());
    }
    let row = at.rows("row", constants.len(), "row of this table")?;
    let column = |pick: fn(&ConstantInForce) -> &String| -> Vec<String> {
        constants.iter().map(pick).cloned().collect()
    };
    at.texts("law", &column(|c| &c.law), row, "law that the constant belongs to")?;
    at.texts("key", &column(|c| &c.key), row, "name of the constant")?;
    at.texts("value_unit", &column(|c| &c.unit), row, "unit of the value in this row")?;
    let values: Vec<f64> = constants.iter().map(|c| c.value).collect();
    at.column("value", &values, &[row], label("1", "value in force, in value_unit"))?;
    let flags: Vec<u8> = constants.iter().map(|c| u8::from(c.overridden)).collect();
    at.column("overridden", &flags, &[row], label("1", "1 if the case gives it, 0 if a default"))
}

/// The axes of the mesh and where its nodes lie on them.
pub(super) struct Plane<'m> {
    x: Axis,
    y: Axis,
    mesh: &'m Mesh,
}

impl Plane<'_> {
    /// One value per node, spread over (y, x) with NaN in the void; absent if empty.
    pub(super) fn field(
        &self,
        at: &Place,
        name: &str,
        by_node: &[f64],
        unit: &str,
        meaning: &str,
    ) -> Made<()> {
        if by_node.is_empty() {
            return Ok(());
        }
        if by_node.len() != self.mesh.nodes() {
            let detail =
                format!("{} values of {name} for {} nodes", by_node.len(), self.mesh.nodes());
            return Err(RecordError::unfit("a field", detail));
        }
        let at_node = |n: &Option<u32>| n.and_then(|n| by_node.get(n as usize).copied());
        let grid: Vec<f64> =
            self.mesh.node_at.iter().map(|n| at_node(n).unwrap_or(f64::NAN)).collect();
        at.column(name, &grid, &[self.y, self.x], label(unit, meaning))
    }
}

fn centres(lines: &[f64]) -> Vec<f64> {
    lines.windows(2).map(|w| 0.5 * (w[0] + w[1])).collect()
}

fn mesh<'m>(root: &Place, mesh: &'m Mesh) -> Made<Plane<'m>> {
    super::check::mesh(mesh).map_err(|detail| RecordError::unfit("/mesh", detail))?;
    let at = root.group("mesh")?;
    // netCDF looks for dimensions only in a group and those above it, so the axes that
    // fields share lie in the root and are linked here.
    let x = root.axis("x", &mesh.x, label("um", "lateral position of the mesh lines"))?;
    let y = root.axis("y", &mesh.y, label("um", "depth of the mesh lines, 0 at the surface"))?;
    at.also("x")?;
    at.also("y")?;
    let x_cell = at.axis("x_cell", &centres(&mesh.x), label("um", "middle of the cells in x"))?;
    let y_cell = at.axis("y_cell", &centres(&mesh.y), label("um", "middle of the cells in y"))?;
    let cells: Vec<u8> = mesh.cells.iter().map(|m| *m as u8).collect();
    at.column(
        "material",
        &cells,
        &[y_cell, x_cell],
        label("1", "cell material: 0 void, 1 silicon, 2 oxide"),
    )?;
    let nodes: Vec<i64> = mesh.node_at.iter().map(|n| n.map_or(-1, i64::from)).collect();
    at.column("node", &nodes, &[y, x], label("1", "node number at the point, -1 in the void"))?;
    let plane = Plane { x, y, mesh };
    plane.field(
        &at,
        "silicon_area",
        &silicon_areas(mesh),
        "um^2",
        "silicon area of the node's control volume",
    )?;
    terminals(&at, mesh)?;
    let d = &mesh.doping;
    let total = "donors + acceptors at the middle of the edges along";
    let donors = "donors at the middle of the edges along";
    for (name, values, axes, meaning) in [
        ("total_doping_x", &d.total_x, [y, x_cell], format!("{total} x")),
        ("total_doping_y", &d.total_y, [y_cell, x], format!("{total} y")),
        ("donors_x", &d.donors_x, [y, x_cell], format!("{donors} x")),
        ("donors_y", &d.donors_y, [y_cell, x], format!("{donors} y")),
    ] {
        if !values.is_empty() {
            at.column(name, values, &axes, label("cm^-3", &meaning))?;
        }
    }
    Ok(plane)
}

/// Silicon area [µm²] of each node's box: a quarter of each silicon cell that it touches.
fn silicon_areas(mesh: &Mesh) -> Vec<f64> {
    let mut areas = vec![0.0; mesh.nodes()];
    for j in 0..mesh.ny() - 1 {
        for i in 0..mesh.nx() - 1 {
            if mesh.cell(i, j) != Material::Silicon {
                continue;
            }
            let quarter = 0.25 * (mesh.x[i + 1] - mesh.x[i]) * (mesh.y[j + 1] - mesh.y[j]);
            for (a, b) in [(i, j), (i + 1, j), (i, j + 1), (i + 1, j + 1)] {
                if let Some(area) = mesh.node(a, b).and_then(|n| areas.get_mut(n)) {
                    *area += quarter;
                }
            }
        }
    }
    areas
}

fn terminals(at: &Place, mesh: &Mesh) -> Made<()> {
    let names: Vec<String> = mesh.terminals.iter().map(|t| t.name.clone()).collect();
    list(at, "terminal_names", &names, "terminals, ohmic ones first, then gates")?;
    let at = at.group("terminal")?;
    for (terminal, name) in mesh.terminals.iter().zip(groups_of(&names, &[])) {
        let group = at.group(&name)?;
        group.text("name", &terminal.name)?;
        match terminal.kind {
            ContactKind::Ohmic => group.text("kind", "ohmic")?,
            ContactKind::Gate { plate } => {
                group.text("kind", "gate")?;
                match plate {
                    Plate::NPoly => group.text("plate", "n+ poly")?,
                    Plate::PPoly => group.text("plate", "p+ poly")?,
                    Plate::WorkFunction(level) => {
                        group.text("plate", "work function")?;
                        group.number("work_function_eV", level)?;
                    }
                }
            }
        }
        group.number("nodes", terminal.nodes.len() as u64)?;
        if !terminal.nodes.is_empty() {
            group.axis("node", &terminal.nodes, label("1", "nodes of the terminal"))?;
        }
    }
    Ok(())
}

fn doping(at: &Place, mesh: &Mesh, plane: &Plane) -> Made<()> {
    let d = &mesh.doping;
    let unit = "cm^-3";
    plane.field(at, "donors", &d.donors_at, unit, "donors at the point")?;
    plane.field(at, "acceptors", &d.acceptors_at, unit, "acceptors at the point")?;
    let both = |f: fn(f64, f64) -> f64| -> Vec<f64> {
        d.donors_at.iter().zip(&d.acceptors_at).map(|(n, p)| f(*n, *p)).collect()
    };
    plane.field(at, "total", &both(|n, p| n + p), unit, "donors + acceptors at the point")?;
    plane.field(at, "net", &both(|n, p| n - p), unit, "donors - acceptors at the point")?;
    let mean = "mean over the silicon of the control volume";
    plane.field(
        at,
        "fixed_charge",
        &d.fixed_charge,
        "cm^-1",
        "fixed charge of silicon-oxide interfaces in the control volume, elementary charges",
    )?;
    plane.field(at, "donors_mean", &d.donors, unit, &format!("donors, {mean}"))?;
    plane.field(at, "acceptors_mean", &d.acceptors, unit, &format!("acceptors, {mean}"))
}

/// Whether an on-state exists below supply·(1 + margin), in a word.
pub(super) fn sustains(answer: Answer) -> &'static str {
    match answer {
        Answer::Latches | Answer::NotReached => "yes",
        Answer::NoOnState => "no",
        Answer::Undecided => "unknown",
    }
}

fn verdict(at: &Place, verdict: Option<&Verdict>) -> Made<()> {
    let Some(v) = verdict else { return Ok(()) };
    at.text("answer", v.answer.word())?;
    at.text("sustains", sustains(v.answer))?;
    at.scalar("supply", v.supply, label("V", "supply voltage"))?;
    at.scalar("margin", v.margin, label("1", "margin on the supply voltage"))?;
    list(at, "reasons", &v.reasons, "what led to the answer, the deciding one first")?;
    sheet::write(&at.group("named")?, &v.more)
}
