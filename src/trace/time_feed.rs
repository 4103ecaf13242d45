//! What terminals are fed with over time: piecewise-linear sources, and pairs from outside.

use crate::discretize::{Circuit, Device, State, Tying};

/// Piecewise linear in time; constant before the first corner and after the last.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Wave {
    /// \[s\], growing.
    pub times: Vec<f64>,
    /// [V or A/µm], one per time.
    pub values: Vec<f64>,
}

impl Wave {
    /// One value at all times.
    pub fn constant(value: f64) -> Wave {
        Wave { times: vec![0.0], values: vec![value] }
    }

    /// From `from` at `start` to `to` at `end`.
    pub fn ramp(start: f64, end: f64, from: f64, to: f64) -> Wave {
        Wave { times: vec![start, end], values: vec![from, to] }
    }

    /// Its value at `time`; 0 for a wave of no corner.
    pub fn at(&self, time: f64) -> f64 {
        let next = self.times.partition_point(|&t| t <= time);
        let value = |k: usize| self.values.get(k).copied().unwrap_or(0.0);
        match (next.checked_sub(1), self.times.get(next)) {
            (None, _) => value(0),
            (Some(last), None) => value(last),
            (Some(last), Some(&end)) => {
                let start = self.times[last];
                let share = (time - start) / (end - start);
                value(last) + share * (value(next) - value(last))
            }
        }
    }
}

/// The source of one terminal.
#[derive(Debug, Clone, PartialEq)]
pub enum Feed {
    /// \[V\] behind a resistance [Ω·µm].
    Voltage { wave: Wave, resistance: f64 },
    /// [A/µm] into the device, displacement included; zero is an open terminal.
    Current(Wave),
    /// A gate at the outside voltage of another contact.
    Follows(usize),
}

impl Feed {
    /// The wave, if it has one.
    pub fn wave(&self) -> Option<&Wave> {
        match self {
            Feed::Voltage { wave, .. } | Feed::Current(wave) => Some(wave),
            Feed::Follows(_) => None,
        }
    }
}

/// Pairs of electrons and holes made from outside, dying away exponentially.
#[derive(Debug, Clone, PartialEq)]
pub struct Shower {
    /// All pairs that are made, by node [cm⁻³].
    pub pairs: Vec<f64>,
    /// When it begins, and its time constant \[s\].
    pub start: f64,
    pub decay: f64,
}

/// What wiring adds to one terminal: source, resistance and inductance in series, then the
/// terminal with a capacitance to ground.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Load {
    /// [H·µm]
    pub inductance: f64,
    /// [F/µm]
    pub capacitance: f64,
}

/// Everything from outside while time runs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Feeds {
    /// By contact.
    pub terminals: Vec<Feed>,
    pub shower: Option<Shower>,
    /// By contact; those missing have none.
    pub loads: Vec<Load>,
}

/// The currents of the sources [A/µm] and their rates [A/(µm·s)], by contact: an inductance
/// remembers them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Branches {
    pub current: Vec<f64>,
    pub rate: Vec<f64>,
}

/// A stage of integration as the inductances see it: rate = `alpha`·(current − `from`) +
/// `history`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Leap<'a> {
    pub alpha: f64,
    pub from: &'a [f64],
    pub history: &'a [f64],
}

impl Leap<'_> {
    fn rate(&self, k: usize, current: f64) -> f64 {
        let at = |v: &[f64]| v.get(k).copied().unwrap_or(0.0);
        self.alpha * (current - at(self.from)) + at(self.history)
    }
}

impl Feeds {
    /// The circuit at one time; open terminals' currents come beside it.
    pub fn circuit(&self, time: f64) -> Circuit {
        let ties = self.terminals.iter().map(|feed| match feed {
            Feed::Voltage { wave, resistance } => {
                Tying::Source { base: wave.at(time), slope: 0.0, resistance: *resistance }
            }
            Feed::Current(_) => Tying::Open,
            Feed::Follows(leader) => Tying::Follows(*leader),
        });
        Circuit { ties: ties.collect(), drive: vec![0] }
    }

    /// What wiring adds to contact `k`.
    pub fn load(&self, k: usize) -> Load {
        self.loads.get(k).copied().unwrap_or_default()
    }

    /// Capacitances to ground by contact [F/µm].
    pub fn capacitances(&self) -> Vec<f64> {
        (0..self.terminals.len()).map(|k| self.load(k).capacitance).collect()
    }

    /// The circuit of one stage that ends at `time`: an inductance behind its source is a
    /// resistance alpha·L behind another source.
    pub(super) fn staged_circuit(&self, time: f64, leap: &Leap) -> Circuit {
        let mut circuit = self.circuit(time);
        let source = |k: usize| match self.terminals.get(k) {
            Some(Feed::Voltage { wave, .. }) => Some(wave.at(time)),
            _ => None,
        };
        for (k, tie) in circuit.ties.iter_mut().enumerate() {
            match tie {
                Tying::Source { base, resistance, .. } => {
                    let inductance = self.load(k).inductance;
                    *base -= inductance * leap.rate(k, 0.0);
                    *resistance += inductance * leap.alpha;
                }
                // The gate stands at the source itself.
                Tying::Follows(leader) if self.load(*leader).inductance > 0.0 => {
                    if let Some(base) = source(*leader) {
                        *tie = Tying::Source { base, slope: 0.0, resistance: 0.0 };
                    }
                }
                _ => {}
            }
        }
        circuit
    }

    /// Currents of the sources after a stage: the device's `current` and that of the
    /// capacitances, whose voltages change by `volts` per second.
    pub(super) fn branches(&self, current: &[f64], volts: &[f64], leap: &Leap) -> Branches {
        let each = current
            .iter()
            .enumerate()
            .map(|(k, i)| i + self.load(k).capacitance * volts.get(k).copied().unwrap_or(0.0));
        let current: Vec<f64> = each.collect();
        let rate = current.iter().enumerate().map(|(k, i)| leap.rate(k, *i)).collect();
        Branches { current, rate }
    }

    /// Forced current of each contact [A/µm]; 0 where none is.
    pub fn forced(&self, time: f64) -> Vec<f64> {
        let each = self.terminals.iter().map(|feed| match feed {
            Feed::Current(wave) => wave.at(time),
            _ => 0.0,
        });
        each.collect()
    }

    /// Pairs made at each node [cm⁻³ s⁻¹]; empty if none.
    pub fn generation(&self, time: f64) -> Vec<f64> {
        match &self.shower {
            Some(s) if time >= s.start => {
                let rate = (-(time - s.start) / s.decay).exp() / s.decay;
                s.pairs.iter().map(|p| rate * p).collect()
            }
            _ => Vec::new(),
        }
    }

    /// Outside voltage of each contact \[V\] at `time`, the device being at `state`.
    pub fn outside(&self, device: &Device, state: &State, time: f64) -> Vec<f64> {
        let of = |k: usize| match self.terminals.get(k) {
            Some(Feed::Voltage { wave, .. }) => wave.at(time),
            _ => state.volts.hi.get(k).copied().unwrap_or(0.0),
        };
        let each = (0..device.contacts.len()).map(|k| match self.terminals.get(k) {
            Some(Feed::Follows(leader)) => of(*leader),
            _ => of(k),
        });
        each.collect()
    }

    /// The first time after `now` and before `end` at which a slope changes, else `end`.
    pub fn next_corner(&self, now: f64, end: f64) -> f64 {
        let waves = self.terminals.iter().filter_map(Feed::wave).flat_map(|w| &w.times);
        let shower = self.shower.iter().map(|s| &s.start);
        waves.chain(shower).copied().filter(|&t| t > now).fold(end, f64::min)
    }
}
