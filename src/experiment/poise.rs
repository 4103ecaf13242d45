//! A structure at its supply, ready for a stimulus: the off-state, the on-state of the
//! S-curve at that supply, and the judgement which of the two a transient ends in.

use crate::case::{Case, Experiment, Stop};
use crate::discretize::{Device, State, Tying};
use crate::solve::{Constraint, System};
use crate::trace::{
    Curve, End, Feed, Feeds, Keeper, Moment, Next, Standing, Start, TerminalValues, TimeParams,
    TraceParams, Watch, Wave, follow, run_time,
};

use super::outcome::Found;
use super::run::ramp;
use super::setup::{Setup, SetupError};

/// Settled: the supply current is this close to a stationary one.
const NEAR: f64 = 0.05;
/// Below this share of the on-state's current the supply current counts as the off-state's:
/// its last decades fall with the slowest trap, which decides nothing.
const FAINT: f64 = 1e-6;
/// How often the settling time is doubled before the answer is open.
const DOUBLINGS: u32 = 14;
/// A trial of a search is decided once the supply current has stayed near one state's while
/// the time since the stimulus grew by this factor, from this share of the settling time on.
const STAYED: f64 = 2.0;
const EARLIEST: f64 = 0.02;
/// The S-curve is followed up to here for the on-state [A/µm].
pub(super) const HIGHEST: f64 = 1e-1;
/// Settling time if the case gives none [s].
pub const SETTLE: f64 = 1e-6;

/// What a transient ended in.
#[derive(Debug, Clone, PartialEq)]
pub enum Ended {
    Latched,
    Safe,
    /// Neither yet, with the reason.
    Open(String),
}

/// Why a transient has no end.
#[derive(Debug, Clone, PartialEq)]
pub enum Halt {
    Failed(String),
    Interrupted,
}

/// What happened at the terminals over time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TimeTrace {
    /// [s]
    pub time: Vec<f64>,
    pub at_terminals: Vec<TerminalValues>,
    /// |ΣI| and largest |I| [A/µm], displacement included, over the whole trace.
    pub imbalance: f64,
    pub largest: f64,
}

impl TimeTrace {
    /// Keep a moment.
    pub fn keep(&mut self, moment: &Moment) {
        let currents = &moment.at_terminals.current;
        self.time.push(moment.time);
        self.at_terminals.push(moment.at_terminals.clone());
        self.imbalance = self.imbalance.max(currents.iter().sum::<f64>().abs());
        self.largest = currents.iter().fold(self.largest, |m, i| m.max(i.abs()));
    }
}

impl TimeTrace {
    /// The part up to `time`.
    pub fn until(&self, time: f64) -> TimeTrace {
        let count = self.time.partition_point(|t| *t <= time);
        TimeTrace {
            time: self.time.iter().take(count).copied().collect(),
            at_terminals: self.at_terminals.iter().take(count).cloned().collect(),
            ..*self
        }
    }
}

/// How the supply is found and what is left open beside it.
pub struct Standby<'a> {
    /// Terminals that carry the supply.
    pub supply: Vec<String>,
    /// [V]
    pub voltage: f64,
    /// A separate injector: open while it does not inject.
    pub injector: Option<&'a str>,
    /// [s]
    pub settle: Option<f64>,
}

impl<'a> Standby<'a> {
    /// The supply is the highest voltage that the experiment holds terminals at. Error: it
    /// holds none above 0 V.
    pub fn of_bias(
        experiment: &Experiment,
        injector: Option<&'a str>,
        settle: Option<f64>,
    ) -> Result<Standby<'a>, SetupError> {
        let voltage = experiment.bias.iter().fold(0.0f64, |m, b| m.max(b.voltage));
        if voltage <= 0.0 {
            return Err(SetupError::NoSupply { experiment: experiment.kind.word() });
        }
        let at_it = experiment.bias.iter().filter(|b| b.voltage == voltage);
        let supply = at_it.map(|b| b.terminal.clone()).collect();
        Ok(Standby { supply, voltage, injector, settle })
    }
}

/// Supply currents [A/µm] of the two states.
#[derive(Clone, Copy)]
struct Sides {
    off: f64,
    on: f64,
}

impl Sides {
    /// Which of the two states a supply current is near to.
    fn near(self, now: f64) -> Option<Ended> {
        if (now - self.on).abs() <= NEAR * self.on.abs() {
            return Some(Ended::Latched);
        }
        let off = NEAR * self.off.abs() + FAINT * self.on.abs();
        ((now - self.off).abs() <= off).then_some(Ended::Safe)
    }
}

/// The structure at its supply.
pub struct Poise<'a> {
    pub device: &'a Device,
    pub system: System<'a>,
    pub params: TimeParams,
    /// Sources of all terminals as they are before and after the stimulus.
    pub held: Feeds,
    pub supply: Vec<usize>,
    pub settle: f64,
    /// Supply current [A/µm] in the off-state, and in the on-state if there is one.
    pub off: f64,
    pub on: Found<f64>,
    /// Why it is not known whether there is one.
    pub unknown: Option<String>,
    /// The off-state.
    pub quiet: Moment,
    /// Many stimuli are tried: each is judged as early as it can be.
    pub searching: bool,
}

impl<'a> Poise<'a> {
    /// Find both states. Errors: names that the device does not have; the inner one is a
    /// bias that could not be applied.
    pub fn new(
        case: &Case,
        device: &'a Device,
        equilibrium: &State,
        experiment: &Experiment,
        standby: &Standby,
        keeper: &mut dyn Keeper,
    ) -> Result<Result<Poise<'a>, Halt>, SetupError> {
        let mut experiment = experiment.clone();
        experiment.open.extend(standby.injector.map(str::to_string));
        let setup = Setup::new(case, device, &experiment, &standby.supply)?;
        Ok(Poise::at(&setup, device, equilibrium, standby, keeper))
    }

    fn at(
        setup: &Setup,
        device: &'a Device,
        equilibrium: &State,
        standby: &Standby,
        keeper: &mut dyn Keeper,
    ) -> Result<Poise<'a>, Halt> {
        let v = standby.voltage;
        let (on, unknown, before) = on_state(setup, device, equilibrium, v, keeper)?;
        let (ramped, state) =
            ramp(device, equilibrium, setup.ramp(Some(v)), setup.largest_bias(Some(v)))
                .map_err(Halt::Failed)?;
        let driven = setup.driven();
        let terminals = driven.ties.iter().map(|tie| match *tie {
            Tying::Source { base, slope, resistance } => {
                Feed::Voltage { wave: Wave::constant(base + slope * v), resistance }
            }
            Tying::Open => Feed::Current(Wave::constant(0.0)),
            Tying::Follows(leader) => Feed::Follows(leader),
        });
        let held = Feeds { terminals: terminals.collect(), shower: None, loads: setup.loads() };
        let mut system = System::new(device, driven).map_err(|e| Halt::Failed(e.to_string()))?;
        system.work = ramped.work;
        system.work.newton_steps += before.newton_steps;
        system.work.factorizations += before.factorizations;
        let quiet = Moment::stationary(&mut system, &held, 0.0, state);
        let mut poise = Poise {
            device,
            system,
            params: TimeParams::default(),
            held,
            supply: setup.drive.clone(),
            settle: standby.settle.unwrap_or(SETTLE),
            off: 0.0,
            on,
            unknown,
            quiet,
            searching: false,
        };
        poise.off = poise.supply_current(&poise.quiet);
        Ok(poise)
    }

    /// Sum of the supply's currents [A/µm].
    pub fn supply_current(&self, moment: &Moment) -> f64 {
        summed(&self.supply, moment)
    }

    /// Let time run; `see` meets every new moment.
    pub fn run(
        &mut self,
        feeds: &Feeds,
        moment: &mut Moment,
        end: f64,
        keeper: &mut dyn Keeper,
        see: &mut dyn FnMut(&Moment),
    ) -> Result<(), Halt> {
        self.run_until(feeds, moment, end, keeper, &mut |m| {
            see(m);
            Watch::GoOn
        })
    }

    /// The same, until `see` has seen enough.
    fn run_until(
        &mut self,
        feeds: &Feeds,
        moment: &mut Moment,
        end: f64,
        keeper: &mut dyn Keeper,
        see: &mut dyn FnMut(&Moment) -> Watch,
    ) -> Result<(), Halt> {
        let mut interrupted = false;
        let curve = Curve::default();
        let work = self.system.work;
        let ran = run_time(&mut self.system, feeds, moment, end, &self.params, &mut |m| {
            let seen = see(m);
            let standing = Standing { curve: &curve, folds: &[], fields: &[], work, done: 0.0 };
            interrupted = keeper.point(&standing) == Next::Interrupt;
            if interrupted { Watch::Stop } else { seen }
        });
        match ran {
            _ if interrupted => Err(Halt::Interrupted),
            Err(e) => Err(Halt::Failed(e.to_string())),
            Ok(()) => Ok(()),
        }
    }

    /// Wait under `feeds` until the supply current is one state's or the other's: after the
    /// settling time, or in a search as soon as it has stayed near.
    pub fn judge(
        &mut self,
        feeds: &Feeds,
        moment: &mut Moment,
        keeper: &mut dyn Keeper,
        trace: &mut TimeTrace,
    ) -> Result<Ended, Halt> {
        let begun = moment.time;
        let on = match &self.on {
            Ok(on) => *on,
            Err(why) => return Ok(Ended::Open(why.clone())),
        };
        let sides = Sides { off: self.off, on };
        let (mut span, supply) = (self.settle, self.supply.clone());
        let (searching, earliest) = (self.searching, EARLIEST * self.settle);
        // Since when it has been near which state, as time since the stimulus.
        let mut since: Option<(Ended, f64)> = None;
        for _ in 0..DOUBLINGS {
            let mut see = |m: &Moment| {
                trace.keep(m);
                let (passed, near) = (m.time - begun, sides.near(summed(&supply, m)));
                let same = matches!((&since, &near), (Some((a, _)), Some(b)) if a == b);
                if !same {
                    since = near.map(|state| (state, passed.max(earliest)));
                }
                let stayed = since.as_ref().is_some_and(|(_, from)| passed >= STAYED * from);
                if searching && stayed { Watch::Stop } else { Watch::GoOn }
            };
            self.run_until(feeds, moment, begun + span, keeper, &mut see)?;
            if let Some(ended) = sides.near(self.supply_current(moment)) {
                return Ok(ended);
            }
            span *= 2.0;
        }
        let now = self.supply_current(moment);
        Ok(Ended::Open(format!(
            "{span:.1e} s after the stimulus the supply current is {now:.3e} A/µm, neither the on-state's {on:.3e} nor the off-state's {:.3e}",
            self.off
        )))
    }
}

fn summed(supply: &[usize], moment: &Moment) -> f64 {
    supply.iter().filter_map(|&k| moment.at_terminals.current.get(k)).sum()
}

type OnState = (Found<f64>, Option<String>, crate::trace::Work);

/// Supply current of the stable state beyond the holding point at `v`, by following the
/// S-curve of the supply's terminals up to its third crossing of `v`.
fn on_state(
    setup: &Setup,
    device: &Device,
    equilibrium: &State,
    v: f64,
    keeper: &mut dyn Keeper,
) -> Result<OnState, Halt> {
    let failed = |e: String| Halt::Failed(format!("the S-curve could not be started: {e}"));
    let (_, mut state) = ramp(device, equilibrium, setup.ramp(Some(0.0)), setup.largest_bias(None))
        .map_err(failed)?;
    let mut system = System::new(device, setup.driven()).map_err(|e| failed(e.to_string()))?;
    let mut lambda = [0.0; 2];
    system
        .newton(&mut state, &mut lambda, &Constraint::Voltage(0.0))
        .map_err(|e| failed(e.to_string()))?;
    let start = Start::At { state: Box::new(state), lambda, towards: vec![1.0, 0.0] };
    let params = TraceParams { level: Some(v), ..TraceParams::default() };
    let crossings = |s: &Standing| s.fields.iter().filter(|f| f.label == "crossing").count();
    let stop = Stop { current: Some(HIGHEST), voltage: None };
    let branch = follow(
        &mut system,
        start,
        stop,
        &params,
        &|s| crossings(s) >= 3,
        &mut NoCheckpoint(keeper),
    )
    .map_err(|e| failed(e.to_string()))?;
    let mut unknown = None;
    let on = match (branch.crossings.get(2), &branch.end) {
        (Some(third), _) => Ok(third.current),
        (None, End::Interrupted) => return Err(Halt::Interrupted),
        // It came down through the supply and has not risen to it again.
        (None, End::Reached) if branch.crossings.len() == 2 => {
            unknown = Some(format!(
                "the on-state at {v} V carries more than {HIGHEST:.0e} A/µm, the most that the search for it follows: what the stimulus ends in cannot be told"
            ));
            Err(unknown.clone().unwrap_or_default())
        }
        (None, End::Reached) => Err(format!(
            "no on-state: the search for it follows the S-curve up to {HIGHEST:.0e} A/µm, and it does not come back to {v} V"
        )),
        (None, End::Stalled(why)) => {
            unknown = Some(format!("whether an on-state exists at {v} V is not known: {why}"));
            Err(unknown.clone().unwrap_or_default())
        }
    };
    Ok((on, unknown, branch.work))
}

/// Tells of points, but keeps no checkpoint: a transient begins anew if it was interrupted.
pub(super) struct NoCheckpoint<'k>(pub &'k mut dyn Keeper);

impl Keeper for NoCheckpoint<'_> {
    fn point(&mut self, standing: &Standing) -> Next {
        self.0.point(standing)
    }

    fn checkpoint(&mut self, _: &Standing, _: &crate::trace::Snapshot) -> Result<(), String> {
        Ok(())
    }
}
