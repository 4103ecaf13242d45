//! Places among eight, as masks.

/// Some of eight places.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Places {
    mask: u8,
    /// As many bits as `mask` has, from the lowest on.
    taken: u8,
}

impl Places {
    #[inline(always)]
    pub fn new(mask: u8) -> Places {
        Places { mask, taken: ((1u32 << mask.count_ones()) - 1) as u8 }
    }

    #[inline(always)]
    pub fn mask(self) -> u8 {
        self.mask
    }

    #[inline(always)]
    pub(super) fn taken(self) -> u8 {
        self.taken
    }
}
