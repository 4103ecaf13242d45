//! Current gains of both parasitic bipolars over their collector current, measured as on a
//! bench: base and collector stand at their real bias, the emitter is moved until it
//! injects, and β is the collector's over the base's terminal current (Gummel plot:
//! H. K. Gummel, Proc. IRE 49, 834 (1961); that a gain needs its bias stated: common
//! practice, no source).

use crate::case::{Bias, Case, Experiment, IdleEmitter, Stop};
use crate::discretize::{Device, State};
use crate::solve::{Constraint, System};
use crate::trace::{Branch, End, Keeper, Standing, Start, TraceParams, Work, follow};

use super::gummel::{FARTHEST, Gummel, View, product, total};
use super::outcome::{Outcome, Status};
use super::poise::{Halt, NoCheckpoint};
use super::roles::{Bipolar, Roles};
use super::run::ramp;
use super::setup::{Setup, SetupError};
use super::sheet::Sheet;
use super::time_sheet::named;

/// What a `gains` experiment asks for.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// Of the well [V].
    pub supply: f64,
    pub idle: IdleEmitter,
    /// Collector current [A/µm] and emitter-base voltage [V] at which a curve ends.
    pub stop: Stop,
}

/// An emitter that carries this many times the stop's collector current has no gain worth
/// following.
const EMITTER: f64 = 30.0;

/// Run a `gains` experiment.
///
/// # Errors
/// [`SetupError::NoRole`] if a bipolar has no emitter, base or collector terminal.
pub fn gains(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    asked: Asked,
    keeper: &mut dyn Keeper,
) -> Result<Outcome, SetupError> {
    let roles = Roles::of(case, device, experiment)?;
    let bench = Bench { case, device, equilibrium, experiment, roles: &roles, asked };
    let (mut sheet, mut work, mut status) = (Sheet::new(), Work::default(), Status::Complete);
    let mut gummel = Vec::new();
    for bipolar in [Bipolar::Npn, Bipolar::Pnp] {
        match bench.forward(bipolar, keeper)? {
            Ok((plot, spent)) => {
                work = sum(work, spent);
                gummel.push(plot);
            }
            Err(halt) => return Ok(named(device, bench.drive(), work, Err(halt))),
        }
    }
    for (plot, bipolar) in gummel.iter().zip([Bipolar::Npn, Bipolar::Pnp]) {
        if let Some(why) = &plot.failed {
            status = Status::Stopped(format!("{}: {why}", bipolar.word()));
        }
        let meaning = match bipolar {
            Bipolar::Npn => "npn: cathode, substrate, well",
            Bipolar::Pnp => "pnp: anode, well, substrate",
        };
        sheet = sheet.group(bipolar.word(), meaning, plot.sheet());
    }
    if let [npn, pnp] = gummel.as_slice() {
        sheet =
            sheet.group("product", "gain product at equal collector currents", product(npn, pnp));
    }
    match bench.inverse(keeper)? {
        Ok((well, spent)) => {
            work = sum(work, spent);
            sheet = sheet.group("well_junction", "well junction forward, emitters tied", well);
        }
        Err(Halt::Interrupted) => {
            return Ok(named(device, bench.drive(), work, Err(Halt::Interrupted)));
        }
        Err(Halt::Failed(why)) => status = Status::Stopped(format!("well junction: {why}")),
    }
    let mut outcome = named(device, bench.drive(), work, Ok(sheet));
    outcome.status = status;
    Ok(outcome)
}

struct Bench<'a> {
    case: &'a Case,
    device: &'a Device,
    equilibrium: &'a State,
    experiment: &'a Experiment,
    roles: &'a Roles,
    asked: Asked,
}

type Measured<T> = Result<Result<(T, Work), Halt>, SetupError>;

/// The case's experiment with every terminal of the path at its real bias: anodes and well
/// taps at the supply, cathodes and substrate taps at 0 V, unless `bias` says otherwise.
pub fn at_supply(
    experiment: &Experiment,
    device: &Device,
    roles: &Roles,
    supply: f64,
) -> Experiment {
    let mut held = experiment.clone();
    for &k in roles.anodes.iter().chain(&roles.well_taps) {
        let Some(contact) = device.contacts.get(k) else { continue };
        if !held.bias.iter().any(|b| b.terminal == contact.name) {
            held.bias.push(Bias { terminal: contact.name.clone(), voltage: supply });
        }
    }
    held
}

pub(super) fn names(device: &Device, contacts: &[usize]) -> Vec<String> {
    contacts.iter().filter_map(|&k| device.contacts.get(k)).map(|c| c.name.clone()).collect()
}

impl Bench<'_> {
    fn drive(&self) -> Vec<String> {
        names(self.device, &[self.roles.cathodes.clone(), self.roles.anodes.clone()].concat())
    }

    fn forward(&self, bipolar: Bipolar, keeper: &mut dyn Keeper) -> Measured<Gummel> {
        let ends = self.roles.ends(bipolar);
        let mut held = at_supply(self.experiment, self.device, self.roles, self.asked.supply);
        if self.asked.idle == IdleEmitter::Open {
            let idle = names(self.device, ends.idle);
            held.bias.retain(|b| !idle.contains(&b.terminal));
            held.open.extend(idle);
        }
        let emitter = names(self.device, ends.emitter);
        let base = names(self.device, ends.base);
        let setup = Setup::new(self.case, self.device, &held, &emitter)?;
        let start = base.first().map_or(0.0, |b| setup.held_at(b));
        held.bias.retain(|b| !emitter.contains(&b.terminal));
        let view = View { ends, sign: bipolar.sign(), start, asked: self.asked };
        let setup = Setup::new(self.case, self.device, &held, &emitter)?;
        let done = |s: &Standing| view.ended(s.curve, s.folds.len()).is_some();
        let most = EMITTER * self.asked.stop.current.unwrap_or(1.0);
        let traced = self.trace(&setup, start, bipolar.sign(), most, &done, keeper);
        Ok(traced.map(|branch| {
            let (rows, ended) = view.rows(&branch.curve, branch.folds.len());
            let failed = match &branch.end {
                End::Stalled(why) => Some(why.clone()),
                _ => None,
            };
            (Gummel { rows, ended, failed }, branch.work)
        }))
    }

    /// Well and anode together below the substrate: both bipolars upside down.
    fn inverse(&self, keeper: &mut dyn Keeper) -> Measured<Sheet> {
        let roles = self.roles;
        let mut held = self.experiment.clone();
        held.bias.clear();
        let well = [roles.well_taps.clone(), roles.anodes.clone()].concat();
        let setup = Setup::new(self.case, self.device, &held, &names(self.device, &well))?;
        let most = self.asked.stop.current.unwrap_or(1e-3);
        let farthest = self.asked.stop.voltage.unwrap_or(FARTHEST);
        let done = |s: &Standing| s.curve.voltage.last().is_some_and(|v| v.abs() >= farthest);
        let traced = self.trace(&setup, 0.0, -1.0, most, &done, keeper);
        Ok(traced.map(|branch| {
            let curve = &branch.curve;
            let column =
                |of: &dyn Fn(usize) -> f64| -> Vec<f64> { (1..curve.len()).map(of).collect() };
            let at = |k: usize, contacts: &[usize]| total(curve, k, contacts);
            let sheet = Sheet::new()
                .column("junction_V", "V", "substrate above well", column(&|k| -curve.voltage[k]))
                .column(
                    "total_A_per_um",
                    "A/um",
                    "through the well junction",
                    column(&|k| -curve.current[k]),
                )
                .column(
                    "cathode_A_per_um",
                    "A/um",
                    "electrons that reach the cathode: npn inverse",
                    column(&|k| at(k, &roles.cathodes)),
                )
                .column(
                    "anode_A_per_um",
                    "A/um",
                    "holes that reach the anode: pnp inverse",
                    column(&|k| -at(k, &roles.anodes)),
                );
            (sheet, branch.work)
        }))
    }

    fn trace(
        &self,
        setup: &Setup,
        start: f64,
        sign: f64,
        most: f64,
        done: &dyn Fn(&Standing) -> bool,
        keeper: &mut dyn Keeper,
    ) -> Result<Branch, Halt> {
        let device = self.device;
        let failed = |e: String| Halt::Failed(format!("the bias could not be applied: {e}"));
        let largest = setup.largest_bias(Some(start));
        let (ramped, mut state) =
            ramp(device, self.equilibrium, setup.ramp(Some(start)), largest).map_err(failed)?;
        let mut system = System::new(device, setup.driven()).map_err(|e| failed(e.to_string()))?;
        let mut lambda = [start, 0.0];
        system
            .newton(&mut state, &mut lambda, &Constraint::Voltage(start))
            .map_err(|e| failed(e.to_string()))?;
        system.work = sum(ramped.work, system.work);
        system.work.walk_steps = system.work.newton_steps;
        let from = Start::At { state: Box::new(state), lambda, towards: vec![sign, 0.0] };
        // Half the steps of an S-curve: the columns are to be smooth.
        let params = TraceParams { largest_log: 0.6, ..TraceParams::default() };
        let stop = Stop { current: Some(most), voltage: None };
        let branch = follow(&mut system, from, stop, &params, done, &mut NoCheckpoint(keeper))
            .map_err(|e| failed(e.to_string()))?;
        match branch.end {
            End::Interrupted => Err(Halt::Interrupted),
            _ => Ok(branch),
        }
    }
}

/// Work of two systems.
pub(super) fn sum(mut a: Work, b: Work) -> Work {
    a += b;
    a
}
