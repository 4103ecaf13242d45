//! R_W and R_S: well and substrate resistance as the bases of the two bipolars see them.
//! Definition: a small majority current enters the base just under the emitter junction,
//! spread along it as the emitter injects (its minority current at [`FORWARD`]); the
//! resistance is the drop of the majority's quasi-Fermi potential to the outside of the taps,
//! averaged with the same weights, over the current. Slope of base-tap voltage over forced
//! base current with the emitters off: common practice, no source; that it counts from the
//! bipolar's base, tap contact included: R. R. Troutman, Latchup in CMOS Technology, Kluwer
//! 1986 (from memory).

use crate::case::{Case, Experiment};
use crate::discretize::{Assembly, DIRECTIONS, Device, State};
use crate::silicon::Carrier;
use crate::solve::System;
use crate::trace::{Keeper, Work, walk};

use super::gains::{at_supply, names, sum};
use super::majority::{Majority, Source, Way};
use super::outcome::{Found, Outcome, Status};
use super::poise::Halt;
use super::regions::{Regions, silicon_neighbour};
use super::roles::{Bipolar, Roles};
use super::run::ramp;
use super::setup::{Setup, SetupError};
use super::sheet::Sheet;
use super::time_sheet::named;

/// Emitter-base voltage at which the injection's spread is taken [V]: low injection at every
/// ambient temperature.
pub const FORWARD: f64 = 0.5;
/// Largest step towards it [V].
const STEP: f64 = 0.25;
/// At least this share of the injection must meet neutral base.
const MET: f64 = 0.5;

const METHOD: &str = "majority test current under the emitter junction, spread as the emitter injects at 0.5 V; drop to the taps' outside over it, carriers of the off-state at the supply";

/// Run a `resistances` experiment with the well at `supply` [V].
///
/// # Errors
/// [`SetupError::NoRole`] if a bipolar has no emitter or base terminal.
pub fn resistances(
    case: &Case,
    device: &Device,
    equilibrium: &State,
    experiment: &Experiment,
    supply: f64,
    keeper: &mut dyn Keeper,
) -> Result<Outcome, SetupError> {
    let roles = Roles::of(case, device, experiment)?;
    let held = at_supply(experiment, device, &roles, supply);
    let bench = Bench { case, device, equilibrium, held, roles: &roles };
    let drive = names(device, &[roles.well_taps.clone(), roles.substrate_taps.clone()].concat());
    let mut work = Work::default();
    let mut status = Status::Complete;
    let mut found = Vec::new();
    for bipolar in [Bipolar::Pnp, Bipolar::Npn] {
        let standing = crate::trace::Standing {
            curve: &Default::default(),
            folds: &[],
            fields: &[],
            work,
            done: 0.5 * found.len() as f64,
        };
        if keeper.point(&standing) == crate::trace::Next::Interrupt {
            return Ok(named(device, drive, work, Err(Halt::Interrupted)));
        }
        let measured = bench.measure(bipolar)?.map(|(pair, spent)| {
            work = sum(work, spent);
            pair
        });
        if let Err(why) = &measured {
            status = Status::Stopped(format!("base of the {}: {why}", bipolar.word()));
        }
        found.push(measured);
    }
    let pick = |k: usize, of: fn(&Pair) -> f64| -> Found<f64> {
        match found.get(k) {
            Some(Ok(pair)) => Ok(of(pair)),
            Some(Err(why)) => Err(why.clone()),
            None => Err("not measured".to_string()),
        }
    };
    let unit = "ohm*um";
    let sheet = Sheet::new()
        .number("well_ohm_um", unit, "R_W, seen by the base of the pnp", pick(0, |p| p.whole))
        .number("substrate_ohm_um", unit, "R_S, seen by the base of the npn", pick(1, |p| p.whole))
        .number("well_silicon_ohm_um", unit, "R_W without contacts", pick(0, |p| p.silicon))
        .number("substrate_silicon_ohm_um", unit, "R_S without contacts", pick(1, |p| p.silicon))
        .text("method", "method", METHOD);
    let mut outcome = named(device, drive, work, Ok(sheet));
    outcome.status = status;
    Ok(outcome)
}

/// Ω·µm, with and without what stands in series with the contacts.
#[derive(Debug, Clone, Copy)]
struct Pair {
    whole: f64,
    silicon: f64,
}

struct Bench<'a> {
    case: &'a Case,
    device: &'a Device,
    equilibrium: &'a State,
    held: Experiment,
    roles: &'a Roles,
}

impl Bench<'_> {
    fn measure(&self, bipolar: Bipolar) -> Result<Found<(Pair, Work)>, SetupError> {
        let device = self.device;
        let ends = self.roles.ends(bipolar);
        let emitter = names(device, ends.emitter);
        let base = names(device, ends.base);
        let probe = Setup::new(self.case, device, &self.held, &emitter)?;
        let start = base.first().map_or(0.0, |b| probe.held_at(b));
        let setup = Setup::new(self.case, device, &self.held, &emitter)?;
        Ok(self.solved(&setup, start, bipolar))
    }

    fn solved(&self, setup: &Setup, start: f64, bipolar: Bipolar) -> Found<(Pair, Work)> {
        let device = self.device;
        let ends = self.roles.ends(bipolar);
        let largest = setup.largest_bias(Some(start));
        let (ramped, off) = ramp(device, self.equilibrium, setup.ramp(Some(start)), largest)?;
        let text = |e: &dyn std::fmt::Display| e.to_string();
        let mut system = System::new(device, setup.driven()).map_err(|e| text(&e))?;
        let (mut state, mut lambda) = (off.clone(), start);
        let goal = start + bipolar.sign() * FORWARD;
        walk(&mut system, &mut state, &mut lambda, goal, STEP).map_err(|e| text(&e))?;
        let (carrier, electrons) = match bipolar {
            Bipolar::Npn => (Carrier::Hole, true),
            Bipolar::Pnp => (Carrier::Electron, false),
        };
        system.assembly.evaluate(device, &state, false);
        let injection = injection(device, &system.assembly, ends.emitter, electrons);
        system.assembly.evaluate(device, &off, false);
        let majority = Majority::new(device, &off, &system.assembly, carrier, ends.base);
        let sources = sources(device, &majority, &injection)?;
        let open =
            |k: usize| device.contacts.get(k).is_some_and(|c| self.held.open.contains(&c.name));
        let ways: Vec<Way> = (0..device.contacts.len())
            .filter(|&k| majority.touches(k) && !open(k))
            .map(|contact| Way { contact, resistance: self.series(contact) })
            .collect();
        let bare: Vec<Way> = ways.iter().map(|w| Way { resistance: 0.0, ..*w }).collect();
        let of = |ways: &[Way]| majority.resistance(&sources, ways).map_err(|e| text(&e));
        let pair = Pair { whole: of(&ways)?, silicon: of(&bare)? };
        Ok((pair, sum(ramped.work, system.work)))
    }

    fn series(&self, contact: usize) -> f64 {
        let name = self.device.contacts.get(contact).map(|c| &c.name);
        let terminal = self.case.terminals.iter().find(|t| Some(&t.name) == name);
        terminal.map_or(0.0, |t| t.resistance)
    }
}

/// Current across a piece of an emitter's junction.
struct Crossing {
    /// Node on the base's side, and the direction away from the emitter.
    node: usize,
    direction: usize,
    /// Minority current into the base [A/cm], not negative.
    current: f64,
}

/// Where and how much the emitters inject in the state that `assembly` holds.
fn injection(
    device: &Device,
    assembly: &Assembly,
    emitter: &[usize],
    electrons: bool,
) -> Vec<Crossing> {
    let regions = Regions::new(device);
    let own = regions.under(device, emitter);
    let mut found = Vec::new();
    for i in (0..device.nodes()).filter(|&i| own.contains(&regions.at(i))) {
        for direction in 0..DIRECTIONS {
            let Some(node) = silicon_neighbour(device, i, direction) else { continue };
            if own.contains(&regions.at(node)) {
                continue;
            }
            let e = device.node_edges[i][direction] as usize;
            let (edge, flow) = (&device.edges[e], &assembly.edges[e]);
            let outward = if edge.a as usize == i { 1.0 } else { -1.0 };
            // Electrons that go outward are a current inward.
            let current = if electrons { -flow.n.current } else { flow.p.current };
            let current = (outward * current * edge.face).max(0.0);
            found.push(Crossing { node, direction, current });
        }
    }
    found
}

/// The injection carried on to the nearest neutral node of the base.
fn sources(device: &Device, majority: &Majority, injection: &[Crossing]) -> Found<Vec<Source>> {
    let all: f64 = injection.iter().map(|c| c.current).sum();
    let mut sources: Vec<Source> = Vec::new();
    for c in injection.iter().filter(|c| c.current > 0.0) {
        let mut at = Some(c.node);
        while let Some(i) = at {
            if majority.is_neutral(i) {
                sources.push(Source { node: i, share: c.current });
                break;
            }
            at = silicon_neighbour(device, i, c.direction);
        }
    }
    let met: f64 = sources.iter().map(|s| s.share).sum();
    if !(met > 0.0 && met >= MET * all) {
        return Err(
            "no neutral base lies under the emitter: it is depleted through to the next region"
                .to_string(),
        );
    }
    sources.iter_mut().for_each(|s| s.share /= met);
    Ok(sources)
}
