//! A real result of a small mesh, made once per suite, and the browser.
#![allow(dead_code)] // each test file uses some of it

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use holdpoint::record::{self, RunRecord};

pub const CASE: &str = include_str!("../../meshes/tern180-pad.toml");

pub fn holdpoint(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_holdpoint")).args(args).output().unwrap()
}

/// The pad driver at about 2,000 nodes.
pub fn pad() -> &'static (tempfile::TempDir, PathBuf) {
    static PAD: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    PAD.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let case = folder.path().join("pad.toml");
        let result = folder.path().join("pad.h5");
        let text = CASE.replace("nodes = 8000", "nodes = 2000");
        assert_ne!(text, CASE);
        std::fs::write(&case, text).unwrap();
        let (case, output) = (case.to_str().unwrap(), result.to_str().unwrap());
        let ran = holdpoint(&["run", case, "-o", output, "--quiet"]);
        assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
        (folder, result)
    })
}

pub fn pad_record() -> RunRecord {
    record::read(&pad().1).unwrap()
}

/// Python and Chromium; says loudly what is missing. With HOLDPOINT_NEED_BROWSER set (as
/// `.ci/run` does) a missing browser is a failure.
pub fn browser() -> Option<PathBuf> {
    let named = std::env::var_os("HOLDPOINT_CHROMIUM").map(PathBuf::from);
    let usual = ["chromium", "chromium-browser", "google-chrome"].map(PathBuf::from);
    let works =
        |p: &Path| Command::new(p).arg("--version").output().is_ok_and(|o| o.status.success());
    let found = named.into_iter().chain(usual).find(|p| works(p));
    let python = works(Path::new("python3"));
    if found.is_some() && python {
        return found;
    }
    let what = if python { "no Chromium" } else { "no python3" };
    assert!(std::env::var_os("HOLDPOINT_NEED_BROWSER").is_none(), "{what} is here");
    eprintln!(
        "\n*** NOT TESTED: {what} is here, so the pages were not opened. \
         Install chromium and python3, or name one in HOLDPOINT_CHROMIUM. ***\n"
    );
    None
}

/// Opens a page and uses it; what `tests/python/drive_page.py` found.
pub fn drive(chromium: &Path, page: &Path) -> serde_json::Value {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/drive_page.py");
    let out = Command::new("python3").arg(script).arg(chromium).arg(page).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success(), "{said}\n{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_str(&said).unwrap()
}
