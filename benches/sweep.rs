//! How plan, status and gather grow with the number of cases: `cargo bench --bench sweep --
//! [CASES…]` (default 1000 3000 10000 100000). Every case is a diode of 50 nodes with a text
//! of its own, really run, up to 10,000 of them (HOLDPOINT_RUN says how many); of a larger
//! sweep those are there and the others are missing. Fails if the gather of 1,000 takes 5 s
//! or more of wall time, or 500 MiB.

use std::path::Path;
use std::process::{Command, ExitCode};
use std::time::Instant;

use holdpoint::record;
use holdpoint::sweep::{Folder, Sweep, csv, gather, status};

const PROGRAM: &str = env!("CARGO_BIN_EXE_holdpoint");
const DIODE: &str = "title = \"diode\"\ntemperature = 300\n\
[wafer]\nspan = 3\nthickness = 1\ndonors = 1e16\n\
[[diffusion]]\nname = \"p+ anode\"\nacceptors = 1e18\nfrom = 0\nto = 1\nshape = \"box\"\n\
[[terminal]]\nname = \"anode\"\ntouches = [{ side = \"left\" }]\n\
[[terminal]]\nname = \"cathode\"\ntouches = [{ side = \"right\" }]\n\
[grid]\nx = [0, 0.3, 0.6, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1, 1.005, 1.01, 1.02, 1.05, \
1.1, 1.15, 1.2, 1.3, 1.4, 1.6, 1.8, 2.1, 2.4, 2.7, 3]\ny = [0, 1]\n\
[[experiment]]\nkind = \"bias\"\ndrive = [\"anode\"]\nat = [0, 0.2, 0.4, 0.5, 0.6]\n";

/// Bounds: gather of 1,000 cases, and memory.
const LONGEST: f64 = 5.0;
const LARGEST: f64 = 500.0;

/// Peak resident memory of this process so far [MiB].
fn peak() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}

/// CPU time of this process so far [s], at the usual 100 ticks a second.
fn cpu() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let rest = stat.rsplit_once(')').map_or("", |(_, r)| r);
    // User and system, of its own and of children that ended.
    rest.split_whitespace().skip(11).take(4).filter_map(|t| t.parse::<f64>().ok()).sum::<f64>()
        / 100.0
}

fn timed<T>(what: &str, cases: usize, work: impl FnOnce() -> T) -> (T, f64) {
    let (wall, before) = (Instant::now(), cpu());
    let out = work();
    let (wall, used) = (wall.elapsed().as_secs_f64(), cpu() - before);
    println!(
        "{cases:>8} {what:<8} {wall:>8.2} s wall {used:>8.2} s CPU {:>8.1} us CPU a case",
        1e6 * used / cases as f64
    );
    (out, used)
}

/// A sweep of so many diodes. A larger one holds the cases of each smaller.
fn sweep_text(cases: usize) -> String {
    // The golden ratio's multiples, modulo 1, spread evenly whatever their number.
    let each = |k: usize| 250.0 + 190.0 * (k as f64 * 0.618_033_988_75).fract();
    let list: Vec<String> = (0..cases / 10).map(|k| format!("{:.6}", each(k))).collect();
    format!(
        "base = \"diode.toml\"\n[axes]\ntemperature = [{}]\n\
         \"wafer.donors\" = {{ from = 1e15, to = 1e17, count = 10, scale = \"log\" }}\n",
        list.join(", ")
    )
}

fn grown(folder: &Path, cases: usize, run: usize) -> Result<bool, String> {
    let file = folder.join("diodes.sweep.toml");
    std::fs::write(&file, sweep_text(cases)).map_err(|e| e.to_string())?;
    let out = folder.join("diodes");
    let program = |what: &str, args: &[&str]| {
        let (said, _) = timed(what, cases, || {
            Command::new(PROGRAM).arg("sweep").args(args).arg(&file).output()
        });
        let said = said.map_err(|e| e.to_string())?;
        match said.status.success() {
            true => Ok(()),
            false => Err(String::from_utf8_lossy(&said.stderr).into_owned()),
        }
    };
    let at = out.to_string_lossy().into_owned();
    program("plan", &["plan", "-o", &at])?;
    if cases <= run {
        // Really run: those of a smaller sweep are there.
        program("run", &["run", "-q", "-o", &at])?;
    }
    let (sweep, _) = timed("read", cases, || Sweep::read(&file));
    let sweep = sweep.map_err(|p| format!("{p:?}"))?;
    let at = Folder::new(&out);
    let (seen, _) = timed("status", cases, || status(&sweep, &at));
    println!("{cases:>8} of these {} run, {} missing", seen.counts.done, seen.counts.missing);
    if seen.counts.done + seen.counts.missing != cases || (cases <= run && seen.counts.missing > 0)
    {
        return Err(format!("{:?}", seen.counts));
    }
    let output = folder.join(format!("g{cases}.h5"));
    let (made, _) = timed("gather", cases, || {
        let started = Instant::now();
        let table = gather(&sweep, &at, &output);
        let written = record::write_gathered(&output, &table).map(|()| csv(&table).len());
        written.map(|_| started.elapsed().as_secs_f64())
    });
    let wall = made.map_err(|e| e.to_string())?;
    let memory = peak().unwrap_or(f64::NAN);
    println!("{cases:>8} peak memory so far {memory:.0} MiB");
    Ok(cases != 1000 || (wall < LONGEST && memory < LARGEST))
}

fn main() -> ExitCode {
    let asked: Vec<usize> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let sizes = if asked.is_empty() { vec![1000, 3000, 10_000, 100_000] } else { asked };
    let run: usize =
        std::env::var("HOLDPOINT_RUN").ok().and_then(|n| n.parse().ok()).unwrap_or(10_000);
    let shared = Path::new("/dev/shm");
    let folder = match shared.is_dir() {
        // In memory: the disk is not what is measured.
        true => tempfile::tempdir_in(shared),
        false => tempfile::tempdir(),
    };
    let Ok(folder) = folder else { return ExitCode::FAILURE };
    if std::fs::write(folder.path().join("diode.toml"), DIODE).is_err() {
        return ExitCode::FAILURE;
    }
    let mut good = true;
    for cases in sizes {
        match grown(folder.path(), cases, run) {
            Ok(within) => good &= within,
            Err(why) => {
                eprintln!("{cases} cases: {why}");
                good = false;
            }
        }
    }
    if good { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
