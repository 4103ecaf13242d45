//! One experiment of a record to its group `/experiment/k`.

use super::RecordError;
use super::names::{CURVE_COLUMNS, groups_of};
use super::sink::{Axis, Place, label};
use super::write::{Plane, list};
use super::{bars, sheet};
use crate::experiment::{Figures, Found, OnBranch, Outcome};
use crate::trace::{Curve, Fields, Fold, Snapshot, StateWords, TerminalValues, Work};

type Made<T> = Result<T, RecordError>;

const VOLTS: &str = "V";
const PER_WIDTH: &str = "A/um";

pub(super) fn outcome(at: &Place, outcome: &Outcome, plane: &Plane) -> Made<()> {
    at.text("kind", &outcome.kind)?;
    at.text("status", outcome.status.word())?;
    at.text("reason", outcome.status.reason())?;
    at.number("wall_s", outcome.wall)?;
    list(at, "drive", &outcome.drive, "driven terminals, or the injector")?;
    list(at, "warnings", &outcome.warnings, "warnings of this experiment")?;
    let names = &outcome.curve.terminals;
    let terminal = match names.is_empty() {
        true => None,
        false => Some(at.text_axis("terminal", names, "terminals, in the order of the columns")?),
    };
    curve(&at.group("curve")?, &outcome.curve)?;
    folds(&at.group("folds")?, &outcome.folds, terminal)?;
    figures(at, outcome, terminal)?;
    bars::write(at, outcome)?;
    if !outcome.flow.figures.is_empty() {
        sheet::write(&at.group("flow")?, &outcome.flow)?;
    }
    let stored = at.group("fields")?;
    stored.number("count", outcome.fields.len() as u64)?;
    for (k, fields) in outcome.fields.iter().enumerate() {
        field_set(&stored.group(&k.to_string())?, fields, plane)?;
    }
    work(&at.group("work")?, &outcome.work)?;
    match &outcome.snapshot {
        Some(s) => snapshot(&at.group("snapshot")?, s, plane),
        None => Ok(()),
    }
}

fn curve(at: &Place, curve: &Curve) -> Made<()> {
    at.number("count", curve.len() as u64)?;
    if curve.is_empty() {
        return Ok(());
    }
    let point = at.rows("point", curve.len(), "point of the curve")?;
    let column = |name: &str, data: &[f64], unit: &str, meaning: &str| {
        at.column(name, data, &[point], label(unit, meaning))
    };
    column("voltage", &curve.voltage, VOLTS, "drive voltage outside series resistance")?;
    column("current", &curve.current, PER_WIDTH, "sum of the driven terminals' currents")?;
    column("imbalance", &curve.imbalance, PER_WIDTH, "magnitude of the sum of all currents")?;
    column("largest", &curve.largest, PER_WIDTH, "largest terminal current, magnitude")?;
    let newton = "Newton steps spent on the point, failed attempts included";
    at.column("newton", &curve.newton, &[point], label("1", newton))?;
    let fits = |v: &TerminalValues| {
        v.voltage.len() == curve.terminals.len() && v.current.len() == curve.terminals.len()
    };
    if curve.at_terminals.len() != curve.len() || !curve.at_terminals.iter().all(fits) {
        return Err(RecordError::unfit(
            "a curve",
            "not one voltage and one current per terminal and point",
        ));
    }
    let groups = groups_of(&curve.terminals, &CURVE_COLUMNS);
    for (k, (terminal, group)) in curve.terminals.iter().zip(groups).enumerate() {
        let at = at.group(&group)?;
        at.text("name", terminal)?;
        let pick = |f: fn(&TerminalValues) -> &Vec<f64>| -> Vec<f64> {
            curve.at_terminals.iter().filter_map(|v| f(v).get(k).copied()).collect()
        };
        let voltage = label(VOLTS, "voltage of the terminal outside its series resistance");
        at.column("voltage", &pick(|v| &v.voltage), &[point], voltage)?;
        let current = label(PER_WIDTH, "current into the device at the terminal");
        at.column("current", &pick(|v| &v.current), &[point], current)?;
    }
    Ok(())
}

/// Rows of terminal values as two tables (row, terminal).
fn tables(at: &Place, rows: &[&TerminalValues], axes: &[Axis]) -> Made<()> {
    let flat = |f: fn(&TerminalValues) -> &Vec<f64>| -> Vec<f64> {
        rows.iter().flat_map(|v| f(v).iter().copied()).collect()
    };
    let voltage = label(VOLTS, "voltage of each terminal outside its series resistance");
    at.column("terminal_voltage", &flat(|v| &v.voltage), axes, voltage)?;
    let current = label(PER_WIDTH, "current into the device at each terminal");
    at.column("terminal_current", &flat(|v| &v.current), axes, current)
}

/// Every row has one value per terminal, or none has any; true if there are some.
fn filled(rows: &[&TerminalValues], terminal: Option<Axis>) -> Made<bool> {
    let count = terminal.map_or(0, |t| t.len);
    let all = |n: usize| rows.iter().all(|v| v.voltage.len() == n && v.current.len() == n);
    if all(0) {
        Ok(false)
    } else if all(count) {
        Ok(true)
    } else {
        let detail = format!("not one voltage and one current for each of {count} terminals");
        Err(RecordError::unfit("a fold or bias point", detail))
    }
}

fn folds(at: &Place, folds: &[Fold], terminal: Option<Axis>) -> Made<()> {
    at.number("count", folds.len() as u64)?;
    if folds.is_empty() {
        return Ok(());
    }
    let row = at.rows("fold", folds.len(), "fold, in the order met")?;
    let kinds: Vec<String> = folds.iter().map(|f| f.kind.word().to_string()).collect();
    at.texts("kind", &kinds, row, "which way the branch turns")?;
    let column = |f: fn(&Fold) -> f64| -> Vec<f64> { folds.iter().map(f).collect() };
    let voltage = label(VOLTS, "drive voltage outside series resistance");
    at.column("voltage", &column(|f| f.voltage), &[row], voltage)?;
    let current = label(PER_WIDTH, "sum of the driven terminals' currents");
    at.column("current", &column(|f| f.current), &[row], current)?;
    let before: Vec<u64> = folds.iter().map(|f| f.before_point as u64).collect();
    at.column("before_point", &before, &[row], label("1", "first point of the curve after it"))?;
    let rows: Vec<&TerminalValues> = folds.iter().map(|f| &f.at_terminals).collect();
    if let (true, Some(terminal)) = (filled(&rows, terminal)?, terminal) {
        tables(at, &rows, &[row, terminal])?;
    }
    Ok(())
}

/// A figure's group: the point, or the reason why there is none.
fn found(at: &Place, found: &Found<Fold>, terminal: Option<Axis>) -> Made<()> {
    let fold = match found {
        Ok(fold) => fold,
        Err(reason) => return at.text("reason", reason),
    };
    at.text("kind", fold.kind.word())?;
    at.number("before_point", fold.before_point as u64)?;
    at.scalar("voltage", fold.voltage, label(VOLTS, "drive voltage outside series resistance"))?;
    at.scalar("current", fold.current, label(PER_WIDTH, "sum of the driven terminals' currents"))?;
    if let (true, Some(terminal)) = (filled(&[&fold.at_terminals], terminal)?, terminal) {
        tables(at, &[&fold.at_terminals], &[terminal])?;
    }
    Ok(())
}

fn on_branch(at: &Place, found: &Found<OnBranch>) -> Made<()> {
    let line = match found {
        Ok(line) => line,
        Err(reason) => return at.text("reason", reason),
    };
    let zero = label(VOLTS, "voltage of the on-branch's straight line at zero current");
    at.scalar("voltage_at_zero", line.voltage_at_zero, zero)?;
    at.scalar("resistance", line.resistance, label("ohm*um", "slope of the on-branch"))
}

fn figures(at: &Place, outcome: &Outcome, terminal: Option<Axis>) -> Made<()> {
    let point = |points: &Place, name: &str, figure: &Found<Fold>| {
        let at = points.group(name)?;
        found(&at, figure, terminal)?;
        bars::sizes(&at, outcome.error_bars(name))
    };
    match &outcome.figures {
        Figures::Snapback { trigger, holding, on_branch: line } => {
            at.text("figures", "snapback")?;
            let points = at.group("points")?;
            point(&points, "trigger", trigger)?;
            point(&points, "holding", holding)?;
            on_branch(&points.group("on_branch")?, line)
        }
        Figures::Injection { criterion, critical, beside } => {
            at.text("figures", "injection")?;
            at.text("criterion", criterion.word())?;
            sheet::write(&at.group("named")?, beside)?;
            point(&at.group("points")?, "critical", critical)
        }
        Figures::Named(named) => {
            at.text("figures", "named")?;
            sheet::write(&at.group("named")?, named)
        }
        Figures::Bias { points } => {
            at.text("figures", "bias")?;
            let at = at.group("bias")?;
            at.number("count", points.len() as u64)?;
            if points.is_empty() {
                return Ok(());
            }
            let row = at.rows("row", points.len(), "bias point, in the order of the case")?;
            let applied: Vec<f64> = points.iter().map(|p| p.applied).collect();
            let voltage = label(VOLTS, "voltage applied to the driven terminals");
            at.column("applied", &applied, &[row], voltage)?;
            let rows: Vec<&TerminalValues> = points.iter().map(|p| &p.at_terminals).collect();
            if let (true, Some(terminal)) = (filled(&rows, terminal)?, terminal) {
                tables(&at, &rows, &[row, terminal])?;
            }
            Ok(())
        }
    }
}

fn state(at: &Place, state: &StateWords, plane: &Plane) -> Made<()> {
    let put = |name, data: &[f64], meaning| plane.field(at, name, data, VOLTS, meaning);
    put("potential", &state.potential, "potential")?;
    put("electron_level", &state.electron, "quasi-Fermi potential of electrons")?;
    put("hole_level", &state.hole, "quasi-Fermi potential of holes")?;
    put("potential_low", &state.potential_low, "low-order word of the potential")?;
    put("electron_level_low", &state.electron_low, "low-order word of electron_level")?;
    put("hole_level_low", &state.hole_low, "low-order word of hole_level")?;
    // Absent (empty) without heat.
    plane.field(at, "temperature", &state.temperature, "K", "lattice temperature")?;
    let low = "low-order word of the temperature";
    plane.field(at, "temperature_low", &state.temperature_low, "K", low)
}

fn field_set(at: &Place, f: &Fields, plane: &Plane) -> Made<()> {
    at.text("label", &f.label)?;
    at.number("voltage_V", f.voltage)?;
    at.number("current_A_per_um", f.current)?;
    state(at, &f.state, plane)?;
    let put = |name, data: &[f64], unit, meaning| plane.field(at, name, data, unit, meaning);
    put("electrons", &f.electrons, "cm^-3", "electron density")?;
    put("holes", &f.holes, "cm^-3", "hole density")?;
    let current = "A/cm^2";
    put("electron_current_x", &f.electron_current_x, current, "electron current density along x")?;
    put("electron_current_y", &f.electron_current_y, current, "electron current density along y")?;
    put("hole_current_x", &f.hole_current_x, current, "hole current density along x")?;
    put("hole_current_y", &f.hole_current_y, current, "hole current density along y")?;
    let rate = "cm^-3 s^-1";
    put("recombination", &f.recombination, rate, "net recombination without avalanche")?;
    put("avalanche", &f.avalanche, rate, "avalanche generation")
}

fn work(at: &Place, work: &Work) -> Made<()> {
    let Work {
        newton_steps,
        chord_steps,
        walk_steps,
        fold_steps,
        factorizations,
        refinements,
        refinements_needed,
        krylov_cycles,
        tangent_sweeps,
        pivoted_fronts,
        general_factorizations,
        gummel_rounds,
        halvings,
    } = *work;
    at.number("newton_steps", newton_steps)?;
    at.number("chord_steps", chord_steps)?;
    at.number("walk_steps", walk_steps)?;
    at.number("fold_steps", fold_steps)?;
    at.number("factorizations", factorizations)?;
    at.number("refinements", refinements)?;
    at.number("refinements_needed", refinements_needed)?;
    at.number("krylov_cycles", krylov_cycles)?;
    at.number("tangent_sweeps", tangent_sweeps)?;
    at.number("pivoted_fronts", pivoted_fronts)?;
    at.number("general_factorizations", general_factorizations)?;
    at.number("gummel_rounds", gummel_rounds)?;
    at.number("halvings", halvings)
}

fn snapshot(at: &Place, snapshot: &Snapshot, plane: &Plane) -> Made<()> {
    state(at, &snapshot.state, plane)?;
    // Lists of their own: what `trace` resumes from need not cover every terminal.
    let own = |name, data: &[f64], unit, meaning| match data.is_empty() {
        true => Ok(()),
        false => at.axis(name, data, label(unit, meaning)).map(|_| ()),
    };
    own("inside_voltage", &snapshot.inside.voltage, VOLTS, "voltage inside series resistance")?;
    own("inside_current", &snapshot.inside.current, PER_WIDTH, "current at the last point")?;
    own("control", &snapshot.control, "1", "numbers of the step control, in its own order")
}
