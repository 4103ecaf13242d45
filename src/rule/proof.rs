//! The full curve at an answer, on a mesh of its own, with its error bar.

use crate::case::{Case, FoldName, Known, Requirement};
use crate::discretize::Device;
use crate::experiment::{
    Bars, Change, Cover, Outcome, Rerun, RunOptions, Variant, on_moved_lines, run_experiment,
    with_value,
};
use crate::extract::{Slopes, sensitivities};
use crate::mesh::{Lines, Mesh, build};
use crate::solve::equilibrium;
use crate::structure::Structure;
use crate::trace::Keeper;

use super::ground::Set;
use super::track::Spent;

/// A full curve with numbers of the case set.
pub struct Proof {
    pub case: Case,
    pub mesh: Mesh,
    pub device: Device,
    /// Number of the experiment.
    pub experiment: usize,
    pub outcome: Outcome,
    /// The point \[V\], [A/µm].
    pub voltage: f64,
    pub current: f64,
    /// How far the requirement is met there.
    pub slack: f64,
}

impl Proof {
    /// Trace the curve of `experiment` of a case (on its mesh) with the numbers set, on the
    /// mesh of that layout.
    ///
    /// # Errors
    /// In words: the case cannot be so, the curve could not be traced or has no such point.
    pub fn new(
        (before, drawn): (&Case, &Mesh),
        sets: &[Set<'_>],
        (experiment, fold): (usize, FoldName),
        require: &Requirement,
        keeper: &mut dyn Keeper,
        spent: &mut Spent,
    ) -> Result<Proof, String> {
        let mut case = before.clone();
        for (path, value) in sets {
            case = with_value(&case, path, *value)?;
        }
        let first = |problems: Vec<crate::case::Problem>| {
            problems.first().map_or_else(String::new, |p| p.text.clone())
        };
        let (structure, _) = Structure::new(&case).map_err(first)?;
        // Where the budget does not allow a mesh of its own, the drawn one is moved.
        let mesh = match build(&case, &structure) {
            Ok((mesh, _)) => mesh,
            Err(_) => on_moved_lines(before, drawn, case.clone())?.mesh,
        };
        let device = Device::of_case(&case, &mesh);
        let outcome = traced(&case, &device, experiment, keeper, spent)?;
        let (_, found) = outcome
            .points()
            .into_iter()
            .find(|(name, _)| *name == fold.word())
            .ok_or_else(|| format!("the curve has no {} point", fold.word()))?;
        let (voltage, current) =
            found.as_ref().map(|f| (f.voltage, f.current)).map_err(Clone::clone)?;
        let slack = require.slack(&known(&case, voltage, current));
        Ok(Proof { case, mesh, device, experiment, outcome, voltage, current, slack })
    }

    /// Traces the curve again on a coarser and a finer mesh: how far the slack may be off.
    ///
    /// # Errors
    /// In words.
    pub fn mesh_error(
        &mut self,
        fold: FoldName,
        require: &Requirement,
        keeper: &mut dyn Keeper,
        spent: &mut Spent,
    ) -> Result<f64, String> {
        let lines = Lines::of(&self.mesh);
        let mut bars = Bars::wanted(Cover::Mesh);
        for change in [Change::Coarser, Change::Finer] {
            let rerun = match Variant::new(&self.case, &lines, change) {
                Ok(v) => {
                    let device = Device::of_case(&v.case, &v.mesh);
                    match traced(&v.case, &device, self.experiment, keeper, spent) {
                        Ok(outcome) => Rerun::of(change, v.mesh.nodes(), &outcome),
                        Err(why) => Rerun::failed(change, v.mesh.nodes(), 2, &why),
                    }
                }
                Err(why) => Rerun::failed(change, 0, 2, &why),
            };
            bars.reruns.push(rerun);
        }
        self.outcome.bars = Some(bars);
        let bars = self.outcome.error_bars(fold.word()).ok_or("no error bars")??;
        let at = |v: f64, i: f64| require.slack(&known(&self.case, v, i));
        let (dv, di) = (bars.voltage.error, bars.current.error);
        let by_voltage = at(self.voltage + dv, self.current) - at(self.voltage - dv, self.current);
        let by_current = at(self.voltage, self.current + di) - at(self.voltage, self.current - di);
        Ok(0.5 * (by_voltage.abs() + by_current.abs()))
    }

    /// What else moves the requirement, the strongest first: path, change, gain of slack.
    pub fn helps(&self, fold: FoldName, require: &Requirement) -> Vec<(String, String, f64)> {
        let all =
            sensitivities(&self.case, &self.mesh, &self.device, self.experiment, &self.outcome);
        let slopes = all.unwrap_or_default().into_iter().find(|s| s.point == fold.word());
        let Some(Slopes { rows, .. }) = slopes else { return Vec::new() };
        let mut out: Vec<(String, String, f64)> = rows
            .iter()
            .map(|row| {
                let (by, words) = row.natural();
                let v = self.voltage + by * row.voltage.unwrap_or(0.0);
                let i = self.current + by * row.current.unwrap_or(0.0);
                let gain = require.slack(&known(&self.case, v, i)) - self.slack;
                let sign = if gain < 0.0 { "-" } else { "+" };
                (row.path.clone(), format!("{sign}{words}"), gain.abs())
            })
            .filter(|(_, _, gain)| gain.is_finite() && *gain > 0.0)
            .collect();
        out.sort_by(|a, b| b.2.total_cmp(&a.2).then(a.0.cmp(&b.0)));
        out
    }
}

/// What a requirement's names stand for at a point.
pub(super) fn known(case: &Case, voltage: f64, current: f64) -> Known {
    let (supply, margin) = case.verdict.map_or((0.0, 0.0), |v| (v.supply, v.margin));
    Known { voltage, current, supply, margin, width: case.width }
}

fn traced(
    case: &Case,
    device: &Device,
    experiment: usize,
    keeper: &mut dyn Keeper,
    spent: &mut Spent,
) -> Result<Outcome, String> {
    let (rest, _) = equilibrium(device).map_err(|e| e.to_string())?;
    let asked = case.experiments.get(experiment).ok_or("no such experiment")?;
    let outcome = run_experiment(case, device, &rest, asked, RunOptions::default(), None, keeper)
        .map_err(|e| e.to_string())?;
    spent.add_curve(&outcome.work);
    Ok(outcome)
}
