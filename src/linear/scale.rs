//! Scaling by powers of two, residuals and the componentwise backward error.

// Small blocks by index: iterators would hide which row and column is meant.
#![allow(clippy::needless_range_loop)]

use std::ops::Range;

use super::block::{BlockMatrix, LinearError};

/// Turn to the general-purpose LU above this componentwise backward error…
const ACCEPTED: f64 = 1e-8;
/// … unless the error is down at rounding in the norm.
const ACCEPTED_NORMWISE: f64 = 1e-15;
/// Block rows below which two threads do not pay.
const WORTH_TWO: usize = 2000;

/// Scaling that brings the largest entry of each row, then of each column, to [0.5, 1).
/// Powers of two: the factors of the scaled matrix are those of the matrix, scaled, and no
/// rounding is added.
#[derive(Debug, Clone, Default)]
pub(super) struct Scaling {
    pub rows: Vec<f64>,
    pub columns: Vec<f64>,
    /// Columns as seen by the second half of the rows.
    spare: Vec<f64>,
}

impl Scaling {
    /// All ones, for `n` unknowns.
    pub fn new(n: usize) -> Scaling {
        Scaling { rows: vec![1.0; n], columns: vec![1.0; n], spare: vec![1.0; n] }
    }

    pub fn measure(&mut self, matrix: &BlockMatrix) -> Result<(), LinearError> {
        let n = matrix.pattern.rows;
        let half = if n > WORTH_TWO { n / 2 } else { n };
        let (upper, lower) = self.rows.split_at_mut(half * matrix.pattern.block);
        let (columns, spare) = (&mut self.columns, &mut self.spare);
        let (one, two) = rayon::join(
            || measure_rows(matrix, 0..half, upper, columns),
            || measure_rows(matrix, half..n, lower, spare),
        );
        one.and(two)?;
        for (c, s) in self.columns.iter_mut().zip(&self.spare) {
            *c = power(larger(*c, *s));
        }
        Ok(())
    }
}

fn measure_rows(
    matrix: &BlockMatrix,
    range: Range<usize>,
    rows: &mut [f64],
    columns: &mut [f64],
) -> Result<(), LinearError> {
    match matrix.pattern.block {
        1 => measure_blocks::<1, 1>(matrix, range, rows, columns),
        3 => measure_blocks::<3, 9>(matrix, range, rows, columns),
        4 => measure_blocks::<4, 16>(matrix, range, rows, columns),
        _ => measure_any(matrix, range, rows, columns),
    }
}

/// Row scales, and the largest entries of the columns of the rows so scaled. `BB` is B·B.
fn measure_blocks<const B: usize, const BB: usize>(
    matrix: &BlockMatrix,
    range: Range<usize>,
    rows: &mut [f64],
    columns: &mut [f64],
) -> Result<(), LinearError> {
    let pattern = &*matrix.pattern;
    columns.fill(0.0);
    for (row, scale) in range.zip(rows.as_chunks_mut::<B>().0) {
        let blocks = pattern.start[row]..pattern.start[row + 1];
        let values = matrix.values[blocks.start * BB..blocks.end * BB].as_chunks::<BB>().0;
        let (mut sizes, mut bad) = ([0.0; BB], [0.0; BB]);
        for v in values {
            for e in 0..BB {
                sizes[e] = larger(sizes[e], v[e].abs());
                // NaN if the value is not finite.
                bad[e] += 0.0 * v[e];
            }
        }
        if bad.iter().any(|b| *b != 0.0) {
            return Err(LinearError::NotFinite { row });
        }
        for i in 0..B {
            scale[i] = power(sizes[i * B..(i + 1) * B].iter().copied().fold(0.0, larger));
        }
        for (v, &c) in values.iter().zip(&pattern.columns[blocks]) {
            let column = &mut columns[c as usize * B..][..B];
            for i in 0..B {
                for j in 0..B {
                    column[j] = larger(column[j], v[i * B + j].abs() * scale[i]);
                }
            }
        }
    }
    Ok(())
}

/// The same for a block size known at run time only.
fn measure_any(
    matrix: &BlockMatrix,
    range: Range<usize>,
    rows: &mut [f64],
    columns: &mut [f64],
) -> Result<(), LinearError> {
    let pattern = &*matrix.pattern;
    let b = pattern.block;
    columns.fill(0.0);
    for (row, scale) in range.zip(rows.chunks_exact_mut(b)) {
        let blocks = pattern.start[row]..pattern.start[row + 1];
        let values = &matrix.values[blocks.start * b * b..blocks.end * b * b];
        if values.iter().any(|v| !v.is_finite()) {
            return Err(LinearError::NotFinite { row });
        }
        scale.fill(0.0);
        let lines = || values.chunks_exact(b * b).flat_map(|v| v.chunks_exact(b).enumerate());
        for (i, line) in lines() {
            scale[i] = line.iter().map(|v| v.abs()).fold(scale[i], larger);
        }
        scale.iter_mut().for_each(|s| *s = power(*s));
        for (block, &c) in values.chunks_exact(b * b).zip(&pattern.columns[blocks]) {
            let column = &mut columns[c as usize * b..][..b];
            for (line, s) in block.chunks_exact(b).zip(scale.iter()) {
                for (largest, v) in column.iter_mut().zip(line) {
                    *largest = larger(*largest, v.abs() * s);
                }
            }
        }
    }
    Ok(())
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
    /// The worse of this and of that of later rows.
    fn or(self, later: Worst) -> Worst {
        let normwise = if later.normwise > self.normwise { later.normwise } else { self.normwise };
        let worse = if later.backward_error > self.backward_error { later } else { self };
        Worst { normwise, ..worse }
    }

    /// Neither small componentwise nor down at rounding in the norm.
    pub fn is_bad(&self) -> bool {
        self.backward_error > ACCEPTED
            && (self.normwise > ACCEPTED_NORMWISE || !self.backward_error.is_finite())
    }
}

/// Entries (row, value).
pub(super) type SparseColumn<'a> = &'a [(u32, f64)];

/// r = b − A x − Σ bₖ yₖ (or with Aᵀ; the sum over the columns of a border) and the componentwise backward error max |r|ᵢ/(|A||x| + |b|)ᵢ;
/// W. Oettli and W. Prager, Numer. Math. 6 (1964) 405. Denominators below 1e-30 of what the
/// largest scaled unknown could make of the row do not count: there x is noise of zeros.
pub(super) fn residual(
    matrix: &BlockMatrix,
    scaling: &Scaling,
    transposed: bool,
    (x, border): (&[f64], &[(SparseColumn, f64)]),
    b: &[f64],
    (r, size): (&mut [f64], &mut [f64]),
) -> Worst {
    let n = matrix.pattern.rows;
    if transposed {
        r.copy_from_slice(b);
        size.iter_mut().zip(b).for_each(|(s, b)| *s = b.abs());
        subtract_transposed(matrix, x, r, size);
    } else {
        let half = if n > WORTH_TWO { n / 2 } else { n };
        let at = half * matrix.pattern.block;
        let (r_upper, r_lower) = r.split_at_mut(at);
        let (size_upper, size_lower) = size.split_at_mut(at);
        rayon::join(
            || subtract_rows(matrix, 0..half, x, &b[..at], (r_upper, size_upper)),
            || subtract_rows(matrix, half..n, x, &b[at..], (r_lower, size_lower)),
        );
    }
    for &(column, y) in border {
        for &(i, c) in column {
            r[i as usize] -= c * y;
            size[i as usize] += (c * y).abs();
        }
    }
    let (rows, columns) = if transposed {
        (&scaling.columns, &scaling.rows)
    } else {
        (&scaling.rows, &scaling.columns)
    };
    let largest = x.iter().zip(columns).map(|(x, c)| x.abs() / c).fold(0.0, f64::max);
    let half = if n > WORTH_TWO { r.len() / 2 } else { r.len() };
    let part = |rows_of: Range<usize>| worst_of(rows_of, largest, rows, (r, size));
    let (one, two) = rayon::join(|| part(0..half), || part(half..r.len()));
    one.or(two)
}

/// Where the error is largest among `range` of the residuals `r` of rows of so much `size`.
fn worst_of(range: Range<usize>, largest: f64, rows: &[f64], (r, size): (&[f64], &[f64])) -> Worst {
    let mut worst = Worst { backward_error: 0.0, unknown: 0, normwise: 0.0 };
    for i in range {
        let (r, size) = (r[i], size[i]);
        let whole = size + 1e-30 * largest / rows[i];
        let e = r.abs() / whole;
        let n = r.abs() / (size + largest / rows[i]);
        worst.normwise = if n > worst.normwise { n } else { worst.normwise };
        // 0/0 is a row of zeros that is met; any other NaN is a failure.
        let e = match e.is_nan() {
            true if r == 0.0 => 0.0,
            true => f64::INFINITY,
            false => e,
        };
        if e > worst.backward_error {
            worst = Worst { backward_error: e, unknown: i, ..worst };
        }
    }
    worst
}

fn subtract_rows(
    matrix: &BlockMatrix,
    rows: Range<usize>,
    x: &[f64],
    b: &[f64],
    (r, size): (&mut [f64], &mut [f64]),
) {
    match matrix.pattern.block {
        1 => subtract::<1>(matrix, rows, x, b, r, size),
        3 => subtract::<3>(matrix, rows, x, b, r, size),
        4 => subtract::<4>(matrix, rows, x, b, r, size),
        _ => subtract::<0>(matrix, rows, x, b, r, size),
    }
}

/// B is the block size, 0 if it is known at run time only.
fn subtract<const B: usize>(
    matrix: &BlockMatrix,
    rows: Range<usize>,
    x: &[f64],
    b: &[f64],
    r: &mut [f64],
    size: &mut [f64],
) {
    let pattern = &*matrix.pattern;
    let width = if B == 0 { pattern.block } else { B };
    r.copy_from_slice(b);
    for (s, b) in size.iter_mut().zip(b) {
        *s = b.abs();
    }
    let lines = r.chunks_exact_mut(width).zip(size.chunks_exact_mut(width));
    for (row, (r, size)) in rows.zip(lines) {
        for k in pattern.start[row]..pattern.start[row + 1] {
            let x = &x[pattern.columns[k] as usize * width..][..width];
            let v = &matrix.values[k * width * width..][..width * width];
            for i in 0..width {
                for j in 0..width {
                    let p = v[i * width + j] * x[j];
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
