//! How far a run is: a bar on a terminal, plain lines elsewhere, nothing for `--quiet`.

use std::time::Instant;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::units::{duration, si};

/// Steps of the bar.
const FULL: u64 = 1000;

/// Shows phases and points.
pub(super) struct Progress {
    bar: Option<ProgressBar>,
    quiet: bool,
    /// Lines to say, taken by the caller: it owns stderr.
    lines: Vec<String>,
    name: String,
    phase: String,
    since: Instant,
    /// Share of the way that was done when this phase began (a resumed trace).
    from: Option<f64>,
    /// Quarters of this phase that were said.
    quarters: u32,
}

impl Progress {
    /// For one case. `bar`: stderr is a terminal.
    pub(super) fn new(name: &str, bar: bool, quiet: bool) -> Progress {
        let bar = (bar && !quiet).then(|| {
            let bar =
                ProgressBar::with_draw_target(Some(FULL), ProgressDrawTarget::stderr_with_hz(8));
            let style = ProgressStyle::with_template("{prefix} [{bar:24}] {wide_msg}");
            bar.set_style(
                style.unwrap_or_else(|_| ProgressStyle::default_bar()).progress_chars("=> "),
            );
            bar.set_prefix(name.to_string());
            bar
        });
        Progress {
            bar,
            quiet,
            lines: Vec::new(),
            name: name.to_string(),
            phase: String::new(),
            since: Instant::now(),
            from: None,
            quarters: 0,
        }
    }

    /// A new phase: "mesh", "equilibrium", "snapback (1 of 2)".
    pub(super) fn phase(&mut self, phase: &str) {
        self.phase = phase.to_string();
        self.since = Instant::now();
        self.from = None;
        self.quarters = 0;
        match &self.bar {
            Some(bar) => {
                bar.set_position(0);
                bar.set_message(phase.to_string());
                bar.tick();
            }
            None => self.line(phase.to_string()),
        }
    }

    /// A point of a trace: its number, V and I, and how far `done` (0 to 1) the trace is.
    pub(super) fn point(&mut self, number: usize, voltage: f64, current: f64, done: f64) {
        let done = if done.is_finite() { done.clamp(0.0, 1.0) } else { 0.0 };
        let from = *self.from.get_or_insert(done);
        let (gone, way) = (self.since.elapsed().as_secs_f64(), done - from);
        let left = match way > 0.01 {
            true => format!("about {} left", duration(gone * (1.0 - done) / way)),
            false => "time left unknown".to_string(),
        };
        let place = format!("point {number}, {}, {}", si(voltage, "V"), si(current, "A/µm"));
        match &self.bar {
            Some(bar) => {
                bar.set_position((done * FULL as f64) as u64);
                bar.set_message(format!("{}: {place}, {left}", self.phase));
            }
            None => {
                let quarter = (done * 4.0).floor() as u32;
                if quarter > self.quarters {
                    self.quarters = quarter;
                    let rest = if quarter < 4 { format!(", {left}") } else { String::new() };
                    self.line(format!("{}: {} %, {place}{rest}", self.phase, 25 * quarter));
                }
            }
        }
    }

    /// How much of a phase without points is done, 0 to 1.
    pub(super) fn share(&mut self, done: f64) {
        let done = if done.is_finite() { done.clamp(0.0, 1.0) } else { 0.0 };
        match &self.bar {
            Some(bar) => {
                bar.set_position((done * FULL as f64) as u64);
                bar.set_message(self.phase.clone());
            }
            None => {
                let quarter = (done * 4.0).floor() as u32;
                if quarter > self.quarters {
                    self.quarters = quarter;
                    self.line(format!("{}: {} %", self.phase, 25 * quarter));
                }
            }
        }
    }

    /// A line that stays, above a bar.
    pub(super) fn line(&mut self, text: String) {
        if self.quiet {
            return;
        }
        match &self.bar {
            Some(bar) => bar.println(format!("{}: {text}", self.name)),
            None => self.lines.push(format!("{}: {text}\n", self.name)),
        }
    }

    /// The lines to say since the last call.
    pub(super) fn take_lines(&mut self) -> String {
        std::mem::take(&mut self.lines).concat()
    }

    /// Takes the bar away.
    pub(super) fn clear(&mut self) {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Progress;

    #[test]
    fn lines_come_at_phases_and_quarters() {
        let mut p = Progress::new("pad", false, false);
        p.phase("mesh");
        p.phase("snapback");
        for k in 0..=100 {
            p.point(k, 0.1 * k as f64, 1e-9, k as f64 / 100.0);
        }
        let said = p.take_lines();
        let lines: Vec<&str> = said.lines().collect();
        assert_eq!(lines.len(), 2 + 4, "{said}");
        assert_eq!(lines[0], "pad: mesh");
        assert!(lines[2].starts_with("pad: snapback: 25 %, point 25, 2.500 V, 1.000 nA/µm, about"));
        assert!(lines[5].contains("100 %") && !lines[5].contains("left"));
        assert!(p.take_lines().is_empty());
        // A jump over several quarters is one line; nonsense does not disturb.
        p.phase("injection");
        p.point(1, 0.0, 0.0, f64::NAN);
        p.point(2, 0.0, 0.0, 0.8);
        assert_eq!(p.take_lines().lines().count(), 2);
    }

    #[test]
    fn quiet_says_nothing() {
        let mut p = Progress::new("pad", true, true);
        p.phase("mesh");
        p.point(1, 1.0, 1.0, 1.0);
        p.line("hello".into());
        assert!(p.take_lines().is_empty());
    }
}
