//! Doping at any (x, y), and its exact means over rectangles.

use super::profile::{Lateral, Vertical};
use super::{circuit, junction_depth};
use crate::case::{Case, Gate, Polarity, Problem, Severity, Span, Trench};

/// One separable term of the doping: density = peak · lateral(x) · vertical(y).
#[derive(Debug, Clone)]
pub struct Term {
    /// Name of the piece; "wafer" for the wafer itself.
    pub name: String,
    pub polarity: Polarity,
    /// [cm⁻³]
    pub peak: f64,
    pub lateral: Lateral,
    pub vertical: Vertical,
    /// The wafer or one of `[[well]]`, not one of `[[diffusion]]`.
    pub deep: bool,
    /// Where the case says it.
    pub at: Option<Span>,
}

impl Term {
    /// Density [cm⁻³] at (x, y) \[µm\].
    pub fn value(&self, x: f64, y: f64) -> f64 {
        self.peak * self.lateral.value(x) * self.vertical.value(y)
    }

    /// Mean density [cm⁻³] over a rectangle \[µm\].
    pub fn mean(&self, x0: f64, x1: f64, y0: f64, y1: f64) -> f64 {
        self.peak * self.lateral.mean(x0, x1) * self.vertical.mean(y0, y1)
    }
}

/// The doped cross-section.
#[derive(Debug, Clone)]
pub struct Structure {
    /// \[µm\]
    pub span: f64,
    /// \[µm\]
    pub thickness: f64,
    /// The wafer first, then wells, then diffusions.
    pub terms: Vec<Term>,
    pub(super) trenches: Vec<Trench>,
    pub(super) gates: Vec<Gate>,
}

impl Structure {
    /// Resolves junction depths and reads the cross-section as a circuit.
    ///
    /// # Errors
    /// Every problem found, at least one of them an error: a junction depth that cannot
    /// be reached, a short, a terminal on oxide only, a gate over no silicon. With `Ok`
    /// come the warnings.
    pub fn new(case: &Case) -> Result<(Structure, Vec<Problem>), Vec<Problem>> {
        let (structure, mut problems) = Structure::unchecked(case)?;
        problems.extend(circuit::check(case, &structure));
        if has_error(&problems) { Err(problems) } else { Ok((structure, problems)) }
    }

    /// Only resolves junction depths: a cross-section that may be wrong as a circuit, to be
    /// looked at.
    ///
    /// # Errors
    /// A junction depth that cannot be reached. With `Ok` come the warnings.
    pub fn unchecked(case: &Case) -> Result<(Structure, Vec<Problem>), Vec<Problem>> {
        let mut problems = Vec::new();
        let terms = junction_depth::resolve(case, &mut problems);
        if has_error(&problems) {
            return Err(problems);
        }
        let structure = Structure {
            span: case.wafer.span,
            thickness: case.wafer.thickness,
            terms,
            trenches: case.trenches.clone(),
            gates: case.gates.clone(),
        };
        Ok((structure, problems))
    }

    /// Donors [cm⁻³] at (x, y) \[µm\], as if silicon were everywhere.
    pub fn donors(&self, x: f64, y: f64) -> f64 {
        self.sum(Polarity::Donors, |t| t.value(x, y))
    }

    /// Acceptors [cm⁻³] at (x, y) \[µm\], as if silicon were everywhere.
    pub fn acceptors(&self, x: f64, y: f64) -> f64 {
        self.sum(Polarity::Acceptors, |t| t.value(x, y))
    }

    /// Donors − acceptors [cm⁻³] at (x, y) \[µm\].
    pub fn net(&self, x: f64, y: f64) -> f64 {
        self.donors(x, y) - self.acceptors(x, y)
    }

    /// Mean of the donors [cm⁻³] over x0 ≤ x ≤ x1, y0 ≤ y ≤ y1 \[µm\], exact.
    pub fn donors_mean(&self, x0: f64, x1: f64, y0: f64, y1: f64) -> f64 {
        self.sum(Polarity::Donors, |t| t.mean(x0, x1, y0, y1))
    }

    /// Mean of the acceptors [cm⁻³] over a rectangle \[µm\], exact.
    pub fn acceptors_mean(&self, x0: f64, x1: f64, y0: f64, y1: f64) -> f64 {
        self.sum(Polarity::Acceptors, |t| t.mean(x0, x1, y0, y1))
    }

    /// The strongest term of a polarity at (x, y), if any reaches there.
    pub fn strongest(&self, polarity: Polarity, x: f64, y: f64) -> Option<&Term> {
        self.terms
            .iter()
            .filter(|t| t.polarity == polarity && t.value(x, y) > 0.0)
            .max_by(|a, b| a.value(x, y).total_cmp(&b.value(x, y)))
    }

    fn sum(&self, polarity: Polarity, f: impl Fn(&Term) -> f64) -> f64 {
        self.terms.iter().filter(|t| t.polarity == polarity).map(f).sum()
    }
}

/// True if one of them is an error.
pub(crate) fn has_error(problems: &[Problem]) -> bool {
    problems.iter().any(|p| p.severity == Severity::Error)
}
