//! Chord steps: the end of Newton's iteration with the factors of its last Jacobian.
//!
//! Once a Newton step is small, the next ones change the Jacobian by little, and its
//! factors still contract the error, by about the same factor θ each step. θ is measured,
//! and a point counts as solved only if what is left, θ·(last update), is as small as the
//! square of the update that a Newton step would be accepted with. Source: P. Deuflhard,
//! Newton Methods for Nonlinear Problems, Springer (2004), section 2.1 (simplified Newton).

use crate::discretize::{Ionizing, State};

use super::system::{Constraint, System};

/// Size of a Newton step after which chord steps are tried.
pub(super) const START: f64 = 0.02;

/// A contraction slower than this is left to a new Newton step.
const SLOWEST: f64 = 0.1;

/// Exactness of a tangent after chord steps, relative.
pub(super) const TANGENT: f64 = 1e-7;

/// Chord steps with one factorization.
const MOST: u32 = 4;

/// What is known of the chord iteration.
#[derive(Debug, Default)]
pub(super) struct Chord {
    /// The next step is one.
    pub next: bool,
    /// Chord steps with the factors at hand, and their slowest contraction.
    steps: u32,
    contraction: f64,
}

impl Chord {
    /// Take note of a step of scaled size `size`, `previous` before it.
    pub fn after(&mut self, is_chord: bool, size: f64, previous: f64) {
        if !is_chord {
            *self = Chord { next: size < START, ..Chord::default() };
            return;
        }
        // The first follows a Newton step: its size is half of what that step's change of
        // the Jacobian makes of an error of the step's size.
        let seen = if self.steps == 0 { 2.0 * size / previous } else { size / previous };
        self.steps += 1;
        self.contraction = self.contraction.max(seen);
        self.next = self.contraction < SLOWEST && self.steps < MOST;
    }

    /// Whether the error left after an update of size `size` is as small as it would be
    /// after a Newton step of size `update`.
    pub fn is_sure(&self, size: f64, update: f64) -> bool {
        self.steps == 0 || self.contraction * size < update * update
    }

    /// The solution is not where the factored Jacobian was assembled, by much.
    pub fn is_far(&self) -> bool {
        self.steps > 0
    }
}

impl System<'_> {
    /// Jacobian and border at the point just solved; its tangent will be refined with the
    /// factors at hand until it is exact to `tolerance`, relative.
    pub fn refresh_linearization(
        &mut self,
        state: &State,
        lambda: [f64; 2],
        constraint: &Constraint,
        tolerance: f64,
    ) {
        self.assembly.evaluate_with(self.device, state, true, Ionizing::Carried);
        self.build_border(state, lambda, constraint);
        self.stale = Some(tolerance);
    }
}
