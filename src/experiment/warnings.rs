//! What a two-dimensional cut can hide, and laws used outside the range they were
//! published for, said by name.

use crate::discretize::Device;
use crate::silicon::{LocalState, RangeWatch};
use crate::trace::Fields;

use super::outcome::Outcome;

/// Field in oxide beyond which it is in danger of breaking down [V/cm]; common practice.
const OXIDE_FIELD: f64 = 1e7;
/// Share of the current that may flow in the last tenth of the cut.
const RIM_SHARE: f64 = 0.25;

/// Warnings of one outcome, from the fields at its reported points.
pub fn warnings(device: &Device, outcome: &Outcome) -> Vec<String> {
    let mut out = Vec::new();
    let mut worst_field = (0.0f64, String::new());
    let mut laws = RangeWatch::new(&device.silicon.ranges);
    for f in &outcome.fields {
        let place = format!("{} point", f.label);
        for edge in &device.edges {
            let (a, b) = (edge.a as usize, edge.b as usize);
            let drop = f.state.potential[b] - f.state.potential[a];
            let field = (drop / edge.h).abs();
            // An edge without a silicon face lies in oxide.
            if edge.face == 0.0 && field > worst_field.0 {
                worst_field = (field, f.label.clone());
            }
            if edge.face > 0.0 {
                for node in [a, b] {
                    laws.see(&local(device, f, node, field), &place);
                }
            }
        }
    }
    if worst_field.0 > OXIDE_FIELD {
        out.push(format!(
            "oxide field of {:.2e} V/cm at the {} point, beyond 1e7 V/cm: the oxide would break down first",
            worst_field.0, worst_field.1
        ));
    }
    out.extend(laws.warnings());
    for f in &outcome.fields {
        if let Some((rim, share)) = crowded_rim(device, f) {
            out.push(format!(
                "{:.0} % of the current at the {} point flows within the last tenth of the cut at its {rim}: it is cut off there, a larger {} would change the answer",
                100.0 * share,
                f.label,
                if rim == "bottom" { "thickness" } else { "span" }
            ));
            break;
        }
    }
    out
}

/// Node `i` in a field [V/cm].
fn local(device: &Device, f: &Fields, i: usize, field: f64) -> LocalState {
    let [donors, acceptors] = device.dopants_at[i];
    let temperature = f.state.temperature.get(i).copied().unwrap_or(device.silicon.temperature);
    LocalState { donors, acceptors, field, temperature }
}

/// The rim of the cut (bottom, left or right tenth without a terminal) that carries more
/// than [`RIM_SHARE`] of ∫|J| along it, and that share. An even flow has a tenth there.
fn crowded_rim(device: &Device, f: &Fields) -> Option<(&'static str, f64)> {
    let silicon = || (0..device.nodes()).filter(|&i| device.has_silicon(i));
    let end = |k: usize| silicon().map(|i| device.position[i][k]).fold(0.0, f64::max);
    let (span, thickness) = (end(0), end(1));
    type Inside<'a> = &'a dyn Fn([f64; 2]) -> bool;
    let rims: [(&str, Inside, bool); 3] = [
        ("bottom", &|p| p[1] > 0.9 * thickness, true),
        ("left side", &|p| p[0] < 0.1 * span, false),
        ("right side", &|p| p[0] > 0.9 * span, false),
    ];
    rims.into_iter().find_map(|(name, inside, along_x)| {
        let tied = device
            .contacts
            .iter()
            .filter(|c| !c.is_gate)
            .any(|c| c.nodes.iter().any(|&n| inside(device.position[n as usize])));
        if tied {
            return None;
        }
        let flow = |i: usize| {
            let j = if along_x {
                f.electron_current_x[i] + f.hole_current_x[i]
            } else {
                f.electron_current_y[i] + f.hole_current_y[i]
            };
            j.abs() * device.area[i]
        };
        let all: f64 = silicon().map(flow).sum();
        let rim: f64 = silicon().filter(|&i| inside(device.position[i])).map(flow).sum();
        (all > 0.0 && rim > RIM_SHARE * all).then(|| (name, rim / all))
    })
}
