//! How terminals are connected outside the device.

/// The outside of one terminal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tying {
    /// A source of voltage base + slope·λ behind a resistance [Ω·µm].
    Source { base: f64, slope: f64, resistance: f64 },
    /// Carries no current.
    Open,
    /// A gate at the outside voltage of another contact (index).
    Follows(usize),
}

/// One entry per contact of the device, and which of them λ's current is summed over.
#[derive(Debug, Clone, PartialEq)]
pub struct Circuit {
    pub ties: Vec<Tying>,
    /// Contacts whose currents add up to the drive current.
    pub drive: Vec<usize>,
}

impl Circuit {
    /// Outside voltage of contact `k` for drive voltage `lambda` if the contact carries
    /// `current` [A/µm] and is at `inside` \[V\].
    pub fn outside(&self, k: usize, lambda: f64, inside: f64) -> f64 {
        match self.ties[k] {
            Tying::Source { base, slope, .. } => base + slope * lambda,
            Tying::Open => inside,
            Tying::Follows(other) => self.outside(other, lambda, inside),
        }
    }

    /// The contact whose inside voltage is an unknown of its own, if contact `k`'s is
    /// (series resistance or open; a follower takes its leader's outside voltage).
    pub fn own_unknown(&self, k: usize) -> bool {
        match self.ties[k] {
            Tying::Source { resistance, .. } => resistance != 0.0,
            Tying::Open => true,
            Tying::Follows(_) => false,
        }
    }
}
