//! What is measured, as a case says it.

use super::model::Span;

/// A terminal name and the voltage it is held at \[V\].
#[derive(Debug, Clone, PartialEq)]
pub struct Bias {
    pub terminal: String,
    pub voltage: f64,
}

/// When a trace ends: the first that is reached.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Stop {
    /// Magnitude [A/µm].
    pub current: Option<f64>,
    /// Magnitude \[V\].
    pub voltage: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    Positive,
    Negative,
}

/// What is measured.
#[derive(Debug, Clone)]
pub struct Experiment {
    /// The held terminals; those neither here nor driven, open or following sit at 0 V.
    pub bias: Vec<Bias>,
    /// Terminals that carry no current.
    pub open: Vec<String>,
    pub kind: ExperimentKind,
    pub at: Span,
}

/// A number that is given, or searched for between two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wanted {
    Given(f64),
    Between { from: f64, to: f64 },
}

/// What the emitter of the other bipolar does while one is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IdleEmitter {
    /// Tied to the tap of its own base.
    Tied,
    Open,
}

/// What a pulse forces on its terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Forced {
    /// A/µm into the device.
    Current,
    /// V
    Voltage,
}

/// The shape of a pulse.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// Piecewise linear: times \[s\], growing, and values [A/µm or V].
    Corners { forced: Forced, times: Vec<f64>, values: Vec<f64> },
    /// A trapezoid of current: edges of `edge` \[s\], `height` [A/µm] for `width` \[s\]. At
    /// most one of the two is searched for.
    Trapezoid { height: Wanted, width: Wanted, edge: f64 },
    /// A trapezoid whose shortest latching width is searched for at each height [A/µm].
    Widths { heights: Vec<f64>, width: Wanted, edge: f64 },
}

/// A track of charge through the silicon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Track {
    /// Where it enters the surface, x \[µm\].
    pub at: f64,
    /// From straight down, positive towards larger x \[degrees\].
    pub angle: f64,
    /// Length \[µm\].
    pub reach: f64,
    /// Where its density has fallen to 1/e \[µm\].
    pub radius: f64,
    /// Of electrons, and of holes, per length and width [C/µm].
    pub charge: Wanted,
    /// Of its generation \[s\].
    pub time: f64,
}

#[derive(Debug, Clone)]
pub enum ExperimentKind {
    /// One voltage on all of `drive`, followed through every fold.
    Snapback {
        drive: Vec<String>,
        stop: Stop,
    },
    /// Current forced into (+) or pulled out of (−) one terminal.
    Injection {
        into: String,
        sign: Sign,
        stop: Stop,
        /// Test level per pin \[A\].
        level: Option<f64>,
        /// Out-of-plane width of the injecting diffusion \[µm\].
        injector_width: f64,
        /// The critical current is confirmed by a ramp past it and back.
        confirm: bool,
    },
    /// Plain DC: the driven terminals take each voltage of `at` in turn \[V\].
    Bias {
        drive: Vec<String>,
        at: Vec<f64>,
    },
    /// Gains of both bipolars over collector current, up to `stop`.
    Gains {
        supply: f64,
        idle: IdleEmitter,
        stop: Stop,
    },
    /// R_W and R_S with the wells at `supply` \[V\].
    Resistances {
        supply: f64,
    },
    /// The driven terminals go from `supply` to `to` and back \[V\].
    Overvoltage {
        drive: Vec<String>,
        supply: f64,
        to: f64,
    },
    /// The driven terminals rise from 0 to `to` \[V\] in `rise` \[s\].
    SupplyRamp {
        drive: Vec<String>,
        to: f64,
        rise: Wanted,
        settle: Option<f64>,
    },
    Pulse {
        into: String,
        shape: Shape,
        settle: Option<f64>,
    },
    Strike {
        track: Track,
        settle: Option<f64>,
    },
    /// Small-signal admittances at each frequency \[Hz\].
    Capacitance {
        frequencies: Vec<f64>,
    },
}

impl ExperimentKind {
    /// The word of the case file.
    pub fn word(&self) -> &'static str {
        match self {
            ExperimentKind::Snapback { .. } => "snapback",
            ExperimentKind::Injection { .. } => "injection",
            ExperimentKind::Bias { .. } => "bias",
            ExperimentKind::Gains { .. } => "gains",
            ExperimentKind::Resistances { .. } => "resistances",
            ExperimentKind::Overvoltage { .. } => "overvoltage",
            ExperimentKind::SupplyRamp { .. } => "supply-ramp",
            ExperimentKind::Pulse { .. } => "pulse",
            ExperimentKind::Strike { .. } => "strike",
            ExperimentKind::Capacitance { .. } => "capacitance",
        }
    }
}
