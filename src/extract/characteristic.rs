//! A junction's current over its voltage: ideal, or as it was measured.

/// I(V), growing.
#[derive(Debug, Clone, PartialEq)]
pub enum Characteristic {
    /// I_s·exp(V/V_T).
    Exponential { saturation: f64, thermal: f64 },
    /// Through measured points: the monotone piecewise cubic of F. N. Fritsch and R. E.
    /// Carlson (SIAM J. Numer. Anal. 17, 238 (1980); slopes by their harmonic mean, from
    /// memory) in ln I over V, straight beyond both ends. Slopes are of ln I [1/V].
    Table { voltage: Vec<f64>, ln_current: Vec<f64>, slope: Vec<f64>, beyond: f64 },
    /// No current.
    None,
}

/// Beyond this ln I [A/µm] nothing is physical, only finite.
const MOST: f64 = 60.0;

impl Characteristic {
    /// From points \[V\], \[A/µm\]; those that do not grow in both are left out. `None` with
    /// fewer than two left.
    pub fn through(points: &[[f64; 2]]) -> Option<Characteristic> {
        Characteristic::beyond(points, None)
    }

    /// The same, going on after the last point with a given slope of ln I [1/V].
    pub fn beyond(points: &[[f64; 2]], last_slope: Option<f64>) -> Option<Characteristic> {
        let (mut voltage, mut ln_current): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
        for &[v, i] in points.iter().filter(|p| p[0].is_finite() && p[1] > 0.0) {
            let grows = voltage.last().is_none_or(|l| v > l + 1e-6)
                && ln_current.last().is_none_or(|l| i.ln() > *l);
            if grows {
                voltage.push(v);
                ln_current.push(i.ln());
            }
        }
        if voltage.len() < 2 {
            return None;
        }
        let secant: Vec<f64> = voltage
            .windows(2)
            .zip(ln_current.windows(2))
            .map(|(v, l)| (l[1] - l[0]) / (v[1] - v[0]))
            .collect();
        let (first, last) = (*secant.first()?, *secant.last()?);
        let mut slope = vec![first];
        slope.extend(secant.windows(2).map(|s| 2.0 * s[0] * s[1] / (s[0] + s[1])));
        slope.push(last);
        let beyond = last_slope.unwrap_or(last);
        Some(Characteristic::Table { voltage, ln_current, slope, beyond })
    }

    /// Current at a voltage [A/µm].
    pub fn at(&self, v: f64) -> f64 {
        match self {
            Characteristic::None => 0.0,
            Characteristic::Exponential { saturation, thermal } => {
                (saturation.ln() + v / thermal).min(MOST).exp()
            }
            Characteristic::Table { voltage, ln_current, slope, beyond } => {
                let k = voltage.partition_point(|x| *x <= v);
                let of = |k: usize| Some([*voltage.get(k)?, *ln_current.get(k)?, *slope.get(k)?]);
                let ends = (k.checked_sub(1).and_then(of), of(k));
                let ln = match ends {
                    (Some(a), Some(b)) => hermite(a, b, v),
                    (None, Some(a)) => a[1] + a[2] * (v - a[0]),
                    (Some(a), None) => a[1] + beyond * (v - a[0]),
                    (None, None) => return 0.0,
                };
                ln.min(MOST).exp()
            }
        }
    }

    /// Largest measured current [A/µm]; beyond it the curve is extrapolated.
    pub fn measured_to(&self) -> f64 {
        match self {
            Characteristic::Table { ln_current, .. } => ln_current.last().map_or(0.0, |l| l.exp()),
            _ => f64::INFINITY,
        }
    }
}

/// Cubic through two points (x, y, slope).
fn hermite(a: [f64; 3], b: [f64; 3], x: f64) -> f64 {
    let h = b[0] - a[0];
    let t = (x - a[0]) / h;
    let (t2, t3) = (t * t, t * t * t);
    a[1] * (2.0 * t3 - 3.0 * t2 + 1.0)
        + h * a[2] * (t3 - 2.0 * t2 + t)
        + b[1] * (3.0 * t2 - 2.0 * t3)
        + h * b[2] * (t3 - t2)
}

#[cfg(test)]
mod tests {
    use super::Characteristic;

    /// An exponential comes back from a few of its points, between and beyond them.
    #[test]
    fn a_table_of_an_exponential_is_one() {
        let ideal = Characteristic::Exponential { saturation: 1e-15, thermal: 0.03 };
        let points: Vec<[f64; 2]> =
            [0.3, 0.42, 0.5, 0.71].iter().map(|&v| [v, ideal.at(v)]).collect();
        let table = Characteristic::through(&points).unwrap();
        for v in [0.1, 0.3, 0.36, 0.5, 0.6, 0.9] {
            assert!((table.at(v) / ideal.at(v) - 1.0).abs() < 1e-12, "{v}");
        }
    }

    #[test]
    fn a_bent_table_stays_monotone() {
        let points = [[0.3, 1e-9], [0.4, 1e-7], [0.41, 1e-7], [0.5, 2e-6], [0.8, 3e-6]];
        let table = Characteristic::through(&points).unwrap();
        let at: Vec<f64> = (0..200).map(|k| table.at(0.2 + 0.004 * f64::from(k))).collect();
        assert!(at.windows(2).all(|w| w[1] > w[0]));
        assert!(Characteristic::through(&points[..1]).is_none());
    }
}
