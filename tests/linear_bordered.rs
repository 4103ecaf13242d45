//! Bordered systems, with matrices from regular to exactly singular.

mod linear_support;

use std::sync::Arc;

use holdpoint::linear::{
    BlockMatrix, BlockPattern, Border, BorderedFactors, DirectSolver, LinearError, SolveInfo,
};
use linear_support::*;

fn sparse(column: Vec<f64>) -> Vec<(u32, f64)> {
    column.into_iter().enumerate().map(|(i, v)| (i as u32, v)).collect()
}

/// Prepare and solve in place.
fn solve(
    solver: &mut DirectSolver,
    a: &BlockMatrix,
    border: &Border,
    f: &mut [f64],
    g: &mut [f64],
) -> Result<SolveInfo, LinearError> {
    BorderedFactors::new(solver, a, border)?.solve(solver, a, border, f, g)
}

fn border(n: usize, m: usize, seed: u64) -> Border {
    Border {
        columns: (0..m).map(|k| sparse(vector(n, seed + 10 * k as u64))).collect(),
        rows: (0..m).map(|k| vector(n, seed + 5 + 10 * k as u64)).collect(),
        corner: vector(m * m, seed + 1000),
    }
}

/// \[A B; C D\] \[x; y\].
fn product(a: &BlockMatrix, border: &Border, x: &[f64], y: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let mut f = vec![0.0; x.len()];
    a.multiply(x, &mut f);
    let m = y.len();
    for (column, y) in border.columns.iter().zip(y) {
        column.iter().for_each(|&(i, c)| f[i as usize] += c * y);
    }
    let g = (0..m)
        .map(|i| {
            let row: f64 = border.rows[i].iter().zip(x).map(|(c, x)| c * x).sum();
            row + (0..m).map(|j| border.corner[i * m + j] * y[j]).sum::<f64>()
        })
        .collect();
    (f, g)
}

/// Largest error of x and y against a chosen solution, and the sweeps that it took.
fn error(a: &BlockMatrix, border: &Border) -> (f64, u32) {
    let n = a.pattern.rows * a.pattern.block;
    let m = border.columns.len();
    let (x, y) = (vector(n, 71), vector(m, 72));
    let (mut f, mut g) = product(a, border, &x, &y);
    let mut solver = DirectSolver::new(a.pattern.clone()).unwrap();
    solver.factor(a).unwrap();
    let info = solve(&mut solver, a, border, &mut f, &mut g).unwrap();
    assert!(info.backward_error < 1e-12, "{info:?}");
    (difference(&f, &x).max(difference(&g, &y)), info.refinements)
}

#[test]
fn regular_matrices_with_one_to_eight_borders() {
    for block in [1, 3, 4] {
        for m in [1, 2, 3, 8] {
            let pattern = grid(23, 17, block, holes(23, 17));
            let a = random(&pattern, 5, 5.0);
            let (e, sweeps) = error(&a, &border(pattern.rows * block, m, 40));
            assert!(e < 1e-11 && sweeps <= 2, "block {block}, {m} borders: {e:e} {sweeps}");
        }
    }
}

#[test]
fn without_a_border_it_is_the_plain_system() {
    let pattern = grid(9, 9, 3, |_, _| true);
    let a = random(&pattern, 5, 5.0);
    assert!(error(&a, &Border::default()).0 < 1e-12);
}

/// Laplacian on the grid, plus `shift`: with shift 0 constants are its null space.
fn nearly_singular(pattern: &Arc<BlockPattern>, shift: f64) -> BlockMatrix {
    let mut a = BlockMatrix::new(pattern.clone());
    let b = pattern.block;
    for r in 0..pattern.rows {
        for i in 0..b {
            let mut sum = shift;
            for k in pattern.start[r]..pattern.start[r + 1] {
                if pattern.columns[k] as usize != r {
                    // Unsymmetric, rows still sum to zero.
                    let w = 1.0 + 0.5 * ((r * 7 + k * 3 + i) as f64).sin();
                    a.values[k * b * b + i * b + i] = -w;
                    sum += w;
                }
            }
            *diagonal(&mut a, r, i) = sum;
        }
    }
    if b > 1 {
        // The other unknowns are regular: one null vector in all.
        for r in 0..pattern.rows {
            (1..b).for_each(|i| *diagonal(&mut a, r, i) += 1.0);
        }
    }
    a
}

#[test]
fn a_fold_is_no_obstacle() {
    for block in [1, 3] {
        for m in [1, 2, 4] {
            for shift in [1e-6, 1e-8, 1e-10, 1e-12, 1e-14, 0.0] {
                let pattern = grid(40, 30, block, holes(40, 30));
                let a = nearly_singular(&pattern, shift);
                let (e, sweeps) = error(&a, &border(pattern.rows * block, m, 90));
                assert!(e < 1e-9, "block {block}, {m} borders, shift {shift:e}: {e:e}");
                assert!(sweeps <= 6, "block {block}, {m} borders, shift {shift:e}: {sweeps}");
            }
        }
    }
}

#[test]
fn several_right_hand_sides_and_badly_scaled_borders() {
    let a = drift_diffusion(40, 40, 1e17);
    let n = a.pattern.rows * 3;
    let mut edges = border(n, 3, 7);
    let sizes = [1e-15, 1.0, 1e12];
    for (k, size) in sizes.into_iter().enumerate() {
        // Columns as large as the rows they are in, rows in units of their own.
        edges.rows[k].iter_mut().enumerate().for_each(|(i, v)| {
            *v *= size * if i % 3 == 0 { 1.0 } else { 1e-16 };
        });
        for (i, v) in edges.columns[k].iter_mut() {
            *v *= 1e-3 / size * if *i % 3 == 0 { 1.0 } else { 1e15 };
        }
    }
    let mut solver = DirectSolver::new(a.pattern.clone()).unwrap();
    solver.factor(&a).unwrap();
    let mut bordered = BorderedFactors::new(&mut solver, &a, &edges).unwrap();
    for seed in 0..3 {
        let x: Vec<f64> = vector(n, seed)
            .iter()
            .enumerate()
            .map(|(i, v)| if i % 3 == 0 { 0.1 * v } else { 1e16 * v })
            .collect();
        let y: Vec<f64> = vector(3, 50 + seed).iter().zip(sizes).map(|(v, s)| v * s).collect();
        let (mut f, mut g) = product(&a, &edges, &x, &y);
        let info = bordered.solve(&mut solver, &a, &edges, &mut f, &mut g).unwrap();
        assert!(info.backward_error < 1e-12, "{info:?}");
        for c in 0..3 {
            let part = |x: &[f64]| x.iter().skip(c).step_by(3).copied().collect::<Vec<_>>();
            let e = difference(&part(&f), &part(&x));
            assert!(e < 1e-6, "seed {seed} unknown {c}: {e:e}");
        }
    }
}

#[test]
fn a_singular_whole_and_bad_shapes_are_refused() {
    let pattern = grid(7, 5, 1, |_, _| true);
    let a = nearly_singular(&pattern, 0.0);
    let n = pattern.rows;
    // The border does not reach the null space: its column is in the range of A, its row
    // orthogonal to the null vector.
    let mut row = vec![0.0; n];
    (row[0], row[1]) = (1.0, -1.0);
    let mut column = vec![0.0; n];
    a.multiply(&vector(n, 3), &mut column);
    let edges = Border { columns: vec![sparse(column)], rows: vec![row], corner: vec![1.0] };
    let mut solver = DirectSolver::new(pattern.clone()).unwrap();
    solver.factor(&a).unwrap();
    let (mut f, mut g) = (vector(n, 1), vector(1, 2));
    let answer = solve(&mut solver, &a, &edges, &mut f, &mut g);
    // Either refused, or the answer is enormous: never a moderate one that is wrong.
    match answer {
        Err(error) => assert!(matches!(error, LinearError::Singular { .. })),
        Ok(_) => assert!(f.iter().any(|v| v.abs() > 1e6), "{f:?}"),
    }
    let mut short = border(n, 2, 1);
    short.rows.pop();
    let answer = solve(&mut solver, &a, &short, &mut f, &mut [0.0, 0.0]);
    assert!(answer.is_err());
    let mut bad = border(n, 1, 1);
    bad.columns[0][3].1 = f64::NAN;
    assert!(solve(&mut solver, &a, &bad, &mut f, &mut [0.0]).is_err());
    let good = border(n, 1, 1);
    assert!(solve(&mut solver, &a, &good, &mut f, &mut [f64::NAN]).is_err());
}
