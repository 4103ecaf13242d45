//! Numbers that carry their derivatives (forward mode): a law written once gives its value
//! and exact derivatives by whatever its inputs were seeded with.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// A value and its derivatives by `N` variables.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dual<const N: usize> {
    pub value: f64,
    pub by: [f64; N],
}

impl<const N: usize> Dual<N> {
    /// Does not depend on any variable.
    pub fn constant(value: f64) -> Self {
        Dual { value, by: [0.0; N] }
    }

    /// The variable number `k` itself.
    pub fn variable(value: f64, k: usize) -> Self {
        let mut by = [0.0; N];
        by[k] = 1.0;
        Dual { value, by }
    }

    /// f(self), given f and f′ there.
    fn chain(self, value: f64, slope: f64) -> Self {
        Dual { value, by: self.by.map(|d| slope * d) }
    }

    pub fn exp(self) -> Self {
        let e = self.value.exp();
        self.chain(e, e)
    }

    pub fn ln(self) -> Self {
        self.chain(self.value.ln(), 1.0 / self.value)
    }

    pub fn tanh(self) -> Self {
        let t = self.value.tanh();
        self.chain(t, 1.0 - t * t)
    }

    pub fn recip(self) -> Self {
        let r = 1.0 / self.value;
        self.chain(r, -r * r)
    }

    /// self^k for self > 0.
    pub fn powf(self, k: f64) -> Self {
        let v = self.value.powf(k);
        self.chain(v, k * v / self.value)
    }

    /// self^k for self > 0, where k too depends on the variables.
    pub fn pow(self, k: Self) -> Self {
        let v = self.value.powf(k.value);
        let (by_base, by_power) = (k.value * v / self.value, v * self.value.ln());
        let mut by = [0.0; N];
        for (d, (a, b)) in by.iter_mut().zip(self.by.iter().zip(k.by)) {
            *d = by_base * a + by_power * b;
        }
        Dual { value: v, by }
    }

    fn join(self, other: Self, value: f64, a: f64, b: f64) -> Self {
        let mut by = [0.0; N];
        for (d, (x, y)) in by.iter_mut().zip(self.by.iter().zip(other.by)) {
            *d = a * x + b * y;
        }
        Dual { value, by }
    }
}

impl<const N: usize> Neg for Dual<N> {
    type Output = Self;
    fn neg(self) -> Self {
        self.chain(-self.value, -1.0)
    }
}

impl<const N: usize> Add for Dual<N> {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        self.join(o, self.value + o.value, 1.0, 1.0)
    }
}

impl<const N: usize> Sub for Dual<N> {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        self.join(o, self.value - o.value, 1.0, -1.0)
    }
}

impl<const N: usize> Mul for Dual<N> {
    type Output = Self;
    fn mul(self, o: Self) -> Self {
        self.join(o, self.value * o.value, o.value, self.value)
    }
}

impl<const N: usize> Div for Dual<N> {
    type Output = Self;
    fn div(self, o: Self) -> Self {
        let v = self.value / o.value;
        self.join(o, v, 1.0 / o.value, -v / o.value)
    }
}

impl<const N: usize> Add<f64> for Dual<N> {
    type Output = Self;
    fn add(self, o: f64) -> Self {
        Dual { value: self.value + o, ..self }
    }
}

impl<const N: usize> Sub<f64> for Dual<N> {
    type Output = Self;
    fn sub(self, o: f64) -> Self {
        Dual { value: self.value - o, ..self }
    }
}

impl<const N: usize> Mul<f64> for Dual<N> {
    type Output = Self;
    fn mul(self, o: f64) -> Self {
        self.chain(self.value * o, o)
    }
}

impl<const N: usize> Div<f64> for Dual<N> {
    type Output = Self;
    fn div(self, o: f64) -> Self {
        self.chain(self.value / o, 1.0 / o)
    }
}

impl<const N: usize> Add<Dual<N>> for f64 {
    type Output = Dual<N>;
    fn add(self, o: Dual<N>) -> Dual<N> {
        o + self
    }
}

impl<const N: usize> Sub<Dual<N>> for f64 {
    type Output = Dual<N>;
    fn sub(self, o: Dual<N>) -> Dual<N> {
        -o + self
    }
}

impl<const N: usize> Mul<Dual<N>> for f64 {
    type Output = Dual<N>;
    fn mul(self, o: Dual<N>) -> Dual<N> {
        o * self
    }
}

impl<const N: usize> Div<Dual<N>> for f64 {
    type Output = Dual<N>;
    fn div(self, o: Dual<N>) -> Dual<N> {
        Dual::constant(self) / o
    }
}

/// Depends on the lattice temperature alone.
pub type OfT = Dual<1>;

impl OfT {
    /// The temperature [K] itself.
    pub fn temperature(t: f64) -> OfT {
        Dual::variable(t, 0)
    }

    /// As value and derivative by T.
    pub fn slope(self) -> super::Slope {
        super::Slope { value: self.value, derivative: self.by[0] }
    }

    /// The same among (n, p, T).
    pub fn among_three(self) -> Dual<3> {
        Dual { value: self.value, by: [0.0, 0.0, self.by[0]] }
    }
}
