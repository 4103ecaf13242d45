//! Current gains of both parasitic bipolars over their collector current, measured as on a
//! bench: base and collector stand at their real bias, the emitter is moved until it
//! injects, and β is the collector's over the base's terminal current (Gummel plot:
//! H. K. Gummel, Proc. IRE 49, 834 (1961); that a gain needs its bias stated: common
//! practice, no source).

use crate::case::{Bias, Case, Experiment, IdleEmitter, Stop};
use crate::discretize::{Device, State};
use crate::solve::{Constraint, System};
use crate::trace::{Branch, Curve, End, Keeper, Standing, Start, TraceParams, Work, follow};

use super::outcome::{Found, Outcome, Status};
use super::poise::{Halt, NoCheckpoint};
use super::roles::{Bipolar, Ends, Roles};
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

/// Currents count once they are this many times those at zero emitter-base voltage.
const ABOVE_LEAKAGE: f64 = 10.0;
/// The other bipolar is on once its emitter carries this share of the emitter current.
const TURNED_ON: f64 = 0.05;
/// Emitter-base voltage [V] at which a curve ends at the latest.
const FARTHEST: f64 = 5.0;
/// An emitter that carries this many times the stop's collector current has no gain worth
/// following.
const EMITTER: f64 = 30.0;
/// Points per decade of the product's collector currents.
const PER_DECADE: f64 = 4.0;

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

/// Sum of the contacts' currents at point `k` [A/µm].
fn total(curve: &Curve, k: usize, contacts: &[usize]) -> f64 {
    let Some(values) = curve.at_terminals.get(k) else { return f64::NAN };
    contacts.iter().filter_map(|&c| values.current.get(c)).sum()
}

/// A Gummel plot as it is read from a curve.
struct View<'r> {
    ends: Ends<'r>,
    sign: f64,
    /// Emitter voltage at zero emitter-base voltage [V].
    start: f64,
    asked: Asked,
}

/// Why a curve ends, and whether its last point belongs to it.
struct Ending {
    why: String,
    spoilt: bool,
}

/// One row; currents count positive where the bipolar is on.
#[derive(Debug, Clone, Copy)]
struct Row {
    forward: f64,
    emitter: f64,
    base: f64,
    collector: f64,
    idle: f64,
}

impl View<'_> {
    fn row(&self, curve: &Curve, k: usize) -> Row {
        let of = |contacts: &[usize]| self.sign * total(curve, k, contacts);
        Row {
            forward: self.sign * (curve.voltage.get(k).copied().unwrap_or(f64::NAN) - self.start),
            emitter: of(self.ends.emitter),
            base: -of(self.ends.base),
            collector: -of(&self.ends.collector),
            idle: -of(self.ends.idle),
        }
    }

    /// Why the curve ends at its last point, if it does.
    fn ended(&self, curve: &Curve, folds: usize) -> Option<Ending> {
        let last = curve.len().checked_sub(1)?;
        let (first, row) = (self.row(curve, 0), self.row(curve, last));
        let stop = self.asked.stop;
        let farthest = stop.voltage.unwrap_or(FARTHEST);
        if stop.current.is_some_and(|s| row.collector >= s) {
            let why = "the collector current of `stop` was reached".to_string();
            return Some(Ending { why, spoilt: false });
        }
        if row.forward >= farthest {
            let why = format!("{farthest} V between emitter and base tap were reached");
            return Some(Ending { why, spoilt: false });
        }
        if row.emitter > ABOVE_LEAKAGE * first.emitter.abs() {
            if row.idle - ABOVE_LEAKAGE * first.idle.abs() > TURNED_ON * row.emitter {
                let why = format!(
                    "the other bipolar turned on: at {:.3e} A/um of emitter current its emitter carries {:.3e} A/um",
                    row.emitter, row.idle
                );
                return Some(Ending { why, spoilt: true });
            }
            if folds > 0 {
                let why = format!(
                    "the path latches: the emitter current turned at {:.3e} A/um",
                    row.emitter
                );
                return Some(Ending { why, spoilt: true });
            }
        }
        None
    }

    /// Rows above leakage and before the curve's end, and why it ended.
    fn rows(&self, curve: &Curve, folds: usize) -> (Vec<Row>, String) {
        let ended = self.ended(curve, folds);
        let spoilt = ended.as_ref().is_some_and(|e| e.spoilt);
        let count = curve.len().saturating_sub(usize::from(spoilt));
        let mut rows: Vec<Row> = Vec::new();
        if curve.is_empty() {
            return (rows, "nothing was solved".to_string());
        }
        let first = self.row(curve, 0);
        for k in 1..count {
            let row = self.row(curve, k);
            let counts = row.collector > ABOVE_LEAKAGE * first.collector.abs()
                && row.base > ABOVE_LEAKAGE * first.base.abs();
            // Past a fold the columns would not be functions of the current any more.
            let grows = rows.last().is_none_or(|l| row.collector > l.collector);
            if counts && grows {
                rows.push(row);
            } else if !rows.is_empty() {
                let why =
                    "the base current turned around: avalanche or the other bipolar feed the base";
                return (rows, why.to_string());
            }
        }
        (rows, ended.map_or_else(|| "the trace ended".to_string(), |e| e.why))
    }
}

struct Gummel {
    rows: Vec<Row>,
    ended: String,
    failed: Option<String>,
}

impl Gummel {
    fn column(&self, of: impl Fn(&Row) -> f64) -> Vec<f64> {
        self.rows.iter().map(of).collect()
    }

    fn beta(&self) -> Vec<f64> {
        self.column(|r| r.collector / r.base)
    }

    fn sheet(&self) -> Sheet {
        let largest = self.beta().into_iter().fold(f64::NAN, f64::max);
        let largest: Found<f64> = match largest.is_finite() {
            true => Ok(largest),
            false => Err(format!("no current rose above ten times the leakage: {}", self.ended)),
        };
        let per = "A/um";
        Sheet::new()
            .number("largest_beta", "1", "largest gain", largest)
            .column("collector_A_per_um", per, "collector current", self.column(|r| r.collector))
            .column("beta", "1", "gain: collector over base current", self.beta())
            .column("base_A_per_um", per, "base current", self.column(|r| r.base))
            .column("emitter_A_per_um", per, "emitter current", self.column(|r| r.emitter))
            .column(
                "emitter_base_V",
                "V",
                "emitter-base voltage at the terminals",
                self.column(|r| r.forward),
            )
            .column(
                "elsewhere_A_per_um",
                per,
                "emitter current that other terminals take",
                self.column(|r| r.emitter - r.base - r.collector),
            )
            .text("ended", "the curve ended because", &self.ended)
    }
}

/// Both gains at equal collector currents, and where their product passes one.
fn product(npn: &Gummel, pnp: &Gummel) -> Sheet {
    let range = |g: &Gummel| Some((g.rows.first()?.collector, g.rows.last()?.collector));
    let mut at = Vec::new();
    if let (Some(a), Some(b)) = (range(npn), range(pnp)) {
        let (low, high) = (a.0.max(b.0), a.1.min(b.1));
        let steps = (PER_DECADE * (high / low).log10()).floor();
        if steps >= 0.0 {
            at = (0..=steps as usize).map(|k| low * 10f64.powf(k as f64 / PER_DECADE)).collect();
        }
    }
    let values: Vec<f64> = at.iter().map(|&i| (ln_beta(npn, i) + ln_beta(pnp, i)).exp()).collect();
    let none = || "the two gains share no range of collector current".to_string();
    let largest = values.iter().copied().fold(f64::NAN, f64::max);
    let crossing = at.iter().zip(&values).find(|(_, v)| **v >= 1.0).map(|(i, _)| *i);
    Sheet::new()
        .number(
            "largest",
            "1",
            "largest product",
            if largest.is_finite() { Ok(largest) } else { Err(none()) },
        )
        .number(
            "above_one_from_A_per_um",
            "A/um",
            "lowest listed collector current with a product of at least one",
            crossing.ok_or_else(|| match at.is_empty() {
                true => none(),
                false => "the product stays below one".to_string(),
            }),
        )
        .column("collector_A_per_um", "A/um", "collector current of both", at)
        .column("beta_product", "1", "gain of the npn times gain of the pnp", values)
}

/// ln β at a collector current, linear in ln I between rows.
fn ln_beta(g: &Gummel, current: f64) -> f64 {
    let k = g.rows.partition_point(|r| r.collector < current).clamp(1, g.rows.len().max(2) - 1);
    let of = |r: &Row| [r.collector.ln(), (r.collector / r.base).ln()];
    match (g.rows.get(k - 1).map(of), g.rows.get(k).map(of)) {
        (Some(a), Some(b)) => {
            let share = ((current.ln() - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0);
            a[1] + share * (b[1] - a[1])
        }
        (Some(a), None) => a[1],
        _ => f64::NAN,
    }
}

/// Work of two systems.
pub(super) fn sum(a: Work, b: Work) -> Work {
    Work {
        newton_steps: a.newton_steps + b.newton_steps,
        chord_steps: a.chord_steps + b.chord_steps,
        walk_steps: a.walk_steps + b.walk_steps,
        fold_steps: a.fold_steps + b.fold_steps,
        factorizations: a.factorizations + b.factorizations,
        refinements: a.refinements + b.refinements,
        gummel_rounds: a.gummel_rounds + b.gummel_rounds,
        halvings: a.halvings + b.halvings,
    }
}

#[cfg(test)]
mod tests {
    use super::{Gummel, Row, ln_beta, product};

    fn plot(low: f64, high: f64, beta: f64) -> Gummel {
        let row = |i: f64| Row {
            forward: 0.5,
            emitter: i + i / beta,
            base: i / beta,
            collector: i,
            idle: 0.0,
        };
        Gummel { rows: vec![row(low), row(high)], ended: String::new(), failed: None }
    }

    #[test]
    fn a_product_needs_a_common_range() {
        let (npn, pnp) = (plot(1e-9, 1e-4, 4.0), plot(1e-8, 1e-3, 0.5));
        assert!((ln_beta(&npn, 3e-7) - 4f64.ln()).abs() < 1e-12);
        let sheet = product(&npn, &pnp);
        let at = sheet.numbers_at("collector_A_per_um");
        assert!((at[0] / 1e-8 - 1.0).abs() < 1e-12 && *at.last().unwrap() <= 1e-4 * (1.0 + 1e-9));
        assert!(sheet.numbers_at("beta_product").iter().all(|p| (p - 2.0).abs() < 1e-9));
        assert_eq!(sheet.number_at("above_one_from_A_per_um"), Some(at[0]));
        let apart = product(&plot(1e-9, 1e-8, 4.0), &plot(1e-6, 1e-5, 4.0));
        assert!(apart.number_at("largest").is_none());
    }
}
