//! What transient experiments share in their outcomes.

use crate::discretize::Device;
use crate::solve::System;
use crate::trace::{Branch, Snapshot, Work};

use super::outcome::{Figures, Outcome, Status};
use super::poise::{Halt, Poise, TimeTrace};
use super::sheet::Sheet;

/// The time trace as columns: time, then voltage and current of every terminal.
pub fn traced(device: &Device, trace: &TimeTrace) -> Sheet {
    let column = |of: &dyn Fn(&crate::trace::TerminalValues) -> &Vec<f64>, k: usize| {
        trace.at_terminals.iter().map(|v| of(v).get(k).copied().unwrap_or(f64::NAN)).collect()
    };
    let (mut volts, mut currents) = (Sheet::new(), Sheet::new());
    for (k, contact) in device.contacts.iter().enumerate() {
        let name = &contact.name;
        volts =
            volts.column(name, "V", "outside any series resistance", column(&|v| &v.voltage, k));
        currents = currents.column(
            name,
            "A/um",
            "into the device, displacement included",
            column(&|v| &v.current, k),
        );
    }
    Sheet::new()
        .column("time_s", "s", "of each moment", trace.time.clone())
        .group("voltage_V", "of each terminal", volts)
        .group("current_A_per_um", "of each terminal", currents)
}

/// Both stationary states at the supply, and why there is none if so.
pub fn stationary(sheet: Sheet, poise: &Poise) -> Sheet {
    let states = Sheet::new()
        .number("off_A_per_um", "A/um", "supply current of the off-state", Ok(poise.off))
        .number("on_A_per_um", "A/um", "supply current of the on-state", poise.on.clone());
    sheet.group("supply_current", "stationary states at the supply", states)
}

/// An outcome of named figures, or of what stopped them.
pub fn named(
    device: &Device,
    drive: Vec<String>,
    work: Work,
    sheet: Result<Sheet, Halt>,
) -> Outcome {
    let (sheet, status) = match sheet {
        Ok(sheet) => (sheet, Status::Complete),
        Err(Halt::Failed(reason)) => (Sheet::new(), Status::Stopped(reason)),
        Err(Halt::Interrupted) => (Sheet::new(), Status::Interrupted),
    };
    Outcome {
        kind: String::new(),
        drive,
        snapshot: (status == Status::Interrupted).then(Snapshot::default),
        status,
        curve: Branch::empty(device).curve,
        folds: Vec::new(),
        figures: Figures::Named(sheet),
        bars: None,
        fields: Vec::new(),
        flow: Sheet::new(),
        warnings: Vec::new(),
        work,
        wall: 0.0,
    }
}

/// Work of a system that may not have come to be.
pub fn work_of(system: Option<&System>) -> Work {
    system.map_or_else(Work::default, |s| s.work)
}
