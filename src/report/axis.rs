//! Axes: from values to px, and where ticks stand.

/// A range of values over a range of px.
#[derive(Debug, Clone, Copy)]
pub struct Axis {
    pub low: f64,
    pub high: f64,
    pub log: bool,
    /// Where `low` and `high` lie [px].
    pub start: f64,
    pub end: f64,
}

#[derive(Debug, Clone)]
pub struct Tick {
    pub at: f64,
    /// Empty for a tick without label.
    pub label: String,
}

impl Axis {
    /// px of a value; not finite if a logarithm does not exist.
    pub fn px(&self, value: f64) -> f64 {
        let (a, b, v) = match self.log {
            true => (self.low.log10(), self.high.log10(), value.log10()),
            false => (self.low, self.high, value),
        };
        self.start + (v - a) / (b - a) * (self.end - self.start)
    }

    /// About `count` ticks.
    pub fn ticks(&self, count: usize) -> Vec<Tick> {
        if self.log { self.decades(count) } else { self.even(count) }
    }

    fn even(&self, count: usize) -> Vec<Tick> {
        let step = nice((self.high - self.low) / count.max(1) as f64);
        if !(step > 0.0 && step.is_finite()) {
            return Vec::new();
        }
        let first = (self.low / step - 1e-9).ceil();
        (0..200)
            .map(|k| (first + f64::from(k)) * step)
            .take_while(|v| *v <= self.high + 1e-9 * step)
            .map(|v| Tick { at: v, label: fixed(v, step) })
            .collect()
    }

    fn decades(&self, count: usize) -> Vec<Tick> {
        let (a, b) = (self.low.log10(), self.high.log10());
        if !(a.is_finite() && b.is_finite() && b > a && b - a < 700.0) {
            return Vec::new();
        }
        let every = ((b - a) / count.max(1) as f64).ceil().max(1.0) as i32;
        ((a - 1e-9).ceil() as i32..=(b + 1e-9).floor() as i32)
            .map(|e| Tick {
                at: 10f64.powi(e),
                label: if e.rem_euclid(every) == 0 { power(e) } else { String::new() },
            })
            .collect()
    }
}

/// 1, 2 or 5 times a power of ten, at least `rough`.
fn nice(rough: f64) -> f64 {
    let size = 10f64.powf(rough.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .map(|f| f * size)
        .into_iter()
        .find(|s| *s >= rough * 0.999)
        .unwrap_or(rough)
}

/// A tick's value with the decimals that its step needs.
fn fixed(value: f64, step: f64) -> String {
    if value == 0.0 || value.abs() < step * 1e-9 {
        return "0".to_string();
    }
    if !(1e-4..1e6).contains(&step) {
        return format!("{value:.1e}").replace('-', "−");
    }
    let decimals = (-(step.log10() + 1e-9).floor()).clamp(0.0, 9.0) as usize;
    format!("{value:.decimals$}").replace('-', "−")
}

/// "10⁻⁶".
pub fn power(exponent: i32) -> String {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let mut text = String::from(if exponent < 0 { "10⁻" } else { "10" });
    for c in exponent.unsigned_abs().to_string().chars() {
        text.push(c.to_digit(10).map_or('?', |d| DIGITS[d as usize]));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_within() {
        let axis = Axis { low: -0.3, high: 23.9, log: false, start: 0.0, end: 100.0 };
        let labels: Vec<String> = axis.ticks(6).into_iter().map(|t| t.label).collect();
        assert_eq!(labels, ["0", "5", "10", "15", "20"]);
        let axis = Axis { low: 2e-15, high: 2e-2, log: true, ..axis };
        let ticks = axis.ticks(7);
        assert_eq!(ticks.len(), 13);
        assert_eq!(ticks[0].label, "10⁻¹⁴");
        assert!((axis.px(2e-15)).abs() < 1e-9 && (axis.px(2e-2) - 100.0).abs() < 1e-9);
        let axis = Axis { low: 1.05, high: 1.052, log: false, start: 0.0, end: 1.0 };
        assert_eq!(axis.ticks(4)[1].label, "1.0505");
    }
}
