//! The ionization integral on a given field, with the library's coefficients only.

use holdpoint::silicon::{AvalancheLaw, Carrier};

/// Multiplication in a junction whose field points to +x, so that holes run to +x and
/// electrons to −x.
#[derive(Debug, Clone)]
pub struct Multiplication {
    /// Of holes entering at the first interval.
    pub holes: f64,
    /// Of electrons entering at the last interval.
    pub electrons: f64,
    /// Of pairs made in the middle of each interval.
    pub pairs: Vec<f64>,
    /// ∫α_n exp(−∫(α_n − α_p)) dx; breakdown at 1.
    pub integral: f64,
}

/// `temperature` [K]; intervals (length [cm], field [V/cm]) in order of x. From dJ_p/dx = α_p J_p + α_n J_n
/// with J_n + J_p constant: McKay, Phys. Rev. 94, 877 (1954), for unequal coefficients.
pub fn multiplication(
    law: &AvalancheLaw,
    temperature: f64,
    intervals: &[(f64, f64)],
) -> Multiplication {
    let alpha = |field: f64| {
        [Carrier::Electron, Carrier::Hole].map(|c| law.at(c, field.max(0.0), temperature).value)
    };
    // phi(x) = ∫ from the left of (α_p − α_n).
    let step = |h: f64, e: f64| h * (alpha(e)[1] - alpha(e)[0]);
    let end: f64 = intervals.iter().map(|&(h, e)| step(h, e)).sum();
    let (mut phi, mut integral, mut pairs) = (0.0, 0.0, Vec::new());
    for &(h, e) in intervals {
        let d = step(h, e);
        // α_n e^{end − φ} over an interval of constant coefficients.
        let mean = if d.abs() < 1e-12 { 1.0 } else { -(-d).exp_m1() / d };
        integral += h * alpha(e)[0] * (end - phi).exp() * mean;
        pairs.push((end - phi - 0.5 * d).exp());
        phi += d;
    }
    let over = 1.0 / (1.0 - integral);
    Multiplication {
        holes: end.exp() * over,
        electrons: over,
        pairs: pairs.iter().map(|p| p * over).collect(),
        integral,
    }
}
