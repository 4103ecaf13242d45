//! Numbers kept as the sum of two words, so that small differences of large potentials
//! keep their digits.

/// One value per node, each hi + lo with |lo| ≤ ulp(hi)/2.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Words {
    pub hi: Vec<f64>,
    pub lo: Vec<f64>,
}

impl Words {
    /// All zero.
    pub fn zeros(n: usize) -> Words {
        Words { hi: vec![0.0; n], lo: vec![0.0; n] }
    }

    /// Value `b` minus value `a`.
    pub fn difference(&self, b: usize, a: usize) -> f64 {
        (self.hi[b] - self.hi[a]) + (self.lo[b] - self.lo[a])
    }

    /// Value `i` of `self` minus value `i` of `other`.
    pub fn difference_to(&self, other: &Words, i: usize) -> f64 {
        (self.hi[i] - other.hi[i]) + (self.lo[i] - other.lo[i])
    }

    /// Add `d` to value `i`.
    pub fn add(&mut self, i: usize, d: f64) {
        let w = add_words([self.hi[i], self.lo[i]], d);
        self.hi[i] = w[0];
        self.lo[i] = w[1];
    }

    /// Set value `i` to a + b.
    pub fn set(&mut self, i: usize, a: [f64; 2], b: f64) {
        self.hi[i] = a[0];
        self.lo[i] = a[1];
        if b != 0.0 {
            self.add(i, b);
        }
    }

    /// Both words of value `i`.
    pub fn get(&self, i: usize) -> [f64; 2] {
        [self.hi[i], self.lo[i]]
    }
}

/// Sum of a two-word value and a number, renormalized.
pub fn add_words(a: [f64; 2], d: f64) -> [f64; 2] {
    let w = two_sum(a[0], d);
    two_sum(w[0], w[1] + a[1])
}

/// a + b as an exact sum of two words (Knuth, The Art of Computer Programming 2, 4.2.2).
pub fn two_sum(a: f64, b: f64) -> [f64; 2] {
    let s = a + b;
    let bb = s - a;
    [s, (a - (s - bb)) + (b - bb)]
}
