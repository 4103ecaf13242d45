//! What a two-dimensional cut can hide, said by name.

use crate::discretize::{Device, NONE};

use super::outcome::Outcome;

/// Field in oxide beyond which it is in danger of breaking down [V/cm]; common practice.
const OXIDE_FIELD: f64 = 1e7;
/// Share of a stored point's current density that may flow along the rim of the cut.
const RIM_SHARE: f64 = 0.2;

/// Warnings of one outcome, from the fields at its reported points.
pub fn warnings(device: &Device, outcome: &Outcome) -> Vec<String> {
    let mut out = Vec::new();
    let mut worst_field = (0.0f64, String::new());
    let mut worst_law = (0.0f64, String::new());
    for f in &outcome.fields {
        for edge in &device.edges {
            let (a, b) = (edge.a as usize, edge.b as usize);
            let drop = f.state.potential[b] - f.state.potential[a];
            let field = (drop / edge.h).abs();
            // An edge without a silicon face lies in oxide.
            if edge.face == 0.0 && field > worst_field.0 {
                worst_field = (field, f.label.clone());
            }
            if edge.face > 0.0 && field > worst_law.0 {
                worst_law = (field, f.label.clone());
            }
        }
    }
    if worst_field.0 > OXIDE_FIELD {
        out.push(format!(
            "oxide field of {:.2e} V/cm at the {} point, beyond 1e7 V/cm: the oxide would break down first",
            worst_field.0, worst_field.1
        ));
    }
    if let Some([_, high]) = device.silicon.avalanche.range()
        && worst_law.0 > high
    {
        out.push(format!(
            "field of {:.2e} V/cm in silicon at the {} point, beyond the {high:.1e} V/cm that the avalanche law was measured to",
            worst_law.0, worst_law.1
        ));
    }
    for f in &outcome.fields {
        if let Some(share) = rim_share(device, f)
            && share > RIM_SHARE
        {
            out.push(format!(
                "{:.0} % of the largest current density at the {} point flows along the bottom or a side of the cut: a larger thickness or span would change the answer",
                100.0 * share, f.label
            ));
            break;
        }
    }
    out
}

/// Current density along the rim of the silicon (bottom and sides without a terminal)
/// relative to the largest current crossing the same line of the mesh, as shares of
/// current through equal faces.
fn rim_share(device: &Device, f: &crate::trace::Fields) -> Option<f64> {
    let total = |i: usize| {
        let x = f.electron_current_x[i] + f.hole_current_x[i];
        let y = f.electron_current_y[i] + f.hole_current_y[i];
        x.hypot(y)
    };
    let largest = (0..device.nodes()).map(total).fold(0.0, f64::max);
    if largest == 0.0 {
        return None;
    }
    let tied = |i: usize| device.ties[i] != crate::discretize::Tie::Free;
    let rim = (0..device.nodes())
        .filter(|&i| {
            let open = |d: usize| device.node_edges[i][d] == NONE;
            device.has_silicon(i) && !tied(i) && (open(0) || open(1) || open(3))
        })
        .map(total)
        .fold(0.0, f64::max);
    Some(rim / largest)
}
