//! Times of the direct solver on Jacobians of an invented p-n-p-n cross-section, or on those of
//! Newton steps of the shipped cases that `cargo bench --bench jacobians` wrote to folders.
//! `cargo bench --bench linear [-- quick | FOLDER...]`. Plain timing, minimum of several runs.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use holdpoint::linear::{BlockMatrix, DirectSolver, GeneralLu, Symbolic};

#[path = "../tests/linear_support/mod.rs"]
mod linear_support;
use linear_support::{drift_diffusion, vector};

#[path = "peers/dumped.rs"]
mod dumped;

/// Least time [ms] of `count` runs.
fn least(count: usize, mut run: impl FnMut()) -> f64 {
    run();
    let once = |run: &mut dyn FnMut()| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..count).map(|_| once(&mut run)).fold(f64::INFINITY, f64::min)
}

/// Dense multiply of one core [GFlop/s], by the multiply of a library.
fn peak() -> f64 {
    let n = 768;
    let a = faer::Mat::from_fn(n, n, |i, j| (i * 7 + j) as f64 * 1e-3);
    let b = a.transpose().to_owned();
    let mut c = faer::Mat::<f64>::zeros(n, n);
    let ms = least(10, || {
        let (c, keep) = (c.as_mut(), faer::Accum::Replace);
        faer::linalg::matmul::matmul(c, keep, &a, &b, 1.0, faer::Par::Seq);
    });
    2.0 * (n as f64).powi(3) / ms / 1e6
}

fn main() {
    let peak = peak();
    println!("dense multiply, one core: {peak:.1} GFlop/s");
    let args: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let quick = args.iter().any(|a| a == "quick");
    let matrices: Vec<BlockMatrix> = if quick || args.is_empty() {
        let sizes: &[u32] = if quick { &[108] } else { &[54, 108, 215] };
        sizes.iter().map(|&n| drift_diffusion(n, n, 1e17)).collect()
    } else {
        args.iter().map(|folder| dumped::load(Path::new(folder)).expect(folder)).collect()
    };
    println!(
        "{:>7} {:>9} {:>7} {:>9} {:>7} {:>9} {:>9} {:>8} {:>9} {:>9} {:>8} {:>9} {:>9} {:>7}",
        "nodes",
        "analysis",
        "fronts",
        "Mflop",
        "fill M",
        "LU 1 ms",
        "LU 2 ms",
        "GFlop/s",
        "solve 1",
        "solve 2",
        "MB",
        "error",
        "general",
        "of peak"
    );
    let pool = |n| rayon::ThreadPoolBuilder::new().num_threads(n).build().unwrap();
    let (one, two) = (pool(1), pool(2));
    for a in matrices {
        let n = a.pattern.rows * 3;
        let start = Instant::now();
        let symbolic = Arc::new(Symbolic::new(&a.pattern));
        let analysis = start.elapsed().as_secs_f64() * 1e3;
        let mut solver = DirectSolver::with_symbolic(a.pattern.clone(), symbolic.clone());
        let lu1 = one.install(|| least(40, || solver.factor(&a).unwrap()));
        let lu2 = two.install(|| least(40, || solver.factor(&a).unwrap()));
        let b = vector(n, 1);
        let mut x = b.clone();
        let mut error = 0.0;
        let mut solve = |pool: &rayon::ThreadPool| {
            pool.install(|| {
                least(40, || {
                    x.copy_from_slice(&b);
                    error = solver.solve(&a, &mut x, 1).unwrap().backward_error;
                })
            })
        };
        let (solve1, solve2) = (solve(&one), solve(&two));
        let general = if !args.is_empty() {
            f64::NAN
        } else {
            let mut general = GeneralLu::new(a.pattern.clone()).unwrap();
            least(3, || general.factor(&a).unwrap())
        };
        println!(
            "{:>7} {:>9.1} {:>7} {:>9.0} {:>7.2} {:>9.2} {:>9.2} {:>8.1} {:>9.2} {:>9.2} {:>8.0} {:>9.1e} {:>9.1} {:>6.0}%",
            a.pattern.rows,
            analysis,
            symbolic.fronts(),
            symbolic.flops() / 1e6,
            symbolic.fill() as f64 / 1e6,
            lu1,
            lu2,
            symbolic.flops() / lu1 / 1e6,
            solve1,
            solve2,
            symbolic.bytes() as f64 / 1e6,
            error,
            general,
            100.0 * symbolic.flops() / lu1 / 1e6 / peak
        );
    }
}
