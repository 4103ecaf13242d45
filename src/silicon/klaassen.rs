//! Unified mobility: Klaassen, Solid-State Electron. 35, 953 (1992), and its temperature
//! dependence, ibid. 961. Majority and minority carriers differ, carriers screen and
//! scatter each other, dopants cluster.
//!
//! Two things differ from the journal's print, as the published curves and tables need
//! them: r_5 is −0.8552 (printed −0.01552), and the screening parameter P_CW is built on
//! N_sc (printed Z³N_I). As printed, minority mobilities come out up to 33 % too low.

use crate::case::Constants;

use super::ambient::AmbientKlaassen;
use super::dual::Dual;
use super::{Carrier, MobilityPoint, MobilityValue};

/// In (n, p, T).
type Point = Dual<3>;

/// Both carriers' constants.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Klaassen {
    n: Row,
    p: Row,
    /// Clustering of donors and acceptors: Z = 1 + 1/(c + (n_ref/N)²).
    c_d: f64,
    n_ref_d: f64,
    c_a: f64,
    n_ref_a: f64,
    /// Weights of the two screening limits in P.
    f_cw: f64,
    f_bh: f64,
    s: [f64; 7],
    r: [f64; 6],
    ambient: [Powers; 2],
}

/// One carrier's constants.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    mu_max: f64,
    mu_min: f64,
    n_ref: f64,
    alpha: f64,
    theta: f64,
    /// Effective mass over that of the free electron.
    mass: f64,
}

/// What depends on the temperature, and the two lattice and impurity mobilities.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Powers {
    temperature: f64,
    lattice: Point,
    impurity: Point,
    carriers: Point,
    /// (T/300)², for both screening limits.
    square: Point,
    /// (T/300·m)^s_4 and (m·300/T)^s_7 of G(P).
    attraction: Point,
    repulsion: Point,
    /// Of the minimum of G: see [`Klaassen::least`].
    level: f64,
}

impl Klaassen {
    /// The constants in force; what they give at `ambient` [K] is computed here, once.
    pub fn new(constants: &Constants, ambient: f64) -> Klaassen {
        let get = |key: &str| constants.get("klaassen-1992", key);
        let row = |suffix: &str| {
            let own = |key: &str| get(&format!("{key}_{suffix}"));
            Row {
                mu_max: own("mu_max"),
                mu_min: own("mu_min"),
                n_ref: own("n_ref"),
                alpha: own("alpha"),
                theta: own("theta"),
                mass: own("m"),
            }
        };
        let zero = Point::constant(0.0);
        let empty = Powers {
            temperature: ambient,
            lattice: zero,
            impurity: zero,
            carriers: zero,
            square: zero,
            attraction: zero,
            repulsion: zero,
            level: 0.0,
        };
        let mut law = Klaassen {
            n: row("n"),
            p: row("p"),
            c_d: get("c_d"),
            n_ref_d: get("n_ref_d"),
            c_a: get("c_a"),
            n_ref_a: get("n_ref_a"),
            f_cw: get("f_cw"),
            f_bh: get("f_bh"),
            s: [1, 2, 3, 4, 5, 6, 7].map(|k| get(&format!("s_{k}"))),
            r: [1, 2, 3, 4, 5, 6].map(|k| get(&format!("r_{k}"))),
            ambient: [empty; 2],
        };
        law.ambient = [law.powers(&law.n, ambient), law.powers(&law.p, ambient)];
        law
    }

    fn powers(&self, row: &Row, temperature: f64) -> Powers {
        let tn = temperature / 300.0;
        let &Row { mu_max, mu_min, alpha, theta, mass, .. } = row;
        let over = mu_max / (mu_max - mu_min);
        let (ln_tn, ln_mass) = (tn.ln(), mass.ln());
        // factor·(eˡⁿ)^k, where eˡⁿ goes as T.
        let power = |factor: f64, k: f64, ln: f64| {
            let value = factor * (k * ln).exp();
            Point { value, by: [0.0, 0.0, k * value / temperature] }
        };
        let [s_1, _, s_3, s_4, s_5, s_6, s_7] = self.s;
        let warm = ln_tn - ln_mass;
        Powers {
            temperature,
            lattice: power(mu_max, -theta, ln_tn),
            impurity: power(mu_max * over, 3.0 * alpha - 1.5, ln_tn),
            carriers: power(mu_min * over, -0.5, ln_tn),
            square: Point { value: tn * tn, by: [0.0, 0.0, 2.0 * tn / 300.0] },
            attraction: power(1.0, s_4, warm),
            repulsion: power(1.0, -s_7, warm),
            level: (s_1 * s_3 / (s_5 * s_6)).ln() - s_6 * (s_4 + s_7) * warm,
        }
    }

    /// Mobility and its derivatives.
    pub fn at(&self, carrier: Carrier, at: &MobilityPoint) -> MobilityValue {
        let electron = carrier == Carrier::Electron;
        let (own, other) = if electron { (&self.n, &self.p) } else { (&self.p, &self.n) };
        let cached = &self.ambient[if electron { 0 } else { 1 }];
        let fresh;
        let t = if at.temperature == cached.temperature {
            cached
        } else {
            fresh = self.powers(own, at.temperature);
            &fresh
        };
        let [donors, acceptors] = self.clustered(at.donors, at.acceptors);
        let (n, p) = (Point::variable(at.n, 0), Point::variable(at.p, 1));
        // Ions that attract scatter fully; those that repel by G; the other carriers by 1/F.
        let (attracting, repelling, others) =
            if electron { (donors, acceptors, p) } else { (acceptors, donors, n) };
        // 1 cm⁻³: keeps what follows finite where there is nothing at all.
        let n_sc = others + (attracting + repelling + 1.0);
        let both = n + p;
        // 1/P: Conwell-Weisskopf limit with few carriers, Brooks-Herring with many.
        // P_CW = 3.97e13 ((T/300)³/N_sc)^(2/3), P_BH = 1.36e20/(n + p)·m·(T/300)².
        let ln_n_sc = n_sc.ln();
        let cw = (ln_n_sc * (2.0 / 3.0)).exp() * (self.f_cw / 3.97e13);
        let bh = both * (self.f_bh / (1.36e20 * own.mass));
        let screening = t.square / (cw + bh);
        let ln_screening = screening.ln();
        let n_eff = self.g(screening, ln_screening, t) * repelling
            + others / self.f(ln_screening, own.mass / other.mass)
            + (attracting + 1.0);
        let ions = t.impurity * (n_sc / n_eff) * ((own.n_ref.ln() - ln_n_sc) * own.alpha).exp();
        let scattered = ions + t.carriers * both / n_eff;
        (t.lattice * scattered / (t.lattice + scattered)).into()
    }

    /// Densities of donors and acceptors as they scatter [cm⁻³]: clustered where dense.
    pub fn clustered(&self, donors: f64, acceptors: f64) -> [f64; 2] {
        let of = |n: f64, c: f64, n_ref: f64| {
            let ratio = n_ref / n.max(1.0);
            n.max(0.0) * (1.0 + 1.0 / (c + ratio * ratio))
        };
        [of(donors, self.c_d, self.n_ref_d), of(acceptors, self.c_a, self.n_ref_a)]
    }

    /// One carrier's law at the ambient temperature.
    pub fn ambient(&self, carrier: Carrier) -> AmbientKlaassen {
        let electron = carrier == Carrier::Electron;
        let (own, other) = if electron { (&self.n, &self.p) } else { (&self.p, &self.n) };
        let t = &self.ambient[if electron { 0 } else { 1 }];
        let [s_1, s_2, s_3, _, s_5, s_6, _] = self.s;
        let [r_1, r_2, r_3, r_4, r_5, r_6] = self.r;
        let ratio = own.mass / other.mass;
        let square = t.square.value;
        AmbientKlaassen {
            lattice: t.lattice.value,
            impurity: t.impurity.value,
            carriers: t.carriers.value,
            alpha: own.alpha,
            ln_n_ref: own.n_ref.ln(),
            cw: self.f_cw / 3.97e13 / square,
            bh: self.f_bh / (1.36e20 * own.mass) / square,
            s: [s_1, s_2, s_3, s_5, s_6],
            attraction: t.attraction.value,
            ln_repulsion: t.repulsion.value.ln(),
            ln_least: self
                .least(-50.0, t)
                .map_or(f64::NEG_INFINITY, |z| z - t.attraction.value.ln()),
            r: r_1,
            a: r_2 + r_3 * ratio,
            b: r_4 + r_5 * ratio,
            power: r_6,
        }
    }

    /// Scattering by repelling over that by attracting ions. G has a minimum in P below
    /// which it would rise again without physics; there it stays at the minimum, where its
    /// derivative by P is zero anyway. The minimum moves with T, but by the same zero
    /// derivative only the explicit T dependence counts.
    fn g(&self, screening: Point, ln_screening: Point, t: &Powers) -> Point {
        let [s_1, s_2, s_3, _, s_5, s_6, _] = self.s;
        let ln_a = t.attraction.value.ln();
        let (p, ln_p) = match self.least(ln_screening.value + ln_a, t) {
            Some(z) => (Point::constant((z - ln_a).exp()), Point::constant(z - ln_a)),
            None => (screening, ln_screening),
        };
        let first = ((p * t.attraction + s_2).ln() * -s_3).exp() * s_1;
        let second = ((ln_p + t.repulsion.ln()) * -s_6).exp() * s_5;
        1.0 - first + second
    }

    /// z = ln(P·attraction) at the minimum of G, if `z` lies below it and there is one.
    fn least(&self, mut z: f64, t: &Powers) -> Option<f64> {
        let [_, s_2, s_3, _, _, s_6, _] = self.s;
        // ∂G/∂P > 0 as long as this is positive; it rises with z.
        let tilt = |z: f64| {
            let x = z.exp();
            ((s_6 + 1.0) * z - (s_3 + 1.0) * (s_2 + x).ln() + t.level, x / (s_2 + x))
        };
        let (mut f, mut share) = tilt(z);
        if f >= 0.0 || s_6 <= s_3 {
            return None;
        }
        for _ in 0..30 {
            let step = f / (s_6 + 1.0 - (s_3 + 1.0) * share);
            z -= step;
            if step.abs() < 1e-14 {
                break;
            }
            (f, share) = tilt(z);
        }
        Some(z)
    }

    /// Scattering by moving over that by fixed ions, `ratio` of own mass to the other's.
    fn f(&self, ln_screening: Point, ratio: f64) -> Point {
        let [r_1, r_2, r_3, r_4, r_5, r_6] = self.r;
        let power = (ln_screening * r_6).exp();
        (r_1 * power + (r_2 + r_3 * ratio)) / (power + (r_4 + r_5 * ratio))
    }
}
