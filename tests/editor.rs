//! Case and sweep files under a general TOML tool with the schemas that we print: Taplo, as
//! a language server in an editor uses it. Says SKIPPED without it.

mod shipped_support;

use std::process::Command;

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
