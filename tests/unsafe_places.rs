//! `unsafe` stands only in the room that DEVELOPERS.md names, and each use says why.

use std::path::{Path, PathBuf};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// Whether the code, comments and texts left out, holds the keyword or lifts its ban.
fn is_unsafe(text: &str) -> bool {
    text.lines().map(|line| line.split("//").next().unwrap_or_default()).any(|code| {
        code.contains("allow(unsafe_code)")
            || ["unsafe {", "unsafe fn", "unsafe impl", "unsafe extern", "unsafe trait"]
                .iter()
                .any(|form| code.contains(form))
    })
}

#[test]
fn unsafe_is_in_one_room() {
    let root = Path::new(ROOT);
    let mut files = Vec::new();
    rust_files(&root.join("src"), &mut files);
    assert!(files.len() > 100, "{} files", files.len());
    let room = root.join("src/bare");
    let (inside, outside): (Vec<_>, Vec<_>) = files
        .iter()
        .filter(|file| is_unsafe(&std::fs::read_to_string(file).unwrap()))
        .partition(|file| file.starts_with(&room));
    assert!(outside.is_empty(), "unsafe outside src/bare: {outside:?}");
    assert!(inside.len() > 1, "{inside:?}");

    // Every block says why it may; an unsafe function is a promise of its callers' blocks.
    for file in inside {
        let text = std::fs::read_to_string(file).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        for (k, _) in lines.iter().enumerate().filter(|(_, l)| l.contains("unsafe {")) {
            let said = lines[k.saturating_sub(4)..k].iter().any(|l| l.contains("// SAFETY:"));
            assert!(said, "{}:{}: no reason", file.display(), k + 1);
        }
    }
    let page = std::fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let rule = page.lines().find(|l| l.starts_with("* **Unsafe**")).expect("a rule on unsafe");
    assert!(rule.contains("`src/bare`"), "{rule}");

    let library = std::fs::read_to_string(root.join("src/lib.rs")).unwrap();
    assert!(library.contains("#![deny(unsafe_code)]"));
}
