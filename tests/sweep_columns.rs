//! Gains, resistances and critical injections of a sweep that was run: each number in the
//! gathered file and in the CSV is the one in its case's own result.

mod sweep_support;

use holdpoint::experiment::{Figures, Sheet, Shown};
use holdpoint::record::{self, RunRecord, Values, read_gathered};
use sweep_support::Desk;

/// Column, unit, experiment, path of its figure there; V and I are the critical point's.
const COLUMNS: [(&str, &str, usize, &str); 8] = [
    ("gains_npn_largest_beta", "1", 0, "npn/largest_beta"),
    ("gains_pnp_largest_beta", "1", 0, "pnp/largest_beta"),
    ("gains_product_largest", "1", 0, "product/largest"),
    ("resistances_well_ohm_um", "ohm*um", 1, "well_ohm_um"),
    ("resistances_substrate_ohm_um", "ohm*um", 1, "substrate_ohm_um"),
    ("resistances_well_collected_ohm_um", "ohm*um", 1, "well_collected_ohm_um"),
    ("V_crit_anode", "V", 2, "V"),
    ("I_crit_anode", "A/um", 2, "I"),
];

const AXIS: &str = "base = \"core.toml\"\n[axes]\ntemperature = [\"25 degC\", \"125 degC\"]\n";

/// The core cell on 700 nodes at 2.5 V, above its holding voltage: at the 1.2 V of the
/// shipped case no injection latches it, and there would be nothing to gather.
fn core() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/tern180-core.toml");
    let text = std::fs::read_to_string(path).expect("shipped");
    let (layout, _) = text.split_once("[[experiment]]").expect("an experiment");
    layout.replace("nodes = 5000", "nodes = 700")
        + "[[experiment]]\nkind = \"gains\"\n\
           [[experiment]]\nkind = \"resistances\"\n\
           [[experiment]]\nkind = \"injection\"\ninto = \"anode\"\nsign = \"+\"\n\
           bias = { well-tap = 2.5 }\nstop = { current = \"2 mA/um\" }\n\
           [verdict]\nsupply = 2.5\n"
}

fn at_path(sheet: &Sheet, path: &str) -> f64 {
    let (name, rest) = path.split_once('/').unwrap_or((path, ""));
    let figure = sheet.figures.iter().find(|f| f.name == name);
    match figure.map(|f| &f.value) {
        Some(Shown::Group(inner)) => at_path(inner, rest),
        Some(Shown::Number(Ok(v))) if rest.is_empty() => *v,
        other => panic!("{path}: {other:?}"),
    }
}

/// The figure in a case's own result.
fn own(r: &RunRecord, experiment: usize, path: &str) -> f64 {
    match &r.experiments[experiment].figures {
        Figures::Named(sheet) => at_path(sheet, path),
        Figures::Injection { critical, .. } => {
            let fold = critical.as_ref().expect("a critical injection");
            if path == "V" { fold.voltage } else { fold.current }
        }
        other => panic!("{path}: {other:?}"),
    }
}

/// The cells of a line of CSV.
fn cells(line: &str) -> Vec<String> {
    let (mut all, mut quoted) = (vec![String::new()], false);
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => all.push(String::new()),
            c => all.last_mut().expect("one at least").push(c),
        }
    }
    all
}

#[test]
fn gains_resistances_and_critical_injections_are_gathered_as_they_were_found() {
    let desk = Desk::new();
    desk.put("core.toml", &core());
    desk.put("c.sweep.toml", AXIS);
    desk.run(&["sweep", "run", "c.sweep.toml", "-q", "--jobs", "2"]).good();
    desk.run(&["sweep", "gather", "c.sweep.toml", "-o", "g.h5", "--csv", "g.csv"]).good();
    let g = read_gathered(&desk.file("g.h5")).expect("a gathered sweep");
    let Values::Texts(names) = &g.column("case").expect("there").values else { panic!("numbers") };
    let results: Vec<RunRecord> = names
        .iter()
        .map(|n| record::read(&desk.file(&format!("results/c/cases/{n}.h5"))).expect("a result"))
        .collect();
    assert_eq!(results.iter().map(|r| r.temperature).collect::<Vec<_>>(), [298.15, 398.15]);
    let csv = std::fs::read_to_string(desk.file("g.csv")).expect("written");
    let mut lines = csv.lines().map(cells);
    let (head, rows) = (lines.next().expect("a head"), lines.collect::<Vec<_>>());
    assert_eq!(rows.len(), 2, "{csv}");
    let mut found = Vec::new();
    for (name, unit, experiment, path) in COLUMNS {
        let column = g.column(name).unwrap_or_else(|| panic!("no {name}"));
        assert_eq!(column.unit, unit, "{name}");
        let Values::Numbers(values) = &column.values else { panic!("{name} is texts") };
        let expected: Vec<f64> = results.iter().map(|r| own(r, experiment, path)).collect();
        println!("{name}: {values:?}");
        // The same bits, each at its own temperature.
        assert_eq!(values, &expected, "{name}");
        // The critical voltage is the supply.
        let alike = values[0] == values[1];
        assert_eq!(alike, name == "V_crit_anode", "{name}: {values:?}");
        let title = if unit == "1" { name.to_string() } else { format!("{name} [{unit}]") };
        let at = head.iter().position(|h| *h == title).unwrap_or_else(|| panic!("{title}: {csv}"));
        let written: Vec<f64> = rows.iter().map(|r| r[at].parse().expect("a number")).collect();
        assert_eq!(written, expected, "{name}");
        found.push(expected);
    }
    let [npn, pnp, product, well, substrate, _, volts, amperes] = &found[..] else {
        panic!("{found:?}")
    };
    for k in 0..2 {
        assert!(npn[k] > 1.0 && pnp[k] > 1.0 && product[k] <= npn[k] * pnp[k] * (1.0 + 1e-9));
        assert!((volts[k] - 2.5).abs() < 1e-6, "reconnected to the supply: {volts:?}");
    }
    // Hot silicon has lower mobilities and higher gains: the shunts are larger, and less
    // current is needed.
    assert!(well[1] > well[0] && substrate[1] > substrate[0], "{found:?}");
    assert!(npn[1] > npn[0] && pnp[1] > pnp[0], "{found:?}");
    assert!(amperes[1] < amperes[0] && amperes[1] > 0.0, "{found:?}");
}
