//! A curve in characters: log |I| upwards, V to the right.

use super::units::si;
use crate::trace::{Curve, Fold};

/// Rows of the drawing itself.
const ROWS: usize = 16;
/// Columns before the frame: the current's label.
const MARGIN: usize = 16;
/// Narrower than this says nothing.
pub(super) const NARROWEST: usize = 60;

/// Draws a curve in at most `width` columns; folds are numbered. `None` if there is too
/// little to draw or to draw it in.
pub(super) fn curve(curve: &Curve, folds: &[Fold], width: usize) -> Option<String> {
    if width < NARROWEST {
        return None;
    }
    let columns = width.min(100) - MARGIN - 2;
    let drawable = |(v, i): (&f64, &f64)| {
        (v.is_finite() && i.is_finite() && *i != 0.0).then(|| (*v, i.abs().log10()))
    };
    let points: Vec<(f64, f64)> =
        curve.voltage.iter().zip(&curve.current).filter_map(drawable).collect();
    if points.len() < 3 {
        return None;
    }
    let at_folds = folds.iter().filter_map(|f| drawable((&f.voltage, &f.current)));
    let all: Vec<(f64, f64)> = points.iter().copied().chain(at_folds).collect();
    let x = Range::of(all.iter().map(|p| p.0))?;
    let y = Range::of(all.iter().map(|p| p.1))?;
    let mut grid = vec![vec![' '; columns]; ROWS];
    let mut mark = |v: f64, i: f64, sign: char| {
        let row = ROWS - 1 - y.cell(i, ROWS);
        if let Some(cell) = grid.get_mut(row).and_then(|r| r.get_mut(x.cell(v, columns))) {
            *cell = sign;
        }
    };
    for pair in points.windows(2) {
        // Dots between the points as well, or a steep part would fall apart.
        if let [(v0, i0), (v1, i1)] = pair {
            for k in 0..=24 {
                let t = f64::from(k) / 24.0;
                mark(v0 + t * (v1 - v0), i0 + t * (i1 - i0), '.');
            }
        }
    }
    for (v, i) in &points {
        mark(*v, *i, 'o');
    }
    for (fold, sign) in folds.iter().zip("123456789".chars()) {
        if let Some((v, i)) = drawable((&fold.voltage, &fold.current)) {
            mark(v, i, sign);
        }
    }
    let mut text = format!("{:>MARGIN$} |I|\n", "");
    for (k, row) in grid.iter().enumerate() {
        let label = match k % 5 == 0 {
            true => si(10f64.powf(y.value(ROWS - 1 - k, ROWS)), "A/µm"),
            false => String::new(),
        };
        let line: String = row.iter().collect();
        text.push_str(&format!("{label:>w$} |{}\n", line.trim_end(), w = MARGIN - 1));
    }
    let rule = "-".repeat(columns);
    text.push_str(&format!("{:>w$} +{rule}\n", "", w = MARGIN - 1));
    let (low, high) = (si(x.low, "V"), si(x.high, "V"));
    let gap = columns.saturating_sub(high.chars().count());
    text.push_str(&format!("{:>MARGIN$}{low:<gap$}{high}\n", ""));
    if !folds.is_empty() {
        text.push_str(&format!("{:>MARGIN$}digits are the folds, as listed\n", ""));
    }
    Some(text)
}

/// The span of an axis.
struct Range {
    low: f64,
    high: f64,
}

impl Range {
    fn of(values: impl Iterator<Item = f64> + Clone) -> Option<Range> {
        let low = values.clone().fold(f64::INFINITY, f64::min);
        let high = values.fold(f64::NEG_INFINITY, f64::max);
        (high > low).then_some(Range { low, high })
    }

    fn cell(&self, value: f64, cells: usize) -> usize {
        let part = (value - self.low) / (self.high - self.low);
        (part.clamp(0.0, 1.0) * (cells - 1) as f64).round() as usize
    }

    fn value(&self, cell: usize, cells: usize) -> f64 {
        self.low + (self.high - self.low) * cell as f64 / (cells - 1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::curve;
    use crate::trace::{Curve, Fold, FoldKind, TerminalValues};

    fn s_curve() -> Curve {
        let i: Vec<f64> = (0..60).map(|k| -12.0 + k as f64 * 0.15).collect();
        Curve {
            voltage: i.iter().map(|u| 6.0 - (u + 6.0) * ((u + 6.0).powi(2) - 9.0) * -0.1).collect(),
            current: i.iter().map(|u| 10f64.powf(*u)).collect(),
            ..Curve::default()
        }
    }

    #[test]
    fn fits_its_width_and_shows_the_folds() {
        let fold = |voltage, current| Fold {
            kind: FoldKind::VoltageMaximum,
            voltage,
            current,
            at_terminals: TerminalValues::default(),
            before_point: 0,
        };
        let folds = [fold(6.5, 1e-8), fold(5.5, 1e-4)];
        for width in [60, 80, 200] {
            let text = curve(&s_curve(), &folds, width).unwrap();
            let lines: Vec<&str> = text.lines().collect();
            assert!(lines.iter().all(|l| l.chars().count() <= width), "{text}");
            assert_eq!(lines.len(), 1 + 16 + 3);
            let drawing = lines[1..17].join("");
            assert!(drawing.contains('1') && drawing.contains('2'), "{text}");
            // The current grows upwards: the first point lies in the lowest row.
            assert!(lines[16].contains('o') && lines[1].contains('o'), "{text}");
        }
    }

    #[test]
    fn nothing_to_draw_is_no_drawing() {
        assert!(curve(&Curve::default(), &[], 80).is_none());
        assert!(curve(&s_curve(), &[], 40).is_none());
        let mut flat = s_curve();
        flat.current.fill(1e-6);
        assert!(curve(&flat, &[], 80).is_none());
        let mut broken = s_curve();
        broken.current[3] = f64::NAN;
        broken.voltage[4] = f64::INFINITY;
        assert!(curve(&broken, &[], 80).is_some());
    }
}
