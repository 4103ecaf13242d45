//! Power-up: the supply rises from 0 V in a given time, and the displacement current
//! through the well junction may trigger the path.

use crate::case::{Case, Experiment, Wanted};
use crate::discretize::{Device, State};
use crate::trace::{Feed, Keeper, Moment, Wave};

use super::limit::limit;
use super::outcome::Outcome;
use super::poise::{Ended, Halt, Poise, Standby, TimeTrace};
use super::pulse::{any, keep_latched, said};
use super::run::ramp;
use super::setup::{Setup, SetupError};
use super::sheet::Sheet;
use super::time_sheet::{named, stationary, traced, work_of};

/// What rises, how far [V] and how fast [s].
pub struct PowerUp<'a> {
    pub drive: &'a [String],
    pub to: f64,
    pub rise: Wanted,
    pub settle: Option<f64>,
}

/// Run a `supply-ramp` experiment.
pub fn supply_ramp(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    power: &PowerUp,
    keeper: &mut dyn Keeper,
) -> Result<Outcome, SetupError> {
    let standby = Standby {
        supply: power.drive.to_vec(),
        voltage: power.to,
        injector: None,
        settle: power.settle,
    };
    let setup = Setup::new(case, device, experiment, power.drive)?;
    let drive = power.drive.to_vec();
    let off = ramp(device, equilibrium, setup.ramp(Some(0.0)), setup.largest_bias(None));
    let poise = match off {
        Ok((_, state)) => Poise::new(case, device, equilibrium, experiment, &standby, keeper)?
            .map(|poise| (poise, state)),
        Err(why) => Err(Halt::Failed(why)),
    };
    let (mut poise, unpowered) = match poise {
        Ok(both) => both,
        Err(halt) => return Ok(named(device, drive, work_of(None), Err(halt))),
    };
    let sheet = answer(&mut poise, unpowered, power, keeper);
    Ok(named(device, drive, poise.system.work, sheet))
}

fn answer(
    poise: &mut Poise,
    unpowered: State,
    power: &PowerUp,
    keeper: &mut dyn Keeper,
) -> Result<Sheet, Halt> {
    let sheet = stationary(Sheet::new(), poise);
    let critical = |value| {
        Sheet::new().number("rise_s", "s", "shortest time of rise that does not latch", value)
    };
    if let Err(why) = poise.on.clone() {
        let answer = if poise.unknown.is_some() { Err(why.clone()) } else { Ok(false) };
        let sheet = sheet.yes_no("latches", "after power-up", answer);
        return Ok(sheet.group("critical", "the limit", critical(Err(why))));
    }
    let mut trace = TimeTrace::default();
    let sheet = match power.rise {
        Wanted::Given(rise) => {
            let ended = rises(poise, &unpowered, rise, keeper, &mut trace)?;
            let none = Err("one time of rise was given, none searched for".to_string());
            sheet.yes_no("latches", "after power-up", said(ended)).group(
                "critical",
                "the limit",
                critical(none),
            )
        }
        Wanted::Between { from, to } => {
            poise.searching = true;
            let found = limit(to, from, &mut |rise| {
                let mut own = TimeTrace::default();
                let ended = rises(poise, &unpowered, rise, keeper, &mut own)?;
                keep_latched(&ended, own, &mut trace);
                Ok(ended)
            })?;
            sheet
                .yes_no("latches", "some time of rise in the range", any(&found))
                .group("critical", "the limit", critical(found.latching.clone().and(found.safe)))
                .number("longest_latching_s", "s", "time of rise", found.latching)
        }
    };
    Ok(sheet.group("trace", "at the terminals over time", traced(poise.device, &trace)))
}

fn rises(
    poise: &mut Poise,
    unpowered: &State,
    rise: f64,
    keeper: &mut dyn Keeper,
    trace: &mut TimeTrace,
) -> Result<Ended, Halt> {
    let mut feeds = poise.held.clone();
    for &k in &poise.supply {
        if let Some(Feed::Voltage { wave, .. }) = feeds.terminals.get_mut(k) {
            *wave = Wave::ramp(0.0, rise, 0.0, wave.at(0.0));
        }
    }
    let mut moment = Moment::stationary(&mut poise.system, &feeds, 0.0, unpowered.clone());
    trace.keep(&moment);
    poise.run(&feeds, &mut moment, rise, keeper, &mut |m| trace.keep(m))?;
    moment.turn();
    poise.judge(&feeds, &mut moment, keeper, trace)
}
