//! Rules: the values of a number for which a requirement holds.
//!
//! The point is followed over the whole range at each temperature; where the worst of them
//! changes sign, a bracketed secant on exact folds finds the boundary. A full curve there, on
//! a mesh of its own, is the proof; what it differs by is corrected with the slope known.

use crate::case::{FoldName, Knob, Rule};
use crate::trace::Keeper;

use super::follow::spanned;
use super::ground::{Ground, Set};
use super::proof::{Proof, known};
use super::track::{Spent, Track};

/// A value of the unknown with what holds there.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    pub value: f64,
    /// The temperature that decides \[K\].
    pub temperature: f64,
    /// The point there \[V\], [A/µm].
    pub voltage: f64,
    pub current: f64,
    /// How far the requirement is met, and that by the unknown.
    pub slack: f64,
    pub slope: f64,
    /// From the mesh, in the unit of the unknown; `None` with the reason in the notes.
    pub error: Option<f64>,
    /// Slack of the full curve at `value`, on a mesh of its own.
    pub proof: Option<f64>,
}

/// One value of the second unknown (or none) and what was found there.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Solved {
    /// Of the second unknown.
    pub second: Option<f64>,
    /// Where the requirement holds within the range.
    pub feasible: Vec<[f64; 2]>,
    /// Boundaries of that within the range.
    pub answers: Vec<Answer>,
    /// Where it is met best, or missed least.
    pub best: Option<Answer>,
    pub notes: Vec<String>,
}

/// A rule solved.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Solving {
    /// One, or one for each value of the second unknown.
    pub cases: Vec<Solved>,
    /// If none holds: what else would help: path, change, gain of slack.
    pub helps: Vec<(String, String, f64)>,
    pub spent: Spent,
    /// Factorizations of the full curves in that.
    pub proof_factorizations: u64,
}

/// Values of a second unknown.
const SECOND: usize = 5;
/// Points at which the sign of the slack is looked at.
const GRID: usize = 80;
/// Rounds of the secant, and of the correction by full curves.
const ROUNDS: usize = 14;
const PROOFS: usize = 3;

/// Solve a rule from a point that was traced. The full curves are told to `keeper`.
pub fn solve(ground: &Ground<'_>, rule: &Rule, keeper: &mut dyn Keeper) -> Solving {
    let mut out = Solving::default();
    let Some(unknown) = rule.unknowns.first() else { return out };
    let seconds: Vec<Option<f64>> = match rule.unknowns.get(1) {
        None => vec![None],
        Some(k) => {
            let share = |n: usize| n as f64 / (SECOND - 1) as f64;
            (0..SECOND).map(|n| Some(k.from + share(n) * (k.to - k.from))).collect()
        }
    };
    for second in seconds {
        let fixed: Vec<Set<'_>> = match (rule.unknowns.get(1), second) {
            (Some(k), Some(v)) => vec![(k.path.as_str(), v)],
            _ => Vec::new(),
        };
        let mut one = Line { ground, rule, unknown, fixed, tracks: Vec::new() };
        let mut solved = one.solve(&mut out.spent);
        solved.second = second;
        let before = out.spent.factorizations;
        // The full curve proves single answers; of a curve of answers the middle one.
        if second.is_none() {
            one.prove(&mut solved, keeper, &mut out.spent, &mut out.helps);
        }
        out.proof_factorizations += out.spent.factorizations - before;
        out.cases.push(solved);
    }
    out
}

/// One unknown, everything else fixed.
struct Line<'g> {
    ground: &'g Ground<'g>,
    rule: &'g Rule,
    unknown: &'g Knob,
    fixed: Vec<Set<'g>>,
    /// By temperature.
    tracks: Vec<(f64, Track)>,
}

impl Line<'_> {
    fn temperatures(&self) -> Vec<f64> {
        match self.rule.temperatures.is_empty() {
            true => vec![self.ground.case.temperature],
            false => self.rule.temperatures.clone(),
        }
    }

    fn sets(&self, temperature: f64) -> Vec<Set<'_>> {
        let mut sets = self.fixed.clone();
        if !self.rule.temperatures.is_empty() {
            sets.push(("temperature", temperature));
        }
        sets
    }

    fn solve(&mut self, spent: &mut Spent) -> Solved {
        let mut out = Solved::default();
        let Knob { path, drawn, from, to, .. } = self.unknown;
        let (mut low, mut high) = (*from, *to);
        for t in self.temperatures() {
            let (track, ends) =
                spanned(self.ground, &self.sets(t), path, [*drawn, *from, *to], spent);
            for end in ends {
                out.notes.push(format!("at {t} K: {}", end.text));
            }
            let inside = |v: &f64| *v >= *from && *v <= *to;
            let values: Vec<f64> = track.points.iter().map(|p| p.0).filter(inside).collect();
            low = low.max(values.first().copied().unwrap_or(f64::INFINITY));
            high = high.min(values.last().copied().unwrap_or(f64::NEG_INFINITY));
            self.tracks.push((t, track));
        }
        if low > high || (low == high && from != to) {
            out.notes.push("the point could not be followed into the range".into());
            return out;
        }
        let at = |n: usize| match n {
            0 => low,
            GRID => high,
            n => low + (high - low) * n as f64 / GRID as f64,
        };
        let slack = |x: f64| self.worst(x).map_or(f64::NAN, |w| w.slack);
        let grid: Vec<(f64, f64)> = (0..=GRID).map(|n| (at(n), slack(at(n)))).collect();
        let mut start = (grid[0].1 >= 0.0).then_some(low);
        let mut brackets = Vec::new();
        for w in grid.windows(2) {
            if (w[0].1 >= 0.0) != (w[1].1 >= 0.0) {
                brackets.push([w[0], w[1]]);
            }
        }
        let best = grid.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|g| g.0);
        for bracket in brackets {
            match self.refine(bracket, spent) {
                Some(answer) => {
                    match start.take() {
                        Some(from) => out.feasible.push([from, answer.value]),
                        None => start = Some(answer.value),
                    }
                    out.answers.push(answer);
                }
                None => out.notes.push(format!(
                    "the boundary between {:.4} and {:.4} could not be solved for",
                    bracket[0].0, bracket[1].0
                )),
            }
        }
        if let Some(from) = start {
            out.feasible.push([from, high]);
        }
        out.best = best.and_then(|x| {
            self.exact(x, spent);
            self.worst(x)
        });
        out
    }

    /// The temperature at which the requirement is met least, by interpolation between the
    /// points of the tracks.
    fn worst(&self, x: f64) -> Option<Answer> {
        let each = self.tracks.iter().filter_map(|(t, track)| {
            let (voltage, current) = between(track, x)?;
            let of = |v, i| self.rule.require.slack(&known(self.ground.case, v, i));
            let d = 1e-3 * (self.unknown.to - self.unknown.from);
            let (a, b) = (between(track, x - d)?, between(track, x + d)?);
            let slope = (of(b.0, b.1) - of(a.0, a.1)) / (2.0 * d);
            let slack = of(voltage, current);
            Some(Answer {
                value: x,
                temperature: *t,
                voltage,
                current,
                slack,
                slope,
                error: None,
                proof: None,
            })
        });
        each.min_by(|a, b| a.slack.total_cmp(&b.slack))
    }

    /// Puts exact points at `x` onto the tracks.
    fn exact(&mut self, x: f64, spent: &mut Spent) {
        for k in 0..self.tracks.len() {
            let (t, track) = &self.tracks[k];
            if track.points.iter().any(|p| p.0 == x) {
                continue;
            }
            let Some(guess) = track.predict(x) else { continue };
            let mut sets = self.sets(*t);
            sets.push((self.unknown.path.as_str(), x));
            if let Ok(point) = self.ground.at(&sets, &guess, spent) {
                self.tracks[k].1.insert(x, point);
            }
        }
    }

    /// Secant within the bracket on exact points.
    fn refine(&mut self, [a, b]: [(f64, f64); 2], spent: &mut Spent) -> Option<Answer> {
        let range = self.unknown.to - self.unknown.from;
        let (mut low, mut high) = (a, b);
        for _ in 0..ROUNDS {
            let mut x = low.0 - low.1 * (high.0 - low.0) / (high.1 - low.1);
            if !(x > low.0 && x < high.0) {
                x = 0.5 * (low.0 + high.0);
            }
            self.exact(x, spent);
            let here = self.worst(x)?;
            let step = here.slack / here.slope;
            if step.abs() < 1e-7 * range || high.0 - low.0 < 1e-9 * range {
                return Some(here);
            }
            // Newton's step by the sensitivity, where it stays inside the bracket.
            let next = x - step;
            if (here.slack >= 0.0) == (low.1 >= 0.0) {
                low = (x, here.slack);
            } else {
                high = (x, here.slack);
            }
            if next > low.0 && next < high.0 {
                self.exact(next, spent);
                let there = self.worst(next)?;
                if (there.slack / there.slope).abs() < 1e-7 * range {
                    return Some(there);
                }
                if (there.slack >= 0.0) == (low.1 >= 0.0) {
                    low = (next, there.slack);
                } else {
                    high = (next, there.slack);
                }
            }
        }
        None
    }

    /// Full curves: at each answer, corrected by what they differ; else at the best.
    fn prove(
        &self,
        solved: &mut Solved,
        keeper: &mut dyn Keeper,
        spent: &mut Spent,
        helps: &mut Vec<(String, String, f64)>,
    ) {
        let rule = self.rule;
        let which = (self.ground.experiment, rule.require.fold);
        let mut notes = Vec::new();
        for answer in &mut solved.answers {
            let mut last = None;
            for round in 0..PROOFS {
                match self.curve(answer, which, keeper, spent) {
                    Ok(proof) => {
                        let step = -proof.slack / answer.slope;
                        let near = step.abs() < 1e-4 * (self.unknown.to - self.unknown.from);
                        let next = answer.value + step;
                        let inside = next >= self.unknown.from && next <= self.unknown.to;
                        answer.voltage = proof.voltage;
                        answer.current = proof.current;
                        answer.proof = Some(proof.slack);
                        last = Some(proof);
                        if near || !inside || round + 1 == PROOFS {
                            break;
                        }
                        answer.value = next;
                    }
                    Err(why) => {
                        notes.push(format!("no full curve at {:.5}: {why}", answer.value));
                        break;
                    }
                }
            }
            let Some(mut proof) = last else { continue };
            match proof.mesh_error(which.1, &rule.require, keeper, spent) {
                Ok(error) => answer.error = Some((error / answer.slope).abs()),
                Err(why) => notes.push(format!("no mesh error at {:.5}: {why}", answer.value)),
            }
        }
        if solved.feasible.is_empty()
            && let Some(best) = &mut solved.best
        {
            match self.curve(best, which, keeper, spent) {
                Ok(proof) => {
                    best.proof = Some(proof.slack);
                    let own = |p: &String| {
                        p == &self.unknown.path
                            || p.starts_with("verdict")
                            || p.starts_with("width")
                    };
                    helps.extend(proof.helps(which.1, &rule.require));
                    helps.retain(|h| !own(&h.0));
                    helps.truncate(8);
                }
                Err(why) => notes.push(format!("no full curve at {:.5}: {why}", best.value)),
            }
        }
        // The corrected boundaries.
        let range = [self.unknown.from, self.unknown.to];
        let moved: Vec<f64> = solved.answers.iter().map(|a| a.value).collect();
        let mut next = moved.iter();
        for interval in &mut solved.feasible {
            for end in interval.iter_mut() {
                if !range.contains(end)
                    && let Some(v) = next.next()
                {
                    *end = *v;
                }
            }
        }
        solved.notes.extend(notes);
    }

    fn curve(
        &self,
        answer: &Answer,
        which: (usize, FoldName),
        keeper: &mut dyn Keeper,
        spent: &mut Spent,
    ) -> Result<Proof, String> {
        let mut sets = self.sets(answer.temperature);
        sets.push((self.unknown.path.as_str(), answer.value));
        let from = (self.ground.case, self.ground.mesh);
        Proof::new(from, &sets, which, &self.rule.require, keeper, spent)
    }
}

/// Voltage and current on a track: the parabola through the three points nearest to `x`.
fn between(track: &Track, x: f64) -> Option<(f64, f64)> {
    let mut near: Vec<_> = track.points.iter().collect();
    near.sort_by(|a, b| (a.0 - x).abs().total_cmp(&(b.0 - x).abs()));
    near.truncate(3);
    let weight = |k: usize| -> f64 {
        near.iter()
            .enumerate()
            .filter(|(j, _)| *j != k)
            .fold(1.0, |w, (_, o)| w * (x - o.0) / (near[k].0 - o.0))
    };
    let (mut v, mut i) = (0.0, 0.0);
    for (k, (_, p)) in near.iter().enumerate() {
        v += weight(k) * (p.lambda[0] + p.lambda[1]);
        i += weight(k) * p.current.abs().ln();
    }
    let sign = near.first()?.1.current.signum();
    (v.is_finite() && i.is_finite()).then(|| (v, sign * i.exp()))
}
