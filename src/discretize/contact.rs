//! Ohmic contacts: neutral, both quasi-Fermi potentials at the contact's voltage.

use crate::silicon::Silicon;

use super::flow::VT_BY_T;
use super::local::{Filling, Local};

/// The neutral state of silicon in equilibrium at one node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neutral {
    /// ψ − V \[V\] and its derivative by T.
    pub offset: f64,
    pub offset_by_t: f64,
    /// n and p [cm⁻³] and their derivatives by T.
    pub densities: [f64; 2],
    pub densities_by_t: [f64; 2],
    pub filling: [Filling; 2],
}

/// Ionized donors and acceptors [cm⁻³] with derivatives by their majority carrier and T.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ionized {
    pub donors: f64,
    pub acceptors: f64,
    /// d(donors)/dn, d(acceptors)/dp.
    pub by_density: [f64; 2],
    pub by_temperature: [f64; 2],
}

/// Ionized dopants among `donors` and `acceptors` [cm⁻³] beside n and p.
pub fn ionized(silicon: &Silicon, donors: f64, acceptors: f64, at: [f64; 2], t: f64) -> Ionized {
    if !silicon.incomplete() {
        return Ionized { donors, acceptors, by_density: [0.0; 2], by_temperature: [0.0; 2] };
    }
    let d = silicon.ionization.donors(donors, at[0], t);
    let a = silicon.ionization.acceptors(acceptors, at[1], t);
    Ionized {
        donors: donors * d.value,
        acceptors: acceptors * a.value,
        by_density: [donors * d.by_density, acceptors * a.by_density],
        by_temperature: [donors * d.by_temperature, acceptors * a.by_temperature],
    }
}

/// Neutral silicon of `donors` and `acceptors` [cm⁻³] at one temperature.
pub fn neutral(silicon: &Silicon, local: &Local, donors: f64, acceptors: f64) -> Neutral {
    if local.bands.is_none() && !silicon.incomplete() {
        dilute(local, donors - acceptors)
    } else {
        general(silicon, local, donors, acceptors)
    }
}

/// In closed form: Boltzmann statistics, all dopants ionized, np = n_ie².
fn dilute(local: &Local, net: f64) -> Neutral {
    let nie = local.nie.value;
    // The root that does not cancel.
    let major = 0.5 * net.abs() + (0.25 * net * net + nie * nie).sqrt();
    let minor = nie * nie / major;
    let densities = if net >= 0.0 { [major, minor] } else { [minor, major] };
    let ratio = 0.5 * net / nie;
    let zeta = ratio.asinh();
    // n − p is fixed, np grows with n_ie².
    let by_t = 2.0 * nie * local.nie.derivative / (major + minor);
    let zeta_by_t = -ratio / (1.0 + ratio * ratio).sqrt() * local.ln_nie_by_t();
    Neutral {
        offset: local.vt * zeta,
        offset_by_t: VT_BY_T * zeta + local.vt * zeta_by_t,
        densities,
        densities_by_t: [by_t; 2],
        filling: [Filling::DILUTE; 2],
    }
}

/// Charge over q at ζ, with its derivative by ζ and by T.
struct Charge {
    value: f64,
    by_zeta: f64,
    by_t: f64,
    densities: [f64; 2],
    filling: [Filling; 2],
    densities_by_zeta: [f64; 2],
    densities_by_t: [f64; 2],
}

fn charge(silicon: &Silicon, local: &Local, donors: f64, acceptors: f64, zeta: f64) -> Charge {
    let ((n, fn_), (p, fp)) = (local.density(0, zeta), local.density(1, -zeta));
    let by_zeta = [n / fn_.slope, -p / fp.slope];
    // ζ fixed: ln n moves with N and with η = ζ − ln(N/n_ie).
    let by_t = |c: usize, density: f64, f: &Filling| {
        let states = local.ln_states_by_t(c);
        density * (states + (local.ln_nie_by_t() - states) / f.slope)
    };
    let densities_by_t = [by_t(0, n, &fn_), by_t(1, p, &fp)];
    let ions = ionized(silicon, donors, acceptors, [n, p], local.temperature);
    let by_n = ions.by_density[0] - 1.0;
    let by_p = 1.0 - ions.by_density[1];
    Charge {
        value: (p - ions.acceptors) - (n - ions.donors),
        by_zeta: by_n * by_zeta[0] + by_p * by_zeta[1],
        by_t: by_n * densities_by_t[0] + by_p * densities_by_t[1] + ions.by_temperature[0]
            - ions.by_temperature[1],
        densities: [n, p],
        filling: [fn_, fp],
        densities_by_zeta: by_zeta,
        densities_by_t,
    }
}

/// By Newton's method between brackets; the charge falls strictly with ζ.
fn general(silicon: &Silicon, local: &Local, donors: f64, acceptors: f64) -> Neutral {
    let of = |zeta: f64| charge(silicon, local, donors, acceptors, zeta);
    let mut zeta = (0.5 * (donors - acceptors) / local.nie.value).asinh();
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut c = of(zeta);
    for _ in 0..200 {
        if c.value == 0.0 {
            break;
        }
        if c.value > 0.0 {
            low = zeta
        } else {
            high = zeta
        }
        let newton = zeta - c.value / c.by_zeta;
        // Newton's steps go astray only where the charge is nearly exponential.
        let next = if newton > low && newton < high && (newton - zeta).abs() < 5.0 {
            newton
        } else if low.is_finite() && high.is_finite() {
            0.5 * (low + high)
        } else {
            zeta + if c.value > 0.0 { 5.0 } else { -5.0 }
        };
        let moved = (next - zeta).abs();
        zeta = next;
        c = of(zeta);
        if moved <= 4.0 * f64::EPSILON * zeta.abs() {
            break;
        }
    }
    let zeta_by_t = -c.by_t / c.by_zeta;
    let total = |k: usize| c.densities_by_t[k] + c.densities_by_zeta[k] * zeta_by_t;
    Neutral {
        offset: local.vt * zeta,
        offset_by_t: VT_BY_T * zeta + local.vt * zeta_by_t,
        densities: c.densities,
        densities_by_t: [total(0), total(1)],
        filling: c.filling,
    }
}
