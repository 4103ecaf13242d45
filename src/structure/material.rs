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

    /// Length [µm] of the silicon surface within [from, to] \[µm\].
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
