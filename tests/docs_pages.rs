//! The pages in docs/: their links lead somewhere, and what they print works.
//!
//! A fenced block is run or checked by its language. The line before it may say how:
//! `<!-- not run: REASON -->` (verbs and options of its commands are still looked up) and, for
//! TOML, `<!-- fragment of CASE -->` or `<!-- sweep -->`; unmarked TOML is a whole case. Rust is
//! a quotation of our own code, `<!-- from FILE -->`, and stands there line for line.
//! Blocks run in a copy of `meshes/` with small node budgets, beside two results made there.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const PROGRAM: &str = env!("CARGO_BIN_EXE_holdpoint");
/// Cases that pages read results of, and the nodes they are run with here.
const RUN_FIRST: [(&str, &str); 2] = [("four-layer-bar", "800"), ("tern180-pad", "2000")];

struct Block {
    page: String,
    language: String,
    mark: String,
    text: String,
}

fn pages() -> Vec<(String, String)> {
    let folder = Path::new(ROOT).join("docs");
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|n| n.ends_with(".md"))
        .collect();
    names.sort();
    let read = |n: String| {
        let text = std::fs::read_to_string(Path::new(ROOT).join("docs").join(&n)).unwrap();
        (n, text)
    };
    names.into_iter().map(read).collect()
}

fn blocks() -> Vec<Block> {
    let mut found = Vec::new();
    for (page, text) in pages() {
        let mut before = "";
        let mut lines = text.lines();
        while let Some(line) = lines.next() {
            if let Some(language) = line.strip_prefix("```") {
                let body: Vec<&str> = lines.by_ref().take_while(|l| *l != "```").collect();
                let mark = before.strip_prefix("<!-- ").and_then(|m| m.strip_suffix(" -->"));
                found.push(Block {
                    page: page.clone(),
                    language: language.into(),
                    mark: mark.unwrap_or_default().into(),
                    text: body.join("\n") + "\n",
                });
            }
            before = line;
        }
    }
    found
}

/// The name that a heading has in a link.
fn anchor(heading: &str) -> String {
    let kept = heading.trim_start_matches('#').trim().to_lowercase();
    kept.chars()
        .filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_'))
        .map(|c| if c == ' ' { '-' } else { c })
        .collect()
}

#[test]
fn links_lead_somewhere_and_the_book_has_every_page() {
    let folder = Path::new(ROOT).join("docs");
    let mut links = 0;
    for (page, text) in pages() {
        for target in text.split("](").skip(1).filter_map(|t| t.split(')').next()) {
            if target.starts_with("http") {
                continue;
            }
            let (file, part) = target.split_once('#').unwrap_or((target, ""));
            let path = folder.join(if file.is_empty() { &page } else { file });
            assert!(path.exists(), "docs/{page}: no {target}");
            if !part.is_empty() {
                let there = std::fs::read_to_string(&path).unwrap();
                let mut headings = there.lines().filter(|l| l.starts_with('#'));
                assert!(headings.any(|h| anchor(h) == part), "docs/{page}: no {target}");
            }
            links += 1;
        }
    }
    assert!(links > 40, "{links} links");
    let summary = std::fs::read_to_string(folder.join("SUMMARY.md")).unwrap();
    for (page, _) in pages().iter().filter(|(p, _)| p != "SUMMARY.md") {
        assert!(summary.contains(&format!("]({page})")), "SUMMARY.md lacks {page}");
    }
}

/// The lines without their indentation.
fn flush(text: &str) -> String {
    text.lines().map(|line| line.trim().to_owned() + "\n").collect()
}

#[test]
fn quotations_stand_in_the_code() {
    let mut count = 0;
    for block in blocks().iter().filter(|b| b.language == "rust") {
        let name = format!("docs/{}:\n{}", block.page, block.text);
        let file = block.mark.strip_prefix("from ").unwrap_or_else(|| panic!("no file: {name}"));
        let source = std::fs::read_to_string(Path::new(ROOT).join(file)).expect(file);
        let source = format!("\n{}", flush(&source));
        assert!(source.contains(&format!("\n{}", flush(&block.text))), "not in {file}: {name}");
        count += 1;
    }
    assert!(count > 10, "{count} quotations");
}

/// Names with a folder, from the root or from `src/`.
#[test]
fn source_files_that_pages_name_exist() {
    let root = Path::new(ROOT);
    let developers = std::fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let mut count = 0;
    for (page, text) in pages().into_iter().chain([("DEVELOPERS.md".into(), developers)]) {
        for line in text.lines() {
            for name in line.split('`').skip(1).step_by(2) {
                if name.contains('/') && name.ends_with(".rs") && !name.contains(' ') {
                    let there = root.join(name).exists() || root.join("src").join(name).exists();
                    assert!(there, "{page}: no {name}");
                    count += 1;
                }
            }
        }
    }
    assert!(count > 40, "{count} names");
}

fn run(folder: &Path, program: &str, arguments: &[&str]) -> Output {
    let tools = Path::new(PROGRAM).parent().unwrap();
    let path = format!("{}:{}", tools.display(), std::env::var("PATH").unwrap_or_default());
    let mut command = Command::new(program);
    command.args(arguments).current_dir(folder).env("PATH", path).output().unwrap()
}

fn must(block: &str, output: &Output) {
    let (out, err) =
        (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success(), "{block}\n{out}\n{err}");
}

/// A copy of `meshes/` with small budgets, and the results that pages read.
fn desk() -> PathBuf {
    let desk = std::env::temp_dir().join(format!("holdpoint-pages-{}", std::process::id()));
    std::fs::create_dir_all(desk.join("meshes")).unwrap();
    for entry in std::fs::read_dir(Path::new(ROOT).join("meshes")).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), desk.join("meshes").join(entry.file_name())).unwrap();
    }
    for (case, nodes) in RUN_FIRST {
        let file = desk.join(format!("meshes/{case}.toml"));
        let text = std::fs::read_to_string(&file).unwrap();
        let line = text.lines().find(|l| l.starts_with("nodes")).expect("a budget");
        std::fs::write(&file, text.replace(line, &format!("nodes = {nodes}"))).unwrap();
        must(case, &run(&desk, PROGRAM, &["run", &format!("meshes/{case}.toml")]));
    }
    desk
}

/// The base case with the fragment in place of the tables of the same name.
fn merged(base: &str, fragment: &str) -> String {
    let single = |l: &str| l.starts_with('[') && !l.starts_with("[[");
    let replaced: Vec<&str> = fragment.lines().filter(|l| single(l)).collect();
    let mut keep = true;
    let mut text = String::new();
    for line in base.lines() {
        if line.starts_with('[') {
            let head = line.split('#').next().unwrap_or_default().trim();
            keep = !replaced.contains(&head);
        }
        if keep {
            text += line;
            text.push('\n');
        }
    }
    text + fragment
}

fn check_toml(desk: &Path, block: &Block) {
    let name = format!("docs/{}:\n{}", block.page, block.text);
    let meshes = desk.join("meshes");
    if block.mark == "sweep" {
        std::fs::write(meshes.join("page.sweep.toml"), &block.text).unwrap();
        return must(&name, &run(&meshes, PROGRAM, &["sweep", "plan", "page.sweep.toml"]));
    }
    let text = match block.mark.strip_prefix("fragment of ") {
        Some(case) => {
            let base = std::fs::read_to_string(meshes.join(format!("{case}.toml"))).unwrap();
            merged(&base, &block.text)
        }
        None => block.text.clone(),
    };
    std::fs::write(meshes.join("page.toml"), text).unwrap();
    must(&name, &run(&meshes, PROGRAM, &["check", "page.toml"]));
}

/// Verbs and options of a command that is not run.
fn look_up(desk: &Path, line: &str) {
    let line = line.replace("cargo run --release --", "holdpoint");
    let Some(command) = line.trim().strip_prefix("holdpoint ") else { return };
    let command = command.split(" #").next().unwrap_or_default();
    let words: Vec<&str> = command.split_whitespace().collect();
    let verbs = if words[0] == "sweep" { &words[..2] } else { &words[..1] };
    let help = run(desk, PROGRAM, &[verbs, &["--help"]].concat());
    must(&line, &help);
    let help = String::from_utf8_lossy(&help.stdout).into_owned();
    for option in words.iter().filter(|w| w.starts_with("--")) {
        let option = option.split('=').next().unwrap_or_default();
        assert!(help.contains(option), "{line}: no {option}");
    }
}

#[test]
fn every_block_works() {
    let desk = desk();
    let python = run(&desk, "python3", &["-c", "import h5py, h5netcdf, xarray"]).status.success();
    let mut done = 0;
    for block in blocks() {
        let name = format!("docs/{} ({}):\n{}", block.page, block.language, block.text);
        let skip = block.mark.strip_prefix("not run: ");
        assert!(skip.is_none_or(|reason| reason.len() > 10), "no reason: {name}");
        match (block.language.as_str(), skip) {
            ("sh", Some(_)) => block.text.lines().for_each(|l| look_up(&desk, l)),
            ("sh", None) => {
                let script = block.text.replace("cargo run --release --", "holdpoint");
                must(&name, &run(&desk, "bash", &["-euo", "pipefail", "-c", &script]));
            }
            ("toml", None) => check_toml(&desk, &block),
            ("python", None) if python => {
                must(&name, &run(&desk, "python3", &["-c", &block.text]));
            }
            ("python", None) => println!("SKIPPED, no h5py, h5netcdf and xarray: {name}"),
            // Rust: the test of quotations.
            ("python", Some(_)) | ("text" | "rust", None) => continue,
            _ => panic!("a block of a kind that is not known: {name}"),
        }
        done += 1;
    }
    std::fs::remove_dir_all(&desk).unwrap();
    assert!(done > 15, "{done} blocks");
}
