//! `results/README.md` describes what is in a result, no more and no less.

mod record_support;

use std::collections::BTreeMap;
use std::path::Path;

use hdf5::types::TypeDescriptor;
use hdf5::{Dataset, Group};
use record_support::rich;

/// Shape, unit and meaning; the meaning of an attribute is not in the file.
#[derive(Debug, PartialEq)]
struct Entry {
    shape: String,
    unit: String,
    meaning: String,
}

fn table() -> BTreeMap<String, Entry> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/results/README.md");
    let text = std::fs::read_to_string(path).unwrap();
    let mut rows = BTreeMap::new();
    for line in text.lines().filter(|l| l.starts_with("| `/")) {
        let cells: Vec<&str> = line.trim_matches('|').split(" | ").map(str::trim).collect();
        let [path, shape, unit, meaning, _when] = cells[..] else {
            panic!("not five cells: {line}");
        };
        let path = path.trim_matches('`').to_string();
        let entry = Entry { shape: shape.into(), unit: unit.into(), meaning: meaning.into() };
        assert!(!entry.meaning.is_empty(), "{path} has no meaning");
        assert!(rows.insert(path.clone(), entry).is_none(), "{path} is there twice");
    }
    rows
}

/// What makes a dimension scale, and the description itself.
const MARKS: [&str; 7] =
    ["CLASS", "NAME", "DIMENSION_LIST", "REFERENCE_LIST", "units", "unit", "long_name"];

/// The file's groups under the names of the table.
fn general(path: &str, name: &str) -> String {
    let parts: Vec<&str> = path.split('/').collect();
    match parts[..] {
        ["", "mesh", "terminal"] => "TERMINAL".into(),
        ["", "experiment", "k", "curve"] => "TERMINAL".into(),
        ["", "experiment", "k", "error_bars"] => "RERUN".into(),
        ["", "experiment", "k", "error_bars", "RERUN"] => "POINT".into(),
        ["", "experiment"] | ["", "experiment", "k", "fields"] => "k".into(),
        _ => name.into(),
    }
}

fn attributes(at: &hdf5::Location, path: &str, found: &mut BTreeMap<String, Entry>) {
    for name in at.attr_names().unwrap() {
        if MARKS.contains(&name.as_str()) {
            continue;
        }
        let attr = at.attr(&name).unwrap();
        let kind = attr.dtype().unwrap().to_descriptor().unwrap();
        let shape = match (kind, attr.size()) {
            (TypeDescriptor::VarLenUnicode, 1) => "text",
            (_, 1) => "number",
            _ => "numbers",
        };
        let unit = match name.as_str() {
            n if n.ends_with("_K") => "K",
            n if n.ends_with("_A_per_um") => "A/um",
            n if n.ends_with("_um") => "um",
            n if n.ends_with("_eV") => "eV",
            n if n.ends_with("_V") => "V",
            n if n.ends_with("_s") => "s",
            _ => "",
        };
        let entry = Entry { shape: shape.into(), unit: unit.into(), meaning: String::new() };
        found.insert(format!("{path}/@{name}"), entry);
    }
}

fn text(data: &Dataset, name: &str) -> String {
    let value = data.attr(name).unwrap().read_scalar::<hdf5::types::VarLenUnicode>();
    value.unwrap().as_str().to_string()
}

/// Figures of a kind of experiment: the lists say what is there, the docs of each kind
/// which. Only the lists themselves are in the table.
const LISTS: [&str; 5] = ["count", "figure", "form", "unit", "meaning"];

fn walk(group: &Group, path: &str, found: &mut BTreeMap<String, Entry>) {
    attributes(group, path, found);
    for name in group.member_names().unwrap() {
        if let Ok(inner) = group.group(&name) {
            walk(&inner, &format!("{path}/{}", general(path, &name)), found);
            continue;
        }
        let data = group.dataset(&name).unwrap();
        let path = format!("{path}/{name}");
        assert_eq!(text(&data, "unit"), text(&data, "units"), "{path}");
        attributes(&data, &path, found);
        let shape: Vec<String> = data.shape().iter().map(usize::to_string).collect();
        let entry = Entry {
            shape: shape.join(", "),
            unit: text(&data, "units"),
            meaning: text(&data, "long_name"),
        };
        if let Some(other) = found.insert(path.clone(), entry) {
            assert_eq!(other.unit, text(&data, "units"), "{path}");
        }
    }
}

#[test]
fn the_table_and_a_written_file_agree() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.h5");
    holdpoint::record::write(Path::new(&path), &rich()).unwrap();
    let file = hdf5::File::open(&path).unwrap();
    let mut found = BTreeMap::new();
    walk(&file.group("/").unwrap(), "", &mut found);
    let rows = table();
    let missing: Vec<&String> = found.keys().filter(|p| !rows.contains_key(*p)).collect();
    let own = |p: &&String| {
        let groups =
            ["/experiment/k/named/", "/experiment/k/flow/", "/verdict/named/", "/extract/"];
        let list = groups.iter().find_map(|g| p.strip_prefix(g));
        list.is_none_or(|l| LISTS.contains(&l.trim_start_matches('@')))
    };
    let missing: Vec<&String> = missing.into_iter().filter(own).collect();
    assert!(missing.is_empty(), "in the file but not in results/README.md: {missing:#?}");
    let extra: Vec<&String> = rows.keys().filter(|p| !found.contains_key(*p)).collect();
    assert!(extra.is_empty(), "in results/README.md but not in the file: {extra:#?}");
    // Lengths of the named dimensions of the invented record.
    let mesh = rich().mesh;
    let (nx, ny) = (mesh.x.len(), mesh.y.len());
    let lengths = [("x", nx), ("y", ny), ("x_cell", nx - 1), ("y_cell", ny - 1), ("terminal", 4)];
    for (path, entry) in &found {
        let Some(row) = rows.get(path) else { continue };
        assert_eq!(row.unit, entry.unit, "unit of {path}");
        if path.contains('@') {
            assert_eq!(row.shape, entry.shape, "{path}");
            continue;
        }
        assert_eq!(row.meaning, entry.meaning, "meaning of {path}");
        if row.shape == "scalar" {
            assert_eq!(entry.shape, "", "{path}");
            continue;
        }
        let said: Vec<&str> = row.shape.trim_matches(['(', ')']).split(", ").collect();
        let real: Vec<&str> = entry.shape.split(", ").collect();
        assert_eq!(said.len(), real.len(), "dimensions of {path}");
        for (name, length) in said.iter().zip(real) {
            if let Some((_, right)) = lengths.iter().find(|(n, _)| n == name) {
                assert_eq!(length, right.to_string(), "{name} of {path}");
            }
        }
    }
}
