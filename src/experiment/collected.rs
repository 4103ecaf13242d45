//! Who takes an injected current while the path is still off: read from the terminals'
//! currents at a small injection, the off-state's subtracted.

use crate::case::{Case, Experiment, ExperimentKind, Role};

use super::outcome::{Found, Outcome};
use super::sheet::Sheet;

/// Share of the largest injection at which the flow of a small one is read.
pub const SMALL: f64 = 0.02;

/// Where a small injected current goes.
#[derive(Debug, Clone, PartialEq)]
pub struct Collected {
    /// The injector stands in the well (holes into it), not in the substrate (electrons).
    pub into_well: bool,
    /// Injected current at which the shares hold [A/µm].
    pub at: f64,
    /// By terminal: share of the injected current that leaves there.
    pub shares: Vec<(String, f64)>,
    /// Sum over the terminals beyond the well junction: what the victim's bases get.
    pub crossed: f64,
    /// Sum over the taps of the injector's own well or substrate: its base current.
    pub own_tap: f64,
    /// Sum over terminals with the role `guard`; `None` without any.
    pub guards: Option<f64>,
}

/// From an injection's outcome, at `level` times its largest current.
///
/// # Errors
/// Why the shares are not known.
pub fn collected(
    case: &Case,
    experiment: &Experiment,
    outcome: &Outcome,
    level: f64,
) -> Found<Collected> {
    let ExperimentKind::Injection { into, .. } = &experiment.kind else {
        return Err("not an injection".to_string());
    };
    let curve = &outcome.curve;
    let reached = curve.current.iter().fold(0.0f64, |m, i| m.max(i.abs()));
    let k = curve
        .current
        .iter()
        .position(|i| i.abs() >= level * reached)
        .filter(|k| *k > 0)
        .ok_or("the injection has no points at small current")?;
    let (first, here) = match (curve.at_terminals.first(), curve.at_terminals.get(k)) {
        (Some(a), Some(b)) => (a, b),
        _ => return Err("the injection has no points".to_string()),
    };
    let injected = curve.current[k] - curve.current[0];
    let mut shares = Vec::new();
    for (c, name) in curve.terminals.iter().enumerate() {
        let (Some(a), Some(b)) = (first.current.get(c), here.current.get(c)) else { continue };
        let ohmic = case.terminals.iter().any(|t| t.name == *name);
        if name != into && ohmic {
            shares.push((name.clone(), -(b - a) / injected));
        }
    }
    let role =
        |name: &str| case.terminals.iter().find(|t| t.name == name).map_or(Role::None, |t| t.role);
    let of = |wanted: &[Role]| -> f64 {
        shares.iter().filter(|(n, _)| wanted.contains(&role(n))).map(|(_, s)| s).sum()
    };
    // Current into the device is holes from a p+ region in the well.
    let into_well = injected > 0.0;
    let beyond: &[Role] = match into_well {
        true => &[Role::Cathode, Role::SubstrateTap],
        false => &[Role::Anode, Role::WellTap],
    };
    let own = if into_well { Role::WellTap } else { Role::SubstrateTap };
    let guarded = shares.iter().any(|(n, _)| role(n) == Role::Guard);
    Ok(Collected {
        into_well,
        at: injected,
        crossed: of(beyond),
        own_tap: of(&[own]),
        guards: guarded.then(|| of(&[Role::Guard])),
        shares,
    })
}

impl Collected {
    /// In one line.
    pub fn summary(&self) -> String {
        let mut named: Vec<&(String, f64)> = self.shares.iter().collect();
        named.sort_by(|a, b| b.1.total_cmp(&a.1));
        let said: Vec<String> = named
            .iter()
            .filter(|s| s.1.abs() > 1e-3)
            .map(|(n, s)| format!("{n} {:.1} %", 100.0 * s))
            .collect();
        format!(
            "{:.1} % cross the well junction to the path's other base; taken by {}",
            100.0 * self.crossed,
            said.join(", ")
        )
    }

    /// As figures.
    pub fn sheet(&self) -> Sheet {
        let names: Vec<String> = self.shares.iter().map(|(n, _)| n.clone()).collect();
        let shares: Vec<f64> = self.shares.iter().map(|(_, s)| *s).collect();
        let guards = self.guards.ok_or_else(|| "no terminal has the role guard".to_string());
        Sheet::new()
            .number("at_A_per_um", "A/um", "injected current at which the shares hold", Ok(self.at))
            .number(
                "collected_share",
                "1",
                "share that crosses the well junction to the path's other base",
                Ok(self.crossed),
            )
            .number("guard_share", "1", "share that guard terminals collect", guards)
            .texts("terminals", "terminals, in the order of the column", &names)
            .column("share", "1", "share of the injected current that leaves there", shares)
    }
}
