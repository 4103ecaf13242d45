//! What terminals are fed with over time: piecewise-linear sources, and pairs from outside.

use crate::discretize::{Circuit, Device, State, Tying};

/// Piecewise linear in time; constant before the first corner and after the last.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Wave {
    /// [s], growing.
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
    /// [V] behind a resistance [Ω·µm].
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
    /// When it begins, and its time constant [s].
    pub start: f64,
    pub decay: f64,
}

/// Everything from outside while time runs.
#[derive(Debug, Clone, PartialEq)]
pub struct Feeds {
    /// By contact.
    pub terminals: Vec<Feed>,
    pub shower: Option<Shower>,
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

    /// Outside voltage of each contact [V] at `time`, the device being at `state`.
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
