//! Avalanche generation on a quarter cell: each carrier's own current vector and the
//! field component along it, so that a current along the diagonal sees the right field.

use crate::silicon::{Carrier, Silicon};

/// Current density [A/cm²] and field [V/cm] as (x, y) vectors on a quarter cell.
#[derive(Debug, Clone, Copy)]
pub struct Cell {
    pub current: [f64; 2],
    pub field: [f64; 2],
}

/// q·(generation rate) [A/cm³] and its derivatives by the current and field components
/// and by the lattice temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Generation {
    pub rate: f64,
    pub by_current: [f64; 2],
    pub by_field: [f64; 2],
    pub by_temperature: f64,
}

/// Rounds |J| off at zero current [A/cm²]: 1e-12 of what a femtoampere leakage gives,
/// so that it changes no result but keeps derivatives finite.
const SMOOTH: f64 = 1e-18;

/// α(E_∥, T)·|J| with E_∥ = max(E·J/|J|, 0); `None` where it is zero.
pub fn generation(
    silicon: &Silicon,
    carrier: Carrier,
    cell: Cell,
    temperature: f64,
) -> Option<Generation> {
    let [jx, jy] = cell.current;
    let [ex, ey] = cell.field;
    let along = ex * jx + ey * jy;
    if along <= 0.0 {
        return None;
    }
    let size = (jx * jx + jy * jy + SMOOTH * SMOOTH).sqrt();
    let parallel = along / size;
    let alpha = silicon.avalanche.at(carrier, parallel, temperature);
    if alpha.value == 0.0 {
        return None;
    }
    let by_current =
        |j: f64, e: f64| alpha.value * j / size + alpha.by_field * (e - parallel * j / size);
    Some(Generation {
        rate: alpha.value * size,
        by_current: [by_current(jx, ex), by_current(jy, ey)],
        by_field: [alpha.by_field * jx, alpha.by_field * jy],
        by_temperature: alpha.by_temperature * size,
    })
}
