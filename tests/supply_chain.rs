//! What the program is built from: licences, where crates come from, native code, crates in
//! two versions. Read from `cargo metadata` of Cargo.lock; needs no network.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

/// Terms that go with ours (MIT or Apache-2.0): all permissive.
const TERMS: [&str; 9] = [
    "MIT",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
    "0BSD",
];

/// Crates that stand in two versions since others ask for both. One more is looked at
/// before it stands here.
const TWICE: [&str; 6] = ["bitflags", "equator", "equator-macro", "glam", "miniz_oxide", "syn"];

/// The packages that a build for this machine with default features takes.
fn packages() -> Vec<Value> {
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked", "--offline"])
        .args(["--filter-platform", "x86_64-unknown-linux-gnu"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let all: Value = serde_json::from_slice(&out.stdout).unwrap();
    let nodes = all["resolve"]["nodes"].as_array().unwrap();
    let used: BTreeSet<&str> = nodes.iter().map(|n| n["id"].as_str().unwrap()).collect();
    let packages = all["packages"].as_array().unwrap().iter();
    packages.filter(|p| used.contains(p["id"].as_str().unwrap())).cloned().collect()
}

fn text<'a>(package: &'a Value, key: &str) -> &'a str {
    package[key].as_str().unwrap_or_default()
}

/// Whether an SPDX expression can be met with [`TERMS`]: every part joined by AND has an
/// alternative among them.
fn met(expression: &str) -> bool {
    let alternatives = |part: &str| {
        part.split(" OR ")
            .flat_map(|p| p.split('/'))
            .any(|one| TERMS.contains(&one.trim().trim_matches(['(', ')'])))
    };
    expression.split(" AND ").all(alternatives)
}

#[test]
fn licences_go_with_ours() {
    assert!(met("(MIT OR Apache-2.0) AND Unicode-3.0") && met("MIT/Apache-2.0"));
    assert!(!met("GPL-3.0-only") && !met("MIT AND GPL-2.0") && !met(""));
    for p in packages() {
        let licence = text(&p, "license");
        assert!(met(licence), "{} {}: {licence:?}", text(&p, "name"), text(&p, "version"));
    }
}

#[test]
fn crates_come_from_the_registry() {
    for p in packages() {
        let from = text(&p, "source");
        let own = text(&p, "name") == "holdpoint";
        assert!(own || from.starts_with("registry+"), "{}: {from:?}", text(&p, "name"));
    }
}

#[test]
fn only_hdf5_is_native_code() {
    for p in packages() {
        let name = text(&p, "name");
        // rayon-core says `links` so that it stands once in a program; it holds no C.
        let native = !p["links"].is_null() && name != "rayon-core";
        assert!(!native || name == "hdf5-metno-sys", "{name} links {}", p["links"]);
        let dependencies = p["dependencies"].as_array().unwrap().iter();
        for d in dependencies.filter(|d| d["optional"] != true && d["kind"] == "build") {
            let compiles = ["cc", "cmake", "bindgen"].contains(&text(d, "name"));
            assert!(!compiles, "{name} compiles native code with {}", text(d, "name"));
        }
    }
}

#[test]
fn no_new_crate_stands_twice() {
    let mut versions: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for p in packages() {
        versions.entry(text(&p, "name").into()).or_default().push(text(&p, "version").into());
    }
    versions.retain(|_, v| v.len() > 1);
    let names: Vec<&str> = versions.keys().map(String::as_str).collect();
    assert_eq!(names, TWICE, "{versions:#?}");
}
