//! The laws of silicon against published tables and formulas, and their derivatives
//! against central differences.

use holdpoint::case::{Constants, ElectronRow, Laws, Lifetime, Mobility, Saturation};
use holdpoint::silicon::{
    Carrier, IntrinsicLaw, MobilityLaw, MobilityPoint, RecombinationLaw, RecombinationPoint,
    SaturationLaw, Slope, gap, intrinsic_density,
};

use super::ledger::{Within, check};

fn defaults() -> Constants {
    Constants::default()
}

/// Total doping [cm⁻³] at 300 K.
fn doped(total: f64) -> MobilityPoint {
    MobilityPoint::doped(total, 300.0)
}

/// Densities and n_i [cm⁻³], lifetimes [s], 300 K.
fn recombining(n: f64, p: f64, ni: f64, tau: [f64; 2], excess: f64) -> RecombinationPoint {
    let (nie, tau) = (Slope::constant(ni), tau.map(Slope::constant));
    RecombinationPoint { n, p, excess, nie, tau, temperature: 300.0 }
}

/// Thurmond, J. Electrochem. Soc. 122, 1133 (1975), in Varshni's form, to its own digits.
#[test]
fn band_gap() {
    for (t, eg) in [(250.0, 1.136634), (300.0, 1.124519), (350.0, 1.111235), (400.0, 1.096950)] {
        let ours = gap(&defaults(), t);
        check("Thurmond 1975", &format!("gap at {t} K [eV]"), eg, ours, Within::Absolute(1e-6));
    }
}

/// The powers of T in N_c and N_v: Green, J. Appl. Phys. 67, 2944 (1990): T^1.58 and T^1.85.
/// N_v follows from n_i here; its power must come out near Green's, and its value 18 % below
/// Green's, whose product with N_c is not consistent with n_i = 9.65e9.
#[test]
fn densities_of_states() {
    let law = IntrinsicLaw::new(&defaults());
    let source = "Green 1990";
    let n_c = law.conduction_states(300.0).value;
    check(source, "N_c at 300 K", 2.86e19, n_c, Within::Relative(1e-12));
    let n_v = |t| law.valence_states(t).value;
    check(
        source,
        "N_v at 300 K, less 18.3 %",
        0.8174 * 3.10e19,
        n_v(300.0),
        Within::Relative(1e-3),
    );
    let power = (n_v(400.0) / n_v(250.0)).ln() / 1.6f64.ln();
    check(source, "power of T in N_v", 1.85, power, Within::Absolute(0.01));
}

/// Measured intrinsic densities: Misiakos, Tsamakis, J. Appl. Phys. 74, 3293 (1993), and
/// Sproul, Green, J. Appl. Phys. 70, 846 (1991).
#[test]
fn intrinsic_density_as_measured() {
    let misiakos = [
        (195.0, 1.78e4),
        (239.0, 1.92e7),
        (256.5, 1.45e8),
        (281.0, 1.79e9),
        (300.0, 9.7e9),
        (319.5, 4.51e10),
        (340.5, 1.89e11),
    ];
    let sproul =
        [(275.0, 1.06e9), (300.0, 9.97e9), (325.0, 6.9e10), (350.0, 3.63e11), (375.0, 1.56e12)];
    for (source, points) in [("Misiakos 1993", &misiakos[..]), ("Sproul 1991", &sproul[..])] {
        for &(t, ni) in points {
            let ours = intrinsic_density(&defaults(), t);
            let what = format!("n_i at {t} K [cm^-3]");
            check(source, &what, ni, ours, Within::Relative(0.08));
        }
    }
    // Fits to the measurements, within their ranges: Misiakos, Tsamakis 1993 (78 to 340 K),
    // Sproul, Green 1991 (275 to 375 K).
    for t in [233.0, 250.0, 275.0, 300.0, 325.0, 340.0f64] {
        let fit = 5.29e19 * (t / 300.0).powf(2.54) * (-6726.0 / t).exp();
        let ours = intrinsic_density(&defaults(), t);
        check("Misiakos 1993, fit", &format!("n_i at {t} K"), fit, ours, Within::Relative(0.02));
    }
    for t in [275.0, 300.0, 325.0, 350.0, 375.0f64] {
        let fit = 9.15e19 * (t / 300.0).powi(2) * (-6880.0 / t).exp();
        let ours = intrinsic_density(&defaults(), t);
        check("Sproul 1991, fit", &format!("n_i at {t} K"), fit, ours, Within::Relative(0.05));
    }
    // The value that everything else is scaled to: Altermatt et al. 2003.
    let ours = intrinsic_density(&defaults(), 300.0);
    check("Altermatt 2003", "n_i at 300 K [cm^-3]", 9.65e9, ours, Within::Relative(1e-12));
}

/// Masetti, Severi, Solmi, IEEE Trans. Electron Devices 30, 764 (1983): N, As, P, B.
const MASETTI: [(f64, f64, f64, f64); 9] = [
    (1e13, 1414.35, 1411.96, 470.15),
    (1e14, 1404.39, 1403.57, 468.67),
    (1e15, 1358.69, 1362.06, 461.05),
    (1e16, 1176.79, 1183.79, 424.91),
    (1e17, 727.05, 721.31, 319.10),
    (1e18, 283.78, 276.96, 160.31),
    (1e19, 108.05, 114.78, 73.17),
    (1e20, 60.87, 73.23, 49.86),
    (1e21, 15.91, 20.17, 24.87),
];

#[test]
fn masetti_mobility() {
    let law = |row| MobilityLaw::new(Mobility::Masetti1983, &Constants::with_electrons(row), 300.0);
    let (arsenic, phosphorus) = (law(ElectronRow::Arsenic), law(ElectronRow::Phosphorus));
    for (n, a, p, b) in MASETTI {
        let within = |v: f64| Within::Absolute((1e-4 * v).max(0.005_000_1));
        for (what, value, ours) in [
            ("As", a, arsenic.at(Carrier::Electron, &doped(n)).value),
            ("P", p, phosphorus.at(Carrier::Electron, &doped(n)).value),
            ("B", b, arsenic.at(Carrier::Hole, &doped(n)).value),
        ] {
            check("Masetti 1983", &format!("mobility, {what} {n:e}"), value, ours, within(value));
        }
    }
}

/// The formula's simple form at 1e18 as a course prints it: Van Zeghbroeck, Principles of
/// Semiconductor Devices, worked example: 277 (P) and 284 (As).
#[test]
fn masetti_against_a_course_example() {
    for (row, published) in [(ElectronRow::Phosphorus, 277.0), (ElectronRow::Arsenic, 284.0)] {
        let law = MobilityLaw::new(Mobility::Masetti1983, &Constants::with_electrons(row), 300.0);
        let ours = law.at(Carrier::Electron, &doped(1e18)).value;
        check("Van Zeghbroeck", row.word(), published, ours, Within::Absolute(0.5));
    }
}

/// Canali et al., IEEE Trans. Electron Devices 22, 1045 (1975): v_s and β at four
/// temperatures (through v(E) at a very high and a low field), and v(E) at 300 K.
#[test]
fn canali_saturation() {
    let table = [
        (250.0, 1.254e7, 0.9833, 9.202e6, 1.1760),
        (300.0, 1.070e7, 1.1090, 8.370e6, 1.2130),
        (350.0, 9.357e6, 1.2278, 7.725e6, 1.2452),
        (400.0, 8.331e6, 1.3409, 7.207e6, 1.2738),
    ];
    for (t, vs_n, beta_n, vs_p, beta_p) in table {
        let SaturationLaw::Canali1975 { n, p } =
            SaturationLaw::new(Saturation::Canali1975, &defaults(), t)
        else {
            panic!("the law is not Canali's")
        };
        for (what, value, ours) in [
            ("v_n", vs_n, n.velocity(t)),
            ("beta_n", beta_n, n.exponent(t)),
            ("v_p", vs_p, p.velocity(t)),
            ("beta_p", beta_p, p.exponent(t)),
        ] {
            check("Canali 1975", &format!("{what} at {t} K"), value, ours, Within::Relative(1e-3));
        }
    }
    let law = SaturationLaw::new(Saturation::Canali1975, &defaults(), 300.0);
    let curve = [
        (1e3, 1.2937e6, 4.5901e5),
        (1e4, 6.5193e6, 3.3733e6),
        (3e4, 8.9664e6, 5.8931e6),
        (1e5, 1.0178e7, 7.6058e6),
        (3e5, 1.0540e7, 8.1523e6),
    ];
    for (e, v_n, v_p) in curve {
        let n = e * law.at(Carrier::Electron, 1417.0, e, 300.0).value;
        let p = e * law.at(Carrier::Hole, 470.5, e, 300.0).value;
        check("Canali 1975", &format!("v_n at {e:e} V/cm"), v_n, n, Within::Relative(1e-3));
        check("Canali 1975", &format!("v_p at {e:e} V/cm"), v_p, p, Within::Relative(1e-3));
    }
    // Measured, as in Singh, Semiconductor Devices: Basic Principles, examples 3.5, 3.9.
    for (e, v) in [(1e3, 1.4e6), (1e4, 7e6), (1e5, 1e7)] {
        let n = e * law.at(Carrier::Electron, 1417.0, e, 300.0).value;
        check("Singh ex. 3.5, 3.9", &format!("v_n at {e:e} V/cm"), v, n, Within::Relative(0.15));
    }
}

/// Shockley-Read 1952, Hall 1952: n_i = 9.65e9, mid-gap level.
#[test]
fn shockley_read_hall() {
    let mut constants = defaults();
    constants.set("shockley-read-hall", "tau_n0", 1e-6);
    constants.set("shockley-read-hall", "tau_p0", 1e-6);
    let laws = Laws { auger: false, lifetime: Lifetime::Constant, ..Laws::default() };
    let law = RecombinationLaw::new(&laws, &constants);
    let ni = 9.65e9;
    let cases = [
        ("n = p = 0", 0.0, 0.0, -4.825e15),
        ("n-type 1e16, excess 1e13", 1e16 + 1e13, 1e13 + ni * ni / 1e16, 9.99000e18),
        ("n = p = 1e18", 1e18, 1e18, 5.0e23),
    ];
    for (what, n, p, rate) in cases {
        let excess = n * p / (ni * ni) - 1.0;
        let ours = law.rate(&recombining(n, p, ni, [1e-6; 2], excess)).rate;
        check("Shockley-Read-Hall 1952", what, rate, ours, Within::Relative(1e-5));
    }
    // Lifetime against doping: Fossum, Lee 1982: 3.95e-4 s/(1 + N/7.1e15) (from memory).
    constants.set("shockley-read-hall", "tau_n0", 3.95e-4);
    let law = RecombinationLaw::new(&Laws::default(), &constants);
    for (n, tau) in [(1e15, 346.2e-6), (1e16, 164.0e-6), (1e17, 26.19e-6), (1e18, 2.785e-6)] {
        let what = format!("lifetime at {n:e} [s]");
        check(
            "Fossum-Lee 1982",
            &what,
            tau,
            law.lifetimes(n, 300.0)[0].value,
            Within::Relative(5e-4),
        );
    }
}

/// Auger lifetimes: Dziewior, Schmid, Appl. Phys. Lett. 31, 346 (1977).
#[test]
fn auger() {
    let laws = Laws { shockley_read_hall: false, ..Laws::default() };
    let law = RecombinationLaw::new(&laws, &defaults());
    let ni = 9.65e9;
    let lifetime = |n: f64, p: f64, excess: f64| {
        excess / law.rate(&recombining(n, p, ni, [1.0; 2], n * p / (ni * ni) - 1.0)).rate
    };
    // A trace of minority carriers, far above equilibrium and far below the doping.
    let few = 1e8;
    for (n, tau) in [(1e18, 3.5714e-6), (1e19, 35.714e-9), (1e20, 0.35714e-9)] {
        let what = format!("lifetime in n-type {n:e} [s]");
        check("Dziewior-Schmid 1977", &what, tau, lifetime(n, few, few), Within::Relative(1.5e-5));
    }
    for (p, tau) in [(1e18, 10.101e-6), (1e19, 101.01e-9), (1e20, 1.0101e-9)] {
        let what = format!("lifetime in p-type {p:e} [s]");
        check("Dziewior-Schmid 1977", &what, tau, lifetime(few, p, few), Within::Relative(1.5e-5));
    }
    let tau = lifetime(1e18, 1e18, 1e18);
    check(
        "Dziewior-Schmid 1977",
        "lifetime at n = p = 1e18 [s]",
        2.6385e-6,
        tau,
        Within::Relative(1.5e-5),
    );
}
