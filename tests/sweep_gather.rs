//! Gathered sweeps and comparisons.

mod sweep_support;

use std::process::Command;

use holdpoint::experiment::Figures;
use holdpoint::record::{self, Values, read_gathered};
use sweep_support::{DIODE, Desk, bar};

const BARS: &str = "base = \"bar.toml\"\n[axes]\n\"constants.shockley-read-hall.tau_n0\" = [\"1 ns\", \"2 ns\", \"4 ns\"]\ntemperature = [300, 350]\n";

fn swept() -> Desk {
    let desk = Desk::new();
    desk.put("bar.toml", &bar());
    desk.put("b.sweep.toml", BARS);
    desk.run(&["sweep", "run", "b.sweep.toml", "-q"]).good();
    desk
}

fn numbers(g: &record::Gathered, name: &str) -> Vec<f64> {
    match &g.column(name).unwrap_or_else(|| panic!("no {name}")).values {
        Values::Numbers(v) => v.clone(),
        Values::Texts(t) => panic!("{name} is texts: {t:?}"),
    }
}

fn texts(g: &record::Gathered, name: &str) -> Vec<String> {
    match &g.column(name).unwrap_or_else(|| panic!("no {name}")).values {
        Values::Texts(t) => t.clone(),
        Values::Numbers(v) => panic!("{name} is numbers: {v:?}"),
    }
}

#[test]
fn a_gathered_sweep_is_a_labelled_table_that_others_read() {
    let desk = swept();
    let said =
        desk.run(&["sweep", "gather", "b.sweep.toml", "-o", "g.h5", "--csv", "g.csv"]).good();
    assert!(said.out.contains("6 cases (6 done)"), "{said:?}");
    let g = read_gathered(&desk.file("g.h5")).expect("a gathered sweep");
    assert_eq!(
        g.axes.iter().map(|a| a.name.as_str()).collect::<Vec<_>>(),
        ["tau_n0", "temperature"]
    );
    let (names, holding) = (texts(&g, "case"), numbers(&g, "V_h"));
    for (name, v) in names.iter().zip(&holding) {
        let file = desk.file(&format!("results/b/cases/{name}.h5"));
        let record = record::read(&file).expect("a result");
        let points = record.experiments[0].points();
        let h = points.iter().find(|(n, _)| *n == "holding").expect("there").1;
        assert_eq!(h.as_ref().expect("found").voltage, *v);
    }
    assert_eq!(texts(&g, "verdict"), ["not-reached"; 6]);
    // From the folder alone, the same.
    desk.run(&["sweep", "gather", "results/b", "-o", "h.h5"]).good();
    assert_eq!(read_gathered(&desk.file("h.h5")).expect("gathered").columns, g.columns);
    let there = Command::new("python3")
        .args(["-c", "import h5py, h5netcdf, netCDF4, xarray"])
        .output()
        .is_ok_and(|o| o.status.success());
    if !there {
        println!("skipped: python3 with h5py, h5netcdf, netCDF4 and xarray is not here");
        return;
    }
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/read_sweep.py");
    let out = Command::new("python3")
        .arg(script)
        .args([desk.file("g.h5"), desk.file("g.csv")])
        .output()
        .expect("started");
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success(), "{said}\n{}", String::from_utf8_lossy(&out.stderr));
    println!("{said}");
    assert!(said.contains("all good"), "{said}");
}

#[test]
fn gaps_are_gaps_and_say_why() {
    let desk = Desk::new();
    desk.put("diode.toml", DIODE);
    desk.put("d.sweep.toml", "base = \"diode.toml\"\nmode = \"latin-hypercube\"\nsamples = 5\n[axes]\ntemperature = { from = 260, to = 400 }\n\"wafer.donors\" = { from = 1e15, to = 1e17, scale = \"log\" }\n");
    let said = desk.run(&["sweep", "gather", "d.sweep.toml"]);
    assert_eq!(said.code, Some(2), "nothing was run: {said:?}");
    desk.run(&["sweep", "run", "d.sweep.toml", "-q"]).good();
    let results = desk.results("d");
    std::fs::remove_file(&results[0]).expect("removed");
    let mut bytes = std::fs::read(&results[1]).expect("read");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    std::fs::write(&results[1], bytes).expect("written");
    desk.run(&["sweep", "gather", "d.sweep.toml", "--csv", "d.csv"]).good();
    let g = read_gathered(&desk.file("results/d/gathered.h5")).expect("gathered");
    assert_eq!(g.axes.len(), 1);
    assert_eq!(numbers(&g, "temperature").len(), 5);
    let mut status = texts(&g, "status");
    let current = numbers(&g, "I_anode_4");
    for (s, i) in status.iter().zip(&current) {
        assert_eq!(s == "done", i.is_finite(), "{s} {i}");
    }
    status.sort();
    assert_eq!(status, ["damaged", "done", "done", "done", "missing"]);
    assert!(texts(&g, "reason").iter().any(|r| r.contains("seal")));
    let csv = std::fs::read_to_string(desk.file("d.csv")).expect("written");
    assert_eq!(csv.lines().count(), 6);
    assert!(csv.lines().next().is_some_and(|l| l.contains("donors [cm^-3]")), "{csv}");
}

#[test]
fn compare_says_what_differs() {
    let desk = swept();
    let names = desk.results("b");
    let path = |k: usize| names[k].to_string_lossy().into_owned();
    let (a, b) = (path(0), path(1));
    let same = desk.run(&["compare", &a, &a, "--tolerance", "0"]).good();
    assert!(same.out.contains("no difference"), "{same:?}");
    let said = desk.run(&["compare", &a, &b]).good();
    for part in ["case: temperature 300 -> 350", "holding: ", "trigger: ", "curve: at most"] {
        assert!(said.out.contains(part), "{part}: {said:?}");
    }
    let json = desk.run(&["compare", &a, &b, &path(2), "--json"]).good().json();
    let first = &json[0];
    assert_eq!(first["keys"][0]["what"], "temperature");
    let v = &first["experiments"][0]["points"]["holding"]["voltage_V"];
    let (p, q) = (v["first"].as_f64().expect("a number"), v["second"].as_f64().expect("a number"));
    let record = |k: usize| record::read(&names[k]).expect("a result");
    let holding = |k: usize| {
        let r = record(k);
        r.experiments[0]
            .points()
            .iter()
            .find(|(n, _)| *n == "holding")
            .expect("there")
            .1
            .as_ref()
            .expect("found")
            .voltage
    };
    // Equal but for the last digit that reading JSON here may lose.
    assert!((p / holding(0) - 1.0).abs() < 1e-14 && (q / holding(1) - 1.0).abs() < 1e-14);
    assert!(v["bars"].is_null() && v["beyond_bars"].is_null());
    let curve = first["experiments"][0]["curve"]["largest_V"].as_f64().expect("a number");
    assert!(curve.abs() > 0.01 && curve.abs() < 60.0, "{curve}");
    // As a regression test: exit code 1 beyond the tolerance, 0 within.
    let off = first["largest_relative"].as_f64().expect("a number");
    let tolerance = |t: f64| desk.run(&["compare", &a, &b, "--tolerance", &t.to_string()]).code;
    assert_eq!((tolerance(off * 1.01), tolerance(off * 0.99)), (Some(0), Some(1)));
    assert_eq!(desk.run(&["compare", &a]).code, Some(2));
    assert_eq!(desk.run(&["compare", &a, "bar.toml"]).code, Some(2));
    assert_eq!(desk.run(&["compare", &a, &b, "--tolerance", "-1"]).code, Some(2));
}

#[test]
fn error_bars_judge_differences_and_verdicts_are_told() {
    let desk = Desk::new();
    let text = bar();
    desk.put("a.toml", &text);
    desk.put(
        "b.toml",
        &text.replace("nodes = 200", "nodes = 260").replace("supply = 3.3", "supply = 0.5"),
    );
    for name in ["a", "b"] {
        let case = format!("{name}.toml");
        desk.run(&["run", &case, "-o", &format!("{name}.h5"), "--error-bars", "-q"]).good();
    }
    let json = desk.run(&["compare", "a.h5", "b.h5", "--json"]).good().json();
    assert_eq!(json["verdict"]["first"], "not-reached");
    assert_eq!(json["verdict"]["second"], "no-on-state");
    let v = &json["experiments"][0]["points"]["holding"]["voltage_V"];
    let (p, q, bars) = (v["first"].as_f64(), v["second"].as_f64(), v["bars"].as_f64());
    let (Some(p), Some(q), Some(bars)) = (p, q, bars) else { panic!("{v}") };
    assert_eq!(v["beyond_bars"].as_bool(), Some((q - p).abs() > bars));
    // A changed verdict is beyond any tolerance.
    assert_eq!(desk.run(&["compare", "a.h5", "b.h5", "--tolerance", "1e9"]).code, Some(1));
}

#[test]
fn gathered_sweeps_are_compared_case_by_case() {
    let desk = swept();
    desk.run(&["sweep", "gather", "b.sweep.toml", "-o", "one.h5"]).good();
    desk.put("bar.toml", &bar().replace("supply = 3.3", "supply = 3.4"));
    desk.put("b.sweep.toml", &BARS.replace(", \"4 ns\"", ""));
    desk.run(&["sweep", "run", "b.sweep.toml", "-o", "second", "-q"]).good();
    desk.run(&["sweep", "gather", "second", "-o", "two.h5"]).good();
    let said = desk.run(&["compare", "one.h5", "two.h5", "--json"]).good().json();
    assert_eq!(said["cases"]["common"], 4, "{said}");
    assert_eq!(said["cases"]["first_only"], 2);
    assert_eq!(said["keys"][0]["what"], "verdict.supply");
    assert_eq!(said["columns"]["V_h"]["largest_relative"], 0.0);
    assert_eq!(desk.run(&["compare", "one.h5", "one.h5", "--tolerance", "0"]).code, Some(0));
    let mixed = desk.results("b")[0].to_string_lossy().into_owned();
    assert_eq!(desk.run(&["compare", "one.h5", &mixed]).code, Some(2));
}

#[test]
fn what_only_one_gathered_sweep_has_is_beyond_any_tolerance() {
    let desk = Desk::new();
    desk.put("d.sweep.toml", "base = \"diode.toml\"\n[axes]\ntemperature = [280, 320]\n");
    for (name, at) in [("few", "0.5, 0.6]"), ("more", "0.5, 0.6, 0.65]")] {
        desk.put("diode.toml", &DIODE.replace("0.5, 0.6]", at));
        desk.run(&["sweep", "run", "d.sweep.toml", "-o", name, "-q"]).good();
        desk.run(&["sweep", "gather", name, "-o", &format!("{name}.h5")]).good();
    }
    for pair in [["few.h5", "more.h5"], ["more.h5", "few.h5"]] {
        let args = [&["compare"][..], &pair, &["--json", "--tolerance", "1e9"]].concat();
        let said = desk.run(&args);
        assert_eq!(said.code, Some(1), "{said:?}");
        let json = said.json();
        let changed = json["changed"].as_array().expect("a list");
        assert!(changed.iter().any(|c| c["what"] == "column I_anode_5"), "{json}");
    }
}

/// A diode on a list of voltages, run; the path of its result.
fn listed(desk: &Desk, name: &str, at: &str) -> std::path::PathBuf {
    desk.put(&format!("{name}.toml"), &DIODE.replace("0, 0.2, 0.4, 0.5, 0.6", at));
    let (case, out) = (format!("{name}.toml"), format!("{name}.h5"));
    desk.run(&["run", &case, "-o", &out, "-q"]).good();
    desk.file(&out)
}

#[test]
fn curves_without_a_common_current_are_no_agreement() {
    let desk = Desk::new();
    for (name, at) in [("low", "0.2, 0.25"), ("high", "0.55, 0.6"), ("one", "0.5")] {
        listed(&desk, name, at);
    }
    let said = desk.run(&["compare", "low.h5", "high.h5", "--tolerance", "1e9"]);
    assert_eq!(said.code, Some(1), "{said:?}");
    assert!(said.out.contains("curves have no current in common: "), "{said:?}");
    let json = desk.run(&["compare", "low.h5", "high.h5", "--json"]).good().json();
    let curve = &json["experiments"][0]["curve"];
    assert_eq!(curve["common"], false, "{json}");
    let ends = |key: &str| [0, 1].map(|k| curve[key][k].as_f64().expect("a current"));
    let (low, high) = (ends("first_A_per_um"), ends("second_A_per_um"));
    assert!(low[0] < low[1] && low[1] < high[0] && high[0] < high[1], "{json}");
    // A single point has no range: it agrees with itself, and a digit is a digit.
    let same = desk.run(&["compare", "one.h5", "one.h5", "--tolerance", "0"]).good();
    assert!(same.out.contains("no difference"), "{same:?}");
    let a = record::read(&desk.file("one.h5")).expect("a result");
    let mut b = a.clone();
    b.experiments[0].curve.current[0] *= 1.001;
    let r = holdpoint::sweep::compare(&a, &b);
    assert!(r.changed.is_empty() && r.within(1.01e-3) && !r.within(0.99e-3), "{r:?}");
}

#[test]
fn currents_of_all_terminals_of_a_list_are_compared() {
    let desk = Desk::new();
    let a = record::read(&listed(&desk, "a", "0.5, 0.6")).expect("a result");
    let mut b = a.clone();
    let Figures::Bias { points } = &mut b.experiments[0].figures else { panic!("a list") };
    points[1].at_terminals.current[1] *= 1.02;
    let r = holdpoint::sweep::compare(&a, &b);
    // Relative to the larger: 0.02/1.02.
    assert!((r.worst - 0.02 / 1.02).abs() < 1e-12, "{r:?}");
    assert!(r.lines.iter().any(|l| l.contains("at 0.6 V") && l.contains("cathode")), "{r:?}");
}

#[test]
fn reasons_are_told_and_not_judged() {
    let desk = swept();
    let a = record::read(&desk.results("b")[0]).expect("a result");
    let with = |trigger: &str, stopped: &str| {
        let mut r = a.clone();
        let Figures::Snapback { trigger: t, .. } = &mut r.experiments[0].figures else {
            panic!("a snapback")
        };
        *t = Err(trigger.to_string());
        r.experiments[0].status = holdpoint::experiment::Status::Stopped(stopped.to_string());
        r
    };
    let (b, c) = (with("no fold up to 3 V", "step 7"), with("no fold up to 4 V", "step 9"));
    let r = holdpoint::sweep::compare(&b, &c);
    assert!(r.within(0.0), "{r:?}");
    for part in ["\"no fold up to 3 V\" -> \"no fold up to 4 V\"", "\"step 7\" -> \"step 9\""] {
        assert!(r.lines.iter().any(|l| l.contains(part)), "{part}: {:?}", r.lines);
    }
    assert_eq!(r.json["texts"].as_array().map(Vec::len), Some(2), "{}", r.json);
    // A point that is there in one only is judged.
    assert!(!holdpoint::sweep::compare(&a, &b).within(1e9));
}
