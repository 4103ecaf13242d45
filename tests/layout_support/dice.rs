//! Dice with a seed, so that what they gave can be had again.
#![allow(dead_code)] // each test binary uses its share

/// Xorshift64* (Marsaglia, J. Stat. Softw. 8(14) (2003); the multiplier from memory):
/// seeded, so that a layout can be had again by its number.
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        // Neighbouring seeds start far apart.
        let mut dice = Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
        for _ in 0..8 {
            dice.next();
        }
        dice
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    pub fn below(&mut self, n: usize) -> usize {
        ((self.next() >> 33) as usize) % n.max(1)
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Even over the decades.
    pub fn decades(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// True once in `n`.
    pub fn once_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    pub fn one_of<'a>(&mut self, list: &[&'a str]) -> &'a str {
        list[self.below(list.len())]
    }
}
