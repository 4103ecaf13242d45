//! A curve in Braille dots, two by four to a character: log |I| upwards, V to the right.
//! `plot.rs` draws for terminals without them.

use super::units::si;
use crate::experiment::{Figures, Outcome};
use crate::trace::{Fold, FoldKind};

/// Rows and, before the frame, columns of characters.
const ROWS: usize = 14;
const MARGIN: usize = 12;
const NARROWEST: usize = 40;
const WIDEST: usize = 96;
/// Share of a long curve's points, the smallest currents, that are left out, as in the
/// report: it begins at next to nothing.
const LEFT_OUT: f64 = 0.06;

/// Colours of the parts: stable before and after, unstable between.
const OFF: &str = "\x1b[34m";
const BETWEEN: &str = "\x1b[2m";
const ON: &str = "\x1b[33m";
const SUPPLY: &str = "\x1b[32m";
const PLAIN: &str = "\x1b[0m";

/// True if this terminal says that it shows UTF-8 (the first of LC_ALL, LC_CTYPE and LANG
/// that is set decides).
pub(super) fn shown() -> bool {
    let set = |name| std::env::var(name).ok().filter(|v: &String| !v.is_empty());
    let locale = set("LC_ALL").or_else(|| set("LC_CTYPE")).or_else(|| set("LANG"));
    locale.is_none_or(|l| l.to_lowercase().replace('-', "").contains("utf8"))
}

#[derive(Clone, Copy, Default)]
struct Cell {
    dots: u8,
    colour: &'static str,
    sign: Option<char>,
}

/// Draws an outcome's curve in at most `width` columns, folds numbered, the supply [V] as an
/// upright line. `None` if there is too little to draw or to draw it in.
pub(super) fn curve(o: &Outcome, supply: Option<f64>, width: usize) -> Option<String> {
    if width < NARROWEST {
        return None;
    }
    let columns = width.min(WIDEST) - MARGIN - 2;
    let points = drawable(o);
    if points.len() < 3 {
        return None;
    }
    let (x_low, x_high) = ends(points.iter().map(|p| p.0).chain(supply))?;
    let mut sizes: Vec<f64> = points.iter().map(|p| p.1).collect();
    sizes.sort_by(f64::total_cmp);
    let skip = if sizes.len() > 30 { (sizes.len() as f64 * LEFT_OUT) as usize } else { 0 };
    let (y_low, y_high) = ends(sizes.iter().skip(skip).copied())?;
    let dots = [2 * columns, 4 * ROWS];
    let place = |v: f64, i: f64| -> [f64; 2] {
        let u = (v - x_low) / (x_high - x_low);
        let w = (i - y_low) / (y_high - y_low);
        [u * (dots[0] - 1) as f64, (1.0 - w) * (dots[1] - 1) as f64]
    };
    let mut grid = vec![vec![Cell::default(); columns]; ROWS];
    let mut dot = |at: [f64; 2], colour: &'static str| {
        if at[0] < -0.5 || at[1] < -0.5 {
            return;
        }
        let (x, y) = (at[0].round() as usize, at[1].round() as usize);
        if let Some(cell) = grid.get_mut(y / 4).and_then(|r| r.get_mut(x / 2)) {
            // Unicode 15, block "Braille Patterns": dots 1 to 8 by column and row.
            cell.dots |= [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]][x % 2][y % 4];
            cell.colour = colour;
        }
    };
    if let Some(v) = supply {
        for y in (0..dots[1]).step_by(2) {
            dot([place(v, y_low)[0], y as f64], SUPPLY);
        }
    }
    for pair in points.windows(2) {
        if let [a, b] = pair {
            let (p, q) = (place(a.0, a.1), place(b.0, b.1));
            let steps = (q[0] - p[0]).abs().max((q[1] - p[1]).abs()).ceil().clamp(1.0, 1e4) as u32;
            for k in 0..=steps {
                let t = f64::from(k) / f64::from(steps);
                dot([p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])], b.2);
            }
        }
    }
    for (fold, sign) in o.folds.iter().zip("123456789".chars()) {
        let at = place(fold.voltage, fold.current.abs().log10());
        let (x, y) = (at[0].round().max(0.0) as usize, at[1].round().max(0.0) as usize);
        if let Some(cell) = grid.get_mut(y / 4).and_then(|r| r.get_mut(x / 2)) {
            cell.sign = Some(sign);
        }
    }
    Some(text(o, &grid, [x_low, x_high], [y_low, y_high], supply))
}

/// (V, log10 |I|, colour), folds in their places.
fn drawable(o: &Outcome) -> Vec<(f64, f64, &'static str)> {
    let mut colour = OFF;
    let mut out = Vec::new();
    let mut put = |v: f64, i: f64, colour| {
        let size = i.abs().log10();
        if v.is_finite() && size.is_finite() {
            out.push((v, size, colour));
        }
    };
    for (k, (v, i)) in o.curve.voltage.iter().zip(&o.curve.current).enumerate() {
        for fold in o.folds.iter().filter(|f| f.before_point == k) {
            put(fold.voltage, fold.current, colour);
            colour = after(o, fold).unwrap_or(colour);
        }
        put(*v, *i, colour);
    }
    out
}

/// The colour beyond a fold that changes what is stable under the drive.
fn after(o: &Outcome, fold: &Fold) -> Option<&'static str> {
    match (&o.figures, fold.kind) {
        (Figures::Snapback { .. }, FoldKind::VoltageMaximum) => Some(BETWEEN),
        (Figures::Snapback { .. }, FoldKind::VoltageMinimum) => Some(ON),
        (Figures::Injection { .. }, FoldKind::CurrentMaximum) if fold.current > 0.0 => {
            Some(BETWEEN)
        }
        (Figures::Injection { .. }, FoldKind::CurrentMinimum) if fold.current < 0.0 => {
            Some(BETWEEN)
        }
        _ => None,
    }
}

fn ends(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let (low, high) =
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    (high > low).then_some((low, high))
}

fn text(o: &Outcome, grid: &[Vec<Cell>], x: [f64; 2], y: [f64; 2], supply: Option<f64>) -> String {
    let mut out = String::new();
    for (k, row) in grid.iter().enumerate() {
        let share = 1.0 - (k as f64 + 0.5) / ROWS as f64;
        let label = match k % 4 {
            0 => si(10f64.powf(y[0] + share * (y[1] - y[0])), "A/µm"),
            _ => String::new(),
        };
        // Three digits are enough beside an axis.
        out.push_str(&format!("{:>MARGIN$} │", shorter(&label)));
        let mut colour = "";
        let end = row.iter().rposition(|c| c.dots != 0 || c.sign.is_some()).map_or(0, |e| e + 1);
        for cell in &row[..end] {
            let wanted = if cell.sign.is_some() { PLAIN } else { cell.colour };
            if wanted != colour && (cell.dots != 0 || cell.sign.is_some()) {
                out.push_str(PLAIN);
                if wanted != PLAIN {
                    out.push_str(wanted);
                }
                colour = wanted;
            }
            let braille = || char::from_u32(0x2800 + u32::from(cell.dots)).unwrap_or(' ');
            let blank = cell.dots == 0;
            out.push(cell.sign.unwrap_or_else(|| if blank { ' ' } else { braille() }));
        }
        if !colour.is_empty() {
            out.push_str(PLAIN);
        }
        out.push('\n');
    }
    let columns = grid.first().map_or(0, Vec::len);
    out.push_str(&format!("{:>MARGIN$} └{}\n", "", "─".repeat(columns)));
    let (low, high) = (si(x[0], "V"), si(x[1], "V"));
    let gap = columns.saturating_sub(high.chars().count());
    out.push_str(&format!("{:>MARGIN$}  {low:<gap$}{high}\n", ""));
    let mut notes = Vec::new();
    if !o.folds.is_empty() {
        notes.push("digits: folds".to_string());
    }
    if let Some(v) = supply {
        notes.push(format!("upright: supply {}", si(v, "V")));
    }
    if !notes.is_empty() {
        let notes = notes.join(", ");
        // In a narrow drawing they begin further left.
        let left = (columns + MARGIN + 2).saturating_sub(notes.chars().count()).min(MARGIN + 2);
        out.push_str(&format!("{:>left$}{notes}\n", ""));
    }
    out
}

/// "682.1 µA/µm" as "682 µA/µm".
fn shorter(label: &str) -> String {
    match label.split_once(' ') {
        Some((number, unit)) => match number.parse::<f64>() {
            Ok(v) if v.abs() >= 100.0 => format!("{v:.0} {unit}"),
            Ok(v) if v.abs() >= 10.0 => format!("{v:.1} {unit}"),
            Ok(v) if number.len() < 8 => format!("{v:.2} {unit}"),
            _ => label.to_string(),
        },
        None => label.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::curve;
    use crate::experiment::{Figures, Outcome, Status};
    use crate::trace::{Curve, FoldKind, TerminalValues, Work};

    fn s_curve() -> Outcome {
        let u: Vec<f64> = (0..80).map(|k| -12.0 + f64::from(k) * 0.12).collect();
        let fold = |kind, voltage, current, before_point| crate::trace::Fold {
            kind,
            voltage,
            current,
            at_terminals: TerminalValues::default(),
            before_point,
        };
        let folds = vec![
            fold(FoldKind::VoltageMaximum, 7.04, 1.9e-8, 36),
            fold(FoldKind::VoltageMinimum, 4.96, 5.4e-5, 65),
        ];
        Outcome {
            kind: "snapback".into(),
            drive: vec!["anode".into()],
            status: Status::Complete,
            curve: Curve {
                voltage: u
                    .iter()
                    .map(|u| 6.0 + (u + 6.0) * ((u + 6.0).powi(2) - 9.0) * 0.1)
                    .collect(),
                current: u.iter().map(|u| 10f64.powf(*u)).collect(),
                ..Curve::default()
            },
            figures: Figures::Snapback {
                trigger: Ok(folds[0].clone()),
                holding: Ok(folds[1].clone()),
                on_branch: Err("short".into()),
            },
            folds,
            bars: None,
            fields: Vec::new(),
            flow: Default::default(),
            warnings: Vec::new(),
            work: Work::default(),
            wall: 0.0,
            snapshot: None,
        }
    }

    /// Without colours.
    fn plain(text: &str) -> String {
        let mut out = String::new();
        let mut skip = false;
        for c in text.chars() {
            match c {
                '\x1b' => skip = true,
                'm' if skip => skip = false,
                c if !skip => out.push(c),
                _ => {}
            }
        }
        out
    }

    #[test]
    fn fits_its_width_with_folds_and_supply() {
        for width in [40, 50, 80, 200] {
            let coloured = curve(&s_curve(), Some(3.3), width).unwrap();
            let text = plain(&coloured);
            let lines: Vec<&str> = text.lines().collect();
            assert!(lines.iter().all(|l| l.chars().count() <= width), "{text}");
            assert_eq!(lines.len(), 14 + 3, "{text}");
            assert!(text.contains('1') && text.contains('2') && text.contains("supply 3.300 V"));
            // All three parts in their colours, and all colours ended.
            for colour in [super::OFF, super::BETWEEN, super::ON, super::SUPPLY] {
                assert!(coloured.contains(colour));
            }
            assert!(lines[..14].iter().all(|l| l.contains('│')));
            // The current grows upwards: the curve starts at the left end of the lowest row.
            let braille =
                |l: &str| l.chars().filter(|c| ('\u{2801}'..='\u{28ff}').contains(c)).count();
            assert!(braille(lines[0]) > 0 && braille(lines[13]) > 0, "{text}");
        }
    }

    #[test]
    fn nothing_to_draw_is_no_drawing() {
        assert!(curve(&s_curve(), None, 39).is_none());
        let mut o = s_curve();
        o.curve.current.fill(1e-6);
        o.folds.clear();
        assert!(curve(&o, None, 80).is_none());
        o.curve = Curve::default();
        assert!(curve(&o, None, 80).is_none());
    }
}
