//! One-dimensional bars against a boundary-value solver that shares only the equations:
//! `tests/python/bvp_reference.py` (SciPy's collocation), whose values are committed beside
//! it and are computed again here.

use std::process::Command;

use holdpoint::discretize::State;
use holdpoint::experiment::{RunOptions, run_experiment};
use holdpoint::solve::Constraint;
use holdpoint::trace::KeepNothing;
use serde_json::Value;

use super::bar::{Bench, PER_AREA};
use super::ledger::{Within, check};

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/bvp_reference.py");
const COMMITTED: &str = include_str!("../python/bvp_reference.json");

/// Wafer donors and Gaussian pieces (donors or acceptors, peak, crest, falloff), thickness [µm].
struct Doping {
    thickness: f64,
    wafer: f64,
    pieces: &'static [(&'static str, f64, f64, f64)],
}

const DIODE: Doping = Doping {
    thickness: 6.0,
    wafer: 1e16,
    pieces: &[("acceptors", 1e19, 0.0, 0.5), ("donors", 1e19, 5.9, 0.5)],
};
const NPN: Doping = Doping {
    thickness: 4.0,
    wafer: 1e16,
    pieces: &[
        ("donors", 1e20, 0.0, 0.15),
        ("acceptors", 1e18, 0.0, 0.4),
        ("donors", 1e19, 3.9, 0.3),
    ],
};
const PNPN: Doping = Doping {
    thickness: 8.0,
    wafer: 1e16,
    pieces: &[
        ("donors", 1e20, 0.0, 0.15),
        ("acceptors", 3e17, 0.0, 0.7),
        ("acceptors", 1e19, 7.9, 0.5),
    ],
};

/// Depth is y, so that the doping's shape is a continuous one: the script sees the same.
/// Two columns are enough.
fn bench(doping: &Doping, laws: &str, experiment: &str) -> Bench {
    // Fine where the shallow diffusions fall (junctions at 0.3 to 1.3 µm), 12 nm below.
    let (mut y, mut at) = (vec![0.0], 0.0);
    while at < doping.thickness - 0.012 {
        at += (0.002 + 0.015 * (at - 0.6f64).max(0.0)).min(0.012);
        y.push(at);
    }
    y.push(doping.thickness);
    let mut text = format!(
        "temperature = 300\n[wafer]\nspan = 1\nthickness = {:?}\ndonors = {:e}\n",
        doping.thickness, doping.wafer
    );
    for (k, (kind, peak, crest, falloff)) in doping.pieces.iter().enumerate() {
        text += &format!(
            "[[well]]\nname = \"piece {k}\"\n{kind} = {peak:e}\nfrom = 0\nto = 1\nshape = \"gaussian\"\ncrest = {crest:?}\nfalloff = {falloff:?}\n"
        );
    }
    text += "[[terminal]]\nname = \"first\"\ntouches = [{ from = 0, to = 1 }]\n\
             [[terminal]]\nname = \"last\"\ntouches = [{ side = \"back\" }]\n";
    Bench::new(&format!("{text}{laws}[grid]\nx = [0.0, 0.4, 1.0]\ny = {y:?}\n{experiment}"))
}

fn constant_laws(saturation: &str) -> String {
    format!(
        "[laws]\nmobility = \"constant\"\nsaturation = \"{saturation}\"\nnarrowing = \"none\"\n\
         avalanche = \"none\"\nrecombination = [\"shockley-read-hall\"]\nlifetime = \"constant\"\n\
         [constants]\nmobility = {{ mu_n = 1000, mu_p = 400 }}\n\
         shockley-read-hall = {{ tau_n0 = 1e-7, tau_p0 = 1e-7 }}\n"
    )
}

fn all_laws(tau: f64) -> String {
    format!(
        "[laws]\nmobility = \"masetti-1983\"\nsaturation = \"canali-1975\"\n\
         narrowing = \"slotboom-1977\"\navalanche = \"van-overstraeten-1970\"\n\
         recombination = [\"shockley-read-hall\", \"auger\"]\nlifetime = \"falls-with-doping\"\n\
         [constants]\nshockley-read-hall = {{ tau_n0 = {tau:e}, tau_p0 = {tau:e} }}\n"
    )
}

/// One solved point of the reference.
struct Reference {
    by_current: bool,
    voltage: f64,
    /// A/cm²
    current: f64,
}

fn points(document: &Value, run: &str) -> Vec<Reference> {
    let list = document["runs"][run].as_array().unwrap_or_else(|| panic!("no run {run:?}"));
    list.iter()
        .map(|p| Reference {
            by_current: p["drive"] == "current",
            voltage: p["voltage_V"].as_f64().expect("voltage"),
            current: p["current_A_per_cm2"].as_f64().expect("current"),
        })
        .collect()
}

fn committed(run: &str) -> Vec<Reference> {
    points(&serde_json::from_str(COMMITTED).expect("JSON"), run)
}

const SOURCE: &str = "SciPy solve_bvp";

fn compare_current(run: &str, voltage: f64, reference: f64, ours: f64) {
    let what = format!("{run}: J at {voltage:.2} V [A/cm^2]");
    check(SOURCE, &what, reference, ours, Within::Relative(0.005));
}

/// Points in order of voltage from equilibrium.
fn sweep(run: &str, bench: &Bench) {
    let all = committed(run);
    let last = bench.contact("last");
    let at: Vec<f64> = all.iter().map(|r| r.voltage).collect();
    let mut solved = Vec::new();
    bench.sweep("last", &at, |_, system, _| solved.push(PER_AREA * system.current(last)));
    for (r, ours) in all.iter().zip(solved) {
        compare_current(run, r.voltage, r.current, ours);
    }
}

#[test]
fn diode_with_constant_laws() {
    let bench = bench(&DIODE, &constant_laws("none"), "");
    sweep("diode, constant laws, forward", &bench);
    sweep("diode, constant laws, reverse", &bench);
}

#[test]
fn diode_with_saturation_alone() {
    sweep("diode, saturation alone", &bench(&DIODE, &constant_laws("canali-1975"), ""));
}

#[test]
fn diode_with_all_laws() {
    let bench = bench(&DIODE, &all_laws(1e-6), "");
    sweep("diode, all laws, forward", &bench);
    sweep("diode, all laws, reverse", &bench);
}

#[test]
fn npn_with_an_open_base() {
    sweep("n-p-n, open base", &bench(&NPN, &all_laws(1e-6), ""));
}

/// Blocking, falling, about the holding point, on. Where the current is prescribed the
/// voltages are compared, and more closely: there the current as a function of the voltage
/// is steep or double-valued.
#[test]
fn pnpn() {
    let run = "p-n-p-n";
    let experiment =
        "[[experiment]]\nkind = \"snapback\"\ndrive = [\"last\"]\nstop = { current = 1e-4 }\n";
    let bench = bench(&PNPN, &all_laws(5e-8), experiment);
    let outcome = run_experiment(
        &bench.case,
        &bench.device,
        &bench.equilibrium,
        &bench.case.experiments[0],
        RunOptions { fields: 60 },
        None,
        &mut KeepNothing,
    )
    .expect("setup");
    let last = bench.contact("last");
    let mut system = bench.system("last");
    for r in committed(run) {
        // From the stored point nearest in ln I.
        let goal = r.current / PER_AREA;
        let far = |i: f64| (i.max(1e-30) / goal).ln().abs();
        let near = outcome
            .fields
            .iter()
            .min_by(|a, b| far(a.current).total_cmp(&far(b.current)))
            .expect("stored points");
        let mut volts = bench.equilibrium.volts.clone();
        volts.hi[last] = near.voltage;
        let mut state = State::from_words(&bench.device, &near.state, &volts).expect("state");
        let mut lambda = [near.voltage, 0.0];
        let mut now = near.current;
        for _ in 0..200 {
            let to = if far(now) < 0.05 { goal } else { now * (goal / now).clamp(0.95, 1.05) };
            system.newton(&mut state, &mut lambda, &Constraint::Current(to)).expect("a point");
            now = to;
            if now == goal {
                break;
            }
        }
        if r.by_current {
            assert_eq!(now, goal, "not reached");
            let what = format!("{run}: V at {:.3e} A/cm^2", r.current);
            check(SOURCE, &what, r.voltage, lambda[0], Within::Relative(0.002));
        } else {
            system
                .newton(&mut state, &mut lambda, &Constraint::Voltage(r.voltage))
                .expect("the same branch");
            compare_current(run, r.voltage, r.current, PER_AREA * system.current(last));
        }
    }
}

/// The script still gives what is committed.
#[test]
fn script_gives_the_committed_values() {
    let there = Command::new("python3")
        .args(["-c", "import scipy"])
        .output()
        .is_ok_and(|o| o.status.success());
    if !there {
        println!("skipped: python3 with scipy is not here");
        return;
    }
    let out = Command::new("python3").arg(SCRIPT).output().expect("python3");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let again: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let before: Value = serde_json::from_str(COMMITTED).expect("JSON");
    let runs = before["runs"].as_object().expect("runs");
    assert_eq!(runs.len(), again["runs"].as_object().expect("runs").len());
    for run in runs.keys() {
        let (a, b) = (points(&before, run), points(&again, run));
        assert_eq!(a.len(), b.len(), "{run}");
        for (a, b) in a.iter().zip(&b) {
            // Ten times the residual that the solver is asked for.
            for (old, new) in [(a.voltage, b.voltage), (a.current, b.current)] {
                assert!((new / old - 1.0).abs() < 1e-4, "{run}: {old:e} committed, {new:e} now");
            }
        }
    }
}
