//! Heat conduction of the lattice.

use crate::case::Constants;

use super::Slope;
use super::dual::OfT;

/// Conductivities and heat capacities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatLaw {
    a: f64,
    b: f64,
    c: f64,
    /// Of oxide [W/(cm·K)], at every temperature.
    pub oxide_conductivity: f64,
    /// [J/(cm³·K)]
    pub silicon_capacity: f64,
    pub oxide_capacity: f64,
}

impl HeatLaw {
    /// With the constants in force.
    pub fn new(constants: &Constants) -> HeatLaw {
        let silicon = |key| constants.get("glassbrenner-slack-1964", key);
        let other = |key| constants.get("heat", key);
        HeatLaw {
            a: silicon("a"),
            b: silicon("b"),
            c: silicon("c"),
            oxide_conductivity: other("oxide_conductivity"),
            silicon_capacity: other("silicon_capacity"),
            oxide_capacity: other("oxide_capacity"),
        }
    }

    /// Thermal conductivity of silicon [W/(cm·K)] and its derivative by T:
    /// 1/(a + bT + cT²), Glassbrenner, Slack, Phys. Rev. 134, A1058 (1964).
    pub fn conductivity(&self, temperature: f64) -> Slope {
        let t = OfT::temperature(temperature);
        (self.a + (self.b + self.c * t) * t).recip().slope()
    }
}
