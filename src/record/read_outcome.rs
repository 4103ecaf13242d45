//! One experiment of a record from its group `/experiment/k`.

use super::RecordError;
use super::names::{CURVE_COLUMNS, groups_of};
use super::read::Net;
use super::source::Shelf;
use super::{bars, sheet};
use crate::experiment::{BiasPoint, Criterion, Figures, Found, OnBranch, Outcome, Sheet, Status};
use crate::trace::{Curve, Fields, Fold, FoldKind, Snapshot, StateWords, TerminalValues, Work};

type Got<T> = Result<T, RecordError>;

/// What an experiment answers, without curve, fields and snapshot.
pub(super) fn outline(at: &Shelf) -> Got<Outcome> {
    let names = at.texts("terminal")?;
    let mut outcome = Outcome {
        kind: at.text("kind")?.to_string(),
        drive: at.texts("drive")?,
        status: status(at)?,
        folds: Vec::new(),
        figures: figures(at, names.len())?,
        bars: None,
        curve: Curve { terminals: names, ..Curve::default() },
        fields: Vec::new(),
        flow: Sheet::new(),
        warnings: at.texts("warnings")?,
        work: work(&at.group("work")?)?,
        wall: at.number("wall_s")?,
        snapshot: None,
    };
    let points: Vec<&str> = outcome.points().into_iter().map(|(name, _)| name).collect();
    outcome.bars = bars::read(at, &points)?;
    Ok(outcome)
}

pub(super) fn outcome(at: &Shelf, net: &Net) -> Got<Outcome> {
    let names = at.texts("terminal")?;
    let stored = at.group("fields")?;
    let mut fields = Vec::new();
    for k in 0..stored.count("count")? {
        fields.push(field_set(&stored.group(&k.to_string())?, net)?);
    }
    let snapshot = match at.has("snapshot") {
        true => Some(snapshot(&at.group("snapshot")?, net)?),
        false => None,
    };
    let mut outcome = Outcome {
        kind: at.text("kind")?.to_string(),
        drive: at.texts("drive")?,
        status: status(at)?,
        folds: folds(&at.group("folds")?, names.len())?,
        figures: figures(at, names.len())?,
        bars: None,
        curve: curve(&at.group("curve")?, names)?,
        fields,
        flow: match at.has("flow") {
            true => sheet::read(&at.group("flow")?)?,
            false => Sheet::new(),
        },
        warnings: at.texts("warnings")?,
        work: work(&at.group("work")?)?,
        wall: at.number("wall_s")?,
        snapshot,
    };
    let points: Vec<&str> = outcome.points().into_iter().map(|(name, _)| name).collect();
    outcome.bars = bars::read(at, &points)?;
    Ok(outcome)
}

fn status(at: &Shelf) -> Got<Status> {
    match at.text("status")? {
        "complete" => Ok(Status::Complete),
        "stopped" => Ok(Status::Stopped(at.text("reason")?.to_string())),
        "interrupted" => Ok(Status::Interrupted),
        "waiting" => Ok(Status::Waiting),
        other => Err(at.damaged("status", format!("{other:?} is not a status"))),
    }
}

fn curve(at: &Shelf, terminals: Vec<String>) -> Got<Curve> {
    let count = at.count("count")?;
    if count == 0 {
        return Ok(Curve { terminals, ..Curve::default() });
    }
    let column = |name| at.column::<f64>(name, &[count]);
    let voltage = column("voltage")?;
    let mut at_terminals = vec![TerminalValues::default(); voltage.len()];
    for (name, group) in terminals.iter().zip(groups_of(&terminals, &CURVE_COLUMNS)) {
        let at = at.group(&group)?;
        if at.text("name")? != *name {
            return Err(at.damaged("name", format!("the terminal {name:?} is expected here")));
        }
        let voltage = at.column::<f64>("voltage", &[count])?;
        let current = at.column::<f64>("current", &[count])?;
        for (values, (v, i)) in at_terminals.iter_mut().zip(voltage.into_iter().zip(current)) {
            values.voltage.push(v);
            values.current.push(i);
        }
    }
    Ok(Curve {
        voltage,
        current: column("current")?,
        at_terminals,
        imbalance: column("imbalance")?,
        largest: column("largest")?,
        newton: at.column::<u32>("newton", &[count])?,
        terminals,
    })
}

/// Terminal values of `rows` rows from two tables (row, terminal); empty ones if absent.
fn tables(at: &Shelf, rows: usize, shape: &[usize], names: usize) -> Got<Vec<TerminalValues>> {
    if !at.has("terminal_voltage") || names == 0 {
        return Ok(vec![TerminalValues::default(); rows]);
    }
    let voltage = at.column::<f64>("terminal_voltage", shape)?;
    let current = at.column::<f64>("terminal_current", shape)?;
    let pairs = voltage.chunks(names).zip(current.chunks(names));
    Ok(pairs.map(|(v, i)| TerminalValues { voltage: v.to_vec(), current: i.to_vec() }).collect())
}

fn fold_kind(at: &Shelf, word: &str) -> Got<FoldKind> {
    FoldKind::from_word(word)
        .ok_or_else(|| at.damaged("kind", format!("{word:?} is not a kind of fold")))
}

fn folds(at: &Shelf, names: usize) -> Got<Vec<Fold>> {
    let count = at.count("count")?;
    if count == 0 {
        return Ok(Vec::new());
    }
    let kinds = at.texts_of("kind", count)?;
    let voltage = at.column::<f64>("voltage", &[count])?;
    let current = at.column::<f64>("current", &[count])?;
    let before = at.column::<u64>("before_point", &[count])?;
    let values = tables(at, count, &[count, names], names)?;
    let numbers = voltage.into_iter().zip(current).zip(before).zip(values);
    kinds
        .iter()
        .zip(numbers)
        .map(|(kind, (((voltage, current), before), at_terminals))| {
            Ok(Fold {
                kind: fold_kind(at, kind)?,
                voltage,
                current,
                at_terminals,
                before_point: before as usize,
            })
        })
        .collect()
}

fn found(at: &Shelf, names: usize) -> Got<Found<Fold>> {
    if let Some(reason) = at.maybe_text("reason") {
        return Ok(Err(reason.to_string()));
    }
    let at_terminals = tables(at, 1, &[names], names)?.pop().unwrap_or_default();
    Ok(Ok(Fold {
        kind: fold_kind(at, at.text("kind")?)?,
        voltage: at.scalar("voltage")?,
        current: at.scalar("current")?,
        at_terminals,
        before_point: at.number::<u64>("before_point")? as usize,
    }))
}

fn on_branch(at: &Shelf) -> Got<Found<OnBranch>> {
    if let Some(reason) = at.maybe_text("reason") {
        return Ok(Err(reason.to_string()));
    }
    Ok(Ok(OnBranch {
        voltage_at_zero: at.scalar("voltage_at_zero")?,
        resistance: at.scalar("resistance")?,
    }))
}

fn figures(at: &Shelf, names: usize) -> Got<Figures> {
    match at.text("figures")? {
        "snapback" => {
            let points = at.group("points")?;
            Ok(Figures::Snapback {
                trigger: found(&points.group("trigger")?, names)?,
                holding: found(&points.group("holding")?, names)?,
                on_branch: on_branch(&points.group("on_branch")?)?,
            })
        }
        "injection" => {
            let word = at.text("criterion")?;
            let criterion = [Criterion::Fold, Criterion::Reconnect]
                .into_iter()
                .find(|c| c.word() == word)
                .ok_or_else(|| at.damaged("criterion", format!("{word:?} is not a criterion")))?;
            let critical = found(&at.group("points")?.group("critical")?, names)?;
            // Files of the first versions have none.
            let beside = match at.has("named") {
                true => sheet::read(&at.group("named")?)?,
                false => Sheet::new(),
            };
            Ok(Figures::Injection { criterion, critical, beside })
        }
        "bias" => {
            let at = at.group("bias")?;
            let count = at.count("count")?;
            if count == 0 {
                return Ok(Figures::Bias { points: Vec::new() });
            }
            let applied = at.column::<f64>("applied", &[count])?;
            let values = tables(&at, count, &[count, names], names)?;
            let points = applied
                .into_iter()
                .zip(values)
                .map(|(applied, at_terminals)| BiasPoint { applied, at_terminals })
                .collect();
            Ok(Figures::Bias { points })
        }
        "named" => Ok(Figures::Named(sheet::read(&at.group("named")?)?)),
        other => Err(at.damaged("figures", format!("{other:?} are not figures we know"))),
    }
}

fn state(at: &Shelf, net: &Net) -> Got<StateWords> {
    Ok(StateWords {
        potential: net.field(at, "potential")?,
        electron: net.field(at, "electron_level")?,
        hole: net.field(at, "hole_level")?,
        potential_low: net.field(at, "potential_low")?,
        electron_low: net.field(at, "electron_level_low")?,
        hole_low: net.field(at, "hole_level_low")?,
        temperature: net.field(at, "temperature")?,
        temperature_low: net.field(at, "temperature_low")?,
    })
}

fn field_set(at: &Shelf, net: &Net) -> Got<Fields> {
    let field = |name| net.field(at, name);
    Ok(Fields {
        label: at.text("label")?.to_string(),
        voltage: at.number("voltage_V")?,
        current: at.number("current_A_per_um")?,
        state: state(at, net)?,
        electrons: field("electrons")?,
        holes: field("holes")?,
        electron_current_x: field("electron_current_x")?,
        electron_current_y: field("electron_current_y")?,
        hole_current_x: field("hole_current_x")?,
        hole_current_y: field("hole_current_y")?,
        recombination: field("recombination")?,
        avalanche: field("avalanche")?,
    })
}

fn work(at: &Shelf) -> Got<Work> {
    let since_1_2 = |name| if at.has_number(name) { at.number(name) } else { Ok(0) };
    Ok(Work {
        newton_steps: at.number("newton_steps")?,
        chord_steps: at.number("chord_steps")?,
        walk_steps: at.number("walk_steps")?,
        fold_steps: at.number("fold_steps")?,
        factorizations: at.number("factorizations")?,
        refinements: at.number("refinements")?,
        refinements_needed: since_1_2("refinements_needed")?,
        krylov_cycles: since_1_2("krylov_cycles")?,
        tangent_sweeps: since_1_2("tangent_sweeps")?,
        pivoted_fronts: since_1_2("pivoted_fronts")?,
        general_factorizations: since_1_2("general_factorizations")?,
        gummel_rounds: at.number("gummel_rounds")?,
        halvings: at.number("halvings")?,
    })
}

fn snapshot(at: &Shelf, net: &Net) -> Got<Snapshot> {
    Ok(Snapshot {
        state: state(at, net)?,
        inside: TerminalValues {
            voltage: at.list("inside_voltage")?,
            current: at.list("inside_current")?,
        },
        control: at.list("control")?,
    })
}
