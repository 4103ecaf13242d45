//! How large a Newton update is, and whether the iteration is worth going on with.

use crate::discretize::{DENSITY_SCALE, Device, State, Tie};

/// Scaled size of an update `du` of the device and `dv` of the contacts' own voltages: the
/// largest of δψ/V_T, δn/n, δp/p, δT/SCALE_T.
pub(super) fn scaled_size(device: &Device, state: &State, du: &[f64], dv: &[f64]) -> f64 {
    let mut size = dv.iter().fold(0.0f64, |m, v| m.max(v.abs() / device.silicon.vt));
    for (i, d) in du.chunks_exact(device.block()).enumerate() {
        size = size.max(d.get(3).map_or(0.0, |heat| heat.abs()));
        if device.ties[i] != Tie::Free {
            continue;
        }
        size = size.max(d[0].abs());
        if device.has_silicon(i) {
            // Densities far below intrinsic carry nothing; judge them on that scale.
            let floor = 1e-8 * device.nie[i];
            size = size.max(d[1].abs() * DENSITY_SCALE / (state.n[i] + floor));
            size = size.max(d[2].abs() * DENSITY_SCALE / (state.p[i] + floor));
        }
    }
    size
}

/// Newton from a good prediction that still moves like this will not make it in time:
/// halving the step is cheaper than waiting. Measured on the shipped cases, 2026-11.
pub(super) fn hopeless(steps: u32, size: f64, previous: f64) -> bool {
    let growing = steps >= 3 && size > 3.0 && size > 2.0 * previous;
    growing
        || (steps >= 4 && size > 20.0)
        || (steps >= 6 && size > 0.5)
        || (steps > 10 && size > 1e-4)
}
