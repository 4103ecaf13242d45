//! Scaling by powers of two, residuals and the componentwise backward error.

use super::block::{BlockMatrix, LinearError};

/// Turn to the general-purpose LU above this componentwise backward error…
const ACCEPTED: f64 = 1e-8;
/// … unless the error is down at rounding in the norm.
const ACCEPTED_NORMWISE: f64 = 1e-15;

/// Scaling that brings the largest entry of each row, then of each column, to [0.5, 1).
/// Powers of two: the factors of the scaled matrix are those of the matrix, scaled, and no
/// rounding is added.
#[derive(Debug, Clone, Default)]
pub(super) struct Scaling {
    pub rows: Vec<f64>,
    pub columns: Vec<f64>,
}

impl Scaling {
    /// All ones, for `n` unknowns.
    pub fn new(n: usize) -> Scaling {
        Scaling { rows: vec![1.0; n], columns: vec![1.0; n] }
    }

    pub fn measure(&mut self, matrix: &BlockMatrix) -> Result<(), LinearError> {
        match matrix.pattern.block {
            1 => self.measure_blocks::<1>(matrix),
            3 => self.measure_blocks::<3>(matrix),
            4 => self.measure_blocks::<4>(matrix),
            _ => self.measure_blocks::<0>(matrix),
        }
    }

    fn measure_blocks<const B: usize>(&mut self, matrix: &BlockMatrix) -> Result<(), LinearError> {
        let pattern = &*matrix.pattern;
        let b = if B == 0 { pattern.block } else { B };
        self.columns.fill(0.0);
        for row in 0..pattern.rows {
            let blocks = pattern.start[row]..pattern.start[row + 1];
            let values = &matrix.values[blocks.start * b * b..blocks.end * b * b];
            // A sum of zeros times the values is NaN if one of them is not finite.
            if values.iter().map(|v| 0.0 * v).sum::<f64>() != 0.0 {
                return Err(LinearError::NotFinite { row });
            }
            let scale = &mut self.rows[row * b..(row + 1) * b];
            scale.fill(0.0);
            for block in values.chunks_exact(b * b) {
                for (i, s) in scale.iter_mut().enumerate() {
                    for j in 0..b {
                        *s = larger(*s, block[i * b + j].abs());
                    }
                }
            }
            scale.iter_mut().for_each(|s| *s = power(*s));
            for (block, &c) in values.chunks_exact(b * b).zip(&pattern.columns[blocks]) {
                let column = &mut self.columns[c as usize * b..][..b];
                for (i, s) in scale.iter().enumerate() {
                    for (j, largest) in column.iter_mut().enumerate() {
                        *largest = larger(*largest, block[i * b + j].abs() * s);
                    }
                }
            }
        }
        self.columns.iter_mut().for_each(|s| *s = power(*s));
        Ok(())
    }
}

/// The larger of two numbers, neither of which is NaN.
#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if b > a { b } else { a }
}

/// 2^−k such that x·2^−k is in [0.5, 1); 1 for zero.
pub(super) fn power(x: f64) -> f64 {
    if x == 0.0 {
        return 1.0;
    }
    let exponent = (x.to_bits() >> 52) & 0x7ff;
    f64::from_bits((2045u64.saturating_sub(exponent)).max(1) << 52)
}

/// Where the backward error is largest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Worst {
    pub backward_error: f64,
    pub unknown: usize,
    /// The same with each row's size counted at the largest scaled unknown: rows where the
    /// solution is zero but for rounding have no componentwise error to speak of.
    pub normwise: f64,
}

impl Worst {
    /// Neither small componentwise nor down at rounding in the norm.
    pub fn is_bad(&self) -> bool {
        self.backward_error > ACCEPTED && self.normwise > ACCEPTED_NORMWISE
    }
}

/// r = b − A x − Σ bₖ yₖ (or with Aᵀ; the sum over the columns of a border) and the componentwise backward error max |r|ᵢ/(|A||x| + |b|)ᵢ;
/// W. Oettli and W. Prager, Numer. Math. 6 (1964) 405. Denominators below 1e-30 of what the
/// largest scaled unknown could make of the row do not count: there x is noise of zeros.
pub(super) fn residual(
    matrix: &BlockMatrix,
    scaling: &Scaling,
    transposed: bool,
    (x, border): (&[f64], &[(&[f64], f64)]),
    b: &[f64],
    (r, size): (&mut [f64], &mut [f64]),
) -> Worst {
    r.copy_from_slice(b);
    for (s, b) in size.iter_mut().zip(b) {
        *s = b.abs();
    }
    match (matrix.pattern.block, transposed) {
        (3, false) => subtract::<3>(matrix, x, r, size),
        (4, false) => subtract::<4>(matrix, x, r, size),
        (_, false) => subtract::<0>(matrix, x, r, size),
        (_, true) => subtract_transposed(matrix, x, r, size),
    }
    for &(column, y) in border {
        for ((r, size), c) in r.iter_mut().zip(size.iter_mut()).zip(column) {
            *r -= c * y;
            *size += (c * y).abs();
        }
    }
    let (rows, columns) = if transposed {
        (&scaling.columns, &scaling.rows)
    } else {
        (&scaling.rows, &scaling.columns)
    };
    let largest = x.iter().zip(columns).map(|(x, c)| x.abs() / c).fold(0.0, f64::max);
    let mut worst = Worst { backward_error: 0.0, unknown: 0, normwise: 0.0 };
    for (i, (r, size)) in r.iter().zip(size).enumerate() {
        let whole = *size + 1e-30 * largest / rows[i];
        let e = r.abs() / whole;
        let n = r.abs() / (*size + largest / rows[i]);
        worst.normwise = if n > worst.normwise { n } else { worst.normwise };
        // 0/0 is a row of zeros that is met; any other NaN is a failure.
        let e = match e.is_nan() {
            true if *r == 0.0 => 0.0,
            true => f64::INFINITY,
            false => e,
        };
        if e > worst.backward_error {
            worst = Worst { backward_error: e, unknown: i, ..worst };
        }
    }
    worst
}

fn subtract<const B: usize>(matrix: &BlockMatrix, x: &[f64], r: &mut [f64], size: &mut [f64]) {
    let pattern = &*matrix.pattern;
    let b = if B == 0 { pattern.block } else { B };
    for row in 0..pattern.rows {
        let r = &mut r[row * b..(row + 1) * b];
        let size = &mut size[row * b..(row + 1) * b];
        for k in pattern.start[row]..pattern.start[row + 1] {
            let x = &x[pattern.columns[k] as usize * b..][..b];
            let v = &matrix.values[k * b * b..(k + 1) * b * b];
            for i in 0..b {
                for j in 0..b {
                    let p = v[i * b + j] * x[j];
                    r[i] -= p;
                    size[i] += p.abs();
                }
            }
        }
    }
}

fn subtract_transposed(matrix: &BlockMatrix, x: &[f64], r: &mut [f64], size: &mut [f64]) {
    let pattern = &*matrix.pattern;
    let b = pattern.block;
    for row in 0..pattern.rows {
        let x = &x[row * b..(row + 1) * b];
        for k in pattern.start[row]..pattern.start[row + 1] {
            let c = pattern.columns[k] as usize;
            let v = &matrix.values[k * b * b..(k + 1) * b * b];
            for i in 0..b {
                for j in 0..b {
                    let p = v[i * b + j] * x[i];
                    r[c * b + j] -= p;
                    size[c * b + j] += p.abs();
                }
            }
        }
    }
}
