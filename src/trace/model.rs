//! What a trace gives: points, folds, fields, and the snapshot that resumes it.

pub use crate::discretize::StateWords;
pub use crate::solve::Work;

/// Voltage and current at each terminal of one point, in the order of
/// [`Curve::terminals`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TerminalValues {
    /// Outside any series resistance \[V\].
    pub voltage: Vec<f64>,
    /// Into the device [A/µm].
    pub current: Vec<f64>,
}

/// A traced curve: one row per point.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curve {
    /// Terminal names, ohmic ones first, then gates.
    pub terminals: Vec<String>,
    /// Drive voltage outside series resistance \[V\].
    pub voltage: Vec<f64>,
    /// Sum of the currents of the driven terminals [A/µm].
    pub current: Vec<f64>,
    /// One per point.
    pub at_terminals: Vec<TerminalValues>,
    /// |ΣI| [A/µm] at each point.
    pub imbalance: Vec<f64>,
    /// max |I| over the terminals [A/µm] at each point.
    pub largest: Vec<f64>,
    /// Newton steps spent on each point, failed attempts included.
    pub newton: Vec<u32>,
}

impl Curve {
    /// Number of points.
    pub fn len(&self) -> usize {
        self.voltage.len()
    }

    /// No point yet.
    pub fn is_empty(&self) -> bool {
        self.voltage.is_empty()
    }

    /// Maximum over the points of |ΣI|/max(max|I|, 1e-14 A/µm): below that floor the
    /// absolute imbalance, not the ratio, says something.
    pub fn conservation(&self) -> f64 {
        self.imbalance
            .iter()
            .zip(&self.largest)
            .map(|(s, m)| if *s == 0.0 { 0.0 } else { s / m.max(1e-14) })
            .fold(0.0, f64::max)
    }
}

/// Which way a branch turns at a fold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FoldKind {
    /// Drive voltage has a maximum along the curve.
    VoltageMaximum,
    VoltageMinimum,
    /// Drive current has a maximum along the curve.
    CurrentMaximum,
    CurrentMinimum,
}

impl FoldKind {
    /// The word in JSON and HDF5.
    pub fn word(self) -> &'static str {
        match self {
            FoldKind::VoltageMaximum => "voltage-maximum",
            FoldKind::VoltageMinimum => "voltage-minimum",
            FoldKind::CurrentMaximum => "current-maximum",
            FoldKind::CurrentMinimum => "current-minimum",
        }
    }

    /// The reverse of [`FoldKind::word`].
    pub fn from_word(word: &str) -> Option<FoldKind> {
        [
            FoldKind::VoltageMaximum,
            FoldKind::VoltageMinimum,
            FoldKind::CurrentMaximum,
            FoldKind::CurrentMinimum,
        ]
        .into_iter()
        .find(|k| k.word() == word)
    }
}

/// A point solved for exactly: a fold, or the unstable state at a given voltage.
#[derive(Debug, Clone, PartialEq)]
pub struct Fold {
    pub kind: FoldKind,
    /// \[V\]
    pub voltage: f64,
    /// [A/µm]
    pub current: f64,
    pub at_terminals: TerminalValues,
    /// Index in the curve of the first point after it.
    pub before_point: usize,
}

/// The fields at one stored point, by node unless said otherwise; zero where a node has
/// no silicon.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Fields {
    /// E.g. "trigger", "holding", "critical", "point 37", "end".
    pub label: String,
    /// \[V\]
    pub voltage: f64,
    /// [A/µm]
    pub current: f64,
    /// State: potential and quasi-Fermi potentials \[V\], high and low words.
    pub state: StateWords,
    /// [cm⁻³]
    pub electrons: Vec<f64>,
    /// [cm⁻³]
    pub holes: Vec<f64>,
    /// Electron and hole current density vectors at the nodes [A/cm²].
    pub electron_current_x: Vec<f64>,
    pub electron_current_y: Vec<f64>,
    pub hole_current_x: Vec<f64>,
    pub hole_current_y: Vec<f64>,
    /// Net recombination without avalanche [cm⁻³ s⁻¹].
    pub recombination: Vec<f64>,
    /// Avalanche generation [cm⁻³ s⁻¹].
    pub avalanche: Vec<f64>,
}

/// Everything that a trace needs to go on: written at fixed numbers of points.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Snapshot {
    /// State at the last point.
    pub state: StateWords,
    /// Voltages inside any series resistance and currents, by terminal, at the last point.
    pub inside: TerminalValues,
    /// Controller numbers (step length, direction, …), in an order `trace` owns.
    pub control: Vec<f64>,
}
