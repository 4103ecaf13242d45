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
use crate::trace::{Curve, Keeper, Next, Standing, Work, walk};

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
    let mut forward = Vec::new();
    for bipolar in [Bipolar::Npn, Bipolar::Pnp] {
        let standing = Standing {
            curve: &Curve::default(),
            folds: &[],
            fields: &[],
            work,
            done: 0.5 * forward.len() as f64,
        };
        if keeper.point(&standing) == Next::Interrupt {
            return Ok(named(device, drive, work, Err(Halt::Interrupted)));
        }
        match bench.forward(bipolar)? {
            Ok(f) => {
                work = sum(work, f.work);
                forward.push(f);
            }
            Err(why) => {
                let why = format!("{} forward: {why}", bipolar.word());
                return Ok(named(device, drive, work, Err(Halt::Failed(why))));
            }
        }
    }
    let [npn, pnp] = forward.as_slice() else {
        return Ok(named(device, drive, work, Err(Halt::Failed("no state".to_string()))));
    };
    let well = bench.base(Bipolar::Pnp, pnp, &npn.collected);
    let substrate = bench.base(Bipolar::Npn, npn, &pnp.collected);
    let mut status = Status::Complete;
    for (found, word) in [(&well, "well"), (&substrate, "substrate")] {
        if let Err(why) = found {
            status = Status::Stopped(format!("{word}: {why}"));
        }
    }
    let (unit, mut sheet) = ("ohm*um", Sheet::new());
    let names = [("well", "R_W", "pnp", &well), ("substrate", "R_S", "npn", &substrate)];
    let of = |found: &Found<Seen>, pick: fn(&Seen) -> f64| -> Found<f64> {
        found.as_ref().map(pick).map_err(Clone::clone)
    };
    for (word, symbol, bipolar, found) in names {
        let meaning = format!("{symbol}, seen by the base of the {bipolar}");
        sheet = sheet.number(&format!("{word}_ohm_um"), unit, &meaning, of(found, |s| s.base));
    }
    for (word, symbol, _, found) in names {
        let silicon = format!("{symbol} without what is in series with the contacts");
        let collected = format!("{symbol} for the other bipolar's collected current");
        sheet = sheet
            .number(&format!("{word}_silicon_ohm_um"), unit, &silicon, of(found, |s| s.silicon))
            .number(
                &format!("{word}_collected_ohm_um"),
                unit,
                &collected,
                of(found, |s| s.collected),
            );
    }
    let mut outcome = named(device, drive, work, Ok(sheet.text("method", "method", METHOD)));
    outcome.status = status;
    Ok(outcome)
}

/// What a base sees [Ω·µm].
#[derive(Debug, Clone, Copy)]
struct Seen {
    /// From under the emitter, contacts included.
    base: f64,
    /// The same, contacts without series resistance.
    silicon: f64,
    /// Drop at the base over the other bipolar's collected current.
    collected: f64,
}

/// One bipolar forward at low injection, beside the off-state it started from.
struct Forward {
    off: State,
    injected: Vec<Crossing>,
    /// Its minority current through the well junction.
    collected: Vec<Crossing>,
    work: Work,
}

struct Bench<'a> {
    case: &'a Case,
    device: &'a Device,
    equilibrium: &'a State,
    held: Experiment,
    roles: &'a Roles,
}

impl Bench<'_> {
    fn forward(&self, bipolar: Bipolar) -> Result<Found<Forward>, SetupError> {
        let device = self.device;
        let ends = self.roles.ends(bipolar);
        let setup = Setup::new(self.case, device, &self.held, &names(device, ends.emitter))?;
        let base = names(device, ends.base);
        let start = base.first().map_or(0.0, |b| setup.held_at(b));
        Ok(self.solved(&setup, start, bipolar))
    }

    fn solved(&self, setup: &Setup, start: f64, bipolar: Bipolar) -> Found<Forward> {
        let device = self.device;
        let largest = setup.largest_bias(Some(start));
        let (ramped, off) = ramp(device, self.equilibrium, setup.ramp(Some(start)), largest)?;
        let mut system = System::new(device, setup.driven()).map_err(|e| e.to_string())?;
        let (mut state, mut lambda) = (off.clone(), start);
        let goal = start + bipolar.sign() * FORWARD;
        walk(&mut system, &mut state, &mut lambda, goal, STEP).map_err(|e| e.to_string())?;
        system.assembly.evaluate(device, &state, false);
        let regions = Regions::new(device);
        let roles = self.roles;
        let under = |contacts: &[usize]| regions.under(device, contacts);
        let (well, substrate) = (under(&roles.well_taps), under(&roles.substrate_taps));
        let emitter = under(roles.ends(bipolar).emitter);
        let across = |from: &[u32], to: Option<&[u32]>| {
            crossings(device, &system.assembly, &regions, from, to, bipolar == Bipolar::Npn)
        };
        let collected = match bipolar {
            Bipolar::Npn => across(&substrate, Some(&well)),
            Bipolar::Pnp => across(&well, Some(&substrate)),
        };
        let injected = across(&emitter, None);
        Ok(Forward { injected, collected, off, work: sum(ramped.work, system.work) })
    }

    /// The base of `bipolar`, with the minority current of the other one `arriving`.
    fn base(&self, bipolar: Bipolar, own: &Forward, arriving: &[Crossing]) -> Found<Seen> {
        let device = self.device;
        let carrier = match bipolar {
            Bipolar::Npn => Carrier::Hole,
            Bipolar::Pnp => Carrier::Electron,
        };
        let mut assembly = Assembly::new(device);
        assembly.evaluate(device, &own.off, false);
        let taps = self.roles.ends(bipolar).base;
        let majority = Majority::new(device, &own.off, &assembly, carrier, taps);
        let injected = sources(device, &majority, &own.injected).map_err(
            |_| "no neutral base lies under the emitter: it is depleted through to the next region",
        )?;
        let collected = sources(device, &majority, arriving).map_err(
            |_| "the other bipolar's current meets no neutral silicon behind the well junction",
        )?;
        let open =
            |k: usize| device.contacts.get(k).is_some_and(|c| self.held.open.contains(&c.name));
        let ways: Vec<Way> = (0..device.contacts.len())
            .filter(|&k| majority.touches(k) && !open(k))
            .map(|contact| Way { contact, resistance: self.series(contact) })
            .collect();
        let bare: Vec<Way> = ways.iter().map(|w| Way { resistance: 0.0, ..*w }).collect();
        let of = |from: &[Source], to: &[Source], ways: &[Way]| {
            majority.transfer(from, to, ways).map_err(|e| e.to_string())
        };
        Ok(Seen {
            base: of(&injected, &injected, &ways)?,
            silicon: of(&injected, &injected, &bare)?,
            collected: of(&collected, &injected, &ways)?,
        })
    }

    fn series(&self, contact: usize) -> f64 {
        let name = self.device.contacts.get(contact).map(|c| &c.name);
        let terminal = self.case.terminals.iter().find(|t| Some(&t.name) == name);
        terminal.map_or(0.0, |t| t.resistance)
    }
}

/// Current across a piece of a junction.
struct Crossing {
    /// Node behind the junction, and the direction onward.
    node: usize,
    direction: usize,
    /// Carriers' current onward [A/cm], not negative.
    current: f64,
}

/// Electrons or holes that leave the regions `from`, into `to` or any other, in the state
/// that `assembly` holds.
fn crossings(
    device: &Device,
    assembly: &Assembly,
    regions: &Regions,
    from: &[u32],
    to: Option<&[u32]>,
    electrons: bool,
) -> Vec<Crossing> {
    let mut found = Vec::new();
    for i in (0..device.nodes()).filter(|&i| from.contains(&regions.at(i))) {
        for direction in 0..DIRECTIONS {
            let Some(node) = silicon_neighbour(device, i, direction) else { continue };
            let other = regions.at(node);
            if from.contains(&other) || to.is_some_and(|to| !to.contains(&other)) {
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

/// The crossing current carried on to the nearest neutral node; `Err` if most meets none.
fn sources(
    device: &Device,
    majority: &Majority,
    crossings: &[Crossing],
) -> Result<Vec<Source>, ()> {
    let all: f64 = crossings.iter().map(|c| c.current).sum();
    let mut sources: Vec<Source> = Vec::new();
    for c in crossings.iter().filter(|c| c.current > 0.0) {
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
        return Err(());
    }
    sources.iter_mut().for_each(|s| s.share /= met);
    Ok(sources)
}
