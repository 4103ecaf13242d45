//! How trigger, holding and critical points move with every number of the case.
//!
//! At a fold the voltage (or the injected current) depends on a parameter p only through the
//! equations: its derivative is −w·∂F/∂p with the left null vector w of the Jacobian, one
//! transposed solve for all parameters (A. Griewank and G. Reddien, SIAM J. Numer. Anal.
//! 21 (1984) 176, from memory). ∂F/∂p is a central difference of the equations at the same state; lengths
//! move the lines of the mesh with them. The other coordinate of a fold (I_h, I_t, the
//! voltage of a critical injection) follows from where the slope of the branch is zero: its
//! derivative needs the branch beside p, two small Newton solves a parameter.

use crate::case::{Case, Dim, Experiment};
use crate::discretize::Device;
use crate::experiment::{FoldPoint, Mark, Outcome, Variant, branch_setup, deformed};
use crate::mesh::Mesh;
use crate::solve::{Adjoint, Defect, Goal, System};

use super::parameters::{Parameter, parameters};

/// Derivatives of one point by one number.
#[derive(Debug, Clone, PartialEq)]
pub struct Slope {
    /// Dotted path of the number.
    pub path: String,
    pub dim: Dim,
    /// Its value, in the plain unit of `dim`.
    pub value: f64,
    /// [V per unit]; `None` at a level, whose voltage is given.
    pub voltage: Option<f64>,
    /// [A/µm per unit]; `None` where the branch beside it could not be solved.
    pub current: Option<f64>,
}

impl Slope {
    /// What a process engineer changes it by, in its unit, and the words for that.
    pub fn natural(&self) -> (f64, String) {
        match self.dim {
            Dim::Length => (0.1, "0.1 um".to_string()),
            Dim::Temperature => (1.0, "1 K".to_string()),
            _ if self.value == 0.0 => (100.0, format!("100 {}", self.dim.unit())),
            _ => (0.1 * self.value, "10 %".to_string()),
        }
    }
}

/// Derivatives of one point by all numbers, the strongest first (by the voltage at a
/// voltage fold, else by the current, for the natural change).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Slopes {
    /// Index of the experiment.
    pub experiment: usize,
    /// trigger, holding or critical.
    pub point: String,
    /// \[V\]
    pub voltage: f64,
    /// [A/µm]
    pub current: f64,
    pub rows: Vec<Slope>,
    /// Numbers left out, each with why.
    pub left_out: Vec<[String; 2]>,
    /// Linear solves that the adjoint took, and Newton steps beside the point.
    pub transposed_solves: u64,
    pub newton_steps: u64,
}

/// Labels of the points that can be differentiated.
pub const POINTS: [&str; 3] = ["trigger", "holding", "critical"];

/// Derivatives of every marked point of an experiment's outcome.
///
/// # Errors
/// In words: the point cannot be taken up again.
pub fn sensitivities(
    case: &Case,
    mesh: &Mesh,
    device: &Device,
    index: usize,
    outcome: &Outcome,
) -> Result<Vec<Slopes>, String> {
    let Some(experiment) = case.experiments.get(index) else { return Ok(Vec::new()) };
    let mut all = Vec::new();
    for label in POINTS {
        let Some(stored) = FoldPoint::stored(device, outcome, label) else { continue };
        let setup = branch_setup(case, device, experiment).map_err(|e| e.to_string())?;
        let mut system = System::new(device, setup.driven()).map_err(|e| e.to_string())?;
        let point = stored.settle(&mut system).map_err(|e| format!("{label}: {e}"))?;
        let bend = match point.mark {
            Mark::Level => 0.0,
            _ => point.curvature(&mut system).map_err(|e| format!("{label}: {e}"))?,
        };
        let mut slopes = Slopes {
            experiment: index,
            point: label.to_string(),
            voltage: point.lambda[0],
            current: point.current,
            ..Slopes::default()
        };
        let before = system.work.newton_steps;
        let base = Base::new(case, mesh, &point, bend, system)?;
        slopes.transposed_solves = 1;
        let mut steps = 0;
        for parameter in parameters(case) {
            match base.by(&parameter, experiment, index, &mut steps) {
                Ok(row) => slopes.rows.push(row),
                Err(why) => slopes.left_out.push([parameter.path, why]),
            }
        }
        slopes.newton_steps = base.system.work.newton_steps - before + steps;
        let goal = point.mark.goal();
        let size = |s: &Slope| {
            let by = if goal == Goal::Voltage { s.voltage } else { s.current };
            by.map_or(0.0, |d| (d * s.natural().0).abs())
        };
        slopes.rows.sort_by(|a, b| size(b).total_cmp(&size(a)).then(a.path.cmp(&b.path)));
        all.push(slopes);
    }
    Ok(all)
}

/// Changes of the two sides that differ by more than this part of the larger are a kink…
const KINK: f64 = 0.2;
/// … if they are above this part of the figure itself.
const SEEN: f64 = 1e-8;

/// The point that is differentiated.
struct Base<'a> {
    case: &'a Case,
    mesh: &'a Mesh,
    point: FoldPoint,
    /// Second derivative of the answer along the branch.
    bend: f64,
    system: System<'a>,
    adjoint: Adjoint,
    here: Defect,
    /// Slope of the branch at the point: zero but for rounding.
    slope: f64,
}

/// What one side of a central difference gives.
struct Side {
    answer: f64,
    slope: Option<f64>,
}

impl<'a> Base<'a> {
    fn new(
        case: &'a Case,
        mesh: &'a Mesh,
        found: &FoldPoint,
        bend: f64,
        mut system: System<'a>,
    ) -> Result<Base<'a>, String> {
        // The curvature left the system beside the point.
        let (point, slope) = found.held(&mut system)?;
        let goal = point.mark.goal();
        let constraint = goal.constraint(point.lambda[0], point.current);
        let adjoint =
            system.adjoint(&point.state, point.lambda, goal).map_err(|e| e.to_string())?;
        let mut still =
            system.relative(system.device, system.circuit.clone()).map_err(|e| e.to_string())?;
        let here = still.defect(&point.state, point.lambda, &constraint, &system);
        Ok(Base { case, mesh, point, bend, system, adjoint, here, slope })
    }

    fn by(
        &self,
        p: &Parameter,
        experiment: &Experiment,
        index: usize,
        steps: &mut u64,
    ) -> Result<Slope, String> {
        let up = self.side(p, p.step, experiment, index, steps)?;
        let (down, width) = if p.two_sided {
            match self.side(p, -p.step, experiment, index, steps) {
                Ok(down) => {
                    smooth(up.answer, down.answer, self.size())?;
                    (down, 2.0 * p.step)
                }
                Err(_) => (self.middle(), p.step),
            }
        } else {
            (self.middle(), p.step)
        };
        let answer = (up.answer - down.answer) / width;
        let place = match (up.slope, down.slope) {
            (Some(a), Some(b)) if self.bend != 0.0 => Some(-(a - b) / width / self.bend),
            _ => None,
        };
        let (voltage, current) = match (self.point.mark, self.point.mark.goal()) {
            (Mark::Level, _) => (None, Some(answer)),
            (_, Goal::Voltage) => (Some(answer), place.map(|d| d * self.point.current)),
            (_, Goal::Current) => (place, Some(answer)),
        };
        Ok(Slope { path: p.path.clone(), dim: p.dim, value: p.value, voltage, current })
    }

    /// The size of the answer.
    fn size(&self) -> f64 {
        match self.point.mark.goal() {
            Goal::Voltage => self.point.lambda[0].abs(),
            Goal::Current => self.point.current.abs(),
        }
    }

    fn middle(&self) -> Side {
        Side { answer: 0.0, slope: Some(self.slope) }
    }

    /// Change of the answer, to first order, and the slope of the branch, with the parameter
    /// moved by `by`.
    fn side(
        &self,
        p: &Parameter,
        by: f64,
        experiment: &Experiment,
        index: usize,
        steps: &mut u64,
    ) -> Result<Side, String> {
        let Variant { case, mesh } = deformed(self.case, self.mesh, &p.path, p.value + by)?;
        let device = Device::of_case(&case, &mesh);
        let experiment = case.experiments.get(index).unwrap_or(experiment);
        let setup = branch_setup(&case, &device, experiment).map_err(|e| e.to_string())?;
        let circuit = setup.driven();
        let mut system = self.system.relative(&device, circuit).map_err(|e| e.to_string())?;
        let there = self.point.on(&device).ok_or("the mesh has changed")?;
        let goal = self.point.mark.goal();
        let constraint = goal.constraint(self.point.lambda[0], self.point.current);
        let answer = match self.without_unknown(p, &system) {
            // A first resistance: the inside of the contact falls by its drop.
            Some(k) => {
                let mut still = self
                    .system
                    .relative(self.system.device, self.system.circuit.clone())
                    .map_err(|e| e.to_string())?;
                let state = self.system.lowered(&self.point.state, k, by * self.system.current(k));
                let defect = still.defect(&state, self.point.lambda, &constraint, &self.system);
                self.adjoint.change(&self.here, &defect)
            }
            None => {
                let defect = system.defect(&there.state, there.lambda, &constraint, &self.system);
                self.adjoint.change(&self.here, &defect)
            }
        };
        let slope = if self.point.mark == Mark::Level {
            None
        } else {
            there.held(&mut system).ok().map(|(_, slope)| slope)
        };
        *steps += system.work.newton_steps;
        Ok(Side { answer, slope })
    }

    /// The contact that has a resistance on `system` but none at the point.
    fn without_unknown(&self, p: &Parameter, system: &System) -> Option<usize> {
        let contacts = 0..self.system.circuit.ties.len();
        let grown = |k: &usize| self.system.is_stiff(*k) && !system.is_stiff(*k);
        contacts.into_iter().find(grown).filter(|_| p.path.ends_with(".resistance"))
    }
}

/// Whether an answer of this size that changes by `up` and `down` on the two sides has a
/// derivative: edges that are drawn onto each other overlap one way and part the other way.
fn smooth(up: f64, down: f64, size: f64) -> Result<(), String> {
    let most = up.abs().max(down.abs());
    if most > SEEN * size && (up + down).abs() > KINK * most {
        return Err(format!(
            "no derivative here: the point moves by {up:.3e} when it grows by the step and by \
             {down:.3e} when it shrinks (an edge drawn onto another?)"
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::smooth;

    #[test]
    fn a_kink_is_no_derivative() {
        assert!(smooth(1e-3, -1.1e-3, 20.0).is_ok());
        assert!(smooth(1e-3, -4e-3, 20.0).is_err());
        assert!(smooth(1e-3, 1e-3, 20.0).is_err());
        // Rounding is no kink.
        assert!(smooth(1e-8, 1e-8, 20.0).is_ok());
    }
}
