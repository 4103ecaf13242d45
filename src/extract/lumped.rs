//! The two-transistor equivalent of the path and its own S-curve.
//!
//! ```text
//! supply ──┬── R_W ──┬ W        W: base of the pnp, collector of the npn
//!          └─ pnp ───┤
//!             well junction     S: base of the npn, collector of the pnp
//!          ┌─ npn ───┤
//! ground ──┴── R_S ──┴ S
//! ```
//!
//! Each bipolar has a transport current, a base current and, for the well junction forward
//! biased, an inverse transport current (H. K. Gummel, H. C. Poon, Bell Syst. Tech. J. 49,
//! 827 (1970), the currents taken from tables). The well junction multiplies what crosses it
//! by M = 1/(1 − (V/V_B)^m) (S. L. Miller, Phys. Rev. 99, 1234 (1955)). Two transistors and
//! two shunts, each seen from where its current enters: J. L. Moll, M. Tanenbaum, J. M. Goldey, N. Holonyak, Proc. IRE 44, 1174
//! (1956); R. R. Troutman, Latchup in CMOS Technology, Kluwer 1986 (from memory).

use super::characteristic::Characteristic;

/// One bipolar: tables over its emitter-base voltage \[V\], currents \[A/µm\].
#[derive(Debug, Clone, PartialEq)]
pub struct Bipole {
    pub collector: Characteristic,
    pub base: Characteristic,
    /// Of the well junction's forward voltage.
    pub inverse: Characteristic,
    /// In series with the emitter [Ω·µm].
    pub emitter_resistance: f64,
}

/// Multiplication in the well junction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Multiplication {
    /// V_B \[V\].
    pub breakdown: f64,
    /// m.
    pub power: f64,
}

/// Majority conduction in a well or the substrate as its base sees it [Ω·µm].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shunt {
    /// Drop over current of the base's own current, from under the emitter: R_W or R_S.
    pub own: f64,
    /// Drop at the base over what the well junction collects from the other bipolar.
    pub collected: f64,
}

impl Shunt {
    /// One node: the textbook's resistor.
    pub fn single(resistance: f64) -> Shunt {
        Shunt { own: resistance, collected: resistance }
    }
}

/// The equivalent circuit.
#[derive(Debug, Clone, PartialEq)]
pub struct Lumped {
    pub npn: Bipole,
    pub pnp: Bipole,
    pub well: Shunt,
    pub substrate: Shunt,
    /// What the forward well junction loses to recombination, over its voltage.
    pub recombination: Characteristic,
    /// `None`: no avalanche.
    pub multiplication: Option<Multiplication>,
    /// Generation current of the well junction at 1 V [A/µm]; it grows as the root of the
    /// voltage.
    pub leakage: f64,
}

/// A state of the circuit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LumpedPoint {
    /// Between supply and ground \[V\].
    pub voltage: f64,
    /// [A/µm]
    pub current: f64,
    /// Emitter-base voltages \[V\].
    pub npn_forward: f64,
    pub pnp_forward: f64,
    /// Reverse voltage of the well junction \[V\].
    pub junction: f64,
}

/// Emitter-base voltages that are looked at [V].
const FORWARD: [f64; 2] = [-20.0, 20.0];
/// Well junctions without avalanche block at least this much [V].
const BLOCKS: f64 = 1e3;
/// Deepest forward bias of the well junction [V].
const DEEPEST: f64 = -3.0;
/// Halvings of a bracket: to the last bits.
const HALVINGS: u32 = 54;

/// Root of a growing function between `low` and `high`, by halving.
pub(super) fn root(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if f(middle) < 0.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

impl Bipole {
    /// Emitter current [A/µm] at its emitter-base voltage, the inverse current subtracted.
    fn emitter(&self, v: f64, inverse: f64) -> f64 {
        self.collector.at(v) + self.base.at(v) - inverse
    }

    /// Drop from emitter terminal to base [V].
    fn drop(&self, v: f64, inverse: f64) -> f64 {
        v + self.emitter_resistance * self.emitter(v, inverse)
    }

    /// Emitter-base voltage with `current` through the whole path: what the transport does
    /// not carry is collected and drops over the shunt, the base current lifts it.
    fn forward(&self, shunt: Shunt, current: f64, inverse: f64) -> f64 {
        root(FORWARD[0], FORWARD[1], |v| {
            let majority = current - self.collector.at(v) + inverse;
            self.drop(v, inverse) + shunt.own * self.base.at(v) - shunt.collected * majority
        })
    }

    /// Emitter-base voltage with a given majority current through the shunt.
    fn driven(&self, shunt: Shunt, majority: f64) -> f64 {
        root(FORWARD[0], FORWARD[1], |v| {
            self.drop(v, 0.0) + shunt.own * self.base.at(v) - shunt.collected * majority
        })
    }

    /// Current gain at an emitter-base voltage.
    pub fn beta(&self, v: f64) -> f64 {
        self.collector.at(v) / self.base.at(v)
    }
}

impl Lumped {
    /// M at a reverse voltage of the well junction.
    pub fn multiplied(&self, junction: f64) -> f64 {
        match self.multiplication {
            Some(m) if junction > 0.0 => {
                let share = (junction / m.breakdown).powf(m.power);
                if share < 1.0 { 1.0 / (1.0 - share) } else { f64::INFINITY }
            }
            _ => 1.0,
        }
    }

    /// Current through the well junction [A/µm].
    fn crossing(&self, npn: f64, pnp: f64, junction: f64) -> f64 {
        let back = self.npn.inverse.at(-junction)
            + self.pnp.inverse.at(-junction)
            + self.recombination.at(-junction);
        let leakage = self.leakage * junction.max(0.0).sqrt();
        let forth = self.npn.collector.at(npn) + self.pnp.collector.at(pnp) + leakage;
        self.multiplied(junction) * forth - back
    }

    /// The state that carries `current` [A/µm] from supply to ground; `None` if the well
    /// junction blocks it at any voltage.
    pub fn at_current(&self, current: f64) -> Option<LumpedPoint> {
        let forwards = |junction: f64| {
            let [n, p] = [&self.npn, &self.pnp].map(|b| b.inverse.at(-junction));
            let npn = self.npn.forward(self.substrate, current, n);
            (npn, self.pnp.forward(self.well, current, p), n, p)
        };
        let excess = |junction: f64| {
            let (npn, pnp, ..) = forwards(junction);
            self.crossing(npn, pnp, junction) - current
        };
        let most = self.multiplication.map_or(BLOCKS, |m| m.breakdown * (1.0 - 1e-12));
        if excess(most) < 0.0 {
            return None;
        }
        let junction = root(DEEPEST, most, excess);
        let (npn, pnp, n, p) = forwards(junction);
        let voltage = self.npn.drop(npn, n) + junction + self.pnp.drop(pnp, p);
        Some(LumpedPoint { voltage, current, npn_forward: npn, pnp_forward: pnp, junction })
    }

    /// Both emitter-base voltages with the whole of `current` on either side and the well
    /// junction neither multiplying nor forward.
    fn unsaturated(&self, current: f64) -> [f64; 2] {
        [self.npn.forward(self.substrate, current, 0.0), self.pnp.forward(self.well, current, 0.0)]
    }

    /// The smallest current that the pair keeps up by itself [A/µm]: from it on
    /// α_n I_En + α_p I_Ep ≥ I without avalanche, which is the published
    /// I_H = (β_n(β_p + 1) I_RS + β_p(β_n + 1) I_RW)/(β_n β_p − 1) (Troutman 1986; D. B.
    /// Estreich, thesis, Stanford 1980; both from memory).
    pub fn sustaining(&self, range: [f64; 2]) -> Option<f64> {
        let gain = |i: f64| {
            let [npn, pnp] = self.unsaturated(i);
            self.npn.collector.at(npn) + self.pnp.collector.at(pnp) - i
        };
        let grid = log_grid(range, 10);
        let first = grid.iter().position(|&i| gain(i) >= 0.0)?;
        let low = grid.get(first.checked_sub(1)?)?;
        let high = grid.get(first)?;
        Some(root(low.ln(), high.ln(), |x| gain(x.exp())).exp())
    }

    /// The classical conditions at a current of the whole path [A/µm].
    pub fn conditions(&self, current: f64) -> Conditions {
        let [npn, pnp] = self.unsaturated(current);
        let [beta_npn, beta_pnp] = [self.npn.beta(npn), self.pnp.beta(pnp)];
        let [shunt_s, shunt_w] =
            [(&self.npn, npn), (&self.pnp, pnp)].map(|(b, v)| current - b.emitter(v, 0.0));
        Conditions {
            current,
            beta_npn,
            beta_pnp,
            required: required_product([beta_npn, beta_pnp], [shunt_s, shunt_w], current),
        }
    }

    /// The off-state at a supply \[V\] with currents \[A/µm\] forced into the two bases, S and
    /// W; `None` if there is none: the path latches.
    pub fn off_state(&self, supply: f64, into: [f64; 2]) -> Option<LumpedPoint> {
        // Majority currents of the bases S and W.
        let mut majority = [into[0], -into[1]];
        let mut last = [f64::NAN; 2];
        // From below: what the bases get only grows from round to round, so the lowest state
        // is found if there is one.
        for _ in 0..ROUNDS {
            let npn = self.npn.driven(self.substrate, majority[0]);
            let pnp = self.pnp.driven(self.well, majority[1]);
            let junction = supply - self.npn.drop(npn, 0.0) - self.pnp.drop(pnp, 0.0);
            if junction < SATURATED {
                return None;
            }
            let crossing = self.crossing(npn, pnp, junction);
            if !crossing.is_finite() || crossing > LATCHED {
                return None;
            }
            if (npn - last[0]).abs() < SETTLED && (pnp - last[1]).abs() < SETTLED {
                return Some(LumpedPoint {
                    voltage: supply,
                    current: crossing,
                    npn_forward: npn,
                    pnp_forward: pnp,
                    junction,
                });
            }
            last = [npn, pnp];
            majority = [
                into[0] + crossing - self.npn.collector.at(npn),
                crossing - self.pnp.collector.at(pnp) - into[1],
            ];
        }
        None
    }

    /// Largest current \[A/µm\] that leaves an off-state at the supply, `shares` of it going
    /// into the bases S and W; in `range`, else the reason.
    pub fn critical(&self, supply: f64, shares: [f64; 2], range: [f64; 2]) -> Result<f64, String> {
        let off = |i: f64| self.off_state(supply, shares.map(|s| s * i)).is_some();
        if !off(range[0]) {
            return Err(format!("there is no off-state at {supply} V even without injection"));
        }
        if off(range[1]) {
            return Err(format!("the off-state survives {:.1e} A/um", range[1]));
        }
        let latched = |x: f64| if off(x.exp()) { -1.0 } else { 1.0 };
        Ok(root(range[0].ln(), range[1].ln(), latched).exp())
    }
}

/// Rounds of the search for an off-state; at the fold their number diverges, so the limit
/// makes the critical injection low by about (π/rounds)².
const ROUNDS: u32 = 500;
/// Change of the last round [V].
const SETTLED: f64 = 1e-9;
/// Reverse voltage below which the well junction no longer blocks [V].
const SATURATED: f64 = 0.1;

/// Current through the well junction that no off-state has [A/µm].
const LATCHED: f64 = 1.0;

/// Gains and what the product of gains must exceed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// [A/µm]
    pub current: f64,
    pub beta_npn: f64,
    pub beta_pnp: f64,
    /// Infinite if the shunts take everything.
    pub required: f64,
}

/// What β_n β_p must exceed with shunt currents I_RS and I_RW of a total `current`:
/// 1 + (β_n + 1)(I_RS + β_p I_RW)/(I − I_RS): university course on digital circuits, from
/// Kirchhoff's laws; without shunts it is 1.
pub fn required_product(beta: [f64; 2], shunts: [f64; 2], current: f64) -> f64 {
    let [n, p] = beta;
    let [s, w] = shunts;
    match current > s {
        true => 1.0 + (n + 1.0) * (s + p * w) / (current - s),
        false => f64::INFINITY,
    }
}

/// Currents evenly spread on a log scale, both ends included.
pub(super) fn log_grid([low, high]: [f64; 2], per_decade: u32) -> Vec<f64> {
    let steps = (f64::from(per_decade) * (high / low).log10()).round().max(1.0);
    (0..=steps as usize).map(|k| low * (high / low).powf(k as f64 / steps)).collect()
}

/// The S-curve of a circuit: its points over a grid of currents, and its folds.
#[derive(Debug, Clone, PartialEq)]
pub struct LumpedCurve {
    pub points: Vec<LumpedPoint>,
    /// First voltage maximum, and the lowest minimum after it.
    pub trigger: Option<LumpedPoint>,
    pub holding: Option<LumpedPoint>,
}

impl Lumped {
    /// V(I) over a range of currents [A/µm].
    pub fn curve(&self, range: [f64; 2]) -> LumpedCurve {
        let grid = log_grid(range, 20);
        let points: Vec<LumpedPoint> = grid.iter().filter_map(|&i| self.at_current(i)).collect();
        let v = |k: usize| points.get(k).map_or(f64::NAN, |p| p.voltage);
        let inner = 1..points.len().saturating_sub(1);
        let maximum = inner.clone().find(|&k| v(k) > v(k - 1) && v(k) >= v(k + 1));
        // Without a maximum (nothing multiplies) the curve comes down from any voltage.
        let from = maximum.unwrap_or(0);
        let minimum = inner
            .filter(|&k| k > from && v(k) < v(k - 1) && v(k) <= v(k + 1))
            .min_by(|&a, &b| v(a).total_cmp(&v(b)));
        let fold = |k: Option<usize>, sign: f64| {
            let k = k?;
            let ends = [points.get(k - 1)?.current.ln(), points.get(k + 1)?.current.ln()];
            self.extremum(ends, sign)
        };
        let (trigger, holding) = (fold(maximum, 1.0), fold(minimum, -1.0));
        LumpedCurve { trigger, holding, points }
    }

    /// Maximum (sign +1) or minimum (−1) of the voltage between two ln I, by golden section.
    fn extremum(&self, [mut a, mut b]: [f64; 2], sign: f64) -> Option<LumpedPoint> {
        let ratio = 0.5 * (5f64.sqrt() - 1.0);
        let v = |x: f64| self.at_current(x.exp()).map_or(f64::NEG_INFINITY, |p| sign * p.voltage);
        for _ in 0..40 {
            let (c, d) = (b - ratio * (b - a), a + ratio * (b - a));
            if v(c) > v(d) { b = d } else { a = c }
        }
        self.at_current((0.5 * (a + b)).exp())
    }
}
