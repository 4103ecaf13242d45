//! How honest the error bars are, at length: `cargo bench --bench bars`.
//! For each shipped case with folds and each budget: every figure on the coarser, the
//! case's and the finer mesh, on one with every interval quartered, and the share of the
//! bar that the true error takes. Exit code 1 if fewer than nine in ten lie inside.

use std::process::ExitCode;
use std::time::Instant;

#[path = "../tests/bars_support/mod.rs"]
mod bars_support;

use bars_support::{shipped, study, study_thinned};

/// Cases and budgets; `cargo bench --bench bars -- CASE NODES` takes one only,
/// with `--thinned` on every second line of its mesh.
const STUDIES: [(&str, usize); 7] = [
    ("four-layer-bar", 150),
    ("four-layer-bar", 250),
    ("four-layer-bar", 400),
    ("four-layer-bar", 800),
    ("tern180-pad", 2_000),
    ("tern180-pad", 2_500),
    ("tern180-pad", 3_000),
];

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let mut studies: Vec<(String, usize)> =
        STUDIES.iter().map(|(c, n)| (c.to_string(), *n)).collect();
    if let [case, nodes] = args.as_slice() {
        let Ok(nodes) = nodes.parse() else {
            eprintln!("{nodes} is no number of nodes");
            return ExitCode::FAILURE;
        };
        studies = vec![(case.clone(), nodes)];
    }
    let thin = std::env::args().any(|a| a == "--thinned");
    let (mut inside, mut all) = (0, 0);
    for (name, nodes) in studies {
        let started = Instant::now();
        let label = format!("{name} {nodes}");
        let case = shipped(&name, nodes);
        let figures = if thin { study_thinned(&label, &case) } else { study(&label, &case) };
        for figure in figures {
            figure.print();
            all += 1;
            inside += usize::from(figure.ratio() <= 1.0);
        }
        println!("{:.0} s", started.elapsed().as_secs_f64());
    }
    println!("{inside} of {all} true errors lie inside their bar");
    if all > 0 && 10 * inside >= 9 * all { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
