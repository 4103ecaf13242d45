//! The table of constants: every constant of every law, with its source.

use super::constants::{ConstantSpec, Dim};

const fn c(
    law: &'static str,
    key: &'static str,
    dim: Dim,
    default: f64,
    bounds: (f64, f64),
    doc: &'static str,
    source: &'static str,
) -> ConstantSpec {
    ConstantSpec { law, key, dim, default, bounds, doc, source }
}

const ALTERMATT: &str = "Altermatt, Schenk, Geelhaar, Heiser, J. Appl. Phys. 93, 1598 (2003)";
const THURMOND: &str =
    "Thurmond, J. Electrochem. Soc. 122, 1133 (1975); form: Varshni, Physica 34, 149 (1967)";
const MASETTI: &str =
    "Masetti, Severi, Solmi, IEEE Trans. Electron Devices 30, 764 (1983), Table I";
const CANALI: &str =
    "Canali, Majni, Minder, Ottaviani, IEEE Trans. Electron Devices 22, 1045 (1975)";
const VANOVERSTRAETEN: &str = "van Overstraeten, de Man, Solid-State Electron. 13, 583 (1970)";
const CROWELL_SZE: &str = "Crowell, Sze, Appl. Phys. Lett. 9, 242 (1966)";
const KLAASSEN_T: &str = "lattice exponent of Klaassen, Solid-State Electron. 35, 961 (1992)";
const ARORA_T: &str =
    "temperature exponents of Arora, Hauser, Roulston, IEEE Trans. Electron Devices 29, 292 (1982)";
const SLOTBOOM: &str = "Slotboom, de Graaff, Solid-State Electron. 19, 857 (1976); Slotboom, IEEE Trans. Electron Devices 24, 1123 (1977)";
const DZIEWIOR: &str = "Dziewior, Schmid, Appl. Phys. Lett. 31, 346 (1977)";
const COMMON: &str = "common practice, no source; calibrate";

/// All constants, law by law.
#[rustfmt::skip] // one entry per pair of lines reads as a table
pub const CONSTANTS: &[ConstantSpec] = &[
    c("intrinsic", "ni_300", Dim::Density, 9.65e9, (1e8, 1e12),
        "intrinsic density at 300 K", ALTERMATT),
    c("intrinsic", "gap_0", Dim::Energy, 1.17, (0.5, 3.0),
        "band gap at 0 K", THURMOND),
    c("intrinsic", "alpha", Dim::EnergyPerTemperature, 4.73e-4, (0.0, 1e-2),
        "fall of the gap: gap = gap_0 - alpha T²/(T + beta)", THURMOND),
    c("intrinsic", "beta", Dim::Temperature, 636.0, (1.0, 5000.0),
        "see alpha", THURMOND),
    c("dielectric", "silicon", Dim::Number, 11.7, (1.0, 100.0),
        "relative permittivity", "Ioffe Institute silicon page"),
    c("dielectric", "oxide", Dim::Number, 3.9, (1.0, 100.0),
        "relative permittivity of SiO2", "handbook value"),
    c("affinity", "silicon", Dim::Energy, 4.05, (1.0, 6.0),
        "electron affinity", "handbook value"),
    c("mobility", "mu_n", Dim::Mobility, 1400.0, (1e-3, 1e5),
        "electron mobility of mobility = \"constant\"", COMMON),
    c("mobility", "mu_p", Dim::Mobility, 450.0, (1e-3, 1e5),
        "hole mobility of mobility = \"constant\"", COMMON),
    c("masetti-1983", "theta_n", Dim::Number, 2.285, (0.0, 5.0),
        "mu_max falls as (T/300)^-theta, electrons", KLAASSEN_T),
    c("masetti-1983", "theta_p", Dim::Number, 2.247, (0.0, 5.0),
        "mu_max falls as (T/300)^-theta, holes", KLAASSEN_T),
    c("masetti-1983", "mu_exponent", Dim::Number, -0.57, (-5.0, 5.0),
        "mu_1, mu_2, mu_3 go as (T/300)^this", ARORA_T),
    c("masetti-1983", "c_r_exponent", Dim::Number, 2.4, (-5.0, 10.0),
        "C_r goes as (T/300)^this", ARORA_T),
    c("masetti-1983", "alpha_exponent", Dim::Number, -0.146, (-5.0, 5.0),
        "alpha goes as (T/300)^this", ARORA_T),
    c("masetti-1983", "mu_max_n", Dim::Mobility, f64::NAN, (1.0, 1e5),
        "electrons; default by dopant: As 1417, P 1414", MASETTI),
    c("masetti-1983", "mu_max_p", Dim::Mobility, 470.5, (1.0, 1e5),
        "holes", MASETTI),
    c("masetti-1983", "mu_1_n", Dim::Mobility, f64::NAN, (0.0, 1e5),
        "electrons; mu = mu_1 exp(-p_c/N) + (mu_max - mu_2)/(1 + (N/c_r)^alpha) - mu_3/(1 + (c_s/N)^beta); default by dopant", MASETTI),
    c("masetti-1983", "mu_1_p", Dim::Mobility, 44.9, (0.0, 1e5),
        "holes; mu = mu_1 exp(-p_c/N) + (mu_max - mu_2)/(1 + (N/c_r)^alpha) - mu_3/(1 + (c_s/N)^beta)", MASETTI),
    c("masetti-1983", "mu_2_n", Dim::Mobility, f64::NAN, (0.0, 1e5),
        "electrons; see mu_1; default by dopant", MASETTI),
    c("masetti-1983", "mu_2_p", Dim::Mobility, 0.0, (0.0, 1e5),
        "holes; see mu_1", MASETTI),
    c("masetti-1983", "mu_3_n", Dim::Mobility, f64::NAN, (0.0, 1e5),
        "electrons; see mu_1; default by dopant", MASETTI),
    c("masetti-1983", "mu_3_p", Dim::Mobility, 29.0, (0.0, 1e5),
        "holes; see mu_1", MASETTI),
    c("masetti-1983", "p_c_n", Dim::Density, f64::NAN, (0.0, 1e23),
        "electrons; see mu_1; default by dopant", MASETTI),
    c("masetti-1983", "p_c_p", Dim::Density, 9.23e16, (0.0, 1e23),
        "holes; see mu_1", MASETTI),
    c("masetti-1983", "c_r_n", Dim::Density, f64::NAN, (1e10, 1e23),
        "electrons; see mu_1; default by dopant", MASETTI),
    c("masetti-1983", "c_r_p", Dim::Density, 2.23e17, (1e10, 1e23),
        "holes; see mu_1", MASETTI),
    c("masetti-1983", "c_s_n", Dim::Density, f64::NAN, (1e10, 1e25),
        "electrons; see mu_1; default by dopant", MASETTI),
    c("masetti-1983", "c_s_p", Dim::Density, 6.10e20, (1e10, 1e25),
        "holes; see mu_1", MASETTI),
    c("masetti-1983", "alpha_n", Dim::Number, f64::NAN, (0.1, 5.0),
        "electrons; see mu_1; default by dopant", MASETTI),
    c("masetti-1983", "alpha_p", Dim::Number, 0.719, (0.1, 5.0),
        "holes; see mu_1", MASETTI),
    c("masetti-1983", "beta_n", Dim::Number, f64::NAN, (0.1, 10.0),
        "electrons; see mu_1; default by dopant", MASETTI),
    c("masetti-1983", "beta_p", Dim::Number, 2.0, (0.1, 10.0),
        "holes; see mu_1", MASETTI),
    c("canali-1975", "v_n", Dim::Velocity, 1.07e7, (1e5, 1e9),
        "electron saturation velocity at 300 K", CANALI),
    c("canali-1975", "v_n_exponent", Dim::Number, -0.87, (-5.0, 5.0),
        "v_n goes as (T/300)^this", CANALI),
    c("canali-1975", "beta_n", Dim::Number, 1.109, (0.3, 5.0),
        "electron exponent at 300 K", CANALI),
    c("canali-1975", "beta_n_exponent", Dim::Number, 0.66, (-5.0, 5.0),
        "beta_n goes as (T/300)^this", CANALI),
    c("canali-1975", "v_p", Dim::Velocity, 8.37e6, (1e5, 1e9),
        "hole saturation velocity at 300 K", CANALI),
    c("canali-1975", "v_p_exponent", Dim::Number, -0.52, (-5.0, 5.0),
        "v_p goes as (T/300)^this", CANALI),
    c("canali-1975", "beta_p", Dim::Number, 1.213, (0.3, 5.0),
        "hole exponent at 300 K", CANALI),
    c("canali-1975", "beta_p_exponent", Dim::Number, 0.17, (-5.0, 5.0),
        "beta_p goes as (T/300)^this", CANALI),
    c("shockley-read-hall", "tau_n0", Dim::Time, 20e-6, (1e-15, 10.0),
        "electron lifetime in pure silicon", COMMON),
    c("shockley-read-hall", "tau_p0", Dim::Time, 5e-6, (1e-15, 10.0),
        "hole lifetime in pure silicon", COMMON),
    c("shockley-read-hall", "n_half", Dim::Density, 7.1e15, (1e10, 1e23),
        "tau = tau_0/(1 + N/n_half) if it falls with doping", "Fossum, Lee, Solid-State Electron. 25, 741 (1982), from memory"),
    c("auger", "c_n", Dim::Auger, 2.8e-31, (0.0, 1e-27),
        "eeh coefficient", DZIEWIOR),
    c("auger", "c_p", Dim::Auger, 9.9e-32, (0.0, 1e-27),
        "ehh coefficient", DZIEWIOR),
    c("slotboom-1977", "v_1", Dim::Voltage, 9.0e-3, (0.0, 0.1),
        "narrowing = v_1 (ln(N/n_0) + sqrt(ln²(N/n_0) + c))", SLOTBOOM),
    c("slotboom-1977", "n_0", Dim::Density, 1e17, (1e10, 1e23),
        "see v_1", SLOTBOOM),
    c("slotboom-1977", "c", Dim::Number, 0.5, (0.0, 100.0),
        "see v_1", SLOTBOOM),
    c("van-overstraeten-1970", "a_n", Dim::PerLength, 7.03e5, (0.0, 1e9),
        "electrons: alpha = a exp(-b/E)", VANOVERSTRAETEN),
    c("van-overstraeten-1970", "b_n", Dim::Field, 1.231e6, (1e3, 1e9),
        "electrons", VANOVERSTRAETEN),
    c("van-overstraeten-1970", "a_p_low", Dim::PerLength, 1.582e6, (0.0, 1e9),
        "holes below the crossing near 4e5 V/cm", VANOVERSTRAETEN),
    c("van-overstraeten-1970", "b_p_low", Dim::Field, 2.036e6, (1e3, 1e9),
        "holes below the crossing", VANOVERSTRAETEN),
    c("van-overstraeten-1970", "a_p_high", Dim::PerLength, 6.71e5, (0.0, 1e9),
        "holes above the crossing", VANOVERSTRAETEN),
    c("van-overstraeten-1970", "b_p_high", Dim::Field, 1.693e6, (1e3, 1e9),
        "holes above the crossing", VANOVERSTRAETEN),
    c("van-overstraeten-1970", "phonon_energy", Dim::Energy, 0.063, (1e-3, 1.0),
        "optical phonon energy of the temperature factor", CROWELL_SZE),
    c("van-overstraeten-1970", "temperature_factor", Dim::Number, 1.0, (0.0, 1.0),
        "1: alpha = g a exp(-g b/E), g = tanh(E_ph/2kT0)/tanh(E_ph/2kT); 0: the 300 K law", CROWELL_SZE),
];
