//! Mobility laws at the ambient temperature with everything evaluated once that the
//! temperature decides, free of branches: a loop over them becomes vector instructions.
//! The formulas are those of [`super::MobilityLaw`] and [`super::SaturationLaw`], which
//! serve every temperature; `tests/lanes.rs` holds the two together.

use super::lanes::{exp, ln};

/// Klaassen's mobility of one carrier.
#[derive(Debug, Clone, Copy)]
pub struct AmbientKlaassen {
    pub(super) lattice: f64,
    pub(super) impurity: f64,
    pub(super) carriers: f64,
    pub(super) alpha: f64,
    pub(super) ln_n_ref: f64,
    /// Of 1/P: factors of N_sc^(2/3) and of n + p, with (T/300)² in both.
    pub(super) cw: f64,
    pub(super) bh: f64,
    /// s_1, s_2, s_3, s_5, s_6 of G.
    pub(super) s: [f64; 5],
    pub(super) attraction: f64,
    pub(super) ln_repulsion: f64,
    /// ln P at the minimum of G, where G stays below; −∞ if it has none.
    pub(super) ln_least: f64,
    /// F = (r p + a)/(p + b) with p = P^power.
    pub(super) r: f64,
    pub(super) a: f64,
    pub(super) b: f64,
    pub(super) power: f64,
}

impl AmbientKlaassen {
    /// Mobility and its derivatives by the other carrier's density through N_sc and
    /// scattering, and by n + p through screening; `attracting`, `repelling` are densities
    /// of clustered ions, `others` that of the other carrier, `both` n + p [cm⁻³].
    #[inline(always)]
    pub fn at(&self, attracting: f64, repelling: f64, others: f64, both: f64) -> [f64; 3] {
        let [s_1, s_2, s_3, s_5, s_6] = self.s;
        let n_sc = others + (attracting + repelling + 1.0);
        let ln_n_sc = ln(n_sc);
        let cw = self.cw * exp((2.0 / 3.0) * ln_n_sc);
        let screen = cw + self.bh * both;
        // P = 1/screen.
        let ln_p = -ln(screen);
        let by_screen = -1.0 / screen;
        // d ln P.
        let (ln_p_others, ln_p_both) = (by_screen * cw * (2.0 / 3.0) / n_sc, by_screen * self.bh);
        let above = ln_p > self.ln_least;
        let ln_pg = if above { ln_p } else { self.ln_least };
        let x = exp(ln_pg) * self.attraction;
        let first = s_1 * exp(-s_3 * ln(s_2 + x));
        let second = s_5 * exp(-s_6 * (ln_pg + self.ln_repulsion));
        let g = 1.0 - first + second;
        let slope = s_3 * first * x / (s_2 + x) - s_6 * second;
        let g_by_ln_p = if above { slope } else { 0.0 };
        let p = exp(self.power * ln_p);
        let over = 1.0 / (self.r * p + self.a);
        // 1/F and its derivative by ln P.
        let inverse = (p + self.b) * over;
        let inverse_by_ln_p = self.power * p * (self.a - self.r * self.b) * over * over;
        let n_eff = g * repelling + others * inverse + (attracting + 1.0);
        let by_ln_p = g_by_ln_p * repelling + others * inverse_by_ln_p;
        let ratio = self.impurity * exp(self.alpha * (self.ln_n_ref - ln_n_sc));
        let per = 1.0 / n_eff;
        let scattered = (ratio * n_sc + self.carriers * both) * per;
        let by_others =
            (ratio * (1.0 - self.alpha) - scattered * (by_ln_p * ln_p_others + inverse)) * per;
        let by_both = (self.carriers - scattered * by_ln_p * ln_p_both) * per;
        let sum = 1.0 / (self.lattice + scattered);
        let share = self.lattice * sum;
        [share * scattered, share * share * by_others, share * share * by_both]
    }
}

/// Velocity saturation of one carrier.
#[derive(Debug, Clone, Copy)]
pub struct AmbientSaturation {
    pub(super) per_velocity: f64,
    pub(super) beta: f64,
    pub(super) per_beta: f64,
}

impl AmbientSaturation {
    /// µ, ∂µ/∂µ₀ and F ∂µ/∂F at µ₀ > 0 [cm²/(V·s)] and a field F ≥ 0 [V/cm].
    #[inline(always)]
    pub fn at(&self, mu_0: f64, field: f64) -> [f64; 3] {
        let power = exp(self.beta * ln(mu_0 * field * self.per_velocity));
        let whole = 1.0 + power;
        let factor = exp(-self.per_beta * ln(whole));
        let value = mu_0 * factor;
        let free = 1.0 / whole;
        [value, factor * free, -value * power * free]
    }
}
