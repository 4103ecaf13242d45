//! What grading by the solution gains: `cargo bench --bench grading`.
//! The folds on the mesh of the structure and on one graded by the solution, at the same
//! node budget, against a much finer mesh. Exit code 1 if the error of the folds is not at
//! least halved.

use std::process::ExitCode;

#[path = "../tests/bars_support/mod.rs"]
mod bars_support;

use bars_support::{gain, shipped};

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let mut studies = vec![
        ("four-layer-bar".to_string(), 200, 12_000),
        ("four-layer-bar".to_string(), 400, 12_000),
        ("tern180-pad".to_string(), 3_000, 30_000),
    ];
    if let [case, nodes, truth] = args.as_slice() {
        let (Ok(nodes), Ok(truth)) = (nodes.parse(), truth.parse()) else {
            eprintln!("CASE NODES NODES-OF-THE-TRUTH");
            return ExitCode::FAILURE;
        };
        studies = vec![(case.clone(), nodes, truth)];
    }
    if let [case, nodes] = args.as_slice() {
        bars_support::blocks(case, &shipped(case, nodes.parse().unwrap_or(0)));
        return ExitCode::SUCCESS;
    }
    let mut good = true;
    for (name, nodes, truth) in studies {
        let [before, after] = gain(&name, &shipped(&name, nodes), &shipped(&name, truth));
        println!("{name} at {nodes}: error of the folds {before:.3e} to {after:.3e}");
        good &= 2.0 * after <= before;
    }
    if good { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
