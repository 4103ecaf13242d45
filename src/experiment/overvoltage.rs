//! The supply raised beyond its maximum and brought back, slowly: does the structure
//! trigger on the way up, and does an on-state hold it after the way down?
//!
//! A supply that rises slowly follows the branch of off-states until it ends at a voltage
//! maximum. Beyond that the structure jumps; what it comes back to is read off the same
//! branch, which is followed through its folds until it meets the supply again.

use crate::case::{Case, Experiment, Stop};
use crate::discretize::{Device, State};
use crate::solve::{Constraint, System};
use crate::trace::{Branch, End, FoldKind, Keeper, Standing, Start, TraceParams, Work, follow};

use super::outcome::{Figures, Found, Outcome, Status};
use super::poise::{HIGHEST, Halt, NoCheckpoint};
use super::run::ramp;
use super::setup::{Setup, SetupError};
use super::sheet::Sheet;
use super::time_sheet::named;

/// What is raised, from where and how far [V].
#[derive(Debug, Clone, Copy)]
pub struct Raise<'a> {
    pub drive: &'a [String],
    pub supply: f64,
    pub to: f64,
}

/// Run an `overvoltage` experiment.
pub fn overvoltage(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    raise: Raise,
    keeper: &mut dyn Keeper,
) -> Result<Outcome, SetupError> {
    let setup = Setup::new(case, device, experiment, raise.drive)?;
    let branch = match branch(&setup, device, equilibrium, raise, keeper) {
        Ok(branch) => branch,
        Err(ended) => {
            let (halt, work) = *ended;
            return Ok(named(device, raise.drive.to_vec(), work, Err(halt)));
        }
    };
    if branch.end == End::Interrupted {
        let halt = Err(Halt::Interrupted);
        return Ok(named(device, raise.drive.to_vec(), branch.work, halt));
    }
    let (sheet, status) = judged(&branch, raise);
    let Branch { curve, folds, fields, work, .. } = branch;
    let blank = named(device, raise.drive.to_vec(), work, Ok(Sheet::new()));
    Ok(Outcome { status, curve, folds, fields, figures: Figures::Named(sheet), ..blank })
}

/// The branch of off-states from the supply on, to the end of the test or, once it has
/// triggered, to the on-state at the supply.
fn branch(
    setup: &Setup,
    device: &Device,
    equilibrium: &State,
    raise: Raise,
    keeper: &mut dyn Keeper,
) -> Result<Branch, Box<(Halt, Work)>> {
    let supply = raise.supply;
    let failed = |e: String, work: Work| Box::new((Halt::Failed(e), work));
    let (ramped, mut state) =
        ramp(device, equilibrium, setup.ramp(Some(supply)), setup.largest_bias(Some(supply)))
            .map_err(|e| failed(e, Work::default()))?;
    let before = ramped.work;
    let mut system =
        System::new(device, setup.driven()).map_err(|e| failed(e.to_string(), before))?;
    system.work = before;
    let mut lambda = [supply, 0.0];
    system
        .newton(&mut state, &mut lambda, &Constraint::Voltage(supply))
        .map_err(|e| failed(e.to_string(), before))?;
    system.work.walk_steps = system.work.newton_steps;
    let start = Start::At { state: Box::new(state), lambda, towards: vec![1.0, 0.0] };
    let params = TraceParams { level: Some(supply), ..TraceParams::default() };
    // Before it triggers the supply's end of the test stops it, after that the current.
    let answered = |s: &Standing| {
        let triggered = s.folds.iter().any(|f| f.kind == FoldKind::VoltageMaximum);
        let back = s.fields.iter().filter(|f| f.label == "crossing").count();
        triggered && back >= 2
    };
    let stop = Stop { current: Some(HIGHEST), voltage: Some(raise.to) };
    follow(&mut system, start, stop, &params, &answered, &mut NoCheckpoint(keeper))
        .map_err(|e| failed(e.to_string(), system.work))
}

/// Answer and status of a branch that was not interrupted.
fn judged(branch: &Branch, raise: Raise) -> (Sheet, Status) {
    let Raise { supply, to, .. } = raise;
    let fold = branch.folds.iter().find(|f| f.kind == FoldKind::VoltageMaximum);
    let on: Found<f64> = branch.crossings.get(1).map(|c| c.current).ok_or_else(|| {
        format!("the branch does not come back to an on-state at the supply of {supply} V")
    });
    let stalled = match &branch.end {
        End::Stalled(why) => Some(why.clone()),
        _ => None,
    };
    // Past the holding point and still below the supply: its current is just larger.
    let holds = branch.crossings.len() == 1
        && branch.end == End::Reached
        && branch.curve.voltage.last().is_some_and(|v| *v < supply);
    let on = match on {
        Err(_) if holds => {
            Err(format!("the on-state at {supply} V carries more than {HIGHEST:.0e} A/µm"))
        }
        other => other,
    };
    let latches = match (fold, &on, &stalled) {
        (Some(_), Ok(_), _) => Ok(true),
        (Some(_), Err(_), None) if holds => Ok(true),
        // Whether an on-state holds it is not known.
        (_, _, Some(why)) => Err(why.clone()),
        _ => Ok(false),
    };
    let critical = fold.map(|f| f.voltage).ok_or_else(|| match &stalled {
        Some(why) => why.clone(),
        None => match branch.curve.voltage.last() {
            Some(v) if *v < to * (1.0 - 1e-6) => format!(
                "no trigger: at {v:.4} V the supply carries {HIGHEST:.0e} A/µm without any fold"
            ),
            _ => format!("no trigger up to {to:.4} V"),
        },
    });
    let critical = Sheet::new().number(
        "voltage_V",
        "V",
        "supply voltage at which the off-state ends",
        critical,
    );
    let sheet = Sheet::new()
        .yes_no("latches", "stays on after the supply is back", latches)
        .group("critical", "the limit", critical)
        .yes_no(
            "triggers",
            "the off-state ends on the way up",
            match (fold, &stalled) {
                (None, Some(why)) => Err(why.clone()),
                (fold, _) => Ok(fold.is_some()),
            },
        )
        .number("supply_V", "V", "where the supply starts and ends", Ok(supply))
        .number("raised_to_V", "V", "how far the supply is raised", Ok(to))
        .number("on_A_per_um", "A/um", "supply current of the on-state after it", on);
    let status = stalled.map_or(Status::Complete, Status::Stopped);
    (sheet, status)
}
