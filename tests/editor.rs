//! Case and sweep files under a general TOML tool with the schemas that we print: Taplo, as
//! a language server in an editor uses it, and as that server itself. Says SKIPPED without.

mod shipped_support;

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use shipped_support::{Desk, shipped, with};

fn taplo() -> Option<()> {
    let found = Command::new("taplo").arg("--version").output().is_ok_and(|o| o.status.success());
    if !found {
        println!("SKIPPED: taplo is not installed (pip install taplo)");
    }
    found.then_some(())
}

/// What Taplo says of `text` with the schema named in its first line: all well, or not and
/// what.
fn lint(desk: &Desk, schema: &str, text: &str) -> (bool, String) {
    let file = desk.write("file.toml", &format!("#:schema ./{schema}\n{text}"));
    let out = Command::new("taplo")
        .args(["lint", "file.toml", "--colors", "never"])
        .current_dir(file.parent().unwrap())
        .output()
        .unwrap();
    (out.status.success(), String::from_utf8_lossy(&out.stderr).into_owned())
}

fn desk() -> Desk {
    let desk = Desk::new();
    for (name, args) in [("case.json", &["schema"][..]), ("sweep.json", &["schema", "--sweep"])] {
        let ran = desk.run(args);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        desk.write(name, &ran.out);
    }
    desk
}

#[test]
fn shipped_files_fit_the_schemas() {
    let Some(()) = taplo() else { return };
    let desk = desk();
    let mut count = 0;
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/meshes")).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        if !name.ends_with(".toml") {
            continue;
        }
        let schema = if name.ends_with(".sweep.toml") { "sweep.json" } else { "case.json" };
        let (good, said) = lint(&desk, schema, &shipped(&name));
        assert!(good, "{name}: {said}");
        count += 1;
    }
    assert!(count > 10, "{count} files");
}

#[test]
fn what_a_schema_can_see_is_marked() {
    let Some(()) = taplo() else { return };
    let desk = desk();
    let core = shipped("tern180-core.toml");
    for (old, new, word) in [
        ("kind  = \"snapback\"", "kind  = \"snapbak\"", "snapbak"),
        ("nodes = 5000", "nodse = 5000", "nodse"),
        ("nodes = 5000", "nodes = \"many\"", "nodes"),
        ("margin = 0.10", "margin = [0.10]", "margin"),
    ] {
        let (good, said) = lint(&desk, "case.json", &with(&core, old, new));
        assert!(!good && said.contains(word), "{new}: {said}");
    }
    let sweep = shipped("tern180-spacing.sweep.toml");
    let (good, said) = lint(&desk, "sweep.json", &format!("mod = \"grid\"\n{sweep}"));
    assert!(!good && said.contains("mod"), "{said}");
}

/// Where `npm install --prefix FOLDER @taplo/lsp` has put the language server:
/// HOLDPOINT_NODE_PACKAGES or target/node.
fn language_server() -> Option<PathBuf> {
    let named = std::env::var_os("HOLDPOINT_NODE_PACKAGES").map(PathBuf::from);
    let folder = named.unwrap_or_else(|| {
        let mut folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
        folder.pop();
        folder.join("node")
    });
    let node = Command::new("node").arg("--version").output().is_ok_and(|o| o.status.success());
    let there = node && folder.join("node_modules/@taplo/lsp").is_dir();
    if !there {
        println!("SKIPPED: npm install --prefix target/node @taplo/lsp");
    }
    there.then_some(folder)
}

/// What the server says of `text` with the case schema: hover texts and offers at the places
/// (line and column from 0, the schema's line first) and its diagnostics, if any come within
/// `seconds`.
fn served(packages: &Path, desk: &Desk, text: &str, places: &str, seconds: u32) -> Value {
    let file = desk.write("open.toml", &format!("#:schema ./case.json\n{text}"));
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/node/language_server.mjs");
    let out = Command::new("node")
        .args([script.as_ref(), packages.as_os_str(), file.as_os_str(), places.as_ref()])
        .arg(seconds.to_string())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    serde_json::from_str(&said)
        .unwrap_or_else(|e| panic!("{e}: {said}\n{}", String::from_utf8_lossy(&out.stderr)))
}

#[test]
fn a_language_server_completes_and_explains() {
    let Some(packages) = language_server() else { return };
    let desk = desk();
    let core = shipped("tern180-core.toml");
    let line = |start: &str| core.lines().position(|l| l.starts_with(start)).unwrap() + 1;
    // The key, its value's word, and the empty line after the table.
    let (nodes, kind) = (line("nodes = 5000"), line("kind  = \"snapback\""));
    let places = format!("[[{nodes}, 2], [{kind}, 10], [{}, 0]]", nodes + 1);
    let said = served(&packages, &desk, &core, &places, 3);
    assert_eq!(said["diagnostics"].as_array().map(Vec::len), Some(0), "{said}");
    let hover = said["found"][0]["hover"].as_str().unwrap();
    assert!(hover.starts_with("Node budget"), "{hover}");
    let offers = |k: usize| said["found"][k]["offers"].as_array().unwrap().clone();
    let kinds: Vec<String> = offers(1).iter().map(|o| o["label"].to_string()).collect();
    for word in ["snapback", "injection", "supply-ramp", "capacitance"] {
        assert!(kinds.iter().any(|k| k.contains(word)), "{word}: {kinds:?}");
    }
    // Every key of the table that is not there yet, each with its text.
    let keys = offers(2);
    for key in ["finest", "growth", "grading"] {
        let mut same = keys.iter().filter(|o| o["label"] == key).peekable();
        assert!(same.peek().is_some(), "{key}: {keys:?}");
        assert!(same.all(|o| o["text"].as_str().is_some_and(|t| t.len() > 20)), "{keys:?}");
    }
    assert!(keys.iter().all(|o| o["label"] != "nodes"), "{keys:?}");
    // What is wrong is underlined where it stands.
    let wrong = with(&core, "nodes = 5000", "nodes = 5");
    let said = served(&packages, &desk, &wrong, "[]", 60);
    let marked = said["diagnostics"].as_array().unwrap();
    assert!(marked.iter().any(|d| d["range"]["start"]["line"] == nodes), "{said}");
}
