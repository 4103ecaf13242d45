//! Junction capacitances of the lumped model, from the case's `capacitance` experiment: the
//! matrix between terminals, seen from outside, split by the roles of its rows and columns.

use crate::case::{Case, Role};
use crate::experiment::{Figures, Found, Outcome, Sheet, Shown};

use super::lumped::Lumped;

/// Small-signal capacitances at the bias of the experiment [F/µm].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Junctions {
    /// Emitter junctions: cathode in its base, anode in the well.
    pub npn: f64,
    pub pnp: f64,
    /// Between the well with what lies in it and the substrate with what lies in it.
    pub well: f64,
    /// Lowest frequency of the experiment [Hz].
    pub frequency: f64,
}

/// From the first `capacitance` experiment of the case.
///
/// # Errors
/// Why there are none.
pub fn junctions(case: &Case, outcomes: &[Outcome]) -> Found<Junctions> {
    let measured = outcomes.iter().find(|o| o.kind == "capacitance").map(|o| &o.figures);
    let Some(Figures::Named(sheet)) = measured else {
        return Err("the case has no `capacitance` experiment".to_string());
    };
    let frequencies = sheet.numbers_at("frequency_Hz");
    let lowest = (0..frequencies.len()).min_by(|a, b| frequencies[*a].total_cmp(&frequencies[*b]));
    let (Some(lowest), Some(Shown::Texts(names))) =
        (lowest, sheet.find("terminals").map(|f| &f.value))
    else {
        return Err("the `capacitance` experiment has no answer".to_string());
    };
    let n = names.len();
    let all = sheet.numbers_at("c_F_per_um");
    let role = |name: &String| case.terminals.iter().find(|t| t.name == *name).map(|t| t.role);
    let of = |roles: &[Role]| -> Vec<usize> {
        (0..n).filter(|&k| role(&names[k]).is_some_and(|r| roles.contains(&r))).collect()
    };
    // What charges one side is taken from the other: both directions, which agree as far as
    // the device is reciprocal there.
    let between = |one: &[Role], other: &[Role], what: &str| -> Found<f64> {
        let at = |i: usize, j: usize| all.get((lowest * n + i) * n + j).copied();
        let (one, other) = (of(one), of(other));
        let pairs = one.iter().flat_map(|&i| other.iter().map(move |&j| (i, j)));
        let sum: Option<f64> = pairs.map(|(i, j)| Some(-0.5 * (at(i, j)? + at(j, i)?))).sum();
        sum.filter(|c| *c > 0.0).ok_or_else(|| format!("no capacitance between {what}"))
    };
    Ok(Junctions {
        npn: between(&[Role::Cathode], &[Role::SubstrateTap], "cathode and substrate tap")?,
        pnp: between(&[Role::Anode], &[Role::WellTap], "anode and well tap")?,
        well: between(
            &[Role::Anode, Role::WellTap],
            &[Role::Cathode, Role::SubstrateTap],
            "well and substrate",
        )?,
        frequency: frequencies[lowest],
    })
}

/// The capacitances as figures.
pub(super) fn parameters(sheet: Sheet, found: &Found<Junctions>) -> Sheet {
    let of = |pick: fn(&Junctions) -> f64| found.as_ref().map(pick).map_err(Clone::clone);
    let unit = "F/um";
    sheet
        .number("well_junction_F_per_um", unit, "C_J of the well junction", of(|j| j.well))
        .number("npn_emitter_F_per_um", unit, "C_E of the npn", of(|j| j.npn))
        .number("pnp_emitter_F_per_um", unit, "C_E of the pnp", of(|j| j.pnp))
}

/// The displacement trigger: C_J dV/dt goes through both bases at once. Up to the rate at
/// which it is the critical injection of the circuit no supply ramp triggers; a faster one
/// triggers only if it lasts long enough to charge the bases, which the circuit leaves out.
/// Common practice, no source.
pub(super) fn ramp(
    model: &Lumped,
    found: &Found<Junctions>,
    supply: Found<f64>,
    field: Found<f64>,
) -> Sheet {
    let both = found.clone().and_then(|j| Ok((j, supply?)));
    let current =
        both.clone().and_then(|(_, supply)| model.critical(supply, [1.0, -1.0], [1e-9, 1e-1]));
    let rate = both.clone().and_then(|(j, _)| Ok(current.clone()? / j.well));
    let rise = both.and_then(|(_, supply)| Ok(supply / rate.clone()?));
    Sheet::new()
        .number("current_A_per_um", "A/um", "through both bases at which it latches", current)
        .number("rate_V_per_s", "V/s", "of the supply at which C_J carries it", rate)
        .number("rise_s", "s", "time of rise at this rate: no slower one triggers", rise)
        .number("field_rise_s", "s", "shortest safe time of rise in the field solution", field)
}
