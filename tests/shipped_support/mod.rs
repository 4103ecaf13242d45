//! Runs the built binary on case texts in a folder of its own.
#![allow(dead_code)] // each test binary uses its share

use std::path::PathBuf;
use std::process::{Command, Output};

use serde_json::Value;

pub const PROGRAM: &str = env!("CARGO_BIN_EXE_holdpoint");

/// Text of a case in `meshes/`.
pub fn shipped(name: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("meshes").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// `text` with one occurrence of `old` replaced; panics unless there is exactly one, so
/// that a test never runs on another case than it thinks.
pub fn with(text: &str, old: &str, new: &str) -> String {
    assert_eq!(text.matches(old).count(), 1, "{old:?} does not stand once in the case");
    text.replace(old, new)
}

/// The case without its experiments, and with `experiment` instead.
pub fn with_experiment(text: &str, experiment: &str) -> String {
    let before = text.split("[[experiment]]").next().unwrap_or_default();
    format!("{before}{experiment}")
}

/// A folder for cases and results, removed at the end.
pub struct Desk(tempfile::TempDir);

/// How a run ended.
pub struct Ran {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl From<Output> for Ran {
    fn from(o: Output) -> Ran {
        Ran {
            code: o.status.code(),
            out: String::from_utf8_lossy(&o.stdout).into_owned(),
            err: String::from_utf8_lossy(&o.stderr).into_owned(),
        }
    }
}

impl Ran {
    /// The JSON document on stdout.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out)
            .unwrap_or_else(|e| panic!("{e}\n{}\n{}", self.out, self.err))
    }
}

impl Desk {
    pub fn new() -> Desk {
        Desk(tempfile::tempdir().unwrap())
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, text).unwrap();
        path
    }

    /// Names of all files, sorted.
    pub fn names(&self) -> Vec<String> {
        let entries = std::fs::read_dir(self.0.path()).unwrap();
        let mut names: Vec<String> =
            entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    /// The program in this folder.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        command.args(args).current_dir(self.0.path()).env_remove("NO_COLOR");
        command
    }

    pub fn run(&self, args: &[&str]) -> Ran {
        self.command(args).output().unwrap().into()
    }

    /// Writes `text` as case `name`.toml and runs it with --json into `name`.h5.
    pub fn case(&self, name: &str, text: &str, more: &[&str]) -> Ran {
        let (case, result) = (format!("{name}.toml"), format!("{name}.h5"));
        self.write(&case, text);
        let mut args = vec!["run", &case, "-o", &result, "--json", "--quiet"];
        args.extend(more);
        self.run(&args)
    }

    /// Every number of every curve of a result, as text that keeps every bit.
    pub fn curves(&self, result: &str) -> String {
        let ran = self.run(&["show", result, "--curve"]);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        ran.out
    }
}

/// A number in a document, by its path.
pub fn number(value: &Value, path: &str) -> f64 {
    value
        .pointer(path)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no number at {path} of {value}"))
}

/// Numbers in a document, by the path of their list.
pub fn numbers(value: &Value, path: &str) -> Vec<f64> {
    let list = value.pointer(path).and_then(Value::as_array);
    let list = list.unwrap_or_else(|| panic!("no list at {path}"));
    list.iter().map(|v| v.as_f64().unwrap_or(f64::NAN)).collect()
}
