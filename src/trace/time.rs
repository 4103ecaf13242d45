//! Time integration by TR-BDF2 with control of the local error.
//!
//! A step h is a trapezoidal stage over γh and a stage of the second backward difference
//! to its end, γ = 2 − √2, which makes both matrices equal in kind: R. E. Bank,
//! W. M. Coughran, W. Fichtner, E. H. Grosse, D. J. Rose, R. K. Smith, IEEE Trans.
//! Electron Devices 32 (1985) 1992. Their difference of rates estimates the error. After a
//! corner of a source one small implicit Euler step finds the new displacement currents.
//! Poisson's equation holds at every stage.

use crate::discretize::{Change, Device, Flowing, Stage, State, Tie, Words, add_words};
use crate::solve::{NewtonError, Outside, Staged, System};

use super::model::TerminalValues;
use super::time_feed::{Branches, Feeds, Leap};
use super::time_ledger::Ledger;

/// γ = 2 − √2.
pub const GAMMA: f64 = 2.0 - std::f64::consts::SQRT_2;

/// How time is stepped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeParams {
    /// Local error of a step: root mean square over the nodes of δn/(n + p + floor), and of
    /// the terminals' voltages over a volt.
    pub tolerance: f64,
    /// [cm⁻³]: fewer carriers than these do not matter.
    pub floor: f64,
    /// Longest first step after a corner \[s\].
    pub first: f64,
    /// Longest step \[s\].
    pub longest: f64,
    /// Steps of this length without control, corners apart \[s\].
    pub fixed: Option<f64>,
    /// Steps before giving up.
    pub steps: usize,
}

impl Default for TimeParams {
    fn default() -> Self {
        TimeParams {
            tolerance: 1e-3,
            floor: 1e14,
            first: 1e-12,
            longest: f64::INFINITY,
            fixed: None,
            steps: 5000,
        }
    }
}

/// Where a transient stands; a copy of it is where another may begin.
#[derive(Debug, Clone)]
pub struct Moment {
    /// \[s\]
    pub time: f64,
    pub state: State,
    pub flowing: Flowing,
    /// At the terminals, displacement included.
    pub at_terminals: TerminalValues,
    /// Currents of the sources: the terminals' and those of their capacitances.
    pub branches: Branches,
    /// Since the first moment.
    pub ledger: Ledger,
    /// Newton steps that led here from the moment before.
    pub newton: u32,
    /// Up to two earlier states and how long ago they were [s], the later first.
    before: Vec<(State, f64)>,
    /// Length that the next step may have [s]; 0 if unknown.
    step: f64,
    /// A source has just turned.
    corner: bool,
}

/// Why time stopped.
#[derive(Debug, Clone, thiserror::Error)]
pub enum TimeError {
    #[error(
        "the transient could not go on from {time:.6e} s: {cause}; the step was cut down to {step:.1e} s"
    )]
    Stuck { time: f64, step: f64, cause: NewtonError },
    #[error("{end:.3e} s not reached within {steps} steps; the transient stands at {time:.6e} s")]
    Steps { time: f64, end: f64, steps: usize },
}

impl Moment {
    /// The beginning: a stationary state under the feeds at `time`.
    pub fn stationary(system: &mut System, feeds: &Feeds, time: f64, state: State) -> Moment {
        let device = system.device;
        system.circuit = feeds.circuit(time);
        system.assembly.evaluate(device, &state, false);
        let none = Change::none(device);
        let stage = Stage { from: &state, alpha: 0.0, history: &none, generation: &[] };
        let flowing = stage.add(device, &state, &mut system.assembly, false);
        let staged = Staged { flowing, ..Staged::default() };
        let at_terminals = TerminalValues {
            voltage: feeds.outside(device, &state, time),
            current: staged.currents(),
        };
        Moment {
            time,
            branches: Branches {
                rate: vec![0.0; at_terminals.current.len()],
                current: at_terminals.current.clone(),
            },
            ledger: Ledger::new(device),
            state,
            flowing: staged.flowing,
            at_terminals,
            newton: 0,
            before: Vec::new(),
            step: 0.0,
            corner: true,
        }
    }

    /// The feeds are others from here on.
    pub fn turn(&mut self) {
        self.corner = true;
        self.before.clear();
    }
}

/// What to do after a moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Watch {
    GoOn,
    Stop,
}

/// One step tried.
struct Tried {
    state: State,
    staged: Staged,
    branches: Branches,
    before: Vec<(State, f64)>,
    ledger: Ledger,
    error: f64,
    newton: u32,
}

/// Let time run from `moment` to `end`, all corners of the feeds hit; `watch` sees every
/// new moment. Ends early where it says so. On an error `moment` is the last one solved.
pub fn run_time(
    system: &mut System,
    feeds: &Feeds,
    moment: &mut Moment,
    end: f64,
    params: &TimeParams,
    watch: &mut dyn FnMut(&Moment) -> Watch,
) -> Result<(), TimeError> {
    let mut steps = 0;
    while moment.time < end {
        let next = feeds.next_corner(moment.time, end);
        let left = next - moment.time;
        let mut h = if let Some(fixed) = params.fixed {
            fixed
        } else if moment.corner {
            let known = if moment.step > 0.0 { moment.step } else { f64::INFINITY };
            params.first.min(1e-2 * left).min(known)
        } else {
            moment.step
        };
        h = h.min(params.longest);
        let mut work = 0;
        loop {
            if steps >= params.steps {
                return Err(TimeError::Steps { time: moment.time, end, steps });
            }
            steps += 1;
            let lands = h >= left * (1.0 - 1e-9);
            if lands {
                h = left;
            } else if params.fixed.is_none() && 2.0 * h > left {
                h = 0.5 * left;
            }
            let steps_before = system.work.newton_steps;
            let tried = attempt(system, feeds, moment, h, params);
            work += (system.work.newton_steps - steps_before) as u32;
            let shortest = 1e-13 * moment.time.abs().max(1e-9);
            match tried {
                Ok(tried) if params.fixed.is_some() || tried.error <= 1.0 => {
                    let order = if moment.corner { 2.0 } else { 3.0 };
                    let factor = 0.85 * tried.error.max(1e-6).powf(-1.0 / order);
                    let slow = if tried.newton > 10 { 1.0 } else { 4.0 };
                    accept(
                        system,
                        feeds,
                        moment,
                        tried,
                        if lands { next } else { moment.time + h },
                    );
                    moment.newton = work;
                    moment.step = h * factor.clamp(0.2, slow);
                    moment.corner = lands && next < end;
                    if moment.corner {
                        moment.turn();
                    }
                    break;
                }
                Ok(tried) => {
                    system.work.halvings += 1;
                    let order = if moment.corner { 2.0 } else { 3.0 };
                    h *= (0.8 * tried.error.powf(-1.0 / order)).clamp(0.1, 0.7);
                }
                Err(cause) => {
                    system.work.halvings += 1;
                    moment.before.clear();
                    h *= 0.25;
                    if h < shortest {
                        return Err(TimeError::Stuck { time: moment.time, step: h, cause });
                    }
                }
            }
        }
        if watch(moment) == Watch::Stop {
            return Ok(());
        }
    }
    Ok(())
}

fn accept(system: &mut System, feeds: &Feeds, moment: &mut Moment, tried: Tried, time: f64) {
    moment.time = time;
    moment.at_terminals = TerminalValues {
        voltage: feeds.outside(system.device, &tried.state, time),
        current: tried.staged.currents(),
    };
    moment.state = tried.state;
    moment.flowing = tried.staged.flowing;
    moment.branches = tried.branches;
    moment.before = tried.before;
    moment.ledger = tried.ledger;
}

/// A step of length `h` from `moment`.
fn attempt(
    system: &mut System,
    feeds: &Feeds,
    moment: &Moment,
    h: f64,
    params: &TimeParams,
) -> Result<Tried, NewtonError> {
    let device = system.device;
    let (t, here) = (moment.time, &moment.state);
    let mut ledger = moment.ledger.clone();
    if moment.corner {
        let none = Change::none(device);
        let mut state = here.clone();
        let pairs = feeds.generation(t + h);
        let stage = Stage { from: here, alpha: 1.0 / h, history: &none, generation: &pairs };
        let leap = Leap { alpha: 1.0 / h, from: &moment.branches.current, history: &[] };
        let (staged, branches) = solve(system, feeds, &mut state, &stage, t + h, &leap, false)?;
        // Half the change of the carriers' rates: they do not jump at a corner.
        let rates = moment.flowing.rate.with(&staged.flowing.rate, |a, b| 0.5 * h * (b - a));
        let carriers = Change { volts: Vec::new(), ..rates };
        let error = scaled(device, &carriers, here, &state, params);
        ledger.add(&[(h, &staged.flowing)]);
        let newton = staged.info.steps;
        let before = vec![(here.clone(), h)];
        return Ok(Tried { state, staged, branches, before, ledger, error, newton });
    }
    // Trapezoidal to the middle.
    let middle_time = t + GAMMA * h;
    let past: Vec<(&State, f64)> = moment.before.iter().map(|(s, ago)| (s, *ago)).collect();
    let mut middle = ahead(device, here, &past, GAMMA * h);
    let alpha = 2.0 / (GAMMA * h);
    let past = moment.flowing.rate.with(&moment.flowing.rate, |r, _| -r);
    let pairs = feeds.generation(middle_time);
    let stage = Stage { from: here, alpha, history: &past, generation: &pairs };
    let now = &moment.branches;
    let history: Vec<f64> = now.rate.iter().map(|r| -r).collect();
    let leap = Leap { alpha, from: &now.current, history: &history };
    let (half, halfway) = solve(system, feeds, &mut middle, &stage, middle_time, &leap, false)?;
    // Backward differences over both parts to the end.
    let alpha = (2.0 - GAMMA) / ((1.0 - GAMMA) * h);
    let share = (1.0 - GAMMA).powi(2) / (GAMMA * (2.0 - GAMMA));
    let moved = Change::between(device, here, &middle);
    let past = moved.with(&moved, |m, _| -alpha * share * m);
    let mut known = vec![(here, GAMMA * h)];
    known.extend(moment.before.first().map(|(s, ago)| (s, ago + GAMMA * h)));
    let mut state = ahead(device, &middle, &known, (1.0 - GAMMA) * h);
    let pairs = feeds.generation(t + h);
    let stage = Stage { from: &middle, alpha, history: &past, generation: &pairs };
    let moved = halfway.current.iter().zip(&now.current).map(|(mid, now)| mid - now);
    let history: Vec<f64> = moved.map(|m| -alpha * share * m).collect();
    let leap = Leap { alpha, from: &halfway.current, history: &history };
    let (staged, branches) = solve(system, feeds, &mut state, &stage, t + h, &leap, true)?;
    // Third difference of the solution by its rates.
    let k_of_third = (-3.0 * GAMMA * GAMMA + 4.0 * GAMMA - 2.0) / (12.0 * (2.0 - GAMMA));
    let (a, b, c) = (1.0 / GAMMA, 1.0 / (GAMMA * (1.0 - GAMMA)), 1.0 / (1.0 - GAMMA));
    let rates = moment.flowing.rate.with(&half.flowing.rate, |now, mid| a * now - b * mid);
    let rates = rates.with(&staged.flowing.rate, |ab, end| 2.0 * k_of_third * h * (ab + c * end));
    let mut error = scaled(device, &rates, here, &state, params);
    for (k, rate) in now.rate.iter().enumerate() {
        let load = feeds.load(k);
        if load.inductance > 0.0 {
            // As a voltage: through the impedance that the circuit rings with.
            let impedance = (load.inductance / load.capacitance.max(LEAST_CAPACITANCE)).sqrt();
            let rates = a * rate - b * halfway.rate[k] + c * branches.rate[k];
            error = error.max((2.0 * k_of_third * h * rates * impedance).abs() / params.tolerance);
        }
    }
    let w = h / (2.0 * (2.0 - GAMMA));
    let last = h * (1.0 - GAMMA) / (2.0 - GAMMA);
    ledger.add(&[(w, &moment.flowing), (w, &half.flowing), (last, &staged.flowing)]);
    let newton = half.info.steps + staged.info.steps;
    Ok(Tried {
        state,
        staged,
        branches,
        before: vec![(middle, (1.0 - GAMMA) * h), (here.clone(), h)],
        ledger,
        error,
        newton,
    })
}

fn solve(
    system: &mut System,
    feeds: &Feeds,
    state: &mut State,
    stage: &Stage,
    time: f64,
    leap: &Leap,
    again: bool,
) -> Result<(Staged, Branches), NewtonError> {
    system.circuit = feeds.staged_circuit(time, leap);
    let (forced, capacitance) = (feeds.forced(time), feeds.capacitances());
    let outside = Outside { forced: &forced, capacitance: &capacitance };
    let staged = system.staged(state, stage, &outside, again)?;
    let branches = feeds.branches(&staged.currents(), &staged.flowing.rate.volts, leap);
    Ok((staged, branches))
}

/// Of a terminal by itself [F/µm], for the impedance of an inductance without a
/// capacitance.
const LEAST_CAPACITANCE: f64 = 1e-15;

/// Largest change of ln n that is guessed, and the least ζ.
const FARTHEST: f64 = 5.0;
const LEAST: f64 = -200.0;

/// The state `later` than `here` [s], on the parabola (the line) through two (one) earlier
/// states given with how long before `here` they were.
fn ahead(device: &Device, here: &State, earlier: &[(&State, f64)], later: f64) -> State {
    // Lagrange's weights; that of `here` makes their sum one.
    let weights = match *earlier {
        [] => return here.clone(),
        [(_, a)] => [-later / a, 0.0],
        [(_, a), (_, b), ..] => {
            [-later * (later + b) / (a * (b - a)), later * (later + a) / (b * (b - a))]
        }
    };
    let step = |of: &dyn Fn(&State) -> &Words, i: usize| {
        let each = earlier.iter().zip(weights);
        each.map(|((s, _), w)| w * of(s).difference_to(of(here), i)).sum::<f64>()
    };
    let mut out = here.clone();
    for k in 0..device.contacts.len() {
        let moved = step(&|s| &s.volts, k);
        out.set_contact(device, k, add_words(here.volts.get(k), moved));
    }
    for i in 0..device.nodes() {
        if device.ties[i] != Tie::Free {
            continue;
        }
        let psi = step(&|s| &s.psi, i);
        out.psi.add(i, psi);
        if device.has_heat() {
            out.heat(device, i, step(&|s| &s.temperature, i));
        }
        if !device.has_silicon(i) {
            continue;
        }
        let vt = here.local(device, i).vt;
        let zeta = here.zeta(device, i);
        let within = |change: f64, zeta: f64| {
            let low = (LEAST - zeta).clamp(-FARTHEST, 0.0);
            vt * (change / vt).clamp(low, FARTHEST)
        };
        let up = within(psi - step(&|s| &s.phi_n, i), zeta[0]);
        let down = within(step(&|s| &s.phi_p, i) - psi, zeta[1]);
        out.phi_n.add(i, psi - up);
        out.phi_p.add(i, psi + down);
    }
    out.refresh(device);
    out
}

/// A local error over what is allowed.
fn scaled(device: &Device, error: &Change, from: &State, to: &State, params: &TimeParams) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for i in 0..device.nodes() {
        if device.has_silicon(i) && device.ties[i] == Tie::Free {
            let size = |s: &State| s.n[i] + s.p[i];
            let scale = size(from).max(size(to)) + params.floor;
            sum += (error.n[i] / scale).powi(2) + (error.p[i] / scale).powi(2);
            count += 1.0;
        }
    }
    let volts = error.volts.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    let heat = error.temperature.iter().fold(0.0f64, |m, t| m.max(t.abs())) / 100.0;
    let carriers = if count > 0.0 { f64::sqrt(sum / count) } else { 0.0 };
    carriers.max(volts).max(heat) / params.tolerance
}
