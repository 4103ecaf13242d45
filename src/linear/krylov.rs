//! Flexible GMRES with the factors as preconditioner, for the few systems whose pivots the
//! block factorization had to replace: a perturbation of low rank, which plain refinement
//! cannot undo and a Krylov space of about that rank can. Y. Saad, SIAM J. Sci. Comput. 14
//! (1993) 461.

use nalgebra::{DMatrix, DVector};

/// Largest dimension of the Krylov space.
const DIMENSION: usize = 12;

/// Correction d that makes the weighted residual |W (r − A d)| least over a Krylov space.
/// `inverse` applies the preconditioner in place, `multiply` sets its second argument to A
/// times the first. `weights`: one per equation, so that the norm measures each equation in
/// its own size. All of one length.
pub(super) fn correction(
    mut inverse: impl FnMut(&mut [f64]),
    mut multiply: impl FnMut(&[f64], &mut [f64]),
    residual: &[f64],
    weights: &[f64],
) -> Vec<f64> {
    let n = residual.len();
    let weighted = |v: &[f64]| -> Vec<f64> { v.iter().zip(weights).map(|(v, w)| v * w).collect() };
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut first = weighted(residual);
    let beta = product(&first, &first).sqrt();
    let mut d = vec![0.0; n];
    if !(beta > 0.0 && beta.is_finite()) {
        return d;
    }
    first.iter_mut().for_each(|v| *v /= beta);
    let (mut basis, mut directions) = (vec![first], Vec::<Vec<f64>>::new());
    let mut h = DMatrix::zeros(DIMENSION + 1, DIMENSION);
    for j in 0..DIMENSION {
        let unscale = |(v, w): (&f64, &f64)| if *w > 0.0 { v / w } else { 0.0 };
        let mut z: Vec<f64> = basis[j].iter().zip(weights).map(unscale).collect();
        inverse(&mut z);
        let mut az = vec![0.0; n];
        multiply(&z, &mut az);
        let mut v = weighted(&az);
        if !v.iter().all(|v| v.is_finite()) {
            break;
        }
        let mut column = Vec::with_capacity(basis.len());
        for b in &basis {
            let share = product(&v, b);
            v.iter_mut().zip(b).for_each(|(v, b)| *v -= share * b);
            column.push(share);
        }
        let length = product(&v, &v).sqrt();
        // Weights of all sizes: products may overflow.
        if !(length.is_finite() && column.iter().all(|h| h.is_finite())) {
            break;
        }
        directions.push(z);
        column.iter().enumerate().for_each(|(i, share)| h[(i, j)] = *share);
        h[(j + 1, j)] = length;
        if length <= 1e-14 {
            break;
        }
        v.iter_mut().for_each(|v| *v /= length);
        basis.push(v);
    }
    let k = directions.len();
    if k == 0 {
        return d;
    }
    let mut rhs = DVector::zeros(k + 1);
    rhs[0] = beta;
    let least = h.view((0, 0), (k + 1, k)).into_owned().svd(true, true);
    if let Ok(c) = least.solve(&rhs, 1e-14) {
        for (z, c) in directions.iter().zip(c.iter()) {
            d.iter_mut().zip(z).for_each(|(d, z)| *d += c * z);
        }
    }
    d
}
