//! Derivatives of folds by the case's numbers, against full reruns of the experiment on the
//! same mesh, moved.

mod bars_support;

use bars_support::{meshed, shipped};
use holdpoint::case::Case;
use holdpoint::discretize::Device;
use holdpoint::experiment::{Figures, Outcome, RunOptions, deformed, run_experiment};
use holdpoint::extract::{Slope, Slopes, sensitivities};
use holdpoint::mesh::Mesh;
use holdpoint::solve::equilibrium;
use holdpoint::trace::{Fold, KeepNothing};

fn run(case: &Case, mesh: &Mesh, index: usize) -> (Device, Outcome) {
    let device = Device::of_case(case, mesh);
    let (state, _) = equilibrium(&device).expect("equilibrium");
    let (e, options) = (&case.experiments[index], RunOptions::default());
    let outcome = run_experiment(case, &device, &state, e, options, None, &mut KeepNothing)
        .expect("the experiment runs");
    (device, outcome)
}

fn point<'o>(outcome: &'o Outcome, label: &str) -> Option<&'o Fold> {
    match (&outcome.figures, label) {
        (Figures::Snapback { trigger, .. }, "trigger") => trigger.as_ref().ok(),
        (Figures::Snapback { holding, .. }, "holding") => holding.as_ref().ok(),
        (Figures::Injection { critical, .. }, "critical") => critical.as_ref().ok(),
        _ => None,
    }
}

/// Steps are small: the trigger of a path that breaks down is not smooth, the ionization of
/// holes jumps by its law at 4e5 V/cm.
///
/// Sensitivities of an experiment, and by full reruns for the parameters named; both
/// derivatives of a point must agree within 1 %.
fn agrees(name: &str, nodes: usize, index: usize, paths: &[(&str, f64)]) -> usize {
    agrees_on(shipped(name, nodes), name, index, paths)
}

fn agrees_on(case: Case, name: &str, index: usize, paths: &[(&str, f64)]) -> usize {
    let (_, mesh) = meshed(&case);
    let (device, outcome) = run(&case, &mesh, index);
    let all = sensitivities(&case, &mesh, &device, index, &outcome).expect("sensitivities");
    assert!(!all.is_empty(), "{name}: no point was differentiated");
    let mut compared = 0;
    for &(path, step) in paths {
        let value = |s: &Slopes| s.rows.iter().find(|r| r.path == path).map(|r| r.value);
        let at = all.iter().find_map(value).unwrap_or_else(|| panic!("{name}: no {path}"));
        let rerun = |by: f64| {
            let v = deformed(&case, &mesh, path, at + by).expect("a moved case");
            run(&v.case, &v.mesh, index).1
        };
        // No resistance is negative: twice up, and as drawn.
        let low = if at == 0.0 && path.ends_with("resistance") { 0.0 } else { -step };
        let (up, down) = (rerun(2.0 * step + low), rerun(low));
        for slopes in &all {
            let (a, b) = (point(&up, &slopes.point), point(&down, &slopes.point));
            let (a, b) = (a.expect("the point"), b.expect("the point"));
            let row: &Slope = slopes.rows.iter().find(|r| r.path == path).expect("a row");
            let by = |f: fn(&Fold) -> f64| (f(a) - f(b)) / (2.0 * step);
            let volts = ("V", row.voltage, by(|f| f.voltage), slopes.voltage);
            let amps = ("I", row.current, by(|f| f.current), slopes.current);
            // Where along a flat maximum its top lies, full curves find to 1e-9 only: too
            // little for small differences.
            let pairs = match slopes.point.as_str() {
                "trigger" => vec![volts],
                "critical" => vec![amps],
                _ => vec![volts, amps],
            };
            for (what, adjoint, reruns, size) in pairs {
                let Some(adjoint) = adjoint else { continue };
                // What moves a point by less than a part in 1e5 of itself a per cent is noise.
                let scale = (size / at.abs().max(1.0) * 1e-5).abs();
                println!(
                    "{name} {} {what} by {path}: {adjoint:.6e}, reruns {reruns:.6e}",
                    slopes.point
                );
                assert!(
                    (adjoint - reruns).abs() <= 0.01 * reruns.abs() + scale,
                    "{name} {} {what} by {path}: {adjoint:e}, reruns {reruns:e}",
                    slopes.point
                );
                compared += 1;
            }
        }
    }
    compared
}

#[test]
fn bar() {
    let paths = [
        ("temperature", 0.2),
        ("well.n base.donors", 3e13),
        ("well.p base.acceptors", 2e14),
        ("slide.n base", 1e-4),
        ("constants.shockley-read-hall.tau_n0", 1e-11),
        ("constants.shockley-read-hall.tau_p0", 1e-11),
        ("wafer.thickness", 1e-3),
    ];
    let text = format!(
        "{}\n[[slide]]\nname = \"n base\"\nright_of = 3.0\n",
        shipped("four-layer-bar", 200).text
    );
    let mut case = holdpoint::case::read_str(&text, "").expect("a case").0;
    case.grid.nodes = Some(200);
    assert!(agrees_on(case, "four-layer-bar", 0, &paths) >= 21);
}

#[test]
#[ignore = "over a minute; the bar stands for it"]
fn core() {
    let paths = [
        ("temperature", 0.2),
        ("well.n-well.donors", 1e14),
        ("well.p-well.falloff", 1e-4),
        ("terminal.cathode.resistance", 0.1),
        ("terminal.well-tap.resistance", 0.1),
    ];
    assert!(agrees("tern180-core", 1500, 0, &paths[..]) >= 10);
}

/// Through the command line, the result file and back.
#[test]
fn shown_again_from_the_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let case = folder.path().join("bar.toml");
    let text = shipped("four-layer-bar", 200).text.replace("nodes = 3200", "nodes = 200");
    std::fs::write(&case, text).expect("a case");
    let file = folder.path().join("bar.h5");
    let call = |args: &[&std::ffi::OsStr]| {
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_holdpoint"))
            .args(args)
            .output()
            .expect("holdpoint runs");
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8(out.stdout).expect("text")
    };
    let word = std::ffi::OsStr::new;
    let summary = call(&[
        word("run"),
        case.as_os_str(),
        word("-o"),
        file.as_os_str(),
        word("--sensitivities"),
    ]);
    assert!(summary.contains("of temperature"), "{summary}");
    let again = call(&[word("show"), file.as_os_str(), word("--json")]);
    let json: serde_json::Value = serde_json::from_str(&again).expect("JSON");
    let table = &json["sensitivities"]["snapback_0_holding"];
    let names = table["parameter"].as_array().expect("parameters");
    let at = names.iter().position(|n| n == "temperature").expect("temperature");
    let slope = table["voltage_V_per_unit"][at].as_f64().expect("a slope");
    assert!((-2e-3..-0.5e-3).contains(&slope), "{slope}");
    assert_eq!(table["value_unit"][at], "K");
}

/// The long set: more parameters of three cases, with injections. Minutes.
#[test]
#[ignore = "minutes of full reruns"]
fn many() {
    let lengths = [
        ("well.n-well.from", 2e-3),
        ("diffusion.n+ source.to", 1e-3),
        ("diffusion.n+ source.falloff", 1e-4),
        ("well.n-well.falloff", 1e-3),
        ("well.n-well.spread", 1e-3),
        ("temperature", 0.2),
        ("well.p-well.acceptors", 1e14),
        ("constants.shockley-read-hall.tau_n0", 2e-7),
    ];
    for index in 0..3 {
        agrees("tern180-pad", 2000, index, &lengths);
    }
}
