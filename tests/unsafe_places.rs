//! `unsafe` stands only in the files that DEVELOPERS.md names, and each says why.

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
fn unsafe_is_where_the_developers_page_says() {
    let root = Path::new(ROOT);
    let mut files = Vec::new();
    rust_files(&root.join("src"), &mut files);
    assert!(files.len() > 100, "{} files", files.len());
    let mut found: Vec<String> = files
        .iter()
        .filter(|file| is_unsafe(&std::fs::read_to_string(file).unwrap()))
        .map(|file| file.strip_prefix(root).unwrap().to_string_lossy().into_owned())
        .collect();
    found.sort();

    let page = std::fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let rule = page.lines().find(|l| l.starts_with("* **Unsafe**")).expect("a rule on unsafe");
    let mut named: Vec<String> = rule
        .split('`')
        .skip(1)
        .step_by(2)
        .filter(|w| w.starts_with("src/"))
        .map(str::to_owned)
        .collect();
    named.sort();
    assert_eq!(found, named, "files with unsafe, and those that DEVELOPERS.md names");

    let library = std::fs::read_to_string(root.join("src/lib.rs")).unwrap();
    assert!(library.contains("#![deny(unsafe_code)]"));
}
