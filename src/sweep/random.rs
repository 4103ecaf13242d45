//! Numbers that look random and are the same everywhere for one seed: SplitMix64
//! (Steele, Lea, Flood, OOPSLA 2014; the constants are the paper's).

pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Random {
        Random(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// In [0, 1), 53 bits.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// 0, 1, …, `count` − 1 in random order (Fisher and Yates).
    pub fn order(&mut self, count: usize) -> Vec<usize> {
        let mut all: Vec<usize> = (0..count).collect();
        for k in (1..count).rev() {
            // The bias of a remainder is below 2⁻⁴⁰ for any count that fits a sweep.
            all.swap(k, (self.next() % (k as u64 + 1)) as usize);
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::Random;

    #[test]
    fn a_seed_is_a_sequence() {
        // First outputs of SplitMix64 for seed 1234567, from the algorithm's reference code.
        let mut r = Random::new(1_234_567);
        assert_eq!([r.next(), r.next()], [6_457_827_717_110_365_317, 3_203_168_211_198_807_973]);
        let mut order = Random::new(1).order(100);
        assert_ne!(order, (0..100).collect::<Vec<_>>());
        order.sort();
        assert_eq!(order, (0..100).collect::<Vec<_>>());
    }
}
