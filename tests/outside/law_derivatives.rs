//! Every derivative of every law against central differences.

use holdpoint::case::{Avalanche, Constants, Laws, Mobility, Narrowing, Saturation};
use holdpoint::silicon::{
    AvalancheLaw, Carrier, FermiIntegrals, HeatLaw, IntrinsicLaw, IonizationLaw, MobilityLaw,
    MobilityPoint, RecombinationLaw, RecombinationPoint, SaturationLaw, Silicon, Slope, SurfaceLaw,
};

use super::ledger::line;

const CARRIERS: [Carrier; 2] = [Carrier::Electron, Carrier::Hole];
/// Lattice temperatures [K], the ambient of the laws (340 K) among them.
const TEMPERATURES: [f64; 5] = [233.0, 300.0, 340.0, 448.0, 1000.0];
const AMBIENT: f64 = 340.0;

/// The largest difference met, relative to the derivative or to `floor`.
struct Worst {
    name: &'static str,
    value: f64,
    at: String,
}

impl Worst {
    fn new(name: &'static str) -> Worst {
        Worst { name, value: 0.0, at: String::new() }
    }

    /// Five-point central differences of `f` at `x`, step 1e-4·x.
    fn see(&mut self, what: &str, derivative: f64, x: f64, floor: f64, f: impl Fn(f64) -> f64) {
        let h = 2e-4 * x.abs();
        let difference =
            (8.0 * (f(x + h) - f(x - h)) - (f(x + 2.0 * h) - f(x - 2.0 * h))) / (12.0 * h);
        let off = (derivative - difference).abs() / derivative.abs().max(floor);
        assert!(off.is_finite(), "{}: {what}: {derivative} {difference}", self.name);
        if off > self.value {
            (self.value, self.at) = (off, format!("{what}: {derivative:e}, {difference:e}"));
        }
    }

    fn at_most(&self, bound: f64) {
        line("central differences", &format!("worst of {}", self.name), 0.0, self.value);
        assert!(self.value < bound, "{}: {:e} at {}", self.name, self.value, self.at);
    }
}

#[test]
fn saturation() {
    let mut worst = Worst::new("saturation");
    let law = SaturationLaw::new(Saturation::Canali1975, &Constants::default(), AMBIENT);
    for carrier in CARRIERS {
        for t in TEMPERATURES {
            for e in [1e1, 1e3, 2.7e4, 1.1e5, 3.3e5, 1.2e6f64] {
                let mu = 700.0;
                let v = law.at(carrier, mu, e, t);
                let size = 1e-4 * v.value;
                let what = format!("{carrier:?} {t} K {e:e} V/cm");
                let by_field = v.by_log_field / e;
                worst.see(&what, by_field, e, size / e, |e| law.at(carrier, mu, e, t).value);
                worst.see(&what, v.by_mu_0, mu, size / mu, |m| law.at(carrier, m, e, t).value);
                worst
                    .see(&what, v.by_temperature, t, size / t, |t| law.at(carrier, mu, e, t).value);
            }
        }
    }
    worst.at_most(1e-7);
}

#[test]
fn avalanche() {
    let mut worst = Worst::new("avalanche");
    for word in [Avalanche::VanOverstraeten1970, Avalanche::OkutoCrowell1975] {
        let law = AvalancheLaw::new(word, &Constants::default(), AMBIENT);
        for carrier in CARRIERS {
            for t in TEMPERATURES {
                for e in [1.1e5, 3.3e5, 5.7e5, 1.2e6f64] {
                    let v = law.at(carrier, e, t);
                    let what = format!("{word:?} {carrier:?} {t} K {e:e} V/cm");
                    worst.see(&what, v.by_field, e, 0.0, |e| law.at(carrier, e, t).value);
                    let floor = 1e-6 * v.value / t;
                    worst.see(&what, v.by_temperature, t, floor, |t| law.at(carrier, e, t).value);
                }
            }
        }
    }
    worst.at_most(1e-7);
}

#[test]
fn recombination() {
    let mut worst = Worst::new("recombination");
    for (level, exponent) in [(0.0, 0.0), (0.2, 1.5), (-0.31, -2.0)] {
        let mut constants = Constants::default();
        constants.set("shockley-read-hall", "level", level);
        constants.set("shockley-read-hall", "tau_exponent", exponent);
        let silicon = Silicon::new(&Laws::default(), &constants, AMBIENT);
        let law = &silicon.recombination;
        let total = 1e17;
        let rate = |n: f64, p: f64, t: f64| {
            let nie = silicon.effective_intrinsic(total, t);
            let excess = n * p / (nie.value * nie.value) - 1.0;
            let tau = law.lifetimes(total, t);
            law.rate(&RecombinationPoint { n, p, excess, nie, tau, temperature: t })
        };
        // n_ie alone, the lifetimes at T.
        let by_nie = |n: f64, p: f64, nie: f64, t: f64| {
            let excess = n * p / (nie * nie) - 1.0;
            let (nie, tau) = (Slope::constant(nie), law.lifetimes(total, t));
            law.rate(&RecombinationPoint { n, p, excess, nie, tau, temperature: t }).rate
        };
        for t in [250.0, 300.0, 340.0, 425.0] {
            let nie = silicon.effective_intrinsic(total, t).value;
            for n in [1e2, 1e8, 1e10, 1e14, 1e18, 1e20] {
                for p in [1e3, 3e9, 1e12, 2e16, 1e19] {
                    let r = rate(n, p, t);
                    // Terms cancel near np = n_ie²: what counts is the size of each.
                    let size = r.rate.abs().max((r.by_n * n).abs()).max((r.by_p * p).abs());
                    let what = format!("level {level} {t} K n {n:e} p {p:e}");
                    worst.see(&what, r.by_n, n, size / n, |n| rate(n, p, t).rate);
                    worst.see(&what, r.by_p, p, size / p, |p| rate(n, p, t).rate);
                    worst.see(&what, r.by_temperature, t, size / t, |t| rate(n, p, t).rate);
                    worst.see(&what, r.by_nie, nie, size / nie, |x| by_nie(n, p, x, t));
                }
            }
        }
    }
    worst.at_most(1e-6);
    // Lifetimes by T.
    let mut constants = Constants::default();
    constants.set("shockley-read-hall", "tau_exponent", 1.7);
    let law = RecombinationLaw::new(&Laws::default(), &constants);
    let mut worst = Worst::new("lifetimes");
    for t in TEMPERATURES {
        for k in 0..2 {
            let tau = law.lifetimes(1e17, t)[k];
            worst.see("tau", tau.derivative, t, 0.0, |t| law.lifetimes(1e17, t)[k].value);
        }
    }
    worst.at_most(1e-8);
}

#[test]
fn band_structure() {
    let mut worst = Worst::new("gap, n_i, N_c, N_v, n_ie");
    let law = IntrinsicLaw::new(&Constants::default());
    for t in TEMPERATURES {
        worst.see("gap", law.gap(t).derivative, t, 0.0, |t| law.gap(t).value);
        worst.see("n_i", law.density(t).derivative, t, 0.0, |t| law.density(t).value);
        let (n_c, n_v) = (law.conduction_states(t), law.valence_states(t));
        worst.see("N_c", n_c.derivative, t, 0.0, |t| law.conduction_states(t).value);
        worst.see("N_v", n_v.derivative, t, 0.0, |t| law.valence_states(t).value);
        for narrowing in [Narrowing::None, Narrowing::Slotboom1977] {
            let laws = Laws { narrowing, ..Laws::default() };
            let silicon = Silicon::new(&laws, &Constants::default(), AMBIENT);
            let v = silicon.effective_intrinsic(3e18, t);
            let f = |t| silicon.effective_intrinsic(3e18, t).value;
            worst.see("n_ie", v.derivative, t, 0.0, f);
        }
    }
    worst.at_most(1e-7);
}

#[test]
fn mobility() {
    for word in [Mobility::Masetti1983, Mobility::Arora1982, Mobility::Klaassen1992] {
        let mut worst = Worst::new("mobility");
        let law = MobilityLaw::new(word, &Constants::default(), AMBIENT);
        for carrier in CARRIERS {
            for temperature in TEMPERATURES {
                for (donors, acceptors) in [
                    (1e14, 0.0),
                    (1e12, 1e16),
                    (2e17, 1e17),
                    (1e15, 1e19),
                    (3e20, 1e18),
                    (0.0, 1e20),
                ] {
                    for n in [1e4, 1e13, 2e16, 3e18, 1e20] {
                        for p in [1e3, 1e14, 4e17, 2e19] {
                            let at = MobilityPoint { donors, acceptors, n, p, temperature };
                            let v = law.at(carrier, &at);
                            let of = |at| law.at(carrier, &at).value;
                            let what = format!("{word:?} {carrier:?} {at:?}");
                            let size = 1e-4 * v.value;
                            worst
                                .see(&what, v.by_n, n, size / n, |n| of(MobilityPoint { n, ..at }));
                            worst
                                .see(&what, v.by_p, p, size / p, |p| of(MobilityPoint { p, ..at }));
                            worst.see(
                                &what,
                                v.by_temperature,
                                temperature,
                                size / temperature,
                                |temperature| of(MobilityPoint { temperature, ..at }),
                            );
                        }
                    }
                }
            }
        }
        worst.at_most(1e-6);
    }
}

#[test]
fn surface_recombination() {
    let mut worst = Worst::new("surface recombination");
    let mut constants = Constants::default();
    constants.set("surface-recombination", "s_n", 30.0);
    let laws = Laws { surface: true, ..Laws::default() };
    let silicon = Silicon::new(&laws, &constants, AMBIENT);
    let law = SurfaceLaw::new(&laws, &constants);
    let tau = [Slope::constant(1.0); 2];
    let rate = |n: f64, p: f64, temperature: f64| {
        let nie = silicon.effective_intrinsic(1e17, temperature);
        let excess = n * p / (nie.value * nie.value) - 1.0;
        law.rate(&RecombinationPoint { n, p, excess, nie, tau, temperature })
    };
    for t in [250.0, 340.0, 425.0] {
        for n in [1e2, 1e10, 1e14, 1e19] {
            for p in [1e3, 3e9, 2e16, 1e18] {
                let r = rate(n, p, t);
                let size = r.rate.abs().max((r.by_n * n).abs()).max((r.by_p * p).abs());
                let what = format!("{t} K n {n:e} p {p:e}");
                worst.see(&what, r.by_n, n, size / n, |n| rate(n, p, t).rate);
                worst.see(&what, r.by_p, p, size / p, |p| rate(n, p, t).rate);
                worst.see(&what, r.by_temperature, t, size / t, |t| rate(n, p, t).rate);
            }
        }
    }
    worst.at_most(1e-7);
}

#[test]
fn ionization_and_heat() {
    let mut worst = Worst::new("incomplete ionization");
    let law = IonizationLaw::new(&Constants::default());
    for t in TEMPERATURES {
        for dopants in [1e14, 1e17, 2e18, 1e20] {
            for n in [1e2, 1e13, 1e17, 3e19] {
                for donors in [true, false] {
                    let of = |n: f64, t: f64| {
                        if donors {
                            law.donors(dopants, n, t)
                        } else {
                            law.acceptors(dopants, n, t)
                        }
                    };
                    let v = of(n, t);
                    let what = format!("{t} K {dopants:e} {n:e}");
                    // The share is 1 less something small: its rounding is of size 1.
                    worst.see(&what, v.by_density, n, 1e-3 / n, |n| of(n, t).value);
                    worst.see(&what, v.by_temperature, t, 1e-3 / t, |t| of(n, t).value);
                }
            }
        }
    }
    worst.at_most(1e-7);
    let mut worst = Worst::new("thermal conductivity");
    let law = HeatLaw::new(&Constants::default());
    for t in TEMPERATURES {
        worst.see("k", law.conductivity(t).derivative, t, 0.0, |t| law.conductivity(t).value);
    }
    worst.at_most(1e-8);
}

#[test]
fn fermi_integrals() {
    let mut worst = Worst::new("Fermi integrals and their inverse");
    // Around every switch of the approximation.
    for eta in
        [-50.0, -20.0, -3.0, -2.0005, -1.9, 0.3, 2.0, 7.99, 8.01, 24.0, 60.0, 71.99, 72.02, 200.0]
    {
        let f = FermiIntegrals::at(eta);
        worst.see("F_1/2", f.minus_half, eta, 0.0, |x| FermiIntegrals::at(x).half);
        worst.see("F_-1/2", f.minus_three_halves, eta, 0.0, |x| FermiIntegrals::at(x).minus_half);
        let (again, _) = FermiIntegrals::inverse(f.half);
        let off = (again - eta).abs() / eta.abs().max(1.0);
        assert!(off < 1e-13, "inverse at {eta}: {again}");
    }
    worst.at_most(1e-7);
}
