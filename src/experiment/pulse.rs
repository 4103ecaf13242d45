//! A pulse of current or voltage at one terminal: does it latch, from which width or height
//! on, and the shortest latching width over the height.

use crate::case::{Case, Experiment, Forced, Shape, Wanted};
use crate::discretize::{Device, State};
use crate::trace::{Feed, Feeds, Keeper, Moment, Wave};

use super::limit::{Limit, limit, limit_about};
use super::outcome::Outcome;
use super::poise::{Ended, Halt, Poise, Standby, TimeTrace};
use super::setup::SetupError;
use super::sheet::Sheet;
use super::time_sheet::{named, stationary, traced, work_of};

/// Moments of a plateau are kept for shorter pulses at this ratio of their times.
const SPACING: f64 = 1.12;
/// Time in which a source is joined to its terminal where the pulse has no edge for it [s].
const JOIN: f64 = 1e-10;

/// The terminal, how it stands outside the pulse, and what the pulse forces.
struct Pulse<'p, 'a> {
    poise: &'p mut Poise<'a>,
    into: usize,
    forced: Forced,
}

/// A trapezoid's edge [s] and height [A/µm], and where its plateau may stop.
struct Plateau {
    edge: f64,
    height: f64,
    moments: Vec<Moment>,
    /// All the way along the longest plateau.
    trace: TimeTrace,
}

/// Run a `pulse` experiment.
pub fn pulse(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    pulse: (&str, &Shape, Option<f64>),
    keeper: &mut dyn Keeper,
) -> Result<Outcome, SetupError> {
    let (into, shape, settle) = pulse;
    let word = experiment.kind.word();
    let contact = device.contact(into).ok_or_else(|| SetupError::NoTerminal {
        experiment: word,
        name: into.to_string(),
        known: device.contacts.iter().map(|c| c.name.as_str()).collect::<Vec<_>>().join(", "),
    })?;
    let is_held = experiment.bias.iter().any(|b| b.terminal == into);
    let standby = Standby::of_bias(experiment, (!is_held).then_some(into), settle)?;
    let drive = vec![into.to_string()];
    let poise = Poise::new(case, device, equilibrium, experiment, &standby, keeper)?;
    let mut poise = match poise {
        Ok(poise) => poise,
        Err(halt) => return Ok(named(device, drive, work_of(None), Err(halt))),
    };
    let forced = match shape {
        Shape::Corners { forced, .. } => *forced,
        _ => Forced::Current,
    };
    let sheet = Pulse { poise: &mut poise, into: contact, forced }.answer(shape, keeper);
    Ok(named(device, drive, poise.system.work, sheet))
}

/// Force a current given by its corners, times \[s\] and values \[A/µm\], on the terminal
/// `into` of a structure at its supply, and wait for what it ends in.
pub(super) fn forced_current(
    poise: &mut Poise,
    into: &str,
    (times, values): (&[f64], &[f64]),
    keeper: &mut dyn Keeper,
    trace: &mut TimeTrace,
) -> Result<Ended, Halt> {
    let Some(into) = poise.device.contact(into) else {
        return Err(Halt::Failed(format!("no terminal is called '{into}'")));
    };
    let mut pulse = Pulse { poise, into, forced: Forced::Current };
    pulse.corners(times, values, keeper, trace)
}

impl Pulse<'_, '_> {
    fn answer(&mut self, shape: &Shape, keeper: &mut dyn Keeper) -> Result<Sheet, Halt> {
        let sheet = stationary(Sheet::new(), self.poise);
        let (mut trace, device) = (TimeTrace::default(), self.poise.device);
        if let Err(why) = self.poise.on.clone() {
            let answer = if self.poise.unknown.is_some() { Err(why.clone()) } else { Ok(false) };
            return Ok(missing(sheet.yes_no("latches", "after the pulse", answer), shape, &why));
        }
        let sheet = match shape {
            Shape::Corners { times, values, .. } => {
                let ended = self.corners(times, values, keeper, &mut trace)?;
                sheet.yes_no("latches", "after the pulse", said(ended))
            }
            Shape::Trapezoid { height: Wanted::Given(h), width: Wanted::Given(w), edge } => {
                let times = [0.0, *edge, edge + w, 2.0 * edge + w];
                let ended = self.corners(&times, &[0.0, *h, *h, 0.0], keeper, &mut trace)?;
                sheet.yes_no("latches", "after the pulse", said(ended))
            }
            Shape::Trapezoid { height: Wanted::Between { from, to }, width, edge } => {
                let w = match width {
                    Wanted::Given(w) => *w,
                    Wanted::Between { to, .. } => *to,
                };
                self.poise.searching = true;
                let found = limit(*from, *to, &mut |h| {
                    let times = [0.0, *edge, edge + w, 2.0 * edge + w];
                    let mut own = TimeTrace::default();
                    let ended = self.corners(&times, &[0.0, h, h, 0.0], keeper, &mut own)?;
                    keep_latched(&ended, own, &mut trace);
                    Ok(ended)
                })?;
                let critical = Sheet::new().number(
                    "current_A_per_um",
                    "A/um",
                    "smallest height that latches",
                    found.latching.clone(),
                );
                sheet
                    .yes_no("latches", "some height in the range", any(&found))
                    .group("critical", "the limit", critical)
                    .number("largest_safe_A_per_um", "A/um", "height", found.safe)
            }
            Shape::Trapezoid { height: Wanted::Given(h), width, edge } => {
                let found = self.width(*h, (*width, None), *edge, keeper, &mut trace)?;
                sheet
                    .yes_no("latches", "some width in the range", any(&found))
                    .number("longest_safe_s", "s", "width", found.safe)
                    .number("shortest_latching_s", "s", "width", found.latching)
            }
            Shape::Widths { heights, width, edge } => {
                let (mut safe, mut latching) = (Vec::new(), Vec::new());
                let mut latches = false;
                // One charge decides where pulses are short: the next width is guessed.
                let mut charge = None;
                for &h in heights {
                    let guess = charge.map(|q: f64| (q / h).abs());
                    let found = self.width(h, (*width, guess), *edge, keeper, &mut trace)?;
                    latches |= found.latching.is_ok();
                    charge = found.latching.as_ref().ok().map(|w| w * h).or(charge);
                    safe.push(found.safe.unwrap_or(f64::NAN));
                    latching.push(found.latching.unwrap_or(f64::NAN));
                }
                let curve = Sheet::new()
                    .column("amplitude_A_per_um", "A/um", "height of the pulse", heights.clone())
                    .column("width_s", "s", "shortest that latches", latching)
                    .column("safe_width_s", "s", "longest that does not", safe);
                sheet.yes_no("latches", "some width at some height", Ok(latches)).group(
                    "curve",
                    "amplitude against width",
                    curve,
                )
            }
        };
        let said = trace.imbalance / trace.largest.max(1e-14);
        Ok(sheet
            .number(
                "current_balance",
                "1",
                "largest |sum of currents| over largest |current|",
                Ok(said),
            )
            .group("trace", "at the terminals over time", traced(device, &trace)))
    }

    /// A pulse given by its corners, from its first to its last, and what it ends in.
    fn corners(
        &mut self,
        times: &[f64],
        values: &[f64],
        keeper: &mut dyn Keeper,
        trace: &mut TimeTrace,
    ) -> Result<Ended, Halt> {
        let wave = Wave { times: times.to_vec(), values: values.to_vec() };
        let mut moment = self.poise.quiet.clone();
        trace.keep(&moment);
        let (start, end) = match times {
            [first, .., last] => (*first, *last),
            _ => return Ok(Ended::Open("the pulse has no length".to_string())),
        };
        if start > 0.0 {
            let held = self.poise.held.clone();
            self.poise.run(&held, &mut moment, start, keeper, &mut |m| trace.keep(m))?;
            moment.turn();
        }
        let feeds = self.pulsed(wave, &moment);
        self.poise.run(&feeds, &mut moment, end, keeper, &mut |m| trace.keep(m))?;
        let last = times.iter().rev().take(2).fold(0.0, |d, t| t - d).abs();
        self.released(&mut moment, last.max(JOIN).min(end), keeper, trace)
    }

    /// Sources while the pulse acts. A source of voltage is joined within [`JOIN`].
    fn pulsed(&self, mut wave: Wave, moment: &Moment) -> Feeds {
        let mut feeds = self.poise.held.clone();
        let Some(feed) = feeds.terminals.get_mut(self.into) else { return feeds };
        *feed = match self.forced {
            Forced::Current => Feed::Current(wave),
            Forced::Voltage => {
                let here = moment.at_terminals.voltage.get(self.into).copied().unwrap_or(0.0);
                let resistance = match feed {
                    Feed::Voltage { resistance, .. } => *resistance,
                    _ => 0.0,
                };
                let (first, second) = (moment.time, wave.times.get(1).copied());
                let join = JOIN.min(0.5 * (second.unwrap_or(f64::INFINITY) - first));
                let at = wave.at(first + join);
                if let (Some(t), Some(v)) = (wave.times.first_mut(), wave.values.first_mut()) {
                    [*t, *v] = [first + join, at];
                }
                wave.times.insert(0, first);
                wave.values.insert(0, here);
                Feed::Voltage { wave, resistance }
            }
        };
        feeds
    }

    /// The terminal as it was before: its source brought back within `join`, or open.
    fn released(
        &mut self,
        moment: &mut Moment,
        join: f64,
        keeper: &mut dyn Keeper,
        trace: &mut TimeTrace,
    ) -> Result<Ended, Halt> {
        let mut feeds = self.poise.held.clone();
        moment.turn();
        if let Some(Feed::Voltage { wave, resistance }) = feeds.terminals.get_mut(self.into) {
            let held = wave.at(0.0);
            // From the voltage outside the resistance that the present current asks for.
            let inside = moment.state.volts.hi.get(self.into).copied().unwrap_or(held);
            let current = moment.branches.current.get(self.into).copied().unwrap_or(0.0);
            let now = inside + *resistance * current;
            *wave = Wave::ramp(moment.time, moment.time + join, now, held);
            let end = moment.time + join;
            self.poise.run(&feeds, moment, end, keeper, &mut |m| trace.keep(m))?;
            moment.turn();
        }
        self.poise.judge(&feeds, moment, keeper, trace)
    }

    /// The limit in width at one height. All pulses share their way up to the plateau's end.
    fn width(
        &mut self,
        height: f64,
        (width, guess): (Wanted, Option<f64>),
        edge: f64,
        keeper: &mut dyn Keeper,
        trace: &mut TimeTrace,
    ) -> Result<Limit, Halt> {
        let (from, to) = match width {
            Wanted::Between { from, to } => (from, to),
            Wanted::Given(w) => (w, w),
        };
        let mut plateau =
            Plateau { edge, height, moments: Vec::new(), trace: TimeTrace::default() };
        self.poise.searching = true;
        let mut tried = |w: f64| {
            let mut own = TimeTrace::default();
            let ended = self.plateau(&mut plateau, w, keeper, &mut own)?;
            keep_latched(&ended, own, trace);
            Ok(ended)
        };
        match guess {
            Some(guess) => limit_about(guess, from, to, &mut tried),
            None => limit(from, to, &mut tried),
        }
    }

    fn plateau(
        &mut self,
        plateau: &mut Plateau,
        width: f64,
        keeper: &mut dyn Keeper,
        trace: &mut TimeTrace,
    ) -> Result<Ended, Halt> {
        let (edge, height) = (plateau.edge, plateau.height);
        let fall = edge + width;
        let end = fall + edge;
        let known = plateau.moments.iter().rev().find(|m| m.time <= fall);
        let mut moment = known.unwrap_or(&self.poise.quiet).clone();
        if plateau.trace.time.is_empty() {
            plateau.trace.keep(&moment);
        }
        *trace = plateau.trace.until(moment.time);
        let up = self.pulsed(Wave::ramp(0.0, edge, 0.0, height), &moment);
        let (moments, way) = (&mut plateau.moments, &mut plateau.trace);
        self.poise.run(&up, &mut moment, fall, keeper, &mut |m| {
            trace.keep(m);
            if way.time.last().is_none_or(|t| *t < m.time) {
                way.keep(m);
            }
            let last = moments.last().map_or(0.0, |l: &Moment| l.time);
            if m.time >= edge && m.time > SPACING * last {
                moments.push(m.clone());
            }
        })?;
        moment.turn();
        let down = self.pulsed(Wave::ramp(fall, end, height, 0.0), &moment);
        self.poise.run(&down, &mut moment, end, keeper, &mut |m| trace.keep(m))?;
        self.released(&mut moment, edge, keeper, trace)
    }
}

/// Figures that do not exist for want of an on-state.
fn missing(sheet: Sheet, shape: &Shape, why: &str) -> Sheet {
    let none = || Err(why.to_string());
    match shape {
        Shape::Corners { .. } => sheet.text("reason", "of the answer", why),
        Shape::Trapezoid { height: Wanted::Between { .. }, .. } => sheet.group(
            "critical",
            "the limit",
            Sheet::new().number("current_A_per_um", "A/um", "smallest height that latches", none()),
        ),
        Shape::Trapezoid { width: Wanted::Between { .. }, .. } => sheet
            .number("longest_safe_s", "s", "width", none())
            .number("shortest_latching_s", "s", "width", none()),
        Shape::Trapezoid { .. } => sheet.text("reason", "of the answer", why),
        Shape::Widths { heights, .. } => {
            let curve = Sheet::new()
                .column("amplitude_A_per_um", "A/um", "height of the pulse", heights.clone())
                .column("width_s", "s", "shortest that latches", vec![f64::NAN; heights.len()]);
            sheet.text("reason", "of the answer", why).group(
                "curve",
                "amplitude against width",
                curve,
            )
        }
    }
}

/// An end as an answer.
pub(super) fn said(ended: Ended) -> Result<bool, String> {
    match ended {
        Ended::Latched => Ok(true),
        Ended::Safe => Ok(false),
        Ended::Open(why) => Err(why),
    }
}

/// Whether anything in the range latches.
pub(super) fn any(limit: &Limit) -> Result<bool, String> {
    match (&limit.latching, &limit.safe) {
        (Ok(_), _) => Ok(true),
        (Err(_), Ok(_)) => Ok(false),
        (Err(why), Err(_)) => Err(why.clone()),
    }
}

/// The trace of the last stimulus that latched is shown, of the first if none did.
pub(super) fn keep_latched(ended: &Ended, own: TimeTrace, kept: &mut TimeTrace) {
    if *ended == Ended::Latched || kept.time.is_empty() {
        *kept = own;
    }
}
