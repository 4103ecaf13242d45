//! Error bars: how far a figure may lie from that of an infinitely fine mesh, estimated
//! from the same figure on finer and coarser meshes; on request also how far from that of
//! a larger cut.
//!
//! With e₁ = f(h) − f(h/2) and e₂ = f(2h) − f(h) the observed order is p = log₂(e₂/e₁), and
//! the error of f(h) is e₁/(1 − 2⁻ᵖ) (Richardson, Phil. Trans. R. Soc. A 210, 307 (1911)).
//! Meshes that are affordable are seldom fine enough for that to be more than an
//! estimate, so the bar is a grid convergence index: the estimate times a safety factor
//! (Roache, J. Fluids Eng. 116, 405 (1994)), 1.25 where three meshes show a plausible
//! order and 3 where they do not, with the order clamped (Oberkampf and Roy, Verification
//! and Validation in Scientific Computing, 2010, section 8.6, from memory; they clamp to
//! half the formal order and less, here it is [1, 2]).
//! Two further guards are our own, see [`mesh_error`].

use crate::trace::Fold;

use super::outcome::{Figures, Found, Outcome};

/// How a mesh that a figure is compared on differs from the case's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// Every second line.
    Coarser,
    /// Every interval halved.
    Finer,
    /// The same lines in a cut with a larger depth and larger margins at its sides.
    Wider,
}

impl Change {
    /// The word in JSON and HDF5.
    pub fn word(self) -> &'static str {
        match self {
            Change::Coarser => "coarser",
            Change::Finer => "finer",
            Change::Wider => "wider",
        }
    }

    /// The reverse of [`Change::word`].
    pub fn from_word(word: &str) -> Option<Change> {
        [Change::Coarser, Change::Finer, Change::Wider].into_iter().find(|c| c.word() == word)
    }

    /// For people.
    pub fn plain(self) -> &'static str {
        match self {
            Change::Coarser => "coarser mesh",
            Change::Finer => "finer mesh",
            Change::Wider => "larger cut",
        }
    }
}

/// What error bars are to cover.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cover {
    Mesh,
    /// The mesh and where the cut ends.
    Cut,
}

impl Cover {
    /// The reruns that it takes, in the order they are made.
    pub fn changes(self) -> &'static [Change] {
        match self {
            Cover::Mesh => &[Change::Coarser, Change::Finer],
            Cover::Cut => &[Change::Coarser, Change::Finer, Change::Wider],
        }
    }

    /// The word on the command line, in JSON and in HDF5.
    pub fn word(self) -> &'static str {
        match self {
            Cover::Mesh => "mesh",
            Cover::Cut => "cut",
        }
    }

    /// The reverse of [`Cover::word`].
    pub fn from_word(word: &str) -> Option<Cover> {
        [Cover::Mesh, Cover::Cut].into_iter().find(|c| c.word() == word)
    }
}

/// Voltage \[V\] and current [A/µm] of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    pub voltage: f64,
    pub current: f64,
}

impl Place {
    fn of(fold: &Fold) -> Place {
        Place { voltage: fold.voltage, current: fold.current }
    }
}

/// The experiment on another mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct Rerun {
    pub change: Change,
    /// Nodes of that mesh; 0 if there was none.
    pub nodes: usize,
    /// In the order of [`Outcome::points`].
    pub points: Vec<Found<Place>>,
}

impl Rerun {
    /// What `outcome` found on a mesh of so many nodes.
    pub fn of(change: Change, nodes: usize, outcome: &Outcome) -> Rerun {
        let place =
            |(_, found): (&str, &Found<Fold>)| found.as_ref().map(Place::of).map_err(Clone::clone);
        Rerun { change, nodes, points: outcome.points().into_iter().map(place).collect() }
    }

    /// A rerun that could not be made, for an experiment of `points` figures.
    pub fn failed(change: Change, nodes: usize, points: usize, reason: &str) -> Rerun {
        Rerun { change, nodes, points: vec![Err(reason.to_string()); points] }
    }
}

/// What error bars an outcome was asked for, and the reruns made so far.
#[derive(Debug, Clone, PartialEq)]
pub struct Bars {
    pub cover: Cover,
    pub reruns: Vec<Rerun>,
}

impl Bars {
    /// Asked for, nothing solved yet.
    pub fn wanted(cover: Cover) -> Bars {
        Bars { cover, reruns: Vec::new() }
    }

    /// The rerun with this change, if it was made.
    pub fn rerun(&self, change: Change) -> Option<&Rerun> {
        self.reruns.iter().find(|r| r.change == change)
    }

    /// The first rerun still to be made.
    pub fn missing(&self) -> Option<Change> {
        self.cover.changes().iter().copied().find(|c| self.rerun(*c).is_none())
    }
}

/// The error bar of one number, and what it is made of; all in the number's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// The bar: the number may be off by this much in either direction.
    pub error: f64,
    /// Its part from the mesh.
    pub mesh: f64,
    /// Its part from where the cut ends, if that was asked for.
    pub cut: Option<f64>,
    /// Observed order of convergence; `None` if the three meshes show none.
    pub order: Option<f64>,
}

/// The error bars of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointBars {
    /// \[V\]
    pub voltage: Bar,
    /// [A/µm]
    pub current: Bar,
}

impl Outcome {
    /// The figures that are points of the curve, by name.
    pub fn points(&self) -> Vec<(&'static str, &Found<Fold>)> {
        match &self.figures {
            Figures::Snapback { trigger, holding, .. } => {
                vec![("trigger", trigger), ("holding", holding)]
            }
            Figures::Injection { critical, .. } => vec![("critical", critical)],
            Figures::Bias { .. } | Figures::Named(_) => Vec::new(),
        }
    }

    /// The next rerun that the error bars asked for need, if any figure is there to have
    /// one.
    pub fn next_rerun(&self) -> Option<Change> {
        let some = self.points().iter().any(|(_, found)| found.is_ok());
        self.bars.as_ref().filter(|_| some)?.missing()
    }

    /// The error bars of the figure `name`; `None` if none were asked for or there is no
    /// such figure. The inner error says why there are none.
    pub fn error_bars(&self, name: &str) -> Option<Found<PointBars>> {
        let bars = self.bars.as_ref()?;
        let (k, (_, found)) =
            self.points().into_iter().enumerate().find(|(_, (n, _))| *n == name)?;
        let here = Place::of(found.as_ref().ok()?);
        Some(point_bars(bars, k, here))
    }
}

fn point_bars(bars: &Bars, k: usize, here: Place) -> Found<PointBars> {
    let at = |change: Change| -> Found<Place> {
        let rerun = bars.rerun(change).ok_or_else(|| {
            format!("the {} was not solved: the run was interrupted before", change.plain())
        })?;
        match rerun.points.get(k) {
            Some(found) => found.clone().map_err(|e| format!("on the {}: {e}", change.plain())),
            None => Err(format!("the {} does not have this figure", change.plain())),
        }
    };
    let finer = at(Change::Finer)?;
    let coarser = at(Change::Coarser).ok();
    let wider = match bars.cover {
        Cover::Mesh => None,
        Cover::Cut => Some(at(Change::Wider)?),
    };
    let bar = |pick: fn(&Place) -> f64| {
        let (mesh, order) = mesh_error(coarser.as_ref().map(pick), pick(&here), pick(&finer));
        let cut = wider.as_ref().map(|w| CUT_SHARE * (pick(w) - pick(&here)).abs());
        Bar { error: mesh + cut.unwrap_or(0.0), mesh, cut, order }
    };
    Ok(PointBars { voltage: bar(|p| p.voltage), current: bar(|p| p.current) })
}

/// Orders of a box method: 2 in the limit, 1 where doping or material is abrupt.
const ORDERS: [f64; 2] = [1.0, 2.0];
/// Orders that count as convergence seen, not as chance.
const PLAUSIBLE: std::ops::RangeInclusive<f64> = 0.75..=3.0;
/// Safety factors with and without a plausible order.
const SEEN: f64 = 1.25;
const UNSEEN: f64 = 3.0;
/// If what the cut leaves out falls as 1/size, the change from 1 to 1.5 times the size is
/// a third of it.
const CUT_SHARE: f64 = 3.0;
/// Folds are solved for to about this part of their value: no bar is smaller.
const SOLVED: f64 = 1e-8;

/// Half-width of the error bar of `case`, the value on the case's own mesh, from those
/// on a mesh twice as coarse and one twice as fine; and the observed order.
///
/// Guards beyond the published recipe, since one small difference can be chance:
/// * the difference to the finer mesh counts as at least a quarter of that to the coarser
///   one, which is all that second order can gain;
/// * where the three values are not monotone there is no order; then the larger of the two
///   differences counts, at the factor of a seen order.
fn mesh_error(coarser: Option<f64>, case: f64, finer: f64) -> (f64, Option<f64>) {
    let near = case - finer;
    let floor = SOLVED * case.abs();
    let error = |difference: f64, order: f64, safety: f64| {
        (safety * difference.abs() / (1.0 - 2f64.powf(-order))).max(floor)
    };
    let Some(coarser) = coarser else {
        // Two meshes: the formal order with the large factor.
        return (error(near, ORDERS[1], UNSEEN), None);
    };
    let far = coarser - case;
    if near * far <= 0.0 {
        let spread = near.abs().max(far.abs());
        return (error(spread, ORDERS[1], SEEN), None);
    }
    let order = (far / near).log2();
    let counted = near.abs().max(0.25 * far.abs());
    let safety = if PLAUSIBLE.contains(&order) { SEEN } else { UNSEEN };
    (error(counted, order.clamp(ORDERS[0], ORDERS[1]), safety), Some(order))
}

#[cfg(test)]
mod tests {
    use super::mesh_error;

    /// f(h) = 1 + c·hᵖ on h = 2, 1, 1/2: the bar covers the error of f(1), with room.
    #[test]
    fn a_bar_covers_a_clean_sequence() {
        for p in [0.8, 1.0, 1.5, 2.0] {
            for c in [0.3, -0.02] {
                let f = |h: f64| 1.0 + c * h.powf(p);
                let (bar, order) = mesh_error(Some(f(2.0)), f(1.0), f(0.5));
                let ratio = c.abs() / bar;
                assert!((order.unwrap() - p).abs() < 1e-9);
                assert!(ratio > 0.79 && ratio < 0.97, "order {p}: true error/bar {ratio}");
            }
        }
    }

    #[test]
    fn chance_makes_no_small_bar() {
        // A zero crossing of the error near the case's mesh: finer agrees by chance.
        let (bar, order) = mesh_error(Some(2.0), 1.0, 1.0 - 1e-9);
        assert!(bar > 0.25 && order.unwrap() > 20.0, "{bar}");
        // Values that go up and down: the larger spread.
        let (bar, order) = mesh_error(Some(1.3), 1.0, 1.1);
        assert!(bar >= 0.3 && order.is_none());
        assert!(mesh_error(Some(1.1), 1.0, 1.3).0 >= 0.3);
        // Growing differences are no convergence: the bar is several times the last one.
        assert!(mesh_error(Some(1.01), 1.0, 0.9).0 > 0.5);
        // Without the coarser mesh the large factor.
        assert_eq!(mesh_error(None, 1.0, 0.9), (3.0 * (1.0f64 - 0.9) / 0.75, None));
        // Agreement to the last bit still leaves what the folds are solved to.
        assert!(mesh_error(Some(1.0), 1.0, 1.0).0 >= 1e-8);
    }
}
