//! The lumped model of a case: its parameters from the experiments `gains` and
//! `resistances`, the junction's breakdown from the snapback's blocking branch, and what it
//! says beside the field solution.

use crate::case::{Case, ExperimentKind, Role};
use crate::experiment::{Figures, Found, Outcome, Sheet, collected};
use crate::silicon::thermal_voltage;
use crate::trace::Fold;

use super::characteristic::Characteristic;
use super::junctions::{self, junctions};
use super::lumped::{Bipole, Lumped, LumpedCurve, LumpedPoint, Multiplication, Shunt};

/// Currents of the model's S-curve [A/µm].
const RANGE: [f64; 2] = [1e-10, 1e-1];
/// Drop over R_W + R_S, in V, up to which the inverse currents are taken as measured: they
/// are ideal there, and straight beyond.
const INVERSE_DROP: f64 = 5e-3;

/// Share of the largest injection at which the model is told where it goes.
const HALF: f64 = 0.5;

/// The figures `lumped` of a run; `None` if the case does not have both experiments. If they
/// do not give a model the sheet says why.
pub fn lumped(case: &Case, outcomes: &[Outcome]) -> Option<Sheet> {
    let of = |kind: &str| outcomes.iter().find(|o| o.kind == kind);
    let (gains, resistances) = (named(of("gains")?)?, named(of("resistances")?)?);
    let sheet = match extract(case, gains, resistances, outcomes) {
        Ok((model, sources)) => figures(case, &model, &sources, outcomes),
        Err(why) => Sheet::new().text("reason", "no lumped model", &why),
    };
    Some(sheet)
}

fn named(outcome: &Outcome) -> Option<&Sheet> {
    match &outcome.figures {
        Figures::Named(sheet) => Some(sheet),
        _ => None,
    }
}

/// The circuit and where its parts come from.
fn extract(
    case: &Case,
    gains: &Sheet,
    resistances: &Sheet,
    outcomes: &[Outcome],
) -> Found<(Lumped, Vec<String>)> {
    let known =
        |name: &str| resistances.number_at(name).ok_or_else(|| format!("{name} was not measured"));
    let shunt = |word: &str| -> Found<Shunt> {
        Ok(Shunt {
            own: known(&format!("{word}_ohm_um"))?,
            collected: known(&format!("{word}_collected_ohm_um"))?,
        })
    };
    let (well, substrate) = (shunt("well")?, shunt("substrate")?);
    let inverse = |column: &str| inverse(gains, column, well.collected + substrate.collected);
    let npn = Bipole {
        inverse: inverse("cathode_A_per_um"),
        ..bipole(case, gains, "npn", Role::Cathode, substrate.own)?
    };
    let pnp = Bipole {
        inverse: inverse("anode_A_per_um"),
        ..bipole(case, gains, "pnp", Role::Anode, well.own)?
    };
    let mut sources = vec![
        "collector and base currents: gains, less the drops over the base's and the emitter's resistance; constant gains beyond".to_string(),
        "resistances: the experiment of that name".to_string(),
        "inverse currents: the well junction forward, from low currents".to_string(),
    ];
    let blocking = outcomes.iter().find_map(|o| match &o.figures {
        Figures::Snapback { trigger: Ok(t), .. } => Some(breakdown(o, t)),
        _ => None,
    });
    let (multiplication, leakage) = match blocking {
        Some(Ok((m, leakage))) => {
            sources.push("multiplication and leakage: blocking branch of the snapback".into());
            (Some(m), leakage)
        }
        Some(Err(why)) => {
            sources.push(format!("no multiplication: {why}"));
            (None, 0.0)
        }
        None => {
            sources.push("no multiplication: no snapback with a trigger point".into());
            (None, 0.0)
        }
    };
    let recombination = inverse("recombined");
    Ok((Lumped { npn, pnp, well, substrate, recombination, multiplication, leakage }, sources))
}

/// Forward tables over the junction's own voltage.
fn bipole(case: &Case, gains: &Sheet, word: &str, role: Role, base: f64) -> Found<Bipole> {
    let column = |name: &str| gains.numbers_at(&format!("{word}/{name}"));
    // Emitters side by side.
    let conductance: f64 =
        case.terminals.iter().filter(|t| t.role == role).map(|t| 1.0 / t.resistance).sum();
    let emitter_resistance =
        if conductance.is_finite() && conductance > 0.0 { 1.0 / conductance } else { 0.0 };
    let (i_c, i_b, i_e, v) = (
        column("collector_A_per_um"),
        column("base_A_per_um"),
        column("emitter_A_per_um"),
        column("emitter_base_V"),
    );
    // What the drops leave of the voltage; at least what the base current takes, an ideal
    // diode's: where the base is flooded its resistance falls and the drop is less.
    let vt = thermal_voltage(case.temperature);
    let bases = i_b;
    let mut junction: Vec<f64> = Vec::new();
    for (k, ((v, i_b), i_e)) in v.iter().zip(i_b).zip(i_e).enumerate() {
        let left = v - base * i_b - emitter_resistance * i_e;
        let least = match (k.checked_sub(1).and_then(|k| bases.get(k)), junction.last()) {
            (Some(before), Some(last)) => last + vt * (i_b / before).ln(),
            _ => f64::NEG_INFINITY,
        };
        junction.push(left.max(least));
    }
    // Beyond the last row the gain stays what it was there.
    let table = |current: &[f64]| {
        let points: Vec<[f64; 2]> = junction.iter().zip(current).map(|(v, i)| [*v, *i]).collect();
        Characteristic::beyond(&points, Some(1.0 / vt))
            .ok_or_else(|| format!("the {word} has no gain to speak of: see `gains`"))
    };
    Ok(Bipole {
        collector: table(i_c)?,
        base: table(i_b)?,
        inverse: Characteristic::None,
        emitter_resistance,
    })
}

/// A current of the forward well junction over its voltage; `recombined` is what neither
/// emitter gets.
fn inverse(gains: &Sheet, column: &str, series: f64) -> Characteristic {
    let of = |name: &str| gains.numbers_at(&format!("well_junction/{name}"));
    let (v, all) = (of("junction_V"), of("total_A_per_um"));
    let (cathode, anode) = (of("cathode_A_per_um"), of("anode_A_per_um"));
    let rows = v.iter().zip(all).zip(cathode.iter().zip(anode));
    let points: Vec<[f64; 2]> = rows
        .filter(|((v, all), _)| **v > 0.1 && **all * series < INVERSE_DROP)
        .map(|((v, all), (cathode, anode))| {
            let current = match column {
                "cathode_A_per_um" => *cathode,
                "anode_A_per_um" => *anode,
                _ => all - cathode - anode,
            };
            [*v, current]
        })
        .collect();
    Characteristic::through(&points).unwrap_or(Characteristic::None)
}

/// Built-in voltage that the depletion layer's root law starts from [V]; common practice.
const BUILT_IN: f64 = 0.8;

/// V_B, m and the generation current from a blocking branch: generation grows with the root
/// of the voltage, and what the branch carries beyond it is multiplied.
fn breakdown(outcome: &Outcome, trigger: &Fold) -> Found<(Multiplication, f64)> {
    let curve = &outcome.curve;
    let points: Vec<[f64; 2]> = curve
        .voltage
        .iter()
        .zip(&curve.current)
        .take(trigger.before_point)
        .map(|(v, i)| [*v, *i])
        .filter(|p| p[0] > 0.0 && p[1] > 0.0)
        .collect();
    let at = |v: f64| -> Option<f64> {
        let k = points.partition_point(|p| p[0] < v);
        let (a, b) = (points.get(k.checked_sub(1)?)?, points.get(k)?);
        let share = (v - a[0]) / (b[0] - a[0]);
        Some((a[1].ln() + share * (b[1] / a[1]).ln()).exp())
    };
    let short = || "the blocking branch has too few points".to_string();
    let low = at(0.5 * trigger.voltage).ok_or_else(short)?;
    // Four decades up nothing but breakdown carries the current, and the bases are still off.
    let steep = points.iter().find(|p| p[1] > 1e4 * low).ok_or_else(|| {
        "the blocking branch does not rise by four decades: it does not break down".to_string()
    })?;
    let breakdown = steep[0];
    let (near, far) = (0.5 * trigger.voltage, 0.9 * breakdown);
    let high = at(far).ok_or_else(short)?;
    let growth = (high / low) / ((far + BUILT_IN) / (near + BUILT_IN)).sqrt();
    let multiplied = |v: f64, m: f64| 1.0 / (1.0 - (v / breakdown).powf(m));
    // The ratio falls with m: at a large one nothing multiplies before breakdown.
    let power =
        super::lumped::root(1.0, 40.0, |m| growth - multiplied(far, m) / multiplied(near, m));
    let leakage = low / (multiplied(near, power) * near.sqrt());
    Ok((Multiplication { breakdown, power }, leakage))
}

fn figures(case: &Case, model: &Lumped, sources: &[String], outcomes: &[Outcome]) -> Sheet {
    let curve = model.curve(RANGE);
    let field = outcomes.iter().find_map(|o| match &o.figures {
        Figures::Snapback { trigger, holding, .. } => Some((trigger, holding)),
        _ => None,
    });
    let none = "nothing multiplies: the model blocks any voltage at low current";
    let trigger = fold(curve.trigger, field.map(|f| f.0), none);
    let holding = fold(curve.holding, field.map(|f| f.1), "its voltage has no minimum");
    let mut sheet = Sheet::new()
        .group("trigger", "trigger point of the lumped model", trigger)
        .group("holding", "holding point of the lumped model", holding);
    sheet = critical(sheet, case, model, outcomes);
    let at = match field {
        Some((_, Ok(h))) => Ok(h.current),
        _ => curve.holding.map(|h| h.current).ok_or("there is no holding point".to_string()),
    };
    let capacitances = junctions(case, outcomes);
    let supply = case.verdict.map(|v| v.supply).ok_or("the case has no verdict".to_string());
    let rise = outcomes.iter().find(|o| o.kind == "supply-ramp").and_then(named).map_or_else(
        || Err("the case has no supply-ramp".to_string()),
        |s| s.number_at("critical/rise_s").ok_or("the supply-ramp found no limit".to_string()),
    );
    let parameters = junctions::parameters(parameters(model, sources), &capacitances);
    sheet = sheet
        .group("conditions", "classical conditions at the holding current", conditions(model, at))
        .group(
            "ramp",
            "displacement current of a rising supply as the trigger",
            junctions::ramp(model, &capacitances, supply, rise),
        )
        .group("parameters", "parameters of the lumped model", parameters)
        .group("curve", "S-curve of the lumped model", columns(&curve));
    let differences = differences(model, &curve, field.map(|f| f.1), outcomes);
    sheet.texts("differences", "where and why it differs", &differences)
}

fn fold(found: Option<LumpedPoint>, field: Option<&Found<Fold>>, none: &str) -> Sheet {
    let of =
        |pick: fn(&LumpedPoint) -> f64| found.as_ref().map(pick).ok_or_else(|| none.to_string());
    let beside = |pick: fn(&Fold) -> f64| -> Found<f64> {
        match field {
            Some(Ok(f)) => Ok(pick(f)),
            Some(Err(why)) => Err(why.clone()),
            None => Err("the case has no snapback".to_string()),
        }
    };
    Sheet::new()
        .number("voltage_V", "V", "voltage", of(|p| p.voltage))
        .number("current_A_per_um", "A/um", "current", of(|p| p.current))
        .number("field_voltage_V", "V", "voltage in the field solution", beside(|f| f.voltage))
        .number(
            "field_current_A_per_um",
            "A/um",
            "current in the field solution",
            beside(|f| f.current),
        )
        .number("junction_V", "V", "reverse voltage of the well junction", of(|p| p.junction))
}

fn parameters(model: &Lumped, sources: &[String]) -> Sheet {
    let unit = "ohm*um";
    let beta = |b: &Bipole| b.beta(0.6);
    let m = |pick: fn(&Multiplication) -> f64| {
        model.multiplication.as_ref().map(pick).ok_or_else(|| "no multiplication".to_string())
    };
    Sheet::new()
        .number("well_ohm_um", unit, "R_W", Ok(model.well.own))
        .number("substrate_ohm_um", unit, "R_S", Ok(model.substrate.own))
        .number(
            "well_collected_ohm_um",
            unit,
            "R_W for what the well junction collects",
            Ok(model.well.collected),
        )
        .number(
            "substrate_collected_ohm_um",
            unit,
            "R_S for what the well junction collects",
            Ok(model.substrate.collected),
        )
        .number("beta_npn", "1", "gain of the npn at 0.6 V", Ok(beta(&model.npn)))
        .number("beta_pnp", "1", "gain of the pnp at 0.6 V", Ok(beta(&model.pnp)))
        .number("breakdown_V", "V", "V_B of the well junction", m(|m| m.breakdown))
        .number("power", "1", "m of the multiplication 1/(1 - (V/V_B)^m)", m(|m| m.power))
        .number(
            "leakage_A_per_um",
            "A/um",
            "generation in the well junction at 1 V",
            Ok(model.leakage),
        )
        .texts("sources", "sources", sources)
}

fn columns(curve: &LumpedCurve) -> Sheet {
    let of = |pick: fn(&LumpedPoint) -> f64| curve.points.iter().map(pick).collect();
    Sheet::new()
        .column("voltage_V", "V", "voltage", of(|p| p.voltage))
        .column("current_A_per_um", "A/um", "current", of(|p| p.current))
        .column("npn_forward_V", "V", "emitter-base voltage of the npn", of(|p| p.npn_forward))
        .column("pnp_forward_V", "V", "emitter-base voltage of the pnp", of(|p| p.pnp_forward))
        .column("junction_V", "V", "reverse voltage of the well junction", of(|p| p.junction))
}

fn conditions(model: &Lumped, at: Found<f64>) -> Sheet {
    let c = at.map(|i| model.conditions(i));
    let of =
        |pick: fn(&super::lumped::Conditions) -> f64| c.as_ref().map(pick).map_err(Clone::clone);
    let required = of(|c| c.required).and_then(|r| match r.is_finite() {
        true => Ok(r),
        false => Err("the shunt of the substrate alone would take the whole current".to_string()),
    });
    let sustaining = model.sustaining(RANGE).ok_or_else(|| {
        "the pair keeps no current up by itself: its gain product is too small".to_string()
    });
    Sheet::new()
        .number("current_A_per_um", "A/um", "current of the path", of(|c| c.current))
        .number("beta_product", "1", "gain product there", of(|c| c.beta_npn * c.beta_pnp))
        .number("required_product", "1", "product that the shunts ask for", required)
        .number(
            "sustaining_A_per_um",
            "A/um",
            "smallest current that the shunted pair keeps up, unsaturated",
            sustaining,
        )
}

/// Critical injections, the share that crosses the well junction taken from the field
/// solution.
fn critical(sheet: Sheet, case: &Case, model: &Lumped, outcomes: &[Outcome]) -> Sheet {
    let mut all = Sheet::new();
    for (k, (experiment, outcome)) in case.experiments.iter().zip(outcomes).enumerate() {
        let ExperimentKind::Injection { into, .. } = &experiment.kind else { continue };
        let (Figures::Injection { critical, .. }, Ok(flow)) =
            (&outcome.figures, collected(case, experiment, outcome, HALF))
        else {
            continue;
        };
        let supply = experiment.bias.iter().map(|b| b.voltage).fold(0.0, f64::max);
        // Into the bases S and W: what crosses the junction, and what its own tap feeds.
        let shares = match flow.into_well {
            true => [flow.crossed, flow.own_tap],
            false => [-flow.own_tap, -flow.crossed],
        };
        let found = model.critical(supply, shares, [1e-9, 1e-1]);
        let sign = if flow.into_well { 1.0 } else { -1.0 };
        let group = Sheet::new()
            .number("current_A_per_um", "A/um", "critical injection", found.map(|i| sign * i))
            .number(
                "field_current_A_per_um",
                "A/um",
                "in the field solution",
                critical.as_ref().map(|f| f.current).map_err(Clone::clone),
            )
            .number(
                "collected_share",
                "1",
                "share that crosses the well junction",
                Ok(flow.crossed),
            );
        let name = format!("experiment_{k}");
        all = all.group(&name, &format!("injection into {into}"), group.text("into", "into", into));
    }
    match all.figures.is_empty() {
        true => sheet,
        false => sheet.group("critical", "critical injection of the lumped model", all),
    }
}

fn differences(
    model: &Lumped,
    curve: &LumpedCurve,
    field: Option<&Found<Fold>>,
    outcomes: &[Outcome],
) -> Vec<String> {
    let mut said = Vec::new();
    if let (Some(h), Some(Ok(f))) = (curve.holding, field) {
        said.push(format!(
            "the holding voltage is {:+.0} mV beside the field's, the holding current {:.2} times it",
            1e3 * (h.voltage - f.voltage),
            h.current / f.current
        ));
        if h.junction < 0.0 {
            said.push(format!(
                "the model holds with its well junction {:.0} mV forward: there electrons and holes flood well and substrate and lower their resistances; the model keeps those of the off-state",
                -1e3 * h.junction
            ));
        }
        for (word, bipole, v) in
            [("npn", &model.npn, h.npn_forward), ("pnp", &model.pnp, h.pnp_forward)]
        {
            let measured = bipole.collector.measured_to();
            if bipole.collector.at(v) > measured {
                said.push(format!(
                    "the gain of the {word} was measured up to {measured:.2e} A/um and is taken as constant beyond"
                ));
            }
        }
    }
    if outcomes.iter().any(|o| matches!(o.figures, Figures::Injection { .. })) {
        said.push("an injecting drain is a further emitter in the well or the substrate, whose own gain can close the loop before the anode's or the cathode's does; the model has two bipolars and knows it as a current only".into());
    }
    said.push(
        "one voltage stands for each base: crowding along the emitters and the drop of the on-state's whole current between the two bases are not in the model".into(),
    );
    said
}
