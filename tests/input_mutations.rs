//! Damage to case, sweep and profile files, as far as `check` and `sweep plan` look at
//! them: no panic, an answer in time, no number other than the one that stands there.

mod hostile_support;

use std::path::{Path, PathBuf};
use std::time::Duration;

use holdpoint::case::{self, Problem, Profile, Severity, read_file, read_str, render};
use holdpoint::cli::{Joined, Rooms};
use holdpoint::sweep::Sweep;
use hostile_support::Dice;

/// What `check` may take on one file.
const LONGEST: Duration = Duration::from_secs(5);

/// Processor time of this thread: what it takes does not depend on who else is at work.
struct Busy(Duration);

impl Busy {
    fn now() -> Duration {
        let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
        let first = text.split_whitespace().next().and_then(|v| v.parse().ok());
        Duration::from_nanos(first.unwrap_or(0))
    }

    fn new() -> Busy {
        Busy(Busy::now())
    }

    fn elapsed(&self) -> Duration {
        Busy::now() - self.0
    }
}

/// Mutations of each kind; HOLDPOINT_MUTATIONS asks for more, e.g. 10000.
fn count(few: usize) -> usize {
    std::env::var("HOLDPOINT_MUTATIONS").ok().and_then(|v| v.parse().ok()).unwrap_or(few)
}

fn meshes() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("meshes")
}

/// The shipped files whose names end so.
fn shipped(sweeps: bool) -> Vec<String> {
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(meshes()).unwrap().map(|e| e.unwrap().path()).collect();
    paths.sort();
    let wanted = |p: &PathBuf| p.to_string_lossy().ends_with(".sweep.toml") == sweeps;
    paths.iter().filter(|p| wanted(p)).map(|p| std::fs::read_to_string(p).unwrap()).collect()
}

const PIECES: &[&str] = &[
    "-",
    "+",
    ".",
    "e",
    "E308",
    "0x",
    "_",
    "\"",
    "'''",
    "[",
    "]]",
    "{",
    "}",
    "=",
    ",",
    "#",
    "\n",
    " ",
    "\t",
    "µ",
    "\\u001b",
    "\u{0}",
    "\u{202e}",
    "nan",
    "inf",
    "-inf",
    "1e308",
    "1e-320",
    "true",
    "99999999999999999999",
    "2024-01-01",
    "[[",
    "um",
    "cm^-3",
    "K",
    "\r",
    "\u{feff}",
    "'",
    "..",
];

/// One change as a slip, a broken editor or malice would make it.
fn mutated(good: &str, other: &str, dice: &mut Dice) -> String {
    let mut lines: Vec<&str> = good.lines().collect();
    let (a, b) = (dice.below(lines.len()), dice.below(lines.len()));
    let strange: Vec<&str> = other.lines().collect();
    match dice.below(9) {
        0 => drop(lines.remove(a)),
        1 => lines.insert(b, lines[a]),
        2 => lines.swap(a, b),
        3 => lines.insert(a, strange[dice.below(strange.len())]),
        4 => {
            // Another line's value.
            let value = lines[b].split_once('=').map_or("", |(_, v)| v);
            let key = lines[a].split_once('=').map_or("x", |(k, _)| k);
            let line = format!("{key}={value}");
            let mut all: Vec<&str> = lines.clone();
            all[a] = &line;
            return all.join("\n");
        }
        5 => {
            let text = good.replacen(lines[a], PIECES[dice.below(PIECES.len())], 1);
            return text;
        }
        _ => {
            let mut text: Vec<char> = good.chars().collect();
            for _ in 0..1 + dice.below(3) {
                let at = dice.below(text.len());
                let piece = PIECES[dice.below(PIECES.len())].chars();
                match dice.below(3) {
                    0 => drop(text.splice(at..at, piece)),
                    1 => drop(text.splice(at..(at + 1 + dice.below(6)).min(text.len()), piece)),
                    _ => drop(text.remove(at)),
                }
            }
            return text.into_iter().collect();
        }
    }
    lines.join("\n")
}

fn told(problems: &[Problem], text: &str) {
    assert!(problems.iter().all(|p| !p.text.is_empty()), "{problems:?}");
    let drawn = render(problems, text, "x.toml", true);
    assert!(problems.is_empty() || !drawn.is_empty());
}

/// As `check` does, without the program around it.
fn checked(text: &str) -> bool {
    let begin = Busy::new();
    let good = match read_str(text, "x.toml") {
        Err(problems) => {
            assert!(!problems.is_empty(), "refused without a reason:\n{text}");
            told(&problems, text);
            false
        }
        Ok((case, _)) => match Joined.mesh(&case) {
            Err(problems) => {
                assert!(!problems.is_empty(), "not meshed, without a reason:\n{text}");
                told(&problems, text);
                false
            }
            Ok(_) => true,
        },
    };
    assert!(begin.elapsed() < LONGEST, "{:?} for\n{text}", begin.elapsed());
    good
}

#[test]
fn mutated_cases_are_refused_or_meshed_in_time() {
    let (cases, mut dice) = (shipped(false), Dice(2026));
    let (tries, mut good) = (count(150), 0);
    for k in 0..tries {
        let text = mutated(&cases[k % cases.len()], &cases[dice.below(cases.len())], &mut dice);
        good += usize::from(checked(&text));
    }
    println!("{tries} mutated cases, {good} still good");
    assert!(good < tries, "no mutation was noticed");
}

#[test]
fn mutated_sweeps_are_refused_or_planned_in_time() {
    let (sweeps, cases, mut dice) = (shipped(true), shipped(false), Dice(4711));
    let (tries, mut good) = (count(150), 0);
    let load = |base: &str| case::load_beside(&meshes().join("x.sweep.toml"), base);
    for k in 0..tries {
        let text = mutated(&sweeps[k % sweeps.len()], &cases[dice.below(cases.len())], &mut dice);
        let begin = Busy::new();
        let path = meshes().join("x.sweep.toml");
        let read = Sweep::of_text(&text, &path, &|base| Ok((load(base)?, meshes().join(base))));
        match read {
            Err(problems) => told(&problems, &text),
            Ok(sweep) => {
                good += 1;
                assert!(sweep.count > 0);
                for index in [0, sweep.count / 2, sweep.count - 1] {
                    assert!(!sweep.case_name(index).contains(['/', '\\']), "{text}");
                    match sweep.case(index) {
                        Ok(_) => {}
                        Err(problems) => told(&problems, &text),
                    }
                }
            }
        }
        assert!(begin.elapsed() < LONGEST, "{:?} for\n{text}", begin.elapsed());
    }
    println!("{tries} mutated sweeps, {good} still good");
    assert!(good > 0 && good < tries, "{good} of {tries}");
}

const TABLE_CASE: &str = "[wafer]\nspan = 4\nthickness = 2\nacceptors = 1e15\n\
[[well]]\nname = \"w\"\ndonors = 3e17\nfrom = 1\nto = 3\nshape = \"table\"\nfile = \"p.csv\"\n\
[[terminal]]\nname = \"t\"\ntouches = [{ from = 1.5, to = 2 }]\n";

/// The rows of a table, by another way than the program's: bytes, cells, Rust's parser.
fn rows(text: &str) -> Vec<[f64; 2]> {
    let mut rows = Vec::new();
    for line in text.trim_start_matches('\u{feff}').split('\n') {
        let content = &line[..line.find('#').unwrap_or(line.len())];
        let cells: Vec<f64> = content.split(',').filter_map(|c| c.trim().parse().ok()).collect();
        if let [depth, density] = cells[..] {
            rows.push([depth, density]);
        }
    }
    rows
}

#[test]
fn mutated_profiles_are_refused_or_read_as_they_stand() {
    let folder = tempfile::tempdir().unwrap();
    let (file, path) = (folder.path().join("p.csv"), folder.path().join("case.toml"));
    std::fs::write(&path, TABLE_CASE).unwrap();
    let good: String = "# measured\ndepth_um,concentration_cm3\n".to_string()
        + &(0..40)
            .map(|k| format!("{}, {:e}\n", 0.05 * k as f64, 1e19 / (1.0 + k as f64)))
            .collect::<String>();
    let (tries, mut read, mut dice) = (count(400), 0, Dice(8));
    for _ in 0..tries {
        let text = mutated(&good, &good, &mut dice);
        std::fs::write(&file, &text).unwrap();
        let begin = Busy::new();
        match read_file(&path) {
            Err(problems) => {
                told(&problems, TABLE_CASE);
                let named = problems.iter().any(|p| p.text.contains("p.csv"));
                assert!(named, "{problems:?}");
            }
            Ok((case, _)) => {
                read += 1;
                let Profile::Table { depth, density } = &case.wells[0].profile else {
                    panic!("no table")
                };
                let right = rows(&text);
                let found: Vec<[f64; 2]> =
                    depth.iter().zip(density).map(|(d, n)| [*d, *n]).collect();
                assert_eq!(found, right, "misread:\n{text}");
            }
        }
        assert!(begin.elapsed() < LONGEST, "{:?} for\n{text}", begin.elapsed());
    }
    println!("{tries} mutated profiles, {read} read");
    assert!(read > 0 && read < tries, "{read} of {tries}");
}

#[test]
fn tables_and_files_without_end_are_refused_in_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("case.toml");
    std::fs::write(&path, TABLE_CASE).unwrap();
    let rows: String = (1..1_000_000).map(|k| format!("{k},1e15\n")).collect();
    let head = "depth_um,concentration_cm3\n";
    let wide = format!("{head}{}\n", "1,".repeat(1_000_000));
    let long = format!("{head}0,{}\n", "9".repeat(1_000_000));
    let text = |n: usize| "x".repeat(n);
    for (csv, says) in [
        (format!("{head}0,1e15\n{rows}"), "more than 100000 rows"),
        (wide, "columns instead of 2"),
        (long, "is not a finite number"),
        (format!("{head}0,nan\n1,1e15\n"), "not a finite number"),
        (format!("{head}0,inf\n1,1e15\n"), "not a finite number"),
        (format!("{head}0,1e15\n1e400,1e15\n"), "not a finite number"),
        (text(17 << 20), "more than"),
        (String::new(), "0 rows"),
    ] {
        std::fs::write(folder.path().join("p.csv"), &csv).unwrap();
        let begin = Busy::new();
        let problems = read_file(&path).expect_err("refused");
        assert!(begin.elapsed() < LONGEST, "{says}: {:?}", begin.elapsed());
        let problem = problems.iter().find(|p| p.severity == Severity::Error).unwrap();
        assert!(problem.text.contains(says), "{says}: {problem:?}");
        assert!(problem.text.len() < 400, "{says}: {} characters", problem.text.len());
    }
    // The same for cases and sweeps: by size, depth and length.
    let wafer = "[wafer]\nspan = 4\nthickness = 2\n";
    let nest =
        |open: &str, close: &str| format!("x = {}1{}\n", open.repeat(20_000), close.repeat(20_000));
    for bad in [
        text(17 << 20),
        nest("[", "]"),
        nest("{a = ", "}"),
        format!("{wafer}[{}]\n", "a.".repeat(20_000) + "b"),
        format!("{wafer}[grid]\nx = [{}4]\n", "nan, ".repeat(100_000)),
        format!("{wafer}title = \"{}\"\n", text(5 << 20)),
        format!(
            "base = \"{}\"\n[axes]\ntemperature = [{}1]\n",
            text(1000),
            "300, ".repeat(300_000)
        ),
    ] {
        let what: String = bad.chars().take(60).collect();
        for name in ["case.toml", "s.sweep.toml"] {
            let path = folder.path().join(name);
            std::fs::write(&path, &bad).unwrap();
            let begin = Busy::new();
            match name == "case.toml" {
                true => assert!(!read_file(&path).expect_err("refused").is_empty()),
                false => assert!(!Sweep::read(&path).expect_err("refused").is_empty()),
            }
            assert!(begin.elapsed() < LONGEST, "{what}, {name}: {:?}", begin.elapsed());
        }
    }
}

/// Numbers in every spelling that TOML and the reader allow: what is read is what stands
/// there, to the bit, or nothing.
#[test]
fn no_number_is_misread() {
    let mut dice = Dice(31);
    let (mut read, tries) = (0, count(3000));
    for _ in 0..tries {
        let digits: String =
            (0..1 + dice.below(17)).map(|_| char::from(b'0' + dice.below(10) as u8)).collect();
        let split = dice.below(digits.len() + 1);
        let mut number = format!("{}.{}", &digits[..split], &digits[split..]);
        if dice.below(3) == 0 {
            number = number.replace('.', "");
        }
        if dice.below(2) == 0 {
            number += &format!("e{}{}", ["", "-", "+"][dice.below(3)], dice.below(4));
        }
        if dice.below(4) == 0 {
            number = format!("+{number}");
        }
        if dice.below(6) == 0 {
            number.insert(1.min(number.len()), '_');
        }
        let (spelled, factor) = match dice.below(4) {
            0 => (format!("\"{number} um\""), 1.0),
            1 => (format!("\"{number}um\""), 1.0),
            2 => (format!("\"{number} mm\""), 1e3),
            _ => (number.clone(), 1.0),
        };
        let text = format!(
            "[wafer]\nspan = 4\nthickness = {spelled}\nacceptors = 1e15\n\
             [[terminal]]\nname = \"t\"\ntouches = [{{ from = 1.5, to = 2 }}]\n"
        );
        if let Ok((case, _)) = read_str(&text, "x.toml") {
            let right: f64 = number.replace('_', "").parse().unwrap();
            let found = case.wafer.thickness;
            let same = found == right * factor || (found / (right * factor) - 1.0).abs() < 3e-16;
            assert!(same, "{spelled} was read as {found:e}");
            read += 1;
        }
    }
    println!("{tries} spellings, {read} read");
    assert!(read > tries / 10, "only {read} of {tries} were read");
}
