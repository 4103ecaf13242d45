//! A folder with small cases and sweeps, and the program to run on them.
#![allow(dead_code)] // each test file uses some of it

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use holdpoint::record;

pub const PROGRAM: &str = env!("CARGO_BIN_EXE_holdpoint");

/// A diode of 50 nodes and five bias points.
pub const DIODE: &str = "title = \"diode\"\ntemperature = 300\n\
[wafer]\nspan = 3\nthickness = 1\ndonors = 1e16\n\
[[diffusion]]\nname = \"p+ anode\"\nacceptors = 1e18\nfrom = 0\nto = 1\nshape = \"box\"\n\
[[terminal]]\nname = \"anode\"\ntouches = [{ side = \"left\" }]\n\
[[terminal]]\nname = \"cathode\"\ntouches = [{ side = \"right\" }]\n\
[grid]\nx = [0, 0.3, 0.6, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1, 1.005, 1.01, 1.02, 1.05, \
1.1, 1.15, 1.2, 1.3, 1.4, 1.6, 1.8, 2.1, 2.4, 2.7, 3]\ny = [0, 1]\n\
[[experiment]]\nkind = \"bias\"\ndrive = [\"anode\"]\nat = [0, 0.2, 0.4, 0.5, 0.6]\n";

/// The shipped four-layer bar on 200 nodes: a whole S-curve in well under a second.
pub fn bar() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/four-layer-bar.toml");
    std::fs::read_to_string(path).expect("shipped").replace("nodes = 3200", "nodes = 200")
        + "\n[verdict]\nsupply = 3.3\n"
}

pub struct Desk(pub tempfile::TempDir);

impl Desk {
    pub fn new() -> Desk {
        Desk(tempfile::tempdir().expect("a folder"))
    }

    pub fn put(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.path().join(name);
        std::fs::write(&path, text).expect("written");
        path
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// The program with these arguments, in this folder.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        command.args(args).current_dir(self.0.path()).env("NO_COLOR", "1");
        command
    }

    pub fn run(&self, args: &[&str]) -> Said {
        Said::of(self.command(args).output().expect("started"))
    }

    /// Results of a sweep, sorted.
    pub fn results(&self, sweep: &str) -> Vec<PathBuf> {
        let folder = self.file(&format!("results/{sweep}/cases"));
        let mut all: Vec<PathBuf> = std::fs::read_dir(folder)
            .into_iter()
            .flatten()
            .map(|e| e.expect("readable").path())
            .filter(|p| p.extension().is_some_and(|e| e == "h5"))
            .collect();
        all.sort();
        all
    }

    /// Files in the sweep's folder of cases that are no results.
    pub fn debris(&self, sweep: &str) -> Vec<String> {
        let folder = self.file(&format!("results/{sweep}/cases"));
        let entries = std::fs::read_dir(folder).into_iter().flatten();
        let names = entries.map(|e| e.expect("readable").file_name().into_string().expect("plain"));
        names.filter(|n| !n.ends_with(".h5")).collect()
    }
}

#[derive(Debug)]
pub struct Said {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl Said {
    pub fn of(output: Output) -> Said {
        let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
        Said { code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
    }

    pub fn good(self) -> Said {
        assert_eq!(self.code, Some(0), "{self:?}");
        self
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|e| panic!("{e}: {self:?}"))
    }
}

/// Curves, folds and figures of two results are the same bits.
pub fn same_bits(a: &Path, b: &Path) {
    let read = |p: &Path| record::read(p).unwrap_or_else(|e| panic!("{e}"));
    let (a, b) = (read(a), read(b));
    assert_eq!(a.case_text, b.case_text);
    assert_eq!(a.experiments.len(), b.experiments.len());
    for (x, y) in a.experiments.iter().zip(&b.experiments) {
        assert!(x.curve == y.curve, "{}", a.case_name);
        assert!(x.folds == y.folds && x.figures == y.figures && x.status == y.status);
    }
}
