//! Who carries what at the stored points of an S-curve or an injection: electrons and holes
//! by terminal, what feeds and drains the bases of the two bipolars. All from the continuity
//! residuals of the stored state, so that every balance closes to rounding.

use crate::case::{Case, Experiment};
use crate::discretize::{Assembly, Device, State, Words};
use crate::silicon::Q;
use crate::solve::PER_UM;
use crate::trace::Fields;

use super::collected::{SMALL, collected};
use super::outcome::{Figures, Found, Outcome};
use super::regions::Regions;
use super::roles::{Bipolar, Roles};
use super::sheet::Sheet;

/// Points that are looked at, by their labels.
const POINTS: [&str; 4] = ["trigger", "holding", "critical", "end"];
/// Shares below this are not worth a word in the summary.
const WORTH: f64 = 0.01;

/// Flow at the stored points of `outcome`; empty for kinds without such points.
pub fn flow(case: &Case, device: &Device, experiment: &Experiment, outcome: &Outcome) -> Sheet {
    let mut sheet = Sheet::new();
    if !matches!(outcome.figures, Figures::Snapback { .. } | Figures::Injection { .. }) {
        return sheet;
    }
    let roles = Roles::of(case, device, experiment).ok();
    let regions = Regions::new(device);
    let mut assembly = Assembly::new(device);
    for fields in outcome.fields.iter().filter(|f| POINTS.contains(&f.label.as_str())) {
        let Some(state) = restored(device, fields) else { continue };
        assembly.evaluate(device, &state, false);
        let at = At { device, fields, regions: &regions, assembly: &assembly };
        let point = at.sheet(&state, roles.as_ref());
        let meaning = format!("flow at the {} point", fields.label);
        sheet = sheet.group(&fields.label, &meaning, point);
    }
    if let Ok(shares) = collected(case, experiment, outcome, SMALL) {
        let figures = shares.sheet().text("summary", "in short", &shares.summary());
        sheet = sheet.group("collected", "small injection", figures);
    }
    sheet
}

/// The state whose words are kept. Quasi-Fermi potentials at an ohmic contact are its
/// voltage; a gate's potential is off it by its work function.
fn restored(device: &Device, f: &Fields) -> Option<State> {
    let mut volts = Words::zeros(device.contacts.len());
    for (k, contact) in device.contacts.iter().enumerate() {
        let node = *contact.nodes.first()? as usize;
        let (words, offset) = match contact.is_gate {
            true => (
                [*f.state.potential.get(node)?, *f.state.potential_low.get(node)?],
                *contact.offset.first()?,
            ),
            false => ([*f.state.electron.get(node)?, *f.state.electron_low.get(node)?], 0.0),
        };
        volts.set(k, words, -offset);
    }
    State::from_words(device, &f.state, &volts)
}

struct At<'a> {
    device: &'a Device,
    fields: &'a Fields,
    regions: &'a Regions,
    assembly: &'a Assembly,
}

/// Currents of one carrier by terminal [A/µm], positive where carriers enter the device.
struct Carried<'a> {
    names: &'a [String],
    entering: Vec<f64>,
}

impl Carried<'_> {
    /// Shares of all that enters, or (negative) of all that leaves.
    fn shares(&self) -> Vec<f64> {
        let sum = |sign: f64| -> f64 {
            self.entering.iter().map(|i| (sign * i).max(0.0)).sum::<f64>().max(1e-300)
        };
        let (into, out) = (sum(1.0), sum(-1.0));
        self.entering.iter().map(|i| if *i > 0.0 { i / into } else { i / out }).collect()
    }

    /// "in cathode 98 %; out well-tap 60 %, anode 40 %".
    fn words(&self) -> String {
        let shares = self.shares();
        let side = |sign: f64| -> String {
            let mut named: Vec<(f64, &String)> =
                shares.iter().map(|s| sign * s).zip(self.names).filter(|p| p.0 > WORTH).collect();
            named.sort_by(|a, b| b.0.total_cmp(&a.0));
            let said: Vec<String> =
                named.iter().map(|(s, n)| format!("{n} {:.0} %", 100.0 * s)).collect();
            if said.is_empty() { "nowhere".to_string() } else { said.join(", ") }
        };
        format!("in {}, out {}", side(1.0), side(-1.0))
    }
}

impl At<'_> {
    fn sheet(&self, state: &State, roles: Option<&Roles>) -> Sheet {
        let device = self.device;
        let ohmic: Vec<usize> =
            (0..device.contacts.len()).filter(|&k| !device.contacts[k].is_gate).collect();
        let names: Vec<String> = ohmic.iter().map(|&k| device.contacts[k].name.clone()).collect();
        let currents: Vec<[f64; 2]> =
            ohmic.iter().map(|&k| self.assembly.carriers(device, state, k)).collect();
        let carried = |c: usize, sign: f64| Carried {
            names: &names,
            entering: currents.iter().map(|i| sign * PER_UM * i[c]).collect(),
        };
        let (electrons, holes) = (carried(0, -1.0), carried(1, 1.0));
        let per = "A/um";
        let amount = |rate: &[f64]| -> f64 {
            PER_UM * Q * rate.iter().zip(&device.area).map(|(r, a)| r * a).sum::<f64>()
        };
        let (recombined, ionized) =
            (amount(&self.fields.recombination), amount(&self.fields.avalanche));
        let mut summary = format!("electrons {}; holes {}", electrons.words(), holes.words());
        let mut sheet = Sheet::new()
            .number("voltage_V", "V", "voltage", Ok(self.fields.voltage))
            .number("current_A_per_um", per, "current", Ok(self.fields.current))
            .texts("terminals", "terminals, in the order of the columns", &names)
            .column(
                "electron_share",
                "1",
                "share of the electrons that enter; of those that leave, negative",
                electrons.shares(),
            )
            .column(
                "hole_share",
                "1",
                "share of the holes that enter; of those that leave, negative",
                holes.shares(),
            )
            .column("electrons_in_A_per_um", per, "electrons that enter", electrons.entering)
            .column("holes_in_A_per_um", per, "holes that enter", holes.entering)
            .number(
                "recombination_A_per_um",
                per,
                "net recombination in the device",
                Ok(recombined),
            )
            .number("avalanche_A_per_um", per, "avalanche in the device", Ok(ionized));
        for bipolar in [Bipolar::Npn, Bipolar::Pnp] {
            let budget = match roles {
                Some(roles) => self.base(state, roles, bipolar),
                None => Err("the terminals have no roles".to_string()),
            };
            let of = |pick: fn(&Budget) -> f64| -> Found<f64> {
                budget.as_ref().map(pick).map_err(Clone::clone)
            };
            let group = Sheet::new()
                .number(
                    "arriving_A_per_um",
                    per,
                    "majority carriers that reach the base",
                    of(|b| b.arriving),
                )
                .number("tap_share", "1", "of them: leave by the taps", of(|b| b.tap / b.arriving))
                .number(
                    "injection_share",
                    "1",
                    "of them: go into the emitter",
                    of(|b| b.emitter / b.arriving),
                )
                .number(
                    "recombination_share",
                    "1",
                    "of them: recombine in the base",
                    of(|b| b.recombined / b.arriving),
                );
            let word = bipolar.word();
            if let Ok(b) = &budget {
                let percent = |v: f64| 100.0 * v / b.arriving;
                summary += &format!(
                    "; base of the {word}: taps {:.0} %, emitter {:.0} %, recombination {:.0} %",
                    percent(b.tap),
                    percent(b.emitter),
                    percent(b.recombined)
                );
            }
            sheet = sheet.group(
                &format!("{word}_base"),
                &format!("majority carriers of the {word}'s base"),
                group,
            );
        }
        sheet.text("summary", "in short", &summary)
    }

    /// Where the majority carriers go that reach a base.
    fn base(&self, state: &State, roles: &Roles, bipolar: Bipolar) -> Found<Budget> {
        let device = self.device;
        let ends = roles.ends(bipolar);
        let base = self.regions.under(device, ends.base);
        let emitter = self.regions.under(device, ends.emitter);
        let holes = bipolar == Bipolar::Npn;
        let (mut from_elsewhere, mut to_emitter) = (0.0, 0.0);
        for (edge, flow) in device.edges.iter().zip(&self.assembly.edges) {
            if edge.face <= 0.0 {
                continue;
            }
            let [a, b] = [edge.a, edge.b].map(|n| self.regions.at(n as usize));
            let outward = match (base.contains(&a), base.contains(&b)) {
                (true, false) => 1.0,
                (false, true) => -1.0,
                _ => continue,
            };
            let carriers = if holes { flow.p.current } else { -flow.n.current };
            let out = outward * carriers * edge.face * PER_UM;
            let other = if outward > 0.0 { b } else { a };
            if emitter.contains(&other) {
                to_emitter += out;
            } else {
                from_elsewhere -= out;
            }
        }
        let inside = |rate: &[f64]| -> f64 {
            let all = rate.iter().zip(&device.area).enumerate();
            let own = all.filter(|(i, _)| base.contains(&self.regions.at(*i)));
            PER_UM * Q * own.map(|(_, (r, a))| r * a).sum::<f64>()
        };
        let tap: f64 = (0..device.contacts.len())
            .filter(|&k| {
                let first = device.contacts[k].nodes.first();
                first.is_some_and(|&n| base.contains(&self.regions.at(n as usize)))
            })
            .map(|k| {
                let [electrons, holes_in] = self.assembly.carriers(device, state, k);
                PER_UM * if holes { -holes_in } else { electrons }
            })
            .sum();
        let arriving = from_elsewhere + inside(&self.fields.avalanche);
        let recombined = inside(&self.fields.recombination);
        match arriving > 0.0 {
            true => Ok(Budget { arriving, tap, emitter: to_emitter, recombined }),
            false => Err("no majority carriers reach this base".to_string()),
        }
    }
}

/// Majority carriers of a base [A/µm].
struct Budget {
    arriving: f64,
    tap: f64,
    emitter: f64,
    recombined: f64,
}
