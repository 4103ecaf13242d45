//! The block solver against the general-purpose LU, and where the one needs the other.

mod linear_support;

use std::sync::Arc;

use holdpoint::linear::{
    BlockMatrix, BlockPattern, DirectSolver, GeneralLu, LinearError, Symbolic,
};
use linear_support::*;

/// Solution by the general-purpose LU with two refinement sweeps.
fn reference(a: &BlockMatrix, b: &[f64], transposed: bool) -> Vec<f64> {
    let mut lu = GeneralLu::new(a.pattern.clone()).unwrap();
    lu.factor(a).unwrap();
    let mut x = b.to_vec();
    lu.apply(&mut x, transposed);
    for _ in 0..2 {
        let mut r = product(a, &x, transposed);
        r.iter_mut().zip(b).for_each(|(r, b)| *r = b - *r);
        lu.apply(&mut r, transposed);
        x.iter_mut().zip(&r).for_each(|(x, d)| *x += d);
    }
    x
}

fn product(a: &BlockMatrix, x: &[f64], transposed: bool) -> Vec<f64> {
    let mut y = vec![0.0; x.len()];
    if !transposed {
        a.multiply(x, &mut y);
        return y;
    }
    let (p, b) = (&a.pattern, a.pattern.block);
    for r in 0..p.rows {
        for k in p.start[r]..p.start[r + 1] {
            for i in 0..b {
                for j in 0..b {
                    y[p.columns[k] as usize * b + j] +=
                        a.values[(k * b + i) * b + j] * x[r * b + i];
                }
            }
        }
    }
    y
}

const SIZES: [(u32, u32); 7] = [(1, 1), (1, 5), (1, 300), (300, 1), (7, 5), (40, 30), (100, 100)];

#[test]
fn random_systems_on_grids_with_holes_agree_with_the_general_purpose_lu() {
    for (nx, ny) in SIZES {
        for block in [1, 2, 3, 4, 5] {
            if nx * ny > 2000 && (block == 2 || block == 5) {
                continue;
            }
            let pattern = grid(nx, ny, block, holes(nx, ny));
            let a = random(&pattern, 7 + u64::from(nx) + block as u64, 4.0);
            agrees(&a, &format!("{nx}x{ny} block {block}"));
        }
    }
}

#[test]
fn unknowns_alone_in_their_rows_stay_out_of_the_fronts() {
    for (nx, ny) in SIZES {
        for block in [1, 2, 3, 4, 5] {
            let pattern = with_alone(&grid(nx, ny, block, holes(nx, ny)));
            let mut a = random(&pattern, 5 + u64::from(nx) + block as u64, 4.0);
            keep_promise(&mut a);
            agrees(&a, &format!("{nx}x{ny} block {block}"));
            let mut order: Vec<u32> = Symbolic::new(&pattern).order().collect();
            order.sort_unstable();
            assert!(order.into_iter().eq(0..(pattern.rows * block) as u32));
        }
    }
    // As many flops as the same matrix has without the promise would be no gain.
    let plain = grid(60, 60, 3, |_, _| true);
    let flops = |p: &BlockPattern| Symbolic::new(p).flops();
    assert!(flops(&with_alone(&plain)) < 0.6 * flops(&plain));
}

#[test]
fn a_broken_promise_is_answered_by_the_general_purpose_lu() {
    let pattern = with_alone(&grid(20, 20, 3, |_, _| true));
    let a = random(&pattern, 3, 4.0);
    let b = vector(1200, 4);
    let mut x = b.clone();
    let mut solver = DirectSolver::new(pattern).unwrap();
    solver.factor(&a).unwrap();
    let info = solver.solve(&a, &mut x, 1).unwrap();
    assert_eq!(info.general, 1);
    assert!(difference(&x, &reference(&a, &b, false)) < 1e-10);
}

/// Three right-hand sides, plain and transposed, against the general-purpose LU.
fn agrees(a: &BlockMatrix, what: &str) {
    let n = a.pattern.rows * a.pattern.block;
    let mut solver = DirectSolver::new(a.pattern.clone()).unwrap();
    solver.factor(a).unwrap();
    for transposed in [false, true] {
        let b = vector(3 * n, 11);
        let mut x = b.clone();
        let info = if transposed {
            solver.solve_transposed(a, &mut x, 3).unwrap()
        } else {
            solver.solve(a, &mut x, 3).unwrap()
        };
        assert!(info.backward_error < 1e-12, "{what}: {info:?}");
        for c in 0..3 {
            let y = reference(a, &b[c * n..(c + 1) * n], transposed);
            let d = difference(&x[c * n..(c + 1) * n], &y);
            assert!(d < 1e-10, "{what} column {c}: {d:e}");
        }
    }
    assert_eq!(solver.work().general, 0, "{what}");
}

#[test]
fn drift_diffusion_needs_no_exchange_and_is_accurate() {
    for level in [0.0, 1e12, 1e17, 1e19] {
        let a = drift_diffusion(60, 50, level);
        let n = a.pattern.rows * 3;
        let mut solver = DirectSolver::new(a.pattern.clone()).unwrap();
        solver.factor(&a).unwrap();
        // A right-hand side whose solution is known, with the densities' own sizes.
        let mut random = Random(5);
        let truth: Vec<f64> =
            (0..n).map(|k| random.unit() * if k % 3 == 0 { 0.1 } else { 1e16 }).collect();
        let mut x = product(&a, &truth, false);
        let b = x.clone();
        let info = solver.solve(&a, &mut x, 1).unwrap();
        assert!(info.backward_error < 1e-13, "{level:e}: {info:?}");
        assert!(info.refinements <= 1, "{level:e}: {info:?}");
        let work = solver.work();
        assert_eq!((work.pivoted_fronts, work.general), (0, 0));
        let y = reference(&a, &b, false);
        for c in 0..3 {
            let part = |x: &[f64]| x.iter().skip(c).step_by(3).copied().collect::<Vec<_>>();
            let d = difference(&part(&x), &part(&y));
            assert!(d < 1e-9, "{level:e}, unknown {c}: {d:e}");
        }
        let mut x = b.clone();
        let info = solver.solve_transposed(&a, &mut x, 1).unwrap();
        assert!(info.backward_error < 1e-13, "{level:e} transposed: {info:?}");
    }
}

#[test]
fn badly_scaled_rows_and_columns_change_nothing() {
    let pattern = grid(40, 30, 3, holes(40, 30));
    let a = random(&pattern, 3, 4.0);
    let n = pattern.rows * 3;
    let mut scaled = a.clone();
    let mut random = Random(17);
    // Powers of two, so that the scaled system has the same solution to the last bit.
    let size: Vec<f64> = (0..n).map(|_| 2f64.powi((66.0 * random.unit()) as i32)).collect();
    let width: Vec<f64> = (0..n).map(|_| 2f64.powi((66.0 * random.unit()) as i32)).collect();
    for r in 0..pattern.rows {
        for k in pattern.start[r]..pattern.start[r + 1] {
            for i in 0..3 {
                for j in 0..3 {
                    let c = pattern.columns[k] as usize * 3 + j;
                    scaled.values[k * 9 + i * 3 + j] *= size[r * 3 + i] * width[c];
                }
            }
        }
    }
    let b = vector(n, 2);
    let expected = reference(&a, &b, false);
    let mut x: Vec<f64> = b.iter().zip(&size).map(|(b, s)| b * s).collect();
    let mut solver = DirectSolver::new(pattern).unwrap();
    solver.factor(&scaled).unwrap();
    let info = solver.solve(&scaled, &mut x, 1).unwrap();
    assert!(info.backward_error < 1e-12, "{info:?}");
    x.iter_mut().zip(&width).for_each(|(x, w)| *x *= w);
    let d = difference(&x, &expected);
    assert!(d < 1e-9, "{d:e}");
}

/// Five-point Laplacian with Neumann edges: singular; `shift` is added to the diagonal.
fn neumann(pattern: &Arc<BlockPattern>, shift: f64) -> BlockMatrix {
    let mut a = BlockMatrix::new(pattern.clone());
    for r in 0..pattern.rows {
        for k in pattern.start[r]..pattern.start[r + 1] {
            if pattern.columns[k] as usize != r {
                a.values[k] = -1.0;
                *diagonal(&mut a, r, 0) += 1.0;
            }
        }
        *diagonal(&mut a, r, 0) += shift;
    }
    a
}

#[test]
fn a_nearly_singular_matrix_keeps_a_small_backward_error() {
    let pattern = grid(40, 30, 1, |_, _| true);
    for shift in [1e-6, 1e-9, 1e-12] {
        let a = neumann(&pattern, shift);
        let mut solver = DirectSolver::new(pattern.clone()).unwrap();
        solver.factor(&a).unwrap();
        let mut x = vector(pattern.rows, 23);
        let info = solver.solve(&a, &mut x, 1).unwrap();
        assert!(info.backward_error < 1e-12, "{shift:e}: {info:?}");
    }
}

#[test]
fn a_singular_matrix_is_refused() {
    let pattern = grid(7, 5, 3, |_, _| true);
    let mut a = random(&pattern, 3, 4.0);
    // Unknown 1 of node 17 in no equation.
    for r in 0..pattern.rows {
        for k in pattern.start[r]..pattern.start[r + 1] {
            if pattern.columns[k] == 17 {
                (0..3).for_each(|i| a.values[k * 9 + i * 3 + 1] = 0.0);
            }
        }
    }
    let mut solver = DirectSolver::new(pattern.clone()).unwrap();
    solver.factor(&a).unwrap();
    let mut x = vector(pattern.rows * 3, 1);
    let answer = solver.solve(&a, &mut x, 1);
    assert!(matches!(answer, Err(LinearError::Singular { .. })), "{answer:?}");
}

#[test]
fn zero_pivots_are_exchanged_inside_their_front() {
    let pattern = grid(40, 30, 3, holes(40, 30));
    let mut a = random(&pattern, 31, 4.0);
    let n = pattern.rows * 3;
    // Swap equations 0 and 2 of every fifth node, with a zero left on the diagonal.
    for r in (0..pattern.rows).step_by(5) {
        for k in pattern.start[r]..pattern.start[r + 1] {
            for j in 0..3 {
                a.values.swap(k * 9 + j, k * 9 + 6 + j);
            }
        }
        *diagonal(&mut a, r, 0) = 0.0;
    }
    let b = vector(n, 3);
    for transposed in [false, true] {
        let mut solver = DirectSolver::new(pattern.clone()).unwrap();
        solver.factor(&a).unwrap();
        assert!(solver.work().pivoted_fronts > 0);
        let mut x = b.clone();
        let info = if transposed {
            solver.solve_transposed(&a, &mut x, 1).unwrap()
        } else {
            solver.solve(&a, &mut x, 1).unwrap()
        };
        assert!(info.backward_error < 1e-12, "{info:?}");
        assert_eq!(solver.work().general, 0);
        let d = difference(&x, &reference(&a, &b, transposed));
        assert!(d < 1e-9, "{d:e}");
    }
}

#[test]
fn what_the_fronts_cannot_answer_goes_to_the_general_purpose_lu() {
    // Two chains whose equations are exchanged across nodes: pivots are zero everywhere.
    let pattern = grid(2, 50, 1, |_, _| true);
    let mut a = BlockMatrix::new(pattern.clone());
    let mut numbers = Random(9);
    for r in 0..pattern.rows {
        for k in pattern.start[r]..pattern.start[r + 1] {
            let c = pattern.columns[k] as usize;
            a.values[k] = if c == r ^ 1 {
                2.0
            } else if c == r {
                0.0
            } else {
                1e-3 * numbers.unit()
            };
        }
    }
    let b = vector(pattern.rows, 3);
    let mut x = b.clone();
    let mut solver = DirectSolver::new(pattern.clone()).unwrap();
    solver.factor(&a).unwrap();
    let info = solver.solve(&a, &mut x, 1).unwrap();
    assert!(info.backward_error < 1e-12, "{info:?}");
    assert!(difference(&x, &reference(&a, &b, false)) < 1e-10);
}

#[test]
fn one_and_two_threads_give_the_same_bits() {
    let a = drift_diffusion(110, 100, 1e17);
    let n = a.pattern.rows * 3;
    let solved = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            let mut solver = DirectSolver::new(a.pattern.clone()).unwrap();
            let mut all = Vec::new();
            for _ in 0..3 {
                solver.factor(&a).unwrap();
                let mut x = vector(2 * n, 4);
                solver.solve(&a, &mut x, 2).unwrap();
                all.extend(x.iter().map(|v| v.to_bits()));
            }
            all
        })
    };
    assert!(solved(1) == solved(2));
}

#[test]
fn values_that_are_not_finite_are_refused() {
    let pattern = grid(7, 5, 3, |_, _| true);
    let good = random(&pattern, 1, 4.0);
    let mut solver = DirectSolver::new(pattern.clone()).unwrap();
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let mut a = good.clone();
        a.values[pattern.start[20] * 9 + 4] = bad;
        assert_eq!(solver.factor(&a), Err(LinearError::NotFinite { row: 20 }));
        // Nothing is factored now.
        let mut x = vector(pattern.rows * 3, 1);
        assert!(solver.solve(&a, &mut x, 1).is_err());
        solver.factor(&good).unwrap();
        x[3 * 12 + 1] = bad;
        assert_eq!(solver.solve(&good, &mut x, 1), Err(LinearError::NotFinite { row: 12 }));
    }
}

#[test]
fn extra_couplings_and_useless_places_are_no_obstacle() {
    // A ring of couplings across the grid, and all places the same.
    for same_place in [false, true] {
        let base = grid(20, 20, 3, |_, _| true);
        let mut rows: Vec<Vec<u32>> = (0..base.rows)
            .map(|r| base.columns[base.start[r]..base.start[r + 1]].to_vec())
            .collect();
        for k in 0..40usize {
            let (r, c) = ((k * 37) % base.rows, (k * 101 + 13) % base.rows);
            rows[r].push(c as u32);
            rows[c].push(r as u32);
        }
        let mut pattern = (*base).clone();
        pattern.columns.clear();
        pattern.start = vec![0];
        for mut row in rows {
            row.sort_unstable();
            row.dedup();
            pattern.columns.extend(row);
            pattern.start.push(pattern.columns.len());
        }
        if same_place {
            pattern.places.fill((3, 3));
        }
        let pattern = Arc::new(pattern);
        let a = random(&pattern, 77, 4.0);
        let b = vector(pattern.rows * 3, 3);
        let mut x = b.clone();
        let mut solver = DirectSolver::new(pattern).unwrap();
        solver.factor(&a).unwrap();
        solver.solve(&a, &mut x, 1).unwrap();
        assert!(difference(&x, &reference(&a, &b, false)) < 1e-10);
    }
}
