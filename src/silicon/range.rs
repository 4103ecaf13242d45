//! Where each law was measured, and which points lie outside.

use crate::case::{Avalanche, Dopants, Heat, Laws, Mobility, Narrowing, Saturation};

/// What a range is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Donors + acceptors [cm⁻³].
    Doping,
    /// Acceptors where they outnumber donors [cm⁻³].
    PTypeDoping,
    /// Electric field [V/cm].
    Field,
    /// Lattice temperature \[K\].
    Temperature,
}

/// The range that a law was published for; outside it the formula is used as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PublishedRange {
    /// The law's word.
    pub law: &'static str,
    pub quantity: Quantity,
    /// 0 where the law goes to a known limit, as every mobility does to the lattice's.
    pub low: f64,
    pub high: f64,
}

/// What is known of one point of a solved state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LocalState {
    /// [cm⁻³]
    pub donors: f64,
    pub acceptors: f64,
    /// Magnitude [V/cm].
    pub field: f64,
    /// Lattice temperature \[K\].
    pub temperature: f64,
}

impl LocalState {
    fn value(&self, quantity: Quantity) -> f64 {
        match quantity {
            Quantity::Doping => self.donors + self.acceptors,
            Quantity::PTypeDoping if self.acceptors > self.donors => self.acceptors,
            Quantity::PTypeDoping => 0.0,
            Quantity::Field => self.field,
            Quantity::Temperature => self.temperature,
        }
    }
}

impl Quantity {
    fn with_value(self, v: f64) -> String {
        match self {
            Quantity::Doping => format!("in a doping of {v:.2e} cm^-3"),
            Quantity::PTypeDoping => format!("in p-type silicon of {v:.2e} cm^-3"),
            Quantity::Field => format!("in a field of {v:.2e} V/cm"),
            Quantity::Temperature => format!("at {v:.0} K"),
        }
    }

    fn with_range(self, low: f64, high: f64) -> String {
        let (number, unit): (fn(f64) -> String, _) = match self {
            Quantity::Doping => (|v| format!("{v:.1e}"), "cm^-3"),
            Quantity::PTypeDoping => (|v| format!("{v:.1e}"), "cm^-3, beyond only n-type"),
            Quantity::Field => (|v| format!("{v:.2e}"), "V/cm"),
            Quantity::Temperature => (|v| format!("{v:.0}"), "K"),
        };
        if low > 0.0 {
            format!("{} to {} {unit}", number(low), number(high))
        } else {
            format!("up to {} {unit}", number(high))
        }
    }
}

/// The ranges of the laws in force.
pub fn published_ranges(laws: &Laws) -> Vec<PublishedRange> {
    use Quantity::{Doping, Field, PTypeDoping, Temperature};
    let mut out = Vec::new();
    let mut add = |law: &'static str, quantity: Quantity, low: f64, high: f64| {
        out.push(PublishedRange { law, quantity, low, high });
    };
    // n_i as measured from 77 K (Misiakos, Tsamakis 1993); densities of states to 500 K
    // (Green 1990).
    add("intrinsic", Temperature, 77.0, 500.0);
    let mobility = laws.mobility.word();
    match laws.mobility {
        Mobility::Constant => {}
        // The paper's 300 K are stretched by powers of T from Arora 1982: their range.
        Mobility::Masetti1983 => {
            add(mobility, Doping, 0.0, 5e21);
            add(mobility, Temperature, 250.0, 500.0);
        }
        Mobility::Arora1982 => {
            add(mobility, Doping, 0.0, 1e20);
            add(mobility, Temperature, 250.0, 500.0);
        }
        // From memory.
        Mobility::Klaassen1992 => {
            add(mobility, Doping, 0.0, 5e21);
            add(mobility, Temperature, 200.0, 500.0);
        }
    }
    if laws.saturation == Saturation::Canali1975 {
        add("canali-1975", Field, 0.0, 6e4);
        add("canali-1975", Temperature, 0.0, 430.0);
    }
    if laws.auger {
        add("auger", Doping, 0.0, 1e20);
    }
    let narrowing = laws.narrowing.word();
    match laws.narrowing {
        Narrowing::None => {}
        // Base dopings, from memory.
        Narrowing::Slotboom1977 => add(narrowing, Doping, 0.0, 2.5e19),
        Narrowing::DelAlamo1985 => {
            add(narrowing, Doping, 0.0, 2e20);
            add(narrowing, PTypeDoping, 0.0, 7e17);
        }
        Narrowing::Klaassen1992 => add(narrowing, Doping, 0.0, 1e20),
    }
    let avalanche = laws.avalanche.word();
    match laws.avalanche {
        Avalanche::None => {}
        // Below 1.75e5 V/cm it is an extrapolation too, but what it gives there is small.
        Avalanche::VanOverstraeten1970 => add(avalanche, Field, 0.0, 6e5),
        Avalanche::OkutoCrowell1975 => add(avalanche, Field, 0.0, 1e6),
    }
    if laws.dopants == Dopants::Incomplete {
        // Fitted at 30 to 300 K.
        add("altermatt-2006", Temperature, 30.0, 300.0);
    }
    if laws.heat == Heat::SelfHeating {
        add("glassbrenner-slack-1964", Temperature, 3.0, 1580.0);
    }
    out
}

/// Collects, over many points, the one that lies farthest outside each range.
#[derive(Debug, Clone)]
pub struct RangeWatch {
    ranges: Vec<PublishedRange>,
    /// How many times over (or under), the value, and where.
    worst: Vec<Option<(f64, f64, String)>>,
}

impl RangeWatch {
    /// Watch these ranges, normally [`super::Silicon::ranges`].
    pub fn new(ranges: &[PublishedRange]) -> RangeWatch {
        RangeWatch { ranges: ranges.to_vec(), worst: vec![None; ranges.len()] }
    }

    /// Look at one point; `place` names it in the warning.
    pub fn see(&mut self, at: &LocalState, place: &str) {
        for (range, worst) in self.ranges.iter().zip(&mut self.worst) {
            let value = at.value(range.quantity);
            let over = (value / range.high).max(range.low / value);
            // 1e20 over a well of 1e17 is still "up to 1e20".
            let doping = matches!(range.quantity, Quantity::Doping | Quantity::PTypeDoping);
            let slack = if doping { 1.05 } else { 1.0 };
            let before = worst.as_ref().map_or(slack, |w| w.0);
            if over > before {
                *worst = Some((over, value, place.to_string()));
            }
        }
    }

    /// One warning for each range that was left, by the law's name.
    pub fn warnings(&self) -> Vec<String> {
        let told = |(range, worst): (&PublishedRange, &Option<(f64, f64, String)>)| {
            let (_, value, place) = worst.as_ref()?;
            Some(format!(
                "{} is used {} ({place}), outside the range it was published for: {}",
                range.law,
                range.quantity.with_value(*value),
                range.quantity.with_range(range.low, range.high)
            ))
        };
        self.ranges.iter().zip(&self.worst).filter_map(told).collect()
    }
}
