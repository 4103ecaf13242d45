//! Small-signal admittances between all terminals at a bias.

use crate::case::{Case, Experiment};
use crate::discretize::{Device, State};
use crate::solve::SmallSignal;
use crate::trace::{Curve, Keeper, Next, Standing};

use super::outcome::Outcome;
use super::poise::Halt;
use super::run::ramp;
use super::setup::{Setup, SetupError};
use super::sheet::Sheet;
use super::time_sheet::{named, work_of};

/// Run a `capacitance` experiment. Terminals that are `open` carry no direct current; the
/// small signal is applied to every terminal in turn, gates that follow another too.
pub fn capacitance(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    frequencies: &[f64],
    keeper: &mut dyn Keeper,
) -> Result<Outcome, SetupError> {
    let setup = Setup::held(case, device, experiment)?;
    let drive: Vec<String> = experiment.bias.iter().map(|b| b.terminal.clone()).collect();
    let ramped = ramp(device, equilibrium, setup.ramp(None), setup.largest_bias(None));
    let (mut system, state) = match ramped {
        Ok(both) => both,
        Err(why) => return Ok(named(device, drive, work_of(None), Err(Halt::Failed(why)))),
    };
    let resistances: Vec<f64> = device.contacts.iter().map(|c| setup.resistance(&c.name)).collect();
    let mut measure = || -> Result<Sheet, Halt> {
        let failed = |e: crate::linear::LinearError| Halt::Failed(e.to_string());
        let mut signal = SmallSignal::new(&mut system, &state).map_err(failed)?;
        let (mut g, mut c) = (Vec::new(), Vec::new());
        let curve = Curve::default();
        for (k, frequency) in frequencies.iter().enumerate() {
            let omega = std::f64::consts::TAU * frequency;
            let inside = signal.admittance(omega).map_err(failed)?;
            let y = inside.behind(&resistances).ok_or_else(|| {
                Halt::Failed(format!(
                    "at {frequency:e} Hz the device and its series resistances have no admittance"
                ))
            })?;
            g.extend(y.real);
            c.extend(y.imaginary.iter().map(|b| b / omega));
            system.work.factorizations += 1;
            let done = (k + 1) as f64 / frequencies.len() as f64;
            let standing =
                Standing { curve: &curve, folds: &[], fields: &[], work: system.work, done };
            if keeper.point(&standing) == Next::Interrupt {
                return Err(Halt::Interrupted);
            }
        }
        let terminals: Vec<String> = device.contacts.iter().map(|c| c.name.clone()).collect();
        let shape = [frequencies.len(), terminals.len(), terminals.len()];
        Ok(Sheet::new()
            .column("frequency_Hz", "Hz", "of the small signal", frequencies.to_vec())
            .texts("terminals", "in the order of rows and columns", &terminals)
            .numbers(
                "g_S_per_um",
                "S/um",
                "[f][i][j]: in-phase current into terminal i per volt at terminal j",
                &shape,
                g,
            )
            .numbers(
                "c_F_per_um",
                "F/um",
                "[f][i][j]: current leading by a quarter period, over the angular frequency",
                &shape,
                c,
            ))
    };
    let sheet = measure();
    Ok(named(device, drive, system.work, sheet))
}
