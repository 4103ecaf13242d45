//! How plan, status and gather grow with the number of cases: `cargo bench --bench sweep --
//! [CASES…]` (default 1000 and 10000). Results are those of a real 50-node diode, written
//! once per case with the case's own text; only the solving is left out.

use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use holdpoint::cli::{Io, Joined, run_with};
use holdpoint::record;
use holdpoint::sweep::{Folder, Sweep, csv, gather, status};

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
    rest.split_whitespace().skip(11).take(2).filter_map(|t| t.parse::<f64>().ok()).sum::<f64>()
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

fn grown(folder: &Path, cases: usize) -> Result<bool, String> {
    let file = folder.join(format!("d{cases}.sweep.toml"));
    let text = format!(
        "base = \"diode.toml\"\n[axes]\ntemperature = {{ from = 250, to = 440, count = {} }}\n\
         \"wafer.donors\" = {{ from = 1e15, to = 1e17, count = 10, scale = \"log\" }}\n",
        cases / 10
    );
    std::fs::write(&file, text).map_err(|e| e.to_string())?;
    let (sweep, _) = timed("read", cases, || Sweep::read(&file));
    let sweep = sweep.map_err(|p| format!("{p:?}"))?;
    let (bad, _) = timed("check", cases, || (0..cases).filter(|k| sweep.case(*k).is_err()).count());
    if bad > 0 {
        return Err(format!("{bad} bad cases"));
    }
    let at = Folder::new(&folder.join(format!("d{cases}")));
    at.begin(&sweep).map_err(|e| e.to_string())?;
    timed("empty", cases, || status(&sweep, &at));
    let mut record = record::read(&folder.join("diode.h5")).map_err(|e| e.to_string())?;
    let (written, _) = timed("write", cases, || {
        for k in 0..cases {
            record.case_text = sweep.case_text(k).map_err(|p| p.text)?;
            record::write(&at.result(&sweep.case_name(k)), &record).map_err(|e| e.to_string())?;
        }
        Ok::<(), String>(())
    });
    written?;
    let (seen, _) = timed("status", cases, || status(&sweep, &at));
    if seen.counts.done != cases {
        return Err(format!("{:?}", seen.counts));
    }
    let output = folder.join(format!("g{cases}.h5"));
    let (made, used) = timed("gather", cases, || {
        let table = gather(&sweep, &at, &output);
        record::write_gathered(&output, &table).map(|()| csv(&table).len())
    });
    made.map_err(|e| e.to_string())?;
    let memory = peak().unwrap_or(f64::NAN);
    println!("{cases:>8} peak memory so far {memory:.0} MiB");
    Ok(cases != 1000 || (used < LONGEST && memory < LARGEST))
}

fn main() -> ExitCode {
    let asked: Vec<usize> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let sizes = if asked.is_empty() { vec![1000, 10_000] } else { asked };
    let shared = Path::new("/dev/shm");
    let folder = match shared.is_dir() {
        // In memory: the disk is not what is measured.
        true => tempfile::tempdir_in(shared),
        false => tempfile::tempdir(),
    };
    let Ok(folder) = folder else { return ExitCode::FAILURE };
    let diode = folder.path().join("diode.toml");
    let out = folder.path().join("diode.h5");
    if std::fs::write(&diode, DIODE).is_err() {
        return ExitCode::FAILURE;
    }
    let args = ["holdpoint", "run", "-q", "--threads", "1", "-o"].map(|a| a.to_string());
    let args = args.into_iter().chain([out, diode].map(|p| p.to_string_lossy().into_owned()));
    let (mut io, _) = Io::captured(None);
    if run_with(&Joined, args, &mut io) != 0 {
        eprintln!("the diode could not be run");
        return ExitCode::FAILURE;
    }
    let mut good = true;
    for cases in sizes {
        match grown(folder.path(), cases) {
            Ok(within) => good &= within,
            Err(why) => {
                eprintln!("{cases} cases: {why}");
                good = false;
            }
        }
    }
    if good { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
