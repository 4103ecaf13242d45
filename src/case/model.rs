//! What one validated case says, in plain numbers: µm, cm⁻³, V, K, A/µm, Ω·µm, s.

use std::ops::Range;

use super::constants::Constants;
use super::experiments::Experiment;
use super::rules::{Follow, Rule, Spread};

/// Byte range in the case text, so that later rooms can point at what they refuse.
pub type Span = Range<usize>;

/// One TOML file, read and checked. Everything about one run.
#[derive(Debug, Clone)]
pub struct Case {
    /// Free text.
    pub title: String,
    /// Ambient temperature \[K\].
    pub temperature: f64,
    /// Temperatures \[K\] that a verdict is asked for; empty means `temperature` alone.
    pub temperatures: Vec<f64>,
    /// Out-of-plane width \[µm\]; turns A/µm into A in tables.
    pub width: f64,
    pub wafer: Wafer,
    pub wells: Vec<Piece>,
    pub diffusions: Vec<Piece>,
    pub trenches: Vec<Trench>,
    pub gates: Vec<Gate>,
    pub terminals: Vec<Terminal>,
    pub laws: Laws,
    /// Where heat leaves the cut.
    pub heat: HeatPaths,
    pub constants: Constants,
    pub grid: Grid,
    /// Named motions of the layout.
    pub slides: Vec<Slide>,
    /// How points move along a number, design rules, tolerances.
    pub follows: Vec<Follow>,
    pub rules: Vec<Rule>,
    pub spreads: Vec<Spread>,
    pub experiments: Vec<Experiment>,
    pub verdict: Option<VerdictSpec>,
    /// The file's text, verbatim.
    pub text: String,
    /// File name for messages; empty if the case was made in memory.
    pub path: String,
}

/// Donors or acceptors.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Polarity {
    Donors,
    Acceptors,
}

/// The silicon that is cut: x from 0 to `span`, y from 0 to `thickness` \[µm\].
#[derive(Debug, Clone)]
pub struct Wafer {
    pub span: f64,
    pub thickness: f64,
    /// Uniform doping [cm⁻³]; `None` if the wafer is undoped.
    pub doping: Option<(Polarity, f64)>,
    pub epi: Option<Epi>,
    pub at: Span,
}

/// An epitaxial layer on a heavier handle wafer. The layer's doping replaces the
/// wafer's above `thickness`; below it the handle's density holds; between them an
/// error-function step of length `blur` \[µm\].
#[derive(Debug, Clone)]
pub struct Epi {
    pub thickness: f64,
    pub doping: (Polarity, f64),
    /// Handle density [cm⁻³], of the layer's polarity.
    pub handle: f64,
    pub blur: f64,
}

/// A well or a diffusion: density N(x, y) = peak · lateral(x) · vertical(y).
/// lateral = 1 for from ≤ x ≤ to, beside it exp(−(distance/spread)²), 0 if spread = 0.
#[derive(Debug, Clone)]
pub struct Piece {
    pub name: String,
    pub polarity: Polarity,
    /// Peak density [cm⁻³].
    pub peak: f64,
    /// \[µm\]
    pub from: f64,
    /// \[µm\]
    pub to: f64,
    /// \[µm\]
    pub spread: f64,
    pub profile: Profile,
    pub at: Span,
}

/// vertical(y), at most 1.
#[derive(Debug, Clone)]
pub enum Profile {
    /// exp(−((y − crest)/falloff)²), on both sides of the crest \[µm\].
    Gaussian { crest: f64, depth: Depth },
    /// erfc((y − crest)/falloff) below the crest, 1 above it \[µm\].
    Erfc { crest: f64, depth: Depth },
    /// 1 for top ≤ y ≤ bottom \[µm\].
    Box { top: f64, bottom: f64 },
    /// Measured profile: depths \[µm\], strictly growing, and densities [cm⁻³] > 0;
    /// log-linear between them, constant above the first, zero below the last.
    /// `peak` of the piece is their maximum; vertical = density/peak.
    Table { depth: Vec<f64>, density: Vec<f64> },
}

/// How the fall of a profile is given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Depth {
    /// \[µm\]
    Falloff(f64),
    /// Depth where the net doping changes sign on the piece's centre line with all
    /// other pieces present \[µm\]; the falloff follows (found in `structure`).
    Junction(f64),
}

/// Oxide-filled isolation from the surface to `depth` \[µm\].
#[derive(Debug, Clone)]
pub struct Trench {
    pub from: f64,
    pub to: f64,
    pub depth: f64,
    /// On its walls and floor [elementary charges/cm²].
    pub fixed_charge: f64,
    pub at: Span,
}

/// A gate on an oxide of thickness `oxide` \[µm\], resting on y = 0. A terminal too.
#[derive(Debug, Clone)]
pub struct Gate {
    pub name: String,
    pub from: f64,
    pub to: f64,
    pub oxide: f64,
    pub plate: Plate,
    /// Where the oxide meets silicon [elementary charges/cm²].
    pub fixed_charge: f64,
    /// Terminal whose (outside) voltage this gate takes.
    pub follows: Option<String>,
    pub at: Span,
}

/// What the gate is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Plate {
    NPoly,
    PPoly,
    /// \[eV\]
    WorkFunction(f64),
}

/// Which side of the cut a terminal piece covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Left,
    Right,
    Back,
}

/// One piece of a terminal.
#[derive(Debug, Clone, PartialEq)]
pub enum Touch {
    /// Surface nodes with from ≤ x ≤ to \[µm\].
    Surface { from: f64, to: f64 },
    /// A whole side of the silicon.
    Side(Side),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    Cathode,
    Anode,
    WellTap,
    SubstrateTap,
    Drain,
    Guard,
    None,
}

/// An ohmic contact; several pieces make one node.
#[derive(Debug, Clone)]
pub struct Terminal {
    pub name: String,
    pub role: Role,
    pub touches: Vec<Touch>,
    /// Contact plus wiring, in series [Ω·µm].
    pub resistance: f64,
    /// In series with it [H·µm]; a short at direct current.
    pub inductance: f64,
    /// From the terminal to ground [F/µm]; open at direct current.
    pub capacitance: f64,
    pub at: Span,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mobility {
    Constant,
    Masetti1983,
    Arora1982,
    Klaassen1992,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Saturation {
    None,
    Canali1975,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lifetime {
    Constant,
    FallsWithDoping,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Narrowing {
    None,
    Slotboom1977,
    DelAlamo1985,
    Klaassen1992,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Avalanche {
    None,
    VanOverstraeten1970,
    OkutoCrowell1975,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Statistics {
    Boltzmann,
    FermiDirac,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dopants {
    Ionized,
    Incomplete,
}
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heat {
    None,
    SelfHeating,
}

/// Which published law is in force for each property.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Laws {
    pub mobility: Mobility,
    pub saturation: Saturation,
    /// Shockley-Read-Hall recombination is on.
    pub shockley_read_hall: bool,
    /// Auger recombination is on.
    pub auger: bool,
    /// Recombination at silicon-oxide interfaces is on.
    pub surface: bool,
    pub lifetime: Lifetime,
    pub narrowing: Narrowing,
    pub avalanche: Avalanche,
    pub statistics: Statistics,
    pub dopants: Dopants,
    pub heat: Heat,
}

impl Default for Laws {
    fn default() -> Self {
        Laws {
            mobility: Mobility::Klaassen1992,
            saturation: Saturation::Canali1975,
            shockley_read_hall: true,
            auger: true,
            surface: false,
            lifetime: Lifetime::FallsWithDoping,
            narrowing: Narrowing::Klaassen1992,
            avalanche: Avalanche::VanOverstraeten1970,
            statistics: Statistics::Boltzmann,
            dopants: Dopants::Ionized,
            heat: Heat::None,
        }
    }
}

/// Specific thermal resistances [K·cm²/W] from the faces of the cut to the ambient;
/// `None`: no heat passes. The sides are adiabatic but where a terminal covers them.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct HeatPaths {
    /// From the silicon surface and the tops of the gates.
    pub surface: Option<f64>,
    /// From the bottom of the cut.
    pub back: Option<f64>,
    /// From every ohmic terminal, in place of what its face else has.
    pub terminals: Option<f64>,
}

/// What decides where the lines of a mesh are dense.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Grading {
    /// Layout and doping.
    #[default]
    Structure,
    /// How much each place changes the figures, measured on the mesh of the structure.
    Solution,
}

/// The mesh that is asked for.
#[derive(Debug, Clone, Default)]
pub struct Grid {
    /// Node budget: the mesh has at most this many nodes. Default 8000 if neither
    /// this nor lines are given.
    pub nodes: Option<usize>,
    /// Smallest interval \[µm\]; default 0.004.
    pub finest: Option<f64>,
    /// Largest ratio of neighbouring intervals; default 1.35.
    pub growth: Option<f64>,
    pub grading: Grading,
    /// Explicit lines \[µm\], strictly growing, taken as given.
    pub x: Option<Vec<f64>>,
    pub y: Option<Vec<f64>>,
    pub at: Span,
}

/// A named motion of the layout: everything right of `right_of` \[µm\] moves together.
#[derive(Debug, Clone, PartialEq)]
pub struct Slide {
    pub name: String,
    pub right_of: f64,
    pub at: Span,
}

/// What the curve is judged against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VerdictSpec {
    /// \[V\]
    pub supply: f64,
    /// Sustain-free means V_h > supply·(1 + margin).
    pub margin: f64,
    /// Largest current the supply delivers \[A\]; `None` is unlimited.
    pub supply_current: Option<f64>,
}
