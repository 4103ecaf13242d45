//! Fermi-Dirac integrals F_j(η) = 1/Γ(j+1) ∫₀^∞ t^j/(1 + e^{t−η}) dt for j = 1/2, −1/2, −3/2
//! (the last two are the first's derivatives), and the inverse of F_1/2.
//! Normalization of the NIST Digital Library of Mathematical Functions, 25.12.14:
//! F_j → e^η for η → −∞.
//!
//! Own approximation, relative error below 1e-13: the series in e^η below −2, Sommerfeld's
//! expansion above 72, Chebyshev series between. The Chebyshev series are made at first
//! use from the trapezoidal rule over x = ±√t, which converges exponentially because the
//! integrand's poles keep off the real axis.

use std::sync::LazyLock;

/// F_1/2, F_−1/2, F_−3/2 at one η. d/dη of each is the next.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FermiIntegrals {
    pub half: f64,
    pub minus_half: f64,
    pub minus_three_halves: f64,
}

/// Ends of the Chebyshev pieces. Singularities lie at ±iπ: pieces grow with distance.
const KNOTS: [f64; 5] = [-2.0, 2.0, 8.0, 24.0, 72.0];
/// Terms of each Chebyshev series, and of the series in e^η.
const TERMS: usize = 34;
const POWERS: usize = 24;

struct Piece {
    middle: f64,
    half_width: f64,
    /// Chebyshev coefficients of the three integrals.
    c: [[f64; TERMS]; 3],
}

struct Tables {
    pieces: [Piece; KNOTS.len() - 1],
    /// (−1)^k/(k+1)^{j+1} of F_j = e^η Σ_k … e^{kη}.
    series: [[f64; POWERS]; 3],
}

static TABLES: LazyLock<Tables> = LazyLock::new(|| Tables {
    pieces: std::array::from_fn(|k| Piece::new(KNOTS[k], KNOTS[k + 1])),
    series: [1.5, 0.5, -0.5f64].map(|power| {
        std::array::from_fn(|k| {
            let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
            sign * (k as f64 + 1.0).powf(-power)
        })
    }),
});

/// The three integrals by the trapezoidal rule: with t = x²,
/// F_1/2 = 2/√π ∫_ℝ x² f, F_−1/2 = 1/√π ∫_ℝ f, F_−3/2 = 1/√π ∫_ℝ f(1 − f), f = 1/(1 + e^{x²−η}).
fn quadrature(eta: f64) -> [f64; 3] {
    // Poles at x² = η ± iπ: their distance from the real axis sets the step.
    let modulus = eta.hypot(std::f64::consts::PI);
    let distance = (0.5 * (modulus - eta)).sqrt();
    let step = 2.0 * std::f64::consts::PI * distance / 38.0;
    let count = ((eta.max(0.0) + 42.0).sqrt() / step) as usize + 1;
    let mut sum = [0.0; 3];
    for k in (0..=count).rev() {
        let x2 = (k as f64 * step).powi(2);
        let weight = if k == 0 { 1.0 } else { 2.0 };
        let e = (x2 - eta).exp();
        let f = 1.0 / (1.0 + e);
        for (s, term) in sum.iter_mut().zip([2.0 * x2 * f, f, f * e * f]) {
            *s += weight * term;
        }
    }
    sum.map(|s| s * step / std::f64::consts::PI.sqrt())
}

impl Piece {
    fn new(from: f64, to: f64) -> Piece {
        let (middle, half_width) = (0.5 * (from + to), 0.5 * (to - from));
        let angle = |k: usize| std::f64::consts::PI * (k as f64 + 0.5) / TERMS as f64;
        let at: [[f64; 3]; TERMS] =
            std::array::from_fn(|k| quadrature(middle + half_width * angle(k).cos()));
        let c = [0, 1, 2].map(|j| {
            std::array::from_fn(|m| {
                let sum: f64 = (0..TERMS).map(|k| at[k][j] * (m as f64 * angle(k)).cos()).sum();
                sum * if m == 0 { 1.0 } else { 2.0 } / TERMS as f64
            })
        });
        Piece { middle, half_width, c }
    }

    /// Clenshaw's recurrence for all three.
    fn at(&self, eta: f64) -> [f64; 3] {
        let x = (eta - self.middle) / self.half_width;
        let (mut b, mut before) = ([0.0; 3], [0.0; 3]);
        for m in (1..TERMS).rev() {
            for j in 0..3 {
                let next = self.c[j][m] + 2.0 * x * b[j] - before[j];
                (before[j], b[j]) = (b[j], next);
            }
        }
        std::array::from_fn(|j| self.c[j][0] + x * b[j] - before[j])
    }
}

/// Σ of Sommerfeld's expansion, η > 72: F_j = η^{j+1}/Γ(j+2)·(1 + Σ_k a_k η^{−2k}) with
/// a_k = 2 (1 − 2^{1−2k}) ζ(2k) (j+1) j (j−1) … (2k factors).
fn degenerate(eta: f64) -> [f64; 3] {
    /// (1 − 2^{1−2k}) ζ(2k), k = 1 to 6.
    const ETA: [f64; 6] = [
        0.822_467_033_424_113_2,
        0.947_032_829_497_245_9,
        0.985_551_091_297_435_1,
        0.996_233_001_852_647_9,
        0.999_039_507_598_271_6,
        0.999_757_685_143_858_2,
    ];
    let root_pi = std::f64::consts::PI.sqrt();
    let of = |j: f64, gamma: f64| {
        let (mut factor, mut sum) = (1.0, 1.0);
        for (k, e) in ETA.iter().enumerate() {
            let m = 2.0 * k as f64;
            factor *= (j + 1.0 - m) * (j - m) / (eta * eta);
            sum += 2.0 * e * factor;
        }
        eta.powf(j + 1.0) / gamma * sum
    };
    [of(0.5, 0.75 * root_pi), of(-0.5, 0.5 * root_pi), of(-1.5, root_pi)]
}

impl FermiIntegrals {
    /// At reduced energy `eta` = (E_F − E_c)/kT; any finite number.
    pub fn at(eta: f64) -> FermiIntegrals {
        let [half, minus_half, minus_three_halves] = if eta < KNOTS[0] {
            let z = eta.exp();
            // Terms that still count at this z.
            let terms = if eta < -36.0 { 1 } else { (36.0 / -eta) as usize + 2 }.min(POWERS);
            TABLES
                .series
                .each_ref()
                .map(|s| z * s[..terms].iter().rev().fold(0.0, |a, c| a * z + c))
        } else {
            match TABLES.pieces.iter().zip(&KNOTS[1..]).find(|(_, end)| eta <= **end) {
                Some((piece, _)) => piece.at(eta),
                None => degenerate(eta),
            }
        };
        FermiIntegrals { half, minus_half, minus_three_halves }
    }

    /// η with F_1/2(η) = `u` > 0, and the integrals there: dη/du = 1/F_−1/2(η).
    /// Halley's method from Joyce and Dixon, Appl. Phys. Lett. 31, 354 (1977), or for
    /// u > 8 from Sommerfeld's expansion.
    pub fn inverse(u: f64) -> (f64, FermiIntegrals) {
        let root_pi = std::f64::consts::PI.sqrt();
        let mut eta = if u < 8.0 {
            let fit = 0.353_553 + u * (-4.950_09e-3 + u * (1.483_86e-4 - u * 4.425_63e-6));
            u.ln() + u * fit
        } else {
            let v = (0.75 * root_pi * u).powf(2.0 / 3.0);
            v - std::f64::consts::PI.powi(2) / (12.0 * v)
        };
        let mut f = FermiIntegrals::at(eta);
        for _ in 0..5 {
            let off = (f.half - u) / f.minus_half;
            let step = off / (1.0 - 0.5 * off * f.minus_three_halves / f.minus_half);
            if !step.is_finite() {
                break;
            }
            eta -= step;
            f = FermiIntegrals::at(eta);
            // The next step would be of the size of this one's cube.
            if step.abs() < 1e-6 {
                break;
            }
        }
        (eta, f)
    }
}
