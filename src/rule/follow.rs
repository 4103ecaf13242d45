//! How a point of a curve moves along one number: two-parameter continuation of the fold
//! equations. Predictor: the polynomial through the last folds' states; corrector: the exact
//! fold solver on the device moved there.

use crate::case::Follow;

use super::cusp::{Cusp, cusp_beyond};
use super::ground::Ground;
use super::track::{Halt, Spent, Track};

/// The point at one value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Of the number that is followed along, in its plain unit.
    pub value: f64,
    /// \[V\]
    pub voltage: f64,
    /// [A/µm]
    pub current: f64,
    /// Second derivative of the answered quantity along the branch; 0 at a cusp.
    pub bend: f64,
}

/// What a follow gives.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Followed {
    /// In the order of the values.
    pub samples: Vec<Sample>,
    /// Where the point vanishes with its partner.
    pub cusps: Vec<Cusp>,
    /// Why an end of the range was not reached.
    pub halts: Vec<String>,
    pub spent: Spent,
}

/// Follow the point of `ground` along the number from the drawn value to both ends.
pub fn follow(ground: &Ground<'_>, asked: &Follow) -> Followed {
    let mut spent = Spent::default();
    let knob = &asked.along;
    let (track, ends) =
        spanned(ground, &[], &knob.path, [knob.drawn, knob.from, knob.to], &mut spent);
    let mut out = Followed::default();
    for end in ends {
        out.halts.push(end.text);
        out.cusps.extend(end.cusp);
    }
    out.samples = samples(&track, knob.from, knob.to);
    out.spent = spent;
    out
}

/// An end that was not reached.
pub(super) struct End {
    pub text: String,
    pub cusp: Option<Cusp>,
}

/// A track over a whole range, `drawn` being where the ground's point is, and the ends that
/// were not reached.
pub(super) fn spanned(
    ground: &Ground<'_>,
    fixed: &[(&str, f64)],
    path: &str,
    [drawn, from, to]: [f64; 3],
    spent: &mut Spent,
) -> (Track, Vec<End>) {
    let mut track = Track { points: vec![(drawn, ground.point.clone())] };
    if !fixed.is_empty() {
        // The ground's point belongs to the drawn case; the fixed numbers move it first.
        match moved_to(ground, fixed, spent) {
            Ok(point) => track.points = vec![(drawn, point)],
            Err(text) => return (Track::default(), vec![End { text, cusp: None }]),
        }
    }
    let range = to - from;
    let mut ends = Vec::new();
    for goal in [from, to] {
        let start = match goal < drawn {
            true => track.points.first().map_or(drawn, |p| p.0),
            false => track.points.last().map_or(drawn, |p| p.0),
        };
        // What lies between was passed on the way to the other end.
        if (goal - drawn) * (start - drawn) > 0.0 && (start - drawn).abs() >= (goal - drawn).abs() {
            if track.points.iter().all(|p| p.0 != goal)
                && let Some(near) = track.nearest(goal).map(|p| p.0)
                && let Err(halt) = track.march(ground, fixed, path, [near, goal, range], spent)
            {
                ends.push(ended(ground, fixed, path, &track, halt, range, spent));
            }
            continue;
        }
        if let Err(halt) = track.march(ground, fixed, path, [start, goal, range], spent) {
            ends.push(ended(ground, fixed, path, &track, halt, range, spent));
        }
    }
    (track, ends)
}

/// The ground's point with some numbers moved, one after the other.
fn moved_to(
    ground: &Ground<'_>,
    fixed: &[(&str, f64)],
    spent: &mut Spent,
) -> Result<crate::experiment::FoldPoint, String> {
    let mut point = ground.point.clone();
    for (k, (path, value)) in fixed.iter().enumerate() {
        let drawn = crate::case::quantity_at(&ground.case.text, path)
            .ok()
            .flatten()
            .and_then(|q| q.value)
            .unwrap_or(0.0);
        if drawn == *value {
            continue;
        }
        let mut track = Track { points: vec![(drawn, point)] };
        let range = (value - drawn).abs();
        let before = fixed.get(..k).unwrap_or(&[]);
        track
            .march(ground, before, path, [drawn, *value, range], spent)
            .map_err(|h| format!("`{path}` could not be brought to {value:.6}: {}", h.why))?;
        let end = track.nearest(*value).map(|p| p.1.clone());
        point = end.ok_or("no point was kept")?;
    }
    Ok(point)
}

fn ended(
    ground: &Ground<'_>,
    fixed: &[(&str, f64)],
    path: &str,
    track: &Track,
    halt: Halt,
    range: f64,
    spent: &mut Spent,
) -> End {
    let cusp = cusp_beyond(ground, fixed, path, track, &halt, range, spent);
    let text = match &cusp {
        Some(c) => format!(
            "the point vanishes in a cusp at {:.6e} ({:.4} V, {:.3e} A/um): it meets its partner, beyond it the curve does not turn back there",
            c.value, c.voltage, c.current
        ),
        None => format!(
            "followed to {:.6e}; {:.6e} could not be solved: {}",
            halt.last, halt.tried, halt.why
        ),
    };
    End { text, cusp }
}

/// The points within a range.
pub(super) fn samples(track: &Track, from: f64, to: f64) -> Vec<Sample> {
    let inside = |p: &&(f64, crate::experiment::FoldPoint)| p.0 >= from && p.0 <= to;
    let sample = |(value, p): &(f64, crate::experiment::FoldPoint)| Sample {
        value: *value,
        voltage: p.lambda[0] + p.lambda[1],
        current: p.current,
        bend: p.bend,
    };
    track.points.iter().filter(inside).map(sample).collect()
}
