//! A table over the axes of a sweep, in HDF5: axes are dimension scales, every figure is a
//! dataset along them, so that labelled-array readers open the file as it is.

use std::path::Path;

use serde_json::{Value, json};

use super::opened::Opened;
use super::sink::{Axis, Sink, label};
use super::{RecordError, disk};

const SCHEMA: &str = "holdpoint-sweep";
const VERSION: [u32; 2] = [1, 0];

/// Numbers (NaN where there is none) or texts (empty where there is none).
#[derive(Debug, Clone, PartialEq)]
pub enum Values {
    Numbers(Vec<f64>),
    Texts(Vec<String>),
}

impl Values {
    pub fn len(&self) -> usize {
        match self {
            Values::Numbers(v) => v.len(),
            Values::Texts(v) => v.len(),
        }
    }

    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    fn form(&self) -> &'static str {
        match self {
            Values::Numbers(_) => "numbers",
            Values::Texts(_) => "texts",
        }
    }
}

/// One dimension and its coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisValues {
    pub name: String,
    pub unit: String,
    /// The key of the case that varies.
    pub meaning: String,
    pub values: Values,
}

/// One figure over all axes, the last axis fastest.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    pub name: String,
    pub unit: String,
    pub meaning: String,
    pub values: Values,
}

/// What a sweep gave.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Gathered {
    /// Name of the sweep.
    pub name: String,
    /// Program version that gathered.
    pub version: String,
    /// Sweep file and base case, verbatim.
    pub sweep_text: String,
    pub base_text: String,
    pub axes: Vec<AxisValues>,
    pub columns: Vec<Column>,
    /// Case names and their files, relative to this file.
    pub files: Vec<(String, String)>,
}

impl Gathered {
    pub fn column(&self, name: &str) -> Option<&Column> {
        self.columns.iter().find(|c| c.name == name)
    }
}

/// Writes a gathered sweep, in one step as seen by others.
///
/// # Errors
/// As for [`super::write`].
pub fn write_gathered(path: &Path, gathered: &Gathered) -> Result<(), RecordError> {
    disk::put(path, &to_bytes(gathered)?)
}

fn about(name: &str, unit: &str, meaning: &str, values: &Values) -> Value {
    json!({ "name": name, "unit": unit, "meaning": meaning, "form": values.form() })
}

fn to_bytes(g: &Gathered) -> Result<Vec<u8>, RecordError> {
    let sink = Sink::new()?;
    let root = sink.root()?;
    root.text("Conventions", "CF-1.11")?;
    root.text("schema", SCHEMA)?;
    root.vector("schema_version", &VERSION)?;
    root.text("title", &format!("sweep {}", g.name))?;
    root.text("name", &g.name)?;
    root.text("version", &g.version)?;
    root.text("sweep_text", &g.sweep_text)?;
    root.text("base_text", &g.base_text)?;
    let axes = g.axes.iter().map(|a| about(&a.name, &a.unit, &a.meaning, &a.values));
    let columns = g.columns.iter().map(|c| about(&c.name, &c.unit, &c.meaning, &c.values));
    let contents = json!({
        "axes": axes.collect::<Vec<_>>(), "columns": columns.collect::<Vec<_>>(),
    });
    root.text("contents", &contents.to_string())?;
    let mut made: Vec<Axis> = Vec::new();
    for a in &g.axes {
        made.push(match &a.values {
            Values::Numbers(v) => root.axis(&a.name, v, label(&a.unit, &a.meaning))?,
            Values::Texts(v) => root.text_axis(&a.name, v, &a.meaning)?,
        });
    }
    for c in &g.columns {
        match &c.values {
            Values::Numbers(v) => root.column(&c.name, v, &made, label(&c.unit, &c.meaning))?,
            Values::Texts(v) => root.texts_along(&c.name, v, &made, &c.meaning)?,
        }
    }
    let links = root.group("cases")?;
    for (name, file) in &g.files {
        links.link(file, name)?;
    }
    sink.finish()
}

/// True if the file is whole and says that it is a gathered sweep.
pub fn is_gathered(path: &Path) -> bool {
    Opened::new(path).is_ok_and(|file| file.root(SCHEMA, VERSION).is_ok())
}

/// Reads a gathered sweep.
///
/// # Errors
/// As for [`super::read`].
pub fn read_gathered(path: &Path) -> Result<Gathered, RecordError> {
    let file = Opened::new(path)?;
    let root = file.root(SCHEMA, VERSION)?;
    let contents: Value = serde_json::from_str(root.text("contents")?)
        .map_err(|e| root.damaged("contents", e.to_string()))?;
    let entries = |key: &str| -> Vec<[String; 4]> {
        let text = |v: &Value, k: &str| v.get(k).and_then(Value::as_str).unwrap_or("").to_string();
        let list = contents.get(key).and_then(Value::as_array);
        list.into_iter()
            .flatten()
            .map(|v| ["name", "unit", "meaning", "form"].map(|k| text(v, k)))
            .collect()
    };
    let mut axes = Vec::new();
    for [name, unit, meaning, form] in entries("axes") {
        let values = match form.as_str() {
            "texts" => Values::Texts(root.texts(&name)?),
            _ => Values::Numbers(root.list(&name)?),
        };
        axes.push(AxisValues { name, unit, meaning, values });
    }
    let shape: Vec<usize> = axes.iter().map(|a| a.values.len()).collect();
    let mut columns = Vec::new();
    for [name, unit, meaning, form] in entries("columns") {
        let values = match form.as_str() {
            "texts" => Values::Texts(root.texts_along(&name, &shape)?),
            _ => Values::Numbers(root.column(&name, &shape)?),
        };
        columns.push(Column { name, unit, meaning, values });
    }
    let list = |name: &str| match columns.iter().find(|c: &&Column| c.name == name) {
        Some(Column { values: Values::Texts(texts), .. }) => texts.clone(),
        _ => Vec::new(),
    };
    let files = list("case").into_iter().zip(list("file"));
    let files = files.filter(|(_, file)| !file.is_empty()).collect();
    Ok(Gathered {
        name: root.text("name")?.to_string(),
        version: root.text("version")?.to_string(),
        sweep_text: root.text("sweep_text")?.to_string(),
        base_text: root.text("base_text")?.to_string(),
        axes,
        columns,
        files,
    })
}
