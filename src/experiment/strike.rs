//! A track of charge through the silicon, as an ionizing particle leaves it: pairs with a
//! Gaussian profile across a straight line, made within picoseconds (common practice since
//! the funneling studies of C. M. Hsieh, P. C. Murley, R. R. O'Brien, IEEE Electron Device
//! Lett. 2 (1981) 103; from memory).

use crate::case::{Case, Experiment, Track, Wanted};
use crate::discretize::{Device, State};
use crate::silicon::Q;
use crate::trace::{Keeper, Shower};

use super::limit::limit;
use super::outcome::Outcome;
use super::poise::{Ended, Halt, Poise, Standby, TimeTrace};
use super::pulse::{any, keep_latched, said};
use super::setup::SetupError;
use super::sheet::Sheet;
use super::time_sheet::{named, stationary, traced, work_of};

/// C/µm² to C/cm².
const PER_CM2: f64 = 1e8;
const CM: f64 = 1e-4;

/// Run a `strike` experiment.
pub fn strike(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    track: &Track,
    settle: Option<f64>,
    keeper: &mut dyn Keeper,
) -> Result<Outcome, SetupError> {
    let standby = Standby::of_bias(experiment, None, settle)?;
    let drive = standby.supply.clone();
    let poise = Poise::new(case, device, equilibrium, experiment, &standby, keeper)?;
    let mut poise = match poise {
        Ok(poise) => poise,
        Err(halt) => return Ok(named(device, drive, work_of(None), Err(halt))),
    };
    let sheet = answer(&mut poise, track, keeper);
    Ok(named(device, drive, poise.system.work, sheet))
}

fn answer(poise: &mut Poise, track: &Track, keeper: &mut dyn Keeper) -> Result<Sheet, Halt> {
    let sheet = stationary(Sheet::new(), poise);
    let critical = |value| {
        let what = "smallest charge per length and width that latches";
        Sheet::new().number("charge_C_per_um", "C/um", what, value)
    };
    if let Err(why) = poise.on.clone() {
        let answer = if poise.unknown.is_some() { Err(why.clone()) } else { Ok(false) };
        let sheet = sheet.yes_no("latches", "after the strike", answer);
        return Ok(sheet.group("critical", "the limit", critical(Err(why))));
    }
    let unit = pairs(poise.device, track);
    if unit.iter().all(|p| *p == 0.0) {
        return Err(Halt::Failed("the track does not meet any silicon".to_string()));
    }
    let mut trace = TimeTrace::default();
    let mut hit = |charge: f64, trace: &mut TimeTrace, poise: &mut Poise| {
        let mut feeds = poise.held.clone();
        feeds.shower = Some(Shower {
            pairs: unit.iter().map(|p| charge * p).collect(),
            start: 0.0,
            decay: track.time,
        });
        let mut moment = poise.quiet.clone();
        moment.turn();
        trace.keep(&moment);
        poise.judge(&feeds, &mut moment, keeper, trace)
    };
    let sheet = match track.charge {
        Wanted::Given(charge) => {
            let ended: Ended = hit(charge, &mut trace, poise)?;
            let none = Err("one charge was given, none searched for".to_string());
            sheet.yes_no("latches", "after the strike", said(ended)).group(
                "critical",
                "the limit",
                critical(none),
            )
        }
        Wanted::Between { from, to } => {
            poise.searching = true;
            let found = limit(from, to, &mut |charge| {
                let mut own = TimeTrace::default();
                let ended = hit(charge, &mut own, poise)?;
                keep_latched(&ended, own, &mut trace);
                Ok(ended)
            })?;
            sheet
                .yes_no("latches", "some charge in the range", any(&found))
                .group("critical", "the limit", critical(found.latching))
                .number("largest_safe_C_per_um", "C/um", "charge", found.safe)
        }
    };
    Ok(sheet.group("trace", "at the terminals over time", traced(poise.device, &trace)))
}

/// Pairs at each node [cm⁻³] of a track of 1 C per µm of length and µm of width. The boxes
/// together hold the whole charge, however coarse the mesh is beside the track.
fn pairs(device: &Device, track: &Track) -> Vec<f64> {
    let (sin, cos) = track.angle.to_radians().sin_cos();
    let mut out = vec![0.0; device.nodes()];
    let mut sum = 0.0;
    for (i, [x, y]) in device.position.iter().enumerate() {
        if !device.has_silicon(i) {
            continue;
        }
        let (dx, dy) = (x - track.at, *y);
        let along = dx * sin + dy * cos;
        let beside = dx * cos - dy * sin;
        if (0.0..=track.reach).contains(&along) {
            // A radius below the mesh's is spread over the box.
            let box_size = device.area[i].sqrt() / CM;
            let radius = track.radius.max(0.5 * box_size);
            out[i] = (-(beside / radius).powi(2)).exp() / radius;
            sum += out[i] * device.area[i];
        }
    }
    let length = inside(device, track);
    if sum > 0.0 {
        let factor = PER_CM2 * length * CM / (Q * sum);
        out.iter_mut().for_each(|p| *p *= factor);
    }
    out
}

/// Off a mesh line that the track may run along [µm].
const ASIDE: f64 = 1e-9;

/// Length of the track in silicon [µm]: it may leave by a side or cross oxide.
fn inside(device: &Device, track: &Track) -> f64 {
    let (sin, cos) = track.angle.to_radians().sin_cos();
    // The part of 0 to `reach` between two values of a coordinate that begins at `start`.
    let between = |start: f64, slope: f64, low: f64, high: f64| {
        if slope == 0.0 {
            let whole = low <= start && start < high;
            return if whole { (0.0, track.reach) } else { (0.0, 0.0) };
        }
        let (a, b) = ((low - start) / slope, (high - start) / slope);
        (a.min(b), a.max(b))
    };
    let along = |at: f64| {
        let mut sum = 0.0;
        for (i, [x, y]) in device.position.iter().enumerate() {
            for quarter in device.quarters[i].iter().filter(|q| q.area > 0.0) {
                let half = |direction: u8| {
                    let edge = device.node_edges[i][usize::from(direction)];
                    let length = 0.5 * device.edges[edge as usize].h / CM;
                    if direction.is_multiple_of(2) { -length } else { length }
                };
                let (ex, ey) = (x + half(quarter.x_direction), y + half(quarter.y_direction));
                let (in_x, out_x) = between(at, sin, x.min(ex), x.max(ex));
                let (in_y, out_y) = between(0.0, cos, y.min(ey), y.max(ey));
                let (enters, leaves) = (in_x.max(in_y).max(0.0), out_x.min(out_y));
                sum += (leaves.min(track.reach) - enters).max(0.0);
            }
        }
        sum
    };
    // On the silicon's own side the track counts as within.
    along(track.at - ASIDE).max(along(track.at + ASIDE))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{case, mesh, structure::Structure};

    fn bar(more: &str) -> Device {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/four-layer-bar.toml");
        let text = std::fs::read_to_string(path).unwrap() + more;
        let (case, _) = case::read_str(&text, "").unwrap();
        let (structure, _) = Structure::new(&case).unwrap();
        Device::of_case(&case, &mesh::build(&case, &structure).unwrap().0)
    }

    /// In 8 µm by 1 µm: the whole charge lies in the boxes, its centre on the track's middle.
    #[test]
    fn the_charge_lies_where_the_track_is() {
        let device = bar("");
        let side = 60f64.to_radians();
        // Where it enters, angle, reach; first and last depth in silicon.
        let tracks = [
            (4.5, 0.0, 1.0, 0.0, 1.0),
            (4.5, 0.0, 0.4, 0.0, 0.4),
            (3.1, 0.0, 3.0, 0.0, 1.0),
            (2.0, 30.0, 5.0, 0.0, 1.0),
            (6.0, -45.0, 5.0, 0.0, 1.0),
            (5.0, -45.0, 0.7, 0.0, 0.7 * 0.5f64.sqrt()),
            // Out by a side; in by one.
            (7.5, 60.0, 5.0, 0.0, 0.5 / side.tan()),
            (0.5, -60.0, 5.0, 0.0, 0.5 / side.tan()),
            (-0.3, 60.0, 5.0, 0.3 / side.tan(), 1.0),
            // Along a side.
            (8.0, 0.0, 1.0, 0.0, 1.0),
            (0.0, 0.0, 1.0, 0.0, 1.0),
        ];
        for (at, angle, reach, from, to) in tracks {
            let charge = Wanted::Given(1.0);
            let track = Track { at, angle, reach, radius: 0.05, charge, time: 2e-12 };
            let made = pairs(&device, &track);
            let (mut sum, mut x, mut y) = (0.0, 0.0, 0.0);
            for (i, p) in made.iter().enumerate() {
                // C/cm to C/µm.
                let part = Q * p * device.area[i] * CM;
                sum += part;
                x += part * device.position[i][0];
                y += part * device.position[i][1];
            }
            let angle = angle.to_radians();
            let length = (to - from) / angle.cos();
            assert!((sum / length - 1.0).abs() < 1e-7, "{track:?}: {sum}, not {length}");
            let middle = 0.5 * (from + to);
            let off = [x / sum - at - middle * angle.tan(), y / sum - middle];
            println!("{at} um, {:.0} deg: {sum:.6} of {length:.6}, off {off:?}", track.angle);
            assert!(off.iter().all(|d| d.abs() < 0.1), "{track:?}: off by {off:?} um");
        }
        let charge = Wanted::Given(1.0);
        let missed = Track { at: 9.0, angle: 30.0, reach: 5.0, radius: 1.0, charge, time: 1e-12 };
        assert!(pairs(&device, &missed).iter().all(|p| *p == 0.0));
    }

    /// Through a trench 1 µm wide and 0.5 µm deep: no charge in its oxide.
    #[test]
    fn a_track_leaves_none_of_its_charge_in_a_trench() {
        let device = bar("\n[[trench]]\nfrom = 3\nto = 4\ndepth = 0.5\n");
        let slope = 45f64.to_radians();
        // Where it enters, angle, reach; its length in silicon.
        let tracks = [
            (3.5, 0.0, 5.0, 0.5),
            (3.5, 0.0, 0.7, 0.2),
            (3.5, 0.0, 0.4, 0.0),
            // In by the trench's side, out by its floor.
            (2.8, 45.0, 5.0, (0.2 + 0.5) / slope.cos()),
            (4.2, -45.0, 5.0, (0.2 + 0.5) / slope.cos()),
            // In by its top, out by its other side at 0.3 µm.
            (3.7, 45.0, 5.0, 0.7 / slope.cos()),
            (1.0, 0.0, 5.0, 1.0),
        ];
        for (at, angle, reach, length) in tracks {
            let charge = Wanted::Given(1.0);
            let track = Track { at, angle, reach, radius: 0.05, charge, time: 2e-12 };
            let made = pairs(&device, &track);
            let parts = made.iter().enumerate().map(|(i, p)| Q * p * device.area[i] * CM);
            let sum: f64 = parts.sum();
            assert!((sum - length).abs() < 1e-7, "{track:?}: {sum}, not {length}");
        }
    }
}
