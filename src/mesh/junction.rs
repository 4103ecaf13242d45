//! Where the p-n junctions are, along cuts through the cross-section, and how wide
//! their depletion is at rest.

use crate::case::Polarity;
use crate::structure::{SampleLines, Structure};

/// Built-in potential [V] that steers the mesh; a typical value near 300 K.
const BUILT_IN: f64 = 0.8;
/// q/ε of silicon [V·cm]: 1.602176634e-19 C over 11.7 · 8.8541878128e-14 F/cm (CODATA 2018).
const CHARGE_OVER_PERMITTIVITY: f64 = 1.602176634e-19 / (11.7 * 8.8541878128e-14);
const CM_PER_UM: f64 = 1e-4;
/// First step of the march from the junction [µm], then a part of the depth reached.
const FIRST_STEP: f64 = 2e-5;
const STEP: f64 = 0.04;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    X,
    Y,
}

/// A junction on a cut along `axis`.
#[derive(Debug, Clone, PartialEq)]
pub struct Junction {
    pub axis: Axis,
    /// Place along the axis \[µm\].
    pub at: f64,
    /// The other coordinate of the cut \[µm\].
    pub across: f64,
    /// Depletion at rest towards smaller coordinates \[µm\].
    pub before: f64,
    /// Depletion at rest towards larger coordinates \[µm\].
    pub after: f64,
    /// Pieces that meet, e.g. "n+ source / p-well".
    pub name: String,
    /// Between wells and wafer only: no diffusion takes part.
    pub deep: bool,
}

impl Junction {
    /// Width of the depletion at rest \[µm\].
    pub fn width(&self) -> f64 {
        self.before + self.after
    }
}

/// A straight line through the cross-section along `axis` at `across` \[µm\].
#[derive(Clone, Copy)]
pub(crate) struct Cut<'a> {
    pub structure: &'a Structure,
    pub axis: Axis,
    pub across: f64,
}

impl Cut<'_> {
    fn place(&self, p: f64) -> (f64, f64) {
        match self.axis {
            Axis::X => (p, self.across),
            Axis::Y => (self.across, p),
        }
    }

    fn net(&self, p: f64) -> f64 {
        let (x, y) = self.place(p);
        self.structure.net(x, y)
    }

    fn silicon(&self, p: f64) -> bool {
        let (x, y) = self.place(p);
        self.structure.is_silicon(x, y)
    }

    /// All junctions on the cut.
    pub fn junctions(&self, lines: &SampleLines) -> Vec<Junction> {
        let along = match self.axis {
            Axis::X => &lines.x,
            Axis::Y => &lines.y,
        };
        let (Some(&low), Some(&high)) = (along.first(), along.last()) else { return Vec::new() };
        let mut out = Vec::new();
        let mut last: Option<(f64, f64)> = None;
        for w in along.windows(2) {
            let p = 0.5 * (w[0] + w[1]);
            if !self.silicon(p) {
                last = None;
                continue;
            }
            let net = self.net(p);
            if let Some((q, before)) = last
                && before * net < 0.0
            {
                out.push(self.junction(q, p, low, high));
            }
            if net != 0.0 {
                last = Some((p, net));
            }
        }
        out
    }

    fn junction(&self, mut a: f64, mut b: f64, low: f64, high: f64) -> Junction {
        let sign = self.net(a).signum();
        for _ in 0..50 {
            let mid = 0.5 * (a + b);
            // Zero goes with neither side: halve towards the middle of a flat zero.
            if self.net(mid) * sign > 0.0 { a = mid } else { b = mid }
        }
        let at = 0.5 * (a + b);
        let (before, after) = self.depletion(at, sign, low, high);
        let (x, y) = (self.place(at - before), self.place(at + after));
        let (n_side, p_side) = if sign > 0.0 { (x, y) } else { (y, x) };
        let donor = self.structure.strongest(Polarity::Donors, n_side.0, n_side.1);
        let acceptor = self.structure.strongest(Polarity::Acceptors, p_side.0, p_side.1);
        let name = |t: Option<&crate::structure::Term>| t.map_or("?", |t| &t.name).to_string();
        Junction {
            axis: self.axis,
            at,
            across: self.across,
            before,
            after,
            name: format!("{} / {}", name(donor), name(acceptor)),
            deep: donor.is_none_or(|t| t.deep) && acceptor.is_none_or(|t| t.deep),
        }
    }

    /// Depletion approximation: equal charge on both sides, and the double layer carries
    /// the built-in potential (Sze and Ng, Physics of Semiconductor Devices, 3rd ed.,
    /// section 2.2). Marches outwards on the side with less charge.
    fn depletion(&self, at: f64, sign: f64, low: f64, high: f64) -> (f64, f64) {
        let mut reach = [0.0f64; 2];
        let mut charge = [0.0f64; 2];
        let mut ended = [false; 2];
        let mut potential = 0.0;
        while potential < BUILT_IN && !(ended[0] && ended[1]) {
            let side =
                usize::from(if ended[0] != ended[1] { ended[0] } else { charge[1] < charge[0] });
            let step = FIRST_STEP + STEP * reach[side];
            let towards = if side == 0 { -1.0 } else { 1.0 };
            let mid = at + towards * (reach[side] + 0.5 * step);
            let doping = -towards * sign * self.net(mid);
            if mid < low || mid > high || doping < 0.0 || !self.silicon(mid) {
                ended[side] = true;
            }
            // A side that is used up: the other only balances its charge.
            if ended[side] && charge[1 - side] >= charge[side]
                || ended[1 - side] && charge[side] >= charge[1 - side]
            {
                break;
            }
            if ended[side] {
                continue;
            }
            charge[side] += doping * step;
            potential += CHARGE_OVER_PERMITTIVITY
                * doping
                * step
                * (reach[side] + 0.5 * step)
                * CM_PER_UM
                * CM_PER_UM;
            reach[side] += step;
        }
        (reach[0].max(FIRST_STEP), reach[1].max(FIRST_STEP))
    }
}
