//! The one-dimensional factors of a doping piece: values and exact integrals.
//!
//! Antiderivatives: Abramowitz and Stegun, Handbook of Mathematical Functions,
//! 7.1.1 (error function) and 7.2.1 (its first repeated integral).

use std::f64::consts::PI;

/// Lines are taken as being on an edge within this distance [µm], so that a node whose
/// coordinate was computed does not fall out of a box by a rounding error.
pub(crate) const ON_EDGE: f64 = 1e-9;

/// Below this length the antiderivatives cancel; three Gauss points are exact there.
const SHORT: f64 = 1e-3;

/// ∫ exp(−u²) du from a to b.
pub(crate) fn gauss_integral(a: f64, b: f64) -> f64 {
    if (b - a).abs() < SHORT {
        return three_point(a, b, |u| (-u * u).exp());
    }
    let difference = if a > 0.0 && b > 0.0 {
        libm::erfc(a) - libm::erfc(b)
    } else if a < 0.0 && b < 0.0 {
        libm::erfc(-b) - libm::erfc(-a)
    } else {
        libm::erf(b) - libm::erf(a)
    };
    0.5 * PI.sqrt() * difference
}

/// ∫ erfc(u) du from a to b.
pub(crate) fn erfc_integral(a: f64, b: f64) -> f64 {
    if (b - a).abs() < SHORT {
        return three_point(a, b, libm::erfc);
    }
    let first = |u: f64| (-u * u).exp() / PI.sqrt() - u * libm::erfc(u);
    first(a) - first(b)
}

/// Gauss-Legendre with three points.
fn three_point(a: f64, b: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mid, half) = (0.5 * (a + b), 0.5 * (b - a));
    let r = (0.6f64).sqrt() * half;
    half * (5.0 * f(mid - r) + 8.0 * f(mid) + 5.0 * f(mid + r)) / 9.0
}

/// Length of the overlap of [a, b] and [c, d].
fn overlap(a: f64, b: f64, c: f64, d: f64) -> f64 {
    (b.min(d) - a.max(c)).max(0.0)
}

/// 1 inside [from, to], 0 outside, as limits at `at` from both sides.
fn inside(from: f64, to: f64, at: f64) -> [f64; 2] {
    let before = at > from + ON_EDGE && at <= to + ON_EDGE;
    let after = at >= from - ON_EDGE && at < to - ON_EDGE;
    [before, after].map(|v| if v { 1.0 } else { 0.0 })
}

/// lateral(x) of a piece.
#[derive(Debug, Clone, PartialEq)]
pub enum Lateral {
    /// 1 everywhere (the wafer).
    Everywhere,
    /// 1 in [from, to], exp(−(distance/spread)²) beside it; all µm.
    Window { from: f64, to: f64, spread: f64 },
}

impl Lateral {
    /// Value at x \[µm\], 0 to 1.
    pub fn value(&self, x: f64) -> f64 {
        match *self {
            Lateral::Everywhere => 1.0,
            Lateral::Window { from, to, spread } => {
                let d = (from - x).max(x - to).max(0.0);
                if d <= ON_EDGE {
                    1.0
                } else if spread > 0.0 {
                    (-(d / spread).powi(2)).exp()
                } else {
                    0.0
                }
            }
        }
    }

    /// Limits at x \[µm\] from smaller and from larger x: they differ at an abrupt edge only.
    pub fn limits(&self, x: f64) -> [f64; 2] {
        match *self {
            Lateral::Window { from, to, spread } if spread <= 0.0 => inside(from, to, x),
            _ => [self.value(x); 2],
        }
    }

    /// ∫ lateral dx from x0 to x1 \[µm\], x0 ≤ x1.
    pub fn integral(&self, x0: f64, x1: f64) -> f64 {
        match *self {
            Lateral::Everywhere => x1 - x0,
            Lateral::Window { from, to, spread } => {
                let mut sum = overlap(x0, x1, from, to);
                if spread > 0.0 {
                    if x0 < from {
                        let (near, far) = ((from - x1).max(0.0), from - x0);
                        sum += spread * gauss_integral(near / spread, far / spread);
                    }
                    if x1 > to {
                        let (near, far) = ((x0 - to).max(0.0), x1 - to);
                        sum += spread * gauss_integral(near / spread, far / spread);
                    }
                }
                sum
            }
        }
    }

    /// Mean over [x0, x1]; the value if they are equal.
    pub fn mean(&self, x0: f64, x1: f64) -> f64 {
        if x1 > x0 { self.integral(x0, x1) / (x1 - x0) } else { self.value(x0) }
    }
}

/// vertical(y) of a piece; all depths µm.
#[derive(Debug, Clone, PartialEq)]
pub enum Vertical {
    /// 1 everywhere (a uniform wafer).
    Everywhere,
    /// exp(−((y − crest)/falloff)²)
    Gaussian { crest: f64, falloff: f64 },
    /// erfc((y − crest)/falloff) below the crest, 1 above it.
    Erfc { crest: f64, falloff: f64 },
    /// 1 in [top, bottom].
    Box { top: f64, bottom: f64 },
    /// Log-linear between depths, relative densities > 0; constant above the first
    /// depth, zero below the last.
    Table { depth: Vec<f64>, relative: Vec<f64> },
    /// `above` turning into `below` at `at`: above + (below − above)·½·erfc(−(y − at)/blur).
    Step { above: f64, below: f64, at: f64, blur: f64 },
}

impl Vertical {
    /// Value at y \[µm\], at most 1.
    pub fn value(&self, y: f64) -> f64 {
        match self {
            Vertical::Everywhere => 1.0,
            Vertical::Gaussian { crest, falloff } => (-((y - crest) / falloff).powi(2)).exp(),
            Vertical::Erfc { crest, falloff } => {
                if y <= *crest {
                    1.0
                } else {
                    libm::erfc((y - crest) / falloff)
                }
            }
            Vertical::Box { top, bottom } => {
                if y >= top - ON_EDGE && y <= bottom + ON_EDGE {
                    1.0
                } else {
                    0.0
                }
            }
            Vertical::Table { depth, relative } => table_value(depth, relative, y),
            Vertical::Step { above, below, at, blur } => {
                let part = if *blur > 0.0 {
                    0.5 * libm::erfc(-(y - at) / blur)
                } else if y > at + ON_EDGE {
                    1.0
                } else if y >= at - ON_EDGE {
                    0.5
                } else {
                    0.0
                };
                above + (below - above) * part
            }
        }
    }

    /// Limits at y \[µm\] from above and from below: they differ at an abrupt edge only.
    pub fn limits(&self, y: f64) -> [f64; 2] {
        match self {
            Vertical::Box { top, bottom } => inside(*top, *bottom, y),
            Vertical::Table { depth, relative } => match depth.last() {
                Some(&last) if (y - last).abs() <= ON_EDGE => {
                    [table_value(depth, relative, last), 0.0]
                }
                _ => [self.value(y); 2],
            },
            Vertical::Step { above, below, at, blur }
                if *blur <= 0.0 && (y - at).abs() <= ON_EDGE =>
            {
                [*above, *below]
            }
            _ => [self.value(y); 2],
        }
    }

    /// ∫ vertical dy from y0 to y1 \[µm\], y0 ≤ y1.
    pub fn integral(&self, y0: f64, y1: f64) -> f64 {
        match self {
            Vertical::Everywhere => y1 - y0,
            Vertical::Gaussian { crest, falloff } => {
                falloff * gauss_integral((y0 - crest) / falloff, (y1 - crest) / falloff)
            }
            Vertical::Erfc { crest, falloff } => {
                let flat = overlap(y0, y1, f64::NEG_INFINITY, *crest);
                if y1 <= *crest {
                    return flat;
                }
                let start = (y0 - crest).max(0.0);
                flat + falloff * erfc_integral(start / falloff, (y1 - crest) / falloff)
            }
            Vertical::Box { top, bottom } => overlap(y0, y1, *top, *bottom),
            Vertical::Table { depth, relative } => table_integral(depth, relative, y0, y1),
            Vertical::Step { above, below, at, blur } => {
                let part = if *blur > 0.0 {
                    0.5 * blur * erfc_integral((at - y1) / blur, (at - y0) / blur)
                } else {
                    overlap(y0, y1, *at, f64::INFINITY)
                };
                above * (y1 - y0) + (below - above) * part
            }
        }
    }

    /// Mean over [y0, y1]; the value if they are equal.
    pub fn mean(&self, y0: f64, y1: f64) -> f64 {
        if y1 > y0 { self.integral(y0, y1) / (y1 - y0) } else { self.value(y0) }
    }
}

fn table_value(depth: &[f64], relative: &[f64], y: f64) -> f64 {
    let n = depth.len().min(relative.len());
    let (Some(&first), Some(&last)) = (depth.first(), depth[..n].last()) else { return 0.0 };
    if y <= first {
        return relative[0];
    }
    if y > last + ON_EDGE {
        return 0.0;
    }
    let k = depth[..n].partition_point(|d| *d < y).min(n - 1);
    if k == 0 {
        return relative[0];
    }
    let t = ((y - depth[k - 1]) / (depth[k] - depth[k - 1])).min(1.0);
    relative[k - 1] * (relative[k] / relative[k - 1]).powf(t)
}

fn table_integral(depth: &[f64], relative: &[f64], y0: f64, y1: f64) -> f64 {
    let n = depth.len().min(relative.len());
    if n == 0 {
        return 0.0;
    }
    let mut sum = relative[0] * overlap(y0, y1, f64::NEG_INFINITY, depth[0]);
    for k in 1..n {
        let (a, b) = (y0.max(depth[k - 1]), y1.min(depth[k]));
        if b <= a {
            continue;
        }
        // N(y) = N(a)·exp(slope·(y − a))
        let slope = (relative[k] / relative[k - 1]).ln() / (depth[k] - depth[k - 1]);
        let at_a = relative[k - 1] * (slope * (a - depth[k - 1])).exp();
        let t = slope * (b - a);
        let factor = if t.abs() < 1e-12 { 1.0 } else { t.exp_m1() / t };
        sum += at_a * (b - a) * factor;
    }
    sum
}
