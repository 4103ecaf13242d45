//! The device system bordered by its terminals: block elimination with the device's
//! factors, refined on the whole, so that it stays accurate where the device alone is
//! nearly singular (at a fold).

use nalgebra::{DMatrix, DVector};

use crate::linear::{BlockMatrix, DirectSolver, LinearError};

/// [A B; C D] with m border unknowns.
#[derive(Debug, Clone, Default)]
pub struct Border {
    /// B: m columns, each sparse (row, value).
    pub columns: Vec<Vec<(u32, f64)>>,
    /// C: m rows, each dense, or empty if zero.
    pub rows: Vec<Vec<f64>>,
    /// D, m×m, row by row.
    pub corner: Vec<f64>,
}

/// Factors of a bordered system, ready for right-hand sides.
pub struct BorderedFactors {
    /// A⁻¹B, one column after the other.
    w: Vec<f64>,
    schur: nalgebra::linalg::FullPivLU<f64, nalgebra::Dyn, nalgebra::Dyn>,
    row_scale: Vec<f64>,
}

/// Solution of a bordered system.
pub struct BorderedSolution {
    pub device: Vec<f64>,
    pub border: Vec<f64>,
}

/// Rounds of refinement, and the relative correction that ends them.
const ROUNDS: usize = 6;
const SMALL: f64 = 1e-7;

/// What a solution leaves of the right-hand sides.
fn remainder(
    matrix: &BlockMatrix,
    border: &Border,
    s: &BorderedSolution,
    f: &[f64],
    g: &[f64],
) -> (Vec<f64>, Vec<f64>) {
    let m = border.len();
    let mut rf = vec![0.0; f.len()];
    matrix.multiply(&s.device, &mut rf);
    for (r, fi) in rf.iter_mut().zip(f) {
        *r = fi - *r;
    }
    for (k, column) in border.columns.iter().enumerate() {
        for &(i, v) in column {
            rf[i as usize] -= v * s.border[k];
        }
    }
    let rg = (0..m)
        .map(|r| {
            let corner: f64 = (0..m).map(|c| border.corner[r * m + c] * s.border[c]).sum();
            g[r] - dot(&border.rows[r], &s.device) - corner
        })
        .collect();
    (rf, rg)
}

/// Largest entry of a solution.
fn largest(s: &BorderedSolution) -> f64 {
    s.device.iter().chain(&s.border).fold(0.0, |m, v| m.max(v.abs()))
}

fn dot(row: &[f64], x: &[f64]) -> f64 {
    row.iter().zip(x).map(|(v, x)| v * x).sum()
}

impl Border {
    /// Number of border unknowns.
    pub fn len(&self) -> usize {
        self.columns.len()
    }

    /// No border at all.
    pub fn is_empty(&self) -> bool {
        self.columns.is_empty()
    }
}

impl BorderedFactors {
    /// Eliminate the border, given A factored in `solver`.
    pub fn new(
        solver: &mut DirectSolver,
        matrix: &BlockMatrix,
        border: &Border,
    ) -> Result<BorderedFactors, LinearError> {
        let (m, n) = (border.len(), matrix.pattern.rows * matrix.pattern.block);
        let mut w = vec![0.0; m * n];
        for (k, column) in border.columns.iter().enumerate() {
            for &(i, v) in column {
                w[k * n + i as usize] += v;
            }
        }
        solver.solve(matrix, &mut w, m)?;
        let mut s = DMatrix::zeros(m, m);
        let mut row_scale = vec![1.0; m];
        for r in 0..m {
            for c in 0..m {
                s[(r, c)] = border.corner[r * m + c] - dot(&border.rows[r], &w[c * n..(c + 1) * n]);
            }
            let largest = (0..m).map(|c| s[(r, c)].abs()).fold(0.0, f64::max);
            if largest > 0.0 {
                row_scale[r] = 1.0 / largest;
            }
            for c in 0..m {
                s[(r, c)] *= row_scale[r];
            }
        }
        Ok(BorderedFactors { w, schur: s.full_piv_lu(), row_scale })
    }

    /// y = S⁻¹(g − C A⁻¹f), x = A⁻¹f − W y, given A⁻¹f.
    fn finish(&self, border: &Border, mut x: Vec<f64>, g: &[f64]) -> Option<BorderedSolution> {
        let (m, n) = (border.len(), x.len());
        let rhs = DVector::from_fn(m, |r, _| self.row_scale[r] * (g[r] - dot(&border.rows[r], &x)));
        let y = self.schur.solve(&rhs)?;
        for (k, &yk) in y.iter().enumerate() {
            if yk != 0.0 {
                for (xi, wi) in x.iter_mut().zip(&self.w[k * n..(k + 1) * n]) {
                    *xi -= yk * wi;
                }
            }
        }
        Some(BorderedSolution { device: x, border: y.iter().copied().collect() })
    }

    /// Solve, refined on the whole bordered system: once, and again while the corrections
    /// are not small. Beside a fold the device alone is nearly singular, and with heat its
    /// factors have fewer digits to spare.
    pub fn solve(
        &self,
        solver: &mut DirectSolver,
        matrix: &BlockMatrix,
        border: &Border,
        f: &[f64],
        g: &[f64],
    ) -> Result<BorderedSolution, LinearError> {
        let singular = LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 };
        let mut x = f.to_vec();
        solver.solve(matrix, &mut x, 1)?;
        let mut s = self.finish(border, x, g).ok_or(singular.clone())?;
        let mut before = f64::INFINITY;
        for _ in 0..ROUNDS {
            let (mut rf, rg) = remainder(matrix, border, &s, f, g);
            solver.solve(matrix, &mut rf, 1)?;
            let d = self.finish(border, rf, &rg).ok_or(singular.clone())?;
            let size = largest(&d) / largest(&s).max(f64::MIN_POSITIVE);
            if size > 0.5 * before {
                break;
            }
            for (x, dx) in s.device.iter_mut().zip(&d.device) {
                *x += dx;
            }
            for (y, dy) in s.border.iter_mut().zip(&d.border) {
                *y += dy;
            }
            before = size;
            if size < SMALL {
                break;
            }
        }
        if s.device.iter().chain(&s.border).any(|v| !v.is_finite()) {
            return Err(singular);
        }
        Ok(s)
    }

    /// Solution for a right-hand side that is zero but for border row `row`, where it is 1.
    pub fn tangent(&self, border: &Border, n: usize, row: usize) -> Option<BorderedSolution> {
        let mut g = vec![0.0; border.len()];
        *g.get_mut(row)? = 1.0;
        self.finish(border, vec![0.0; n], &g)
    }
}
