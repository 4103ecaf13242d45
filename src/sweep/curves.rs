//! Two curves on a common axis of current.

use crate::trace::Curve;

/// Current [A/µm] below which asinh(I/I₀) is linear: far below any leakage of interest.
const I_0: f64 = 1e-16;
/// Points of the common axis.
const POINTS: usize = 400;

/// How far two curves lie apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// Largest difference of voltage, second minus first [V], and where [A/µm].
    pub largest: f64,
    pub at: f64,
    /// Root of the mean square over the common axis [V].
    pub mean: f64,
    /// Largest |V| of the first on the common axis [V].
    pub scale: f64,
    /// The common axis [A/µm].
    pub from: f64,
    pub to: f64,
    /// A curve that turns back in current is compared up to there.
    pub cut: bool,
}

/// V over asinh(I/I₀), while the current grows in magnitude.
fn rising(c: &Curve) -> (Vec<f64>, Vec<f64>, bool) {
    let sign = if c.current.iter().fold(0.0f64, |m, i| if i.abs() > m.abs() { *i } else { m }) < 0.0
    {
        -1.0
    } else {
        1.0
    };
    let (mut x, mut v) = (Vec::new(), Vec::new());
    let mut cut = false;
    for (i, u) in c.current.iter().zip(&c.voltage) {
        let here = (sign * i / I_0).asinh();
        match x.last() {
            Some(last) if here <= *last => {
                // Standing still at the start (blocking, rounding) is no turn.
                if here < last - 0.1 {
                    cut = true;
                    break;
                }
            }
            _ => {
                x.push(here);
                v.push(*u);
            }
        }
    }
    (x, v, cut)
}

fn at(x: &[f64], v: &[f64], here: f64) -> Option<f64> {
    let k = x.partition_point(|a| *a < here);
    let (hi, lo) = (k.min(x.len().checked_sub(1)?), k.saturating_sub(1));
    let (x0, x1, v0, v1) = (x.get(lo)?, x.get(hi)?, v.get(lo)?, v.get(hi)?);
    let share = if x1 > x0 { (here - x0) / (x1 - x0) } else { 0.0 };
    Some(v0 + share.clamp(0.0, 1.0) * (v1 - v0))
}

/// First and last current of the part of a curve that is compared [A/µm].
pub fn span(c: &Curve) -> (f64, f64) {
    let (x, _, _) = rising(c);
    let current = |x: Option<&f64>| x.map_or(0.0, |x| x.sinh() * I_0);
    (current(x.first()), current(x.last()))
}

/// How far `b` lies from `a`; `None` if they have no current in common.
pub fn apart(a: &Curve, b: &Curve) -> Option<Apart> {
    let ((xa, va, cut_a), (xb, vb, cut_b)) = (rising(a), rising(b));
    let low = xa.first()?.max(*xb.first()?);
    let high = xa.last()?.min(*xb.last()?);
    if high <= low {
        return None;
    }
    let (mut largest, mut place, mut squares, mut scale) = (0.0f64, low, 0.0, 0.0f64);
    for k in 0..POINTS {
        let x = low + (high - low) * k as f64 / (POINTS - 1) as f64;
        let (u, w) = (at(&xa, &va, x)?, at(&xb, &vb, x)?);
        let off = w - u;
        if off.abs() > largest.abs() {
            (largest, place) = (off, x);
        }
        squares += off * off;
        scale = scale.max(u.abs());
    }
    let current = |x: f64| x.sinh() * I_0;
    Some(Apart {
        largest,
        at: current(place),
        mean: (squares / POINTS as f64).sqrt(),
        scale,
        from: current(low),
        to: current(high),
        cut: cut_a || cut_b,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(offset: f64, points: usize) -> Curve {
        let current: Vec<f64> =
            (0..points).map(|k| 1e-12 * 10f64.powf(9.0 * k as f64 / (points - 1) as f64)).collect();
        let voltage = current.iter().map(|i| offset + (i / 1e-12f64).ln()).collect();
        Curve { current, voltage, ..Curve::default() }
    }

    #[test]
    fn an_offset_is_found_whatever_the_points() {
        let apart = apart(&line(0.0, 91), &line(0.25, 137)).expect("common currents");
        assert!((apart.largest - 0.25).abs() < 0.01 && (apart.mean - 0.25).abs() < 0.01);
        assert!(!apart.cut);
        let same = super::apart(&line(0.0, 91), &line(0.0, 91)).expect("common currents");
        assert_eq!((same.largest, same.mean), (0.0, 0.0));
        assert_eq!(super::apart(&line(0.0, 9), &Curve::default()), None);
    }
}
