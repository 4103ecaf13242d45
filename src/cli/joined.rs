//! The real rooms, joined: case to structure to mesh to device to experiments to record.

use std::path::Path;
use std::time::Instant;

use serde_json::{Value, json};

use super::graded::{by_solution, mesh_of};
use super::reruns::reruns;
use super::ruled::ruled;
use super::{Job, Meshed, Rooms, RunError, Watch, memory};
use crate::case::{self, Case, Laws, Problem, Severity};
use crate::discretize::{Device, State};
use crate::experiment::{Bars, Cover, Figures, Outcome, RunOptions, Sheet, Status, run_experiment};
use crate::extract::{self, Along, Verdict, verdict_over_temperatures};
use crate::mesh::{self, Mesh, Quality};
use crate::record::{ConstantInForce, Provenance, RunRecord};
use crate::solve::equilibrium;
use crate::structure::Structure;
use crate::trace::{Curve, Work};

/// The rooms of this crate.
pub struct Joined;

impl Rooms for Joined {
    fn read_case(&self, path: &Path) -> Result<(Case, Vec<Problem>), Vec<Problem>> {
        let (case, warnings) = case::read_file(path)?;
        let mut wrong = crate::rule::check(&case);
        wrong.extend(memory::beyond(&case, 1.0));
        match wrong.is_empty() {
            true => Ok((case, warnings)),
            false => Err(wrong),
        }
    }

    fn render(&self, problems: &[Problem], text: &str, path: &str, colour: bool) -> String {
        case::render(problems, text, path, colour)
    }

    fn problem_json(&self, problems: &[Problem], text: &str) -> Value {
        case::problem_json(problems, text)
    }

    fn schema(&self) -> Value {
        case::schema()
    }

    fn mesh(&self, case: &Case) -> Result<Meshed, Vec<Problem>> {
        let (structure, mesh, warnings) = meshed(case)?;
        let quality = Quality::new(case, &structure, &mesh);
        let junctions: Vec<Value> = quality
            .junctions
            .iter()
            .map(|j| json!({ "intervals_across": j.across, "intervals_around": j.around }))
            .collect();
        let report_json = json!({
            "nodes": quality.nodes,
            "budget": quality.budget,
            "x": axis(&quality.x),
            "y": axis(&quality.y),
            "junctions": junctions,
        });
        let mut lines = quality.lines();
        if by_solution(case) {
            lines.push(
                "this is the mesh of the structure; `run` grades it by a first solution"
                    .to_string(),
            );
        }
        let report = lines.join("\n");
        Ok(Meshed { mesh, warnings, report, report_json })
    }

    fn run(&self, job: &Job, watch: &mut Watch) -> Result<(), RunError> {
        let started = Instant::now();
        let case = job.case;
        let Some((mesh, warnings)) = mesh_of(job, watch)? else { return Ok(()) };
        watch.line(&format!("{} nodes, {} x {} lines", mesh.nodes(), mesh.nx(), mesh.ny()));
        watch.phase("equilibrium");
        let device = Device::of_case(case, &mesh);
        let (state, info) = equilibrium(&device)
            .map_err(|e| RunError::Failed(format!("the equilibrium could not be solved: {e}")))?;
        watch.line(&format!("equilibrium after {} steps", info.steps));
        let record = first_record(job, mesh, &state, &warnings)?;
        let before = record.provenance.wall;
        let done: Vec<Outcome> = record.experiments.clone();
        let saved = |e: crate::record::RecordError| RunError::Failed(e.to_string());
        watch.start(record);
        for (k, (experiment, earlier)) in case.experiments.iter().zip(done).enumerate() {
            if matches!(earlier.status, Status::Complete | Status::Stopped(_)) {
                continue;
            }
            if watch.interrupted() {
                break;
            }
            watch.experiment(k, case.experiments.len(), experiment.kind.word());
            let earlier_bars = earlier.bars.clone();
            let resume = (earlier.status == Status::Interrupted).then_some(earlier);
            let options = RunOptions { fields: job.fields };
            let bars = earlier_bars;
            let mut outcome =
                run_experiment(case, &device, &state, experiment, options, resume, watch)
                    .map_err(|e| RunError::Failed(e.to_string()))?;
            outcome.bars = bars;
            let interrupted = outcome.status == Status::Interrupted;
            watch.outcome(k, outcome).map_err(saved)?;
            if interrupted {
                break;
            }
        }
        let mut complete = false;
        if let Some(record) = watch.record_mut() {
            let finished = record
                .experiments
                .iter()
                .all(|o| matches!(o.status, Status::Complete | Status::Stopped(_)));
            if finished {
                record.verdict =
                    case.verdict.map(|v| Verdict::of(v, case.width, &record.experiments));
                if let Some(lumped) = extract::lumped(case, &record.experiments) {
                    let meaning = "lumped two-transistor model";
                    record.extract = Sheet::new().group("lumped", meaning, lumped);
                }
                if job.sensitivities {
                    let all = by_the_numbers(case, &record.mesh, &device, &record.experiments);
                    let sheet = all.map_err(RunError::Failed)?;
                    let meaning = "derivatives of the marked points by the numbers of the case";
                    let extract = std::mem::take(&mut record.extract);
                    record.extract = extract.group("sensitivities", meaning, sheet);
                }
                complete = true;
            }
        }
        let ended = if complete { reruns(job, watch) } else { Ok(()) };
        if complete && ended.is_ok() && !watch.interrupted() {
            judge(case, watch);
            ruled(job, &device, watch);
        }
        if let Some(record) = watch.record_mut() {
            record.provenance.wall = before + started.elapsed().as_secs_f64();
        }
        ended
    }
}

/// Sensitivities of every point that the experiments found.
fn by_the_numbers(
    case: &Case,
    mesh: &Mesh,
    device: &Device,
    outcomes: &[Outcome],
) -> Result<Sheet, String> {
    let mut all = Vec::new();
    for (k, outcome) in outcomes.iter().enumerate() {
        all.extend(extract::sensitivities(case, mesh, device, k, outcome)?);
    }
    let kinds: Vec<&str> = outcomes.iter().map(|o| o.kind.as_str()).collect();
    Ok(extract::sensitivity_sheet(&all, &kinds))
}

/// The final verdict: with the error bars, and over all temperatures that are asked for.
/// None if it was interrupted.
fn judge(case: &Case, watch: &mut Watch) {
    let Some(record) = watch.record() else { return };
    let (mesh, outcomes) = (record.mesh.clone(), record.experiments.clone());
    let kept = record.temperatures.clone();
    let along = Along {
        say: &|watch: &mut Watch, what| watch.rerun(what),
        keep: &|watch: &mut Watch, done| watch.temperature(done),
        kept: &kept,
    };
    let verdict = verdict_over_temperatures(case, &mesh, &outcomes, watch, &along);
    if let Some(record) = watch.record_mut() {
        if verdict.is_ok() {
            record.temperatures.clear();
        }
        // Interrupted: there is none.
        record.verdict = verdict.unwrap_or_default();
    }
}

fn axis(a: &mesh::AxisQuality) -> Value {
    json!({
        "lines": a.lines, "smallest_um": a.smallest, "largest_um": a.largest, "growth": a.growth,
    })
}

pub(super) fn meshed(case: &Case) -> Result<(Structure, Mesh, Vec<Problem>), Vec<Problem>> {
    let (structure, mut warnings) = Structure::new(case)?;
    let (mesh, more) = mesh::build(case, &structure)?;
    warnings.extend(more);
    Ok((structure, mesh, warnings))
}

/// The record before the first experiment; a resumed run takes over what is done.
fn first_record(
    job: &Job,
    mesh: Mesh,
    state: &State,
    warnings: &[Problem],
) -> Result<RunRecord, RunError> {
    let case = job.case;
    let waiting = |e: &case::Experiment| Outcome {
        kind: e.kind.word().to_string(),
        drive: Vec::new(),
        status: Status::Waiting,
        curve: Curve::default(),
        folds: Vec::new(),
        figures: Figures::Bias { points: Vec::new() },
        bars: job.bars.filter(|_| has_points(e)).map(Bars::wanted),
        fields: Vec::new(),
        flow: Sheet::new(),
        warnings: Vec::new(),
        work: Work::default(),
        wall: 0.0,
        snapshot: None,
    };
    let mut provenance = Provenance::here(job.threads);
    let mut temperatures = Vec::new();
    let experiments = match &job.resume {
        None => case.experiments.iter().map(waiting).collect(),
        Some(earlier) => {
            if earlier.case_text != case.text {
                return Err(RunError::Failed(
                    "the partial result was made from another case text; --force starts over"
                        .to_string(),
                ));
            }
            if earlier.experiments.len() != case.experiments.len() {
                return Err(RunError::Failed(
                    "the partial result has another number of experiments; --force starts over"
                        .to_string(),
                ));
            }
            provenance.started = earlier.provenance.started.clone();
            provenance.wall = earlier.provenance.wall;
            temperatures = earlier.temperatures.clone();
            let mut experiments = earlier.experiments.clone();
            for (outcome, e) in experiments.iter_mut().zip(&case.experiments) {
                ask(outcome, job.bars.filter(|_| has_points(e)));
            }
            experiments
        }
    };
    let constants = case
        .constants
        .in_force()
        .into_iter()
        .map(|c| ConstantInForce {
            law: c.spec.law.to_string(),
            key: c.spec.key.to_string(),
            value: c.value,
            unit: c.spec.dim.unit().to_string(),
            overridden: c.given,
        })
        .collect();
    Ok(RunRecord {
        title: case.title.clone(),
        case_name: job.name.to_string(),
        case_text: case.text.clone(),
        constants,
        laws: laws_in_force(&case.laws),
        temperature: case.temperature,
        width: case.width,
        provenance,
        mesh,
        equilibrium: state.words().potential,
        experiments,
        verdict: None,
        extract: Sheet::new(),
        temperatures,
        follows: Vec::new(),
        rules: Vec::new(),
        spreads: Vec::new(),
        warnings: warnings
            .iter()
            .filter(|p| p.severity == Severity::Warning)
            .map(|p| p.text.clone())
            .collect(),
        complete: false,
    })
}

/// Whether an experiment's figures are points, which can have error bars.
fn has_points(e: &case::Experiment) -> bool {
    !matches!(e.kind, case::ExperimentKind::Bias { .. })
}

/// A resumed outcome gets the bars that are asked for now or were before.
fn ask(outcome: &mut Outcome, cover: Option<Cover>) {
    let Some(cover) = cover else { return };
    match &mut outcome.bars {
        Some(bars) => bars.cover = bars.cover.max(cover),
        none => *none = Some(Bars::wanted(cover)),
    }
}

fn laws_in_force(laws: &Laws) -> Vec<(String, String)> {
    let mut recombination = Vec::new();
    if laws.shockley_read_hall {
        recombination.push("shockley-read-hall");
    }
    if laws.auger {
        recombination.push("auger");
    }
    if laws.surface {
        recombination.push("surface");
    }
    let recombination =
        if recombination.is_empty() { "none".to_string() } else { recombination.join(", ") };
    [
        ("mobility", laws.mobility.word().to_string()),
        ("saturation", laws.saturation.word().to_string()),
        ("recombination", recombination),
        ("lifetime", laws.lifetime.word().to_string()),
        ("narrowing", laws.narrowing.word().to_string()),
        ("avalanche", laws.avalanche.word().to_string()),
        ("statistics", laws.statistics.word().to_string()),
        ("dopants", laws.dopants.word().to_string()),
        ("heat", laws.heat.word().to_string()),
    ]
    .map(|(property, law)| (property.to_string(), law))
    .to_vec()
}
