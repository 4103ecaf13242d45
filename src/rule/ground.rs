//! One point of a traced curve, and the case moved away from it.

use crate::case::{Case, FoldName};
use crate::discretize::Device;
use crate::experiment::{FoldPoint, Outcome, Variant, branch_setup, on_moved_lines, with_value};
use crate::mesh::Mesh;
use crate::solve::System;

use super::track::Spent;

/// A number of the case by its path, and a value for it.
pub type Set<'s> = (&'s str, f64);

/// A point of an experiment's curve with the case, mesh and device it was found on.
pub struct Ground<'a> {
    pub case: &'a Case,
    pub mesh: &'a Mesh,
    /// Number of the experiment.
    pub experiment: usize,
    pub fold: FoldName,
    /// The point, solved anew.
    pub point: FoldPoint,
    base: System<'a>,
}

impl<'a> Ground<'a> {
    /// Takes up the point `fold` of the first experiment that has one, or of number
    /// `experiment`.
    ///
    /// # Errors
    /// In words: no experiment has such a point, or it cannot be solved anew.
    pub fn new(
        case: &'a Case,
        mesh: &'a Mesh,
        device: &'a Device,
        outcomes: &[Outcome],
        (fold, experiment): (FoldName, Option<usize>),
        spent: &mut Spent,
    ) -> Result<Ground<'a>, String> {
        let wanted = |k: &usize| experiment.is_none_or(|e| e == *k);
        let found = (0..outcomes.len())
            .filter(wanted)
            .find_map(|k| FoldPoint::stored(device, outcomes.get(k)?, fold.word()).map(|p| (k, p)));
        let Some((index, stored)) = found else {
            return Err(match experiment {
                Some(k) => format!("experiment {k} has no {} point", fold.word()),
                None => format!("no experiment has a {} point", fold.word()),
            });
        };
        let experiment = case.experiments.get(index).ok_or("the case has fewer experiments")?;
        let setup = branch_setup(case, device, experiment).map_err(|e| e.to_string())?;
        let mut base = System::new(device, setup.driven()).map_err(|e| e.to_string())?;
        let point = stored.settle(&mut base)?;
        spent.add(&base.work);
        Ok(Ground { case, mesh, experiment: index, fold, point, base })
    }

    /// The case with numbers set, on the mesh moved with it.
    ///
    /// # Errors
    /// In words: a value that the case cannot have, edges that change their order.
    pub fn moved(&self, sets: &[Set<'_>]) -> Result<Variant, String> {
        let mut case = self.case.clone();
        for (path, value) in sets {
            case = with_value(&case, path, *value)?;
        }
        on_moved_lines(self.case, self.mesh, case)
    }

    /// The point on the moved case, solved for from `guess`.
    ///
    /// # Errors
    /// Those of [`Ground::moved`]; no such point is near.
    pub fn at(
        &self,
        sets: &[Set<'_>],
        guess: &FoldPoint,
        spent: &mut Spent,
    ) -> Result<FoldPoint, String> {
        self.with(sets, guess, spent, |there, system| there.settle(system))
    }

    /// The branch at the coordinate of `guess` on the moved case, and its slope there.
    ///
    /// # Errors
    /// Those of [`Ground::moved`]; no convergence.
    pub fn beside(
        &self,
        sets: &[Set<'_>],
        guess: &FoldPoint,
        spent: &mut Spent,
    ) -> Result<(FoldPoint, f64), String> {
        self.with(sets, guess, spent, |there, system| there.held(system))
    }

    fn with<T>(
        &self,
        sets: &[Set<'_>],
        guess: &FoldPoint,
        spent: &mut Spent,
        solve: impl FnOnce(&FoldPoint, &mut System) -> Result<T, String>,
    ) -> Result<T, String> {
        let Variant { case, mesh } = self.moved(sets)?;
        let device = Device::of_case(&case, &mesh);
        let experiment = case.experiments.get(self.experiment).ok_or("no such experiment")?;
        let setup = branch_setup(&case, &device, experiment).map_err(|e| e.to_string())?;
        let mut system = self.base.relative(&device, setup.driven()).map_err(|e| e.to_string())?;
        system.params.impatient = true;
        let there = guess.on(&device).ok_or("the mesh has changed")?;
        let solved = solve(&there, &mut system);
        spent.add(&system.work);
        solved
    }
}
