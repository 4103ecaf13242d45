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
    let deepest = device.position.iter().fold(0.0f64, |d, p| d.max(p[1]));
    let length = track.reach.min(deepest / cos.max(1e-3));
    if sum > 0.0 {
        let factor = PER_CM2 * length * CM / (Q * sum);
        out.iter_mut().for_each(|p| *p *= factor);
    }
    out
}
