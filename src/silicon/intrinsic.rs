//! Band gap and intrinsic density.

use crate::case::Constants;

use super::thermal_voltage;

/// Band gap [eV] at `t` [K], Varshni form: gap_0 − α T²/(T + β).
/// Source: Thurmond, J. Electrochem. Soc. 122, 1133 (1975).
pub fn gap(constants: &Constants, t: f64) -> f64 {
    let get = |key| constants.get("intrinsic", key);
    get("gap_0") - get("alpha") * t * t / (t + get("beta"))
}

/// Intrinsic density [cm⁻³] at `t` [K]: ni_300 (T/300)^1.5 exp(gap(300)/2kT₃₀₀ − gap(T)/2kT),
/// so that the measured value at 300 K (Altermatt et al. 2003) is met exactly.
pub fn intrinsic_density(constants: &Constants, t: f64) -> f64 {
    let at_300 = gap(constants, 300.0) / (2.0 * thermal_voltage(300.0));
    let here = gap(constants, t) / (2.0 * thermal_voltage(t));
    constants.get("intrinsic", "ni_300") * (t / 300.0).powf(1.5) * (at_300 - here).exp()
}
