//! What fills the cross-section at (x, y).

use super::Structure;
use crate::case::{Gate, Trench};

/// The material at a place of the cross-section.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Filling {
    Silicon,
    TrenchOxide,
    GateOxide,
    Void,
}

impl Structure {
    /// Material at (x, y) \[µm\]; interfaces belong to either side.
    pub fn filling(&self, x: f64, y: f64) -> Filling {
        if x < 0.0 || x > self.span || y > self.thickness {
            Filling::Void
        } else if y < 0.0 {
            let covered = |g: &&Gate| -g.oxide <= y && g.from.max(0.0) <= x && x <= g.to;
            if self.gates.iter().any(|g| covered(&g)) { Filling::GateOxide } else { Filling::Void }
        } else if self.trenches.iter().any(|t| t.from <= x && x <= t.to && y <= t.depth) {
            Filling::TrenchOxide
        } else {
            Filling::Silicon
        }
    }

    /// Fixed charge [elementary charges/cm²] where the oxide at (x, y) \[µm\] meets silicon;
    /// 0 where there is none.
    pub fn fixed_charge(&self, x: f64, y: f64) -> f64 {
        if y < 0.0 {
            let covers = |g: &&Gate| -g.oxide <= y && g.from.max(0.0) <= x && x <= g.to;
            self.gates.iter().find(covers).map_or(0.0, |g| g.fixed_charge)
        } else {
            let holds = |t: &&Trench| t.from <= x && x <= t.to && y <= t.depth;
            self.trenches.iter().find(holds).map_or(0.0, |t| t.fixed_charge)
        }
    }

    /// True if (x, y) lies in silicon.
    pub fn is_silicon(&self, x: f64, y: f64) -> bool {
        self.filling(x, y) == Filling::Silicon
    }

    pub fn trenches(&self) -> &[Trench] {
        &self.trenches
    }

    pub fn gates(&self) -> &[Gate] {
        &self.gates
    }

    /// Length \[µm\] of the silicon surface within [from, to] \[µm\].
    pub fn surface_silicon(&self, from: f64, to: f64) -> f64 {
        let (from, to) = (from.max(0.0), to.min(self.span));
        let mut covered: Vec<(f64, f64)> = self
            .trenches
            .iter()
            .filter(|t| t.depth > 0.0)
            .map(|t| (t.from.max(from), t.to.min(to)))
            .filter(|(a, b)| b > a)
            .collect();
        covered.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (mut free, mut reached) = (0.0, from);
        for (a, b) in covered {
            free += (a - reached).max(0.0);
            reached = reached.max(b);
        }
        free + (to - reached).max(0.0)
    }
}
