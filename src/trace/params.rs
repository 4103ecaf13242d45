//! How a branch is followed.

use crate::solve::PlaneScale;

/// How a branch is followed. No shipped case needs any of these turned.
#[derive(Debug, Clone, Copy)]
pub struct TraceParams {
    /// Units of the plane: 1 V and 1e-14 A/µm make a decade of current worth 2.3 V.
    pub scale: PlaneScale,
    /// First, smallest and largest step in the plane.
    pub first_step: f64,
    pub smallest_step: f64,
    pub largest_step: f64,
    /// Largest change of asinh(I/I₀) in one step, for a smooth polyline: a decade is 2.3.
    pub largest_log: f64,
    /// Newton steps that a step length is aimed at, chord steps not counted.
    pub aim: f64,
    /// Turn of the tangent in one step that is aimed at \[rad\]; twice that is refused.
    pub largest_turn: f64,
    /// Largest angle between the tangent and a step, beyond the turn of the tangent \[rad\]: a
    /// curve goes aside by less than it turns, unless it bends both ways. Beyond, Newton has
    /// found another branch on the plane, or another part of this one: by 0.66 in the trace that
    /// showed it, where its right steps stay below 0.13 (2026-11).
    pub largest_aside: f64,
    /// Points before the trace gives up.
    pub points: usize,
    /// A checkpoint every so many points; history is dropped there.
    pub checkpoint: usize,
    /// Fields kept beside the folds: at the first point past each of so many equal parts
    /// of the way to the stop current.
    pub fields: usize,
    /// Drive voltage at which every crossing after the first point is solved for.
    pub level: Option<f64>,
}

impl Default for TraceParams {
    fn default() -> Self {
        TraceParams {
            scale: PlaneScale { voltage: 1.0, current: 1e-14, others: 0.5 },
            first_step: 0.05,
            smallest_step: 1e-7,
            largest_step: 3.0,
            largest_log: 1.15,
            aim: 3.4,
            largest_turn: 0.5,
            largest_aside: 0.5,
            points: 1000,
            checkpoint: 25,
            fields: 0,
            level: None,
        }
    }
}
