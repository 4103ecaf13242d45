//! Counts of what the solver did.

use crate::linear::SolveInfo;

/// What the solver did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Work {
    /// Linear solves with a new Jacobian, factored for it.
    pub newton_steps: u64,
    /// Linear solves with the factors of an earlier Jacobian.
    pub chord_steps: u64,
    /// Newton steps before the first point of a curve, or between a bias point and the next.
    pub walk_steps: u64,
    /// Newton steps in fold solves.
    pub fold_steps: u64,
    pub factorizations: u64,
    /// Refinement sweeps of linear solves, all causes. One a solve is routine: net currents are
    /// hair's differences of what is solved.
    pub refinements: u64,
    /// Those that the backward error asked for beyond the routine one.
    pub refinements_needed: u64,
    /// Those that were Krylov cycles, where plain sweeps stalled.
    pub krylov_cycles: u64,
    /// Sweeps that brought a tangent from older factors to the solved point; not in
    /// `refinements`.
    pub tangent_sweeps: u64,
    /// Fronts in which rows had to be exchanged.
    pub pivoted_fronts: u64,
    /// Factorizations by the general-purpose LU, where all else failed.
    pub general_factorizations: u64,
    pub gummel_rounds: u64,
    /// Steps of the trace that had to be halved.
    pub halvings: u64,
}

impl Work {
    /// Count one linear solve.
    pub(super) fn solved(&mut self, info: &SolveInfo) {
        self.refinements += u64::from(info.refinements);
        self.refinements_needed += u64::from(info.needed);
        self.krylov_cycles += u64::from(info.krylov);
        self.general_factorizations += u64::from(info.general);
    }
}

impl std::ops::AddAssign for Work {
    fn add_assign(&mut self, more: Work) {
        let Work {
            newton_steps,
            chord_steps,
            walk_steps,
            fold_steps,
            factorizations,
            refinements,
            refinements_needed,
            krylov_cycles,
            tangent_sweeps,
            pivoted_fronts,
            general_factorizations,
            gummel_rounds,
            halvings,
        } = more;
        self.newton_steps += newton_steps;
        self.chord_steps += chord_steps;
        self.walk_steps += walk_steps;
        self.fold_steps += fold_steps;
        self.factorizations += factorizations;
        self.refinements += refinements;
        self.refinements_needed += refinements_needed;
        self.krylov_cycles += krylov_cycles;
        self.tangent_sweeps += tangent_sweeps;
        self.pivoted_fronts += pivoted_fronts;
        self.general_factorizations += general_factorizations;
        self.gummel_rounds += gummel_rounds;
        self.halvings += halvings;
    }
}
