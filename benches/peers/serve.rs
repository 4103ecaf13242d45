//! One solver of `compare.py` in a process of its own: `serve ours|faer FOLDER`. Each line
//! `factor` on standard input is one numeric factorisation; `solve` also prints the
//! backward error of a refined solution. Every line is answered by one.

use std::io::{BufRead, Write};
use std::path::Path;
use std::process::ExitCode;

use faer::linalg::solvers::Solve;
use faer::sparse::linalg::solvers::{Lu, SymbolicLu};
use faer::sparse::{SparseColMat, Triplet};
use holdpoint::linear::{BlockMatrix, DirectSolver};

#[path = "dumped.rs"]
mod dumped;

type Failure = Box<dyn std::error::Error>;

/// Right-hand side that belongs to a smooth solution.
fn right_hand_side(a: &BlockMatrix) -> Vec<f64> {
    let x: Vec<f64> = (0..a.pattern.rows * 3).map(|k| (0.3 * k as f64).cos()).collect();
    let mut b = vec![0.0; x.len()];
    a.multiply(&x, &mut b);
    b
}

/// b − A x and its componentwise backward error.
fn residual(a: &BlockMatrix, x: &[f64], b: &[f64]) -> (Vec<f64>, f64) {
    let (mut r, mut size) = (vec![0.0; b.len()], vec![0.0; b.len()]);
    a.multiply(x, &mut r);
    let absolute = BlockMatrix {
        pattern: a.pattern.clone(),
        values: a.values.iter().map(|v| v.abs()).collect(),
    };
    absolute.multiply(&x.iter().map(|v| v.abs()).collect::<Vec<_>>(), &mut size);
    r.iter_mut().zip(b).for_each(|(r, b)| *r = b - *r);
    let each = r.iter().zip(&size).zip(b).map(|((r, s), b)| r.abs() / (s + b.abs()));
    let worst = each.fold(0.0, f64::max);
    (r, worst)
}

/// Entries of the matrix that are not zero, rows scaled to a largest entry of 1.
fn scaled(a: &BlockMatrix) -> Result<(SparseColMat<usize, f64>, Vec<f64>), Failure> {
    let p = &a.pattern;
    let mut entries = Vec::new();
    for r in 0..p.rows {
        for k in p.start[r]..p.start[r + 1] {
            for (e, &v) in a.values[9 * k..9 * k + 9].iter().enumerate().filter(|e| *e.1 != 0.0) {
                entries.push(Triplet::new(3 * r + e / 3, 3 * p.columns[k] as usize + e % 3, v));
            }
        }
    }
    let mut scale = vec![0.0f64; 3 * p.rows];
    entries.iter().for_each(|t| scale[t.row] = scale[t.row].max(t.val.abs()));
    scale.iter_mut().for_each(|s| *s = 1.0 / *s);
    entries.iter_mut().for_each(|t| t.val *= scale[t.row]);
    let n = 3 * p.rows;
    let matrix = SparseColMat::try_new_from_triplets(n, n, &entries);
    Ok((matrix.map_err(|e| format!("{e:?}"))?, scale))
}

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let done = match args.as_slice() {
        [solver, folder] => run(solver, Path::new(folder)),
        _ => Err("usage: serve ours|faer FOLDER".into()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("failed: {e}");
            ExitCode::FAILURE
        }
    }
}

fn run(solver: &str, folder: &Path) -> Result<(), Failure> {
    let a = dumped::load(folder)?;
    let b = right_hand_side(&a);
    rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global()?;
    match solver {
        "ours" => {
            let mut ours = DirectSolver::new(a.pattern.clone())?;
            answer(|solve| {
                ours.factor(&a)?;
                if !solve {
                    return Ok(None);
                }
                let mut x = b.clone();
                ours.solve(&a, &mut x, 1)?;
                Ok(Some(residual(&a, &x, &b).1))
            })
        }
        "faer" => {
            faer::set_global_parallelism(faer::Par::Seq);
            let (matrix, scale) = scaled(&a)?;
            let symbolic = SymbolicLu::try_new(matrix.symbolic()).map_err(|e| format!("{e:?}"))?;
            answer(|solve| {
                let lu = Lu::try_new_with_symbolic(symbolic.clone(), matrix.as_ref())
                    .map_err(|e| format!("{e:?}"))?;
                if !solve {
                    return Ok(None);
                }
                let n = b.len();
                let mut x = vec![0.0; n];
                for _ in 0..2 {
                    let r = residual(&a, &x, &b).0;
                    let mut d: Vec<f64> = r.iter().zip(&scale).map(|(r, s)| r * s).collect();
                    lu.solve_in_place(faer::MatMut::from_column_major_slice_mut(&mut d, n, 1));
                    x.iter_mut().zip(&d).for_each(|(x, d)| *x += d);
                }
                Ok(Some(residual(&a, &x, &b).1))
            })
        }
        _ => Err(format!("no such solver: {solver}").into()),
    }
}

/// Answer the lines of standard input until it ends.
fn answer(mut factor: impl FnMut(bool) -> Result<Option<f64>, Failure>) -> Result<(), Failure> {
    for line in std::io::stdin().lock().lines() {
        let error = factor(line?.trim() == "solve")?;
        let mut out = std::io::stdout().lock();
        writeln!(out, "{}", error.map_or("done".into(), |e| format!("{e:e}")))?;
        out.flush()?;
    }
    Ok(())
}
