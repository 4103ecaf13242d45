//! Matrices for the tests and the bench of `linear`: random blocks on grids with holes, and
//! Newton Jacobians of drift-diffusion on a graded mesh. All invented.

#![allow(dead_code)]

use std::sync::Arc;

use holdpoint::linear::{BlockMatrix, BlockPattern};

/// Numbers that look random and are the same everywhere (splitmix64; G. Steele and others,
/// OOPSLA 2014).
pub struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in [−1, 1).
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

/// Five-point pattern on the points of an nx × ny grid that `inside` accepts.
pub fn grid(
    nx: u32,
    ny: u32,
    block: usize,
    inside: impl Fn(u32, u32) -> bool,
) -> Arc<BlockPattern> {
    let mut places = Vec::new();
    let mut number = vec![None; (nx * ny) as usize];
    for j in 0..ny {
        for i in 0..nx {
            if inside(i, j) {
                number[(j * nx + i) as usize] = Some(places.len() as u32);
                places.push((i, j));
            }
        }
    }
    let at = |i: i64, j: i64| {
        let held = i >= 0 && j >= 0 && i < i64::from(nx) && j < i64::from(ny);
        if held { number[(j * i64::from(nx) + i) as usize] } else { None }
    };
    let (mut start, mut columns) = (vec![0], Vec::new());
    for &(i, j) in &places {
        let (i, j) = (i64::from(i), i64::from(j));
        let near = [(i, j - 1), (i - 1, j), (i, j), (i + 1, j), (i, j + 1)];
        columns.extend(near.into_iter().filter_map(|(i, j)| at(i, j)));
        start.push(columns.len());
    }
    Arc::new(BlockPattern { rows: places.len(), block, start, columns, places, alone: Vec::new() })
}

/// Nodes everywhere but in two holes (one of them at the edge).
pub fn holes(nx: u32, ny: u32) -> impl Fn(u32, u32) -> bool {
    move |i, j| {
        let inner = i > nx / 3 && i < nx / 2 && j > ny / 4 && j < ny / 2;
        let edge = i > 2 * nx / 3 && j < ny / 5;
        !(nx > 4 && ny > 4 && (inner || edge))
    }
}

/// The same pattern with rows that have their diagonal alone: all of some nodes, the later
/// unknowns of others.
pub fn with_alone(pattern: &BlockPattern) -> Arc<BlockPattern> {
    let b = pattern.block;
    let live = |&(i, j): &(u32, u32)| match (i + 2 * j) % 7 {
        0 => 0,
        1 | 2 => b - 1,
        _ => b,
    };
    let alone = pattern.places.iter().flat_map(|place| (0..b).map(move |u| u >= live(place)));
    Arc::new(BlockPattern { alone: alone.collect(), ..pattern.clone() })
}

/// Clear what the pattern promises to be zero.
pub fn keep_promise(a: &mut BlockMatrix) {
    let (p, b) = (a.pattern.clone(), a.pattern.block);
    for r in 0..p.rows {
        for k in p.start[r]..p.start[r + 1] {
            for e in (0..b * b).filter(|e| p.is_alone(r * b + e / b)) {
                if p.columns[k] as usize * b + e % b != r * b + e / b {
                    a.values[k * b * b + e] = 0.0;
                }
            }
        }
    }
}

/// Random entries; `weight` is added to the diagonal.
pub fn random(pattern: &Arc<BlockPattern>, seed: u64, weight: f64) -> BlockMatrix {
    let mut random = Random(seed);
    let mut m = BlockMatrix::new(pattern.clone());
    m.values.iter_mut().for_each(|v| *v = random.unit());
    for r in 0..pattern.rows {
        for i in 0..pattern.block {
            *diagonal(&mut m, r, i) += weight;
        }
    }
    m
}

/// Diagonal entry i of node r.
pub fn diagonal(m: &mut BlockMatrix, r: usize, i: usize) -> &mut f64 {
    let p = m.pattern.clone();
    let k = (p.start[r]..p.start[r + 1]).find(|&k| p.columns[k] as usize == r).unwrap();
    &mut m.values[k * p.block * p.block + i * p.block + i]
}

pub fn vector(n: usize, seed: u64) -> Vec<f64> {
    let mut random = Random(seed);
    (0..n).map(|_| random.unit()).collect()
}

/// Largest difference relative to the largest value.
pub fn difference(a: &[f64], b: &[f64]) -> f64 {
    let size = b.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    a.iter().zip(b).fold(0.0f64, |m, (a, b)| m.max((a - b).abs())) / size
}

/// B(x) = x/(eˣ − 1) and its derivative.
fn bernoulli(x: f64) -> (f64, f64) {
    if x.abs() < 1e-3 {
        return (1.0 - x / 2.0 + x * x / 12.0, -0.5 + x / 6.0);
    }
    let e = x.exp_m1();
    (x / e, (e - x * (e + 1.0)) / (e * e))
}

/// Newton Jacobian of a p-n-p-n cross-section: unknowns (ψ, n, p), densities in cm⁻³, graded
/// mesh, ohmic terminals at top and bottom, high injection of `level` cm⁻³.
pub fn drift_diffusion(nx: u32, ny: u32, level: f64) -> BlockMatrix {
    let pattern = grid(nx, ny, 3, holes(nx, ny));
    let lines = |n: u32, length: f64| -> Vec<f64> {
        // Fine near the quarter points, growing away from them.
        let density = |t: f64| {
            let near = [0.25f64, 0.5, 0.75].iter().map(|c| (t - c).abs()).fold(1.0, f64::min);
            1.0 / (0.01 + near)
        };
        let mut x = vec![0.0];
        let mut last = 0.0;
        for k in 1..n {
            last += 1.0 / density(f64::from(k) / f64::from(n));
            x.push(last);
        }
        x.iter().map(|v| v / last * length).collect()
    };
    let (x, y) = (lines(nx, 24e-4), lines(ny, 10e-4));
    let (vt, ni, q_eps) = (0.0259, 1e10_f64, 1.6e-19 / (11.7 * 8.854e-14));
    let doping = |i: u32, j: u32| {
        let t = f64::from(i) / f64::from(nx);
        let s = f64::from(j) / f64::from(ny);
        let base = if t < 0.5 { -1e16 } else { 1e17 };
        let island = if s < 0.12 && (t - 0.25).abs() < 0.08 {
            1e20
        } else if s < 0.12 && (t - 0.75).abs() < 0.08 {
            -1e20
        } else {
            0.0
        };
        base + island
    };
    let state: Vec<(f64, f64, f64)> = pattern
        .places
        .iter()
        .map(|&(i, j)| {
            let d = doping(i, j);
            let half = 0.5 * d;
            let root = (half * half + ni * ni).sqrt();
            let majority = if half > 0.0 { half + root } else { root - half };
            let minority = ni * ni / majority;
            let (n, p) = if d > 0.0 { (majority, minority) } else { (minority, majority) };
            let wave = 0.02 * (f64::from(i) * 0.37).sin() * (f64::from(j) * 0.23).cos();
            let psi = vt * if d > 0.0 { (n / ni).ln() } else { -(p / ni).ln() } + wave;
            (psi, n + level, p + level)
        })
        .collect();
    let mut m = BlockMatrix::new(pattern.clone());
    for r in 0..pattern.rows {
        let (i, j) = pattern.places[r];
        let (iu, ju) = (i as usize, j as usize);
        let span = |x: &[f64], k: usize| {
            let left = if k > 0 { x[k] - x[k - 1] } else { 0.0 };
            let right = if k + 1 < x.len() { x[k + 1] - x[k] } else { 0.0 };
            0.5 * (left + right)
        };
        let volume = span(&x, iu) * span(&y, ju);
        let (psi, n, p) = state[r];
        let own = (pattern.start[r]..pattern.start[r + 1])
            .find(|&k| pattern.columns[k] as usize == r)
            .unwrap();
        let terminal = (j == 0 && (i % 40) > 8 && (i % 40) < 24) || j + 1 == ny;
        if terminal {
            for c in 0..3 {
                m.values[own * 9 + c * 4] = 1.0;
            }
            continue;
        }
        let mut diagonal = [0.0; 9];
        for k in pattern.start[r]..pattern.start[r + 1] {
            let c = pattern.columns[k] as usize;
            if c == r {
                continue;
            }
            let (ci, cj) = pattern.places[c];
            let (h, w) = if cj == j {
                ((x[ci as usize] - x[iu]).abs(), span(&y, ju))
            } else {
                ((y[cj as usize] - y[ju]).abs(), span(&x, iu))
            };
            let g = w / h;
            let (psi_c, n_c, p_c) = state[c];
            let v = &mut m.values[k * 9..(k + 1) * 9];
            v[0] = -g;
            diagonal[0] += g;
            let u = (psi_c - psi) / vt;
            let ((bp, dbp), (bm, dbm)) = (bernoulli(u), bernoulli(-u));
            let (dn, dp) = (36.0 * g, 12.0 * g);
            // Electron flux out of r: D g (n B(−u) − n_c B(u)) with the sign of holes reversed.
            v[3] = dn * (-n * dbm - n_c * dbp) / vt;
            v[4] = -dn * bp;
            diagonal[3] -= v[3];
            diagonal[4] += dn * bm;
            v[6] = dp * (p * dbp + p_c * dbm) / vt;
            v[8] = -dp * bm;
            diagonal[6] -= v[6];
            diagonal[8] += dp * bp;
        }
        diagonal[1] += q_eps * volume;
        diagonal[2] -= q_eps * volume;
        // Shockley-Read-Hall with 1 µs and Auger.
        let tau = 1e-6;
        let s = tau * (n + p + 2.0 * ni);
        let np = n * p - ni * ni;
        let (c_n, c_p) = (2.8e-31, 9.9e-32);
        let dn = p / s - np * tau / (s * s) + c_n * (2.0 * n * p - ni * ni) + c_p * p * p;
        let dp = n / s - np * tau / (s * s) + c_p * (2.0 * n * p - ni * ni) + c_n * n * n;
        diagonal[4] += volume * dn;
        diagonal[5] += volume * dp;
        diagonal[7] += volume * dn;
        diagonal[8] += volume * dp;
        for (v, d) in m.values[own * 9..].iter_mut().zip(diagonal) {
            *v = d;
        }
    }
    m
}
