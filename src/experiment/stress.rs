//! What a latch-up test adds to a critical injection: the current ramped up, past it and
//! back to nothing while the supply stays on, the level a pin must stand, and the class of
//! the temperature. In the manner of JESD78 (current injection on signal pins: 100 mA per
//! pin; class I at room temperature, class II at the part's maximum ambient); figures as
//! quoted in open data sheets, the standard's text was not at hand.

use crate::case::{Bias, Case, Experiment, ExperimentKind, Sign};
use crate::discretize::{Device, State};
use crate::trace::{Keeper, Work};

use super::figures::Injector;
use super::outcome::{Criterion, Figures, Found, Outcome, Status};
use super::poise::{Ended, Halt, Poise, Standby, TimeTrace};
use super::pulse::forced_current;
use super::setup::SetupError;
use super::sheet::Sheet;
use super::time_sheet::traced;

/// The ramp goes this far past the critical current.
const PAST: f64 = 1.2;
/// Time up, at the top, and down again [s]: slow against the lifetimes.
const RAMP: f64 = 1e-4;
const TOP: f64 = 1e-5;

/// Ambient of class I [K], and how far a case may be off it.
const ROOM: f64 = 298.15;
const ABOUT: f64 = 5.0;

/// What the case asks beside the critical current.
pub struct Asked {
    /// [A], and the out-of-plane width of the injector [µm].
    pub level: Option<f64>,
    pub width: f64,
    pub confirm: bool,
}

/// Add what was asked to a finished injection.
pub fn stress(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    injector: Injector,
    outcome: &mut Outcome,
    keeper: &mut dyn Keeper,
) -> Result<(), SetupError> {
    let ExperimentKind::Injection { into, sign, level, injector_width, confirm, .. } =
        &experiment.kind
    else {
        return Ok(());
    };
    let asked = Asked { level: *level, width: *injector_width, confirm: *confirm };
    let Figures::Injection { critical, .. } = &outcome.figures else { return Ok(()) };
    let critical: Found<f64> = critical.as_ref().map(|f| f.current).map_err(Clone::clone);
    let sign = if *sign == Sign::Positive { 1.0 } else { -1.0 };
    let reached = outcome.curve.current.iter().fold(0.0f64, |m, i| m.max(i * sign));
    let mut sheet = Sheet::new().text("class", "by the temperature", &class(case.temperature));
    if let Some(level) = asked.level {
        let figures = level_figures(level, asked.width, &critical, reached, &outcome.status);
        sheet = sheet.group("level", "the test level of one pin", figures);
    }
    if asked.confirm {
        let confirmed = match critical {
            Err(why) => Ok(Sheet::new().yes_no("stays", "the supply current", Err(why))),
            Ok(critical) => confirmed(
                case,
                device,
                equilibrium,
                experiment,
                into,
                injector,
                critical,
                keeper,
                &mut outcome.work,
            )?,
        };
        match confirmed {
            Ok(figures) => {
                sheet = sheet.group("confirm", "the current ramped past and back", figures);
            }
            Err(Halt::Failed(why)) => outcome.status = Status::Stopped(why),
            Err(Halt::Interrupted) => outcome.status = Status::Interrupted,
        }
    }
    if outcome.status == Status::Interrupted && outcome.snapshot.is_none() {
        outcome.snapshot = Some(crate::trace::Snapshot::default());
    }
    if let Figures::Injection { beside, .. } = &mut outcome.figures {
        *beside = sheet;
    }
    Ok(())
}

/// Class I is at room temperature, class II at the part's maximum.
fn class(temperature: f64) -> String {
    let celsius = temperature - 273.15;
    if (temperature - ROOM).abs() <= ABOUT {
        format!("class I (room temperature): {celsius:.0} degC")
    } else if temperature > ROOM {
        format!("class II, if {celsius:.0} degC is the part's maximum ambient")
    } else {
        format!("neither class: {celsius:.0} degC is below room temperature")
    }
}

/// The level as a current per width, and the critical current as one of the pin.
fn level_figures(
    level: f64,
    width: f64,
    critical: &Found<f64>,
    reached: f64,
    status: &Status,
) -> Sheet {
    let per_um = level / width;
    let stands = match critical {
        Ok(critical) => Ok(critical.abs() > per_um),
        Err(_) if *status == Status::Complete && reached >= per_um => Ok(true),
        Err(why) => Err(format!("the injection was followed to {reached:.3e} A/µm only: {why}")),
    };
    let pin = |f: &dyn Fn(f64) -> f64| critical.as_ref().map(|c| f(c.abs())).map_err(Clone::clone);
    Sheet::new()
        .number("current_A", "A", "per pin", Ok(level))
        .number("injector_width_um", "um", "out of plane", Ok(width))
        .number("current_A_per_um", "A/um", "the level at this width", Ok(per_um))
        .yes_no("passes", "the level does not latch", stands)
        .number("critical_A", "A", "critical current of the pin", pin(&|c| c * width))
        .number("margin_A", "A", "critical current less the level", pin(&|c| c * width - level))
}

type Confirmed = Result<Result<Sheet, Halt>, SetupError>;

/// Current up to [`PAST`] the critical one and back to none, then what the supply carries.
#[allow(clippy::too_many_arguments)]
fn confirmed(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    into: &str,
    injector: Injector,
    critical: f64,
    keeper: &mut dyn Keeper,
    work: &mut Work,
) -> Confirmed {
    let mut experiment = experiment.clone();
    let separate = injector.criterion == Criterion::Fold;
    if !separate && !experiment.bias.iter().any(|b| b.terminal == into) {
        // What it is reconnected to.
        experiment.bias.push(Bias { terminal: into.to_string(), voltage: injector.supply });
    }
    let standby = match Standby::of_bias(&experiment, separate.then_some(into), None) {
        Ok(standby) => standby,
        Err(e) => {
            return Ok(Ok(Sheet::new().yes_no("stays", "the supply current", Err(e.to_string()))));
        }
    };
    let mut poise = match Poise::new(case, device, equilibrium, &experiment, &standby, keeper)? {
        Ok(poise) => poise,
        Err(halt) => return Ok(Err(halt)),
    };
    let (mut trace, past) = (TimeTrace::default(), PAST * critical);
    let ended = match poise.on.clone() {
        Err(why) => Ok(Ended::Open(why)),
        Ok(_) => {
            // A terminal of the path itself goes back to its source from the top; its
            let corners = if separate { 4 } else { 3 };
            // own current keeps the path on. (Faster: forced on a negative resistance it may
            // ring with the junctions' charge all the way.)
            let (ramp, top) = if separate { (RAMP, TOP) } else { (0.1 * RAMP, 0.1 * TOP) };
            let times = [0.0, ramp, ramp + top, 2.0 * ramp + top];
            let values = [0.0, past, past, 0.0];
            let shape = (&times[..corners], &values[..corners]);
            forced_current(&mut poise, into, shape, keeper, &mut trace)
        }
    };
    // No point of the curve is on that way.
    *work += Work { walk_steps: 0, fold_steps: 0, ..poise.system.work };
    let ended = match ended {
        Ok(ended) => ended,
        Err(halt) => return Ok(Err(halt)),
    };
    let stays = match (ended, &poise.unknown) {
        (Ended::Latched, _) => Ok(true),
        (Ended::Safe, _) => Ok(false),
        // Without an on-state nothing can stay.
        (Ended::Open(_), None) if poise.on.is_err() => Ok(false),
        (Ended::Open(why), _) => Err(why),
    };
    let after = trace
        .at_terminals
        .last()
        .map(|v| poise.supply.iter().filter_map(|&k| v.current.get(k)).sum::<f64>());
    let none = || poise.on.clone().err().unwrap_or_else(|| "no transient was run".to_string());
    Ok(Ok(Sheet::new()
        .yes_no("stays", "the supply current, once the injection is back at nothing", stays)
        .number("past_A_per_um", "A/um", "how far the current was ramped", Ok(past))
        .number(
            "ramp_s",
            "s",
            "time up, and down again",
            Ok(if separate { RAMP } else { 0.1 * RAMP }),
        )
        .number("before_A_per_um", "A/um", "supply current before it", Ok(poise.off))
        .number("after_A_per_um", "A/um", "supply current after it", after.ok_or_else(none))
        .group("trace", "at the terminals over time", traced(device, &trace))))
}
