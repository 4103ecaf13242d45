//! Cases that must be read: the shipped ones and the example of the design document.

use std::path::Path;

use holdpoint::case::{
    Case, Depth, ExperimentKind, Plate, Polarity, Profile, Role, Side, Sign, Touch, read_file,
    read_str,
};

fn shipped(name: &str) -> Case {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("meshes").join(name);
    match read_file(&path) {
        Ok((case, warnings)) => {
            assert!(warnings.is_empty(), "{name}: {warnings:#?}");
            case
        }
        Err(problems) => panic!("{name}: {problems:#?}"),
    }
}

#[test]
fn every_shipped_case_is_read_without_a_warning() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("meshes");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).expect("meshes/ is there") {
        let name = entry.expect("readable").file_name().into_string().expect("plain name");
        // Sweep files have a schema of their own.
        if name.ends_with(".toml") && !name.ends_with(".sweep.toml") {
            let case = shipped(&name);
            assert!(!case.title.is_empty() && !case.experiments.is_empty(), "{name}");
            seen += 1;
        }
    }
    assert!(seen >= 4, "{seen} cases");
}

#[test]
fn tern180_pad_says_what_it_should() {
    let case = shipped("tern180-pad.toml");
    assert!((case.temperature - 398.15).abs() < 1e-9);
    assert_eq!((case.width, case.wafer.span, case.wafer.thickness), (100.0, 24.0, 10.0));
    assert_eq!(case.wafer.doping, Some((Polarity::Acceptors, 1e15)));
    assert_eq!((case.wells.len(), case.diffusions.len(), case.trenches.len()), (2, 6, 1));
    assert_eq!(case.gates.len(), 2);
    for gate in &case.gates {
        assert!((gate.to - gate.from - 0.35).abs() < 1e-9, "{gate:?}");
        assert!((gate.oxide - 0.007).abs() < 1e-12);
    }
    assert_eq!(case.gates[0].plate, Plate::NPoly);
    assert_eq!(case.gates[1].follows.as_deref(), Some("anode"));
    let roles: Vec<Role> = case.terminals.iter().map(|t| t.role).collect();
    for role in [Role::Anode, Role::Cathode, Role::WellTap, Role::SubstrateTap, Role::Drain] {
        assert!(roles.contains(&role), "{role:?}");
    }
    match &case.experiments[0].kind {
        ExperimentKind::Snapback { drive, stop } => {
            assert_eq!(drive, &["anode", "well-tap"]);
            assert_eq!((stop.current, stop.voltage), (Some(1e-2), None));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(case.experiments[0].open, ["n-drain", "p-drain"]);
    let signs: Vec<(&str, Sign)> = case.experiments[1..]
        .iter()
        .map(|e| match &e.kind {
            ExperimentKind::Injection { into, sign, .. } => (into.as_str(), *sign),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(signs, [("p-drain", Sign::Positive), ("n-drain", Sign::Negative)]);
    let verdict = case.verdict.expect("a verdict");
    assert_eq!((verdict.supply, verdict.margin), (3.3, 0.1));
}

/// Net doping at the surface of `tern180-pad`, from the formulas of the design document,
/// donors positive.
fn surface_net(case: &Case, x: f64) -> f64 {
    let mut net = match case.wafer.doping {
        Some((Polarity::Donors, n)) => n,
        Some((Polarity::Acceptors, n)) => -n,
        None => 0.0,
    };
    for p in case.wells.iter().chain(&case.diffusions) {
        let distance = (p.from - x).max(x - p.to).max(0.0);
        let lateral = (-(distance / p.spread).powi(2)).exp();
        let n = p.peak * lateral;
        net += if p.polarity == Polarity::Donors { n } else { -n };
    }
    net
}

#[test]
fn tern180_pad_has_no_shorts_and_its_gates_reach_both_diffusions() {
    let case = shipped("tern180-pad.toml");
    // Signs along the surface, run by run: tap p, well p | n+ | p channel | n+ | p-well |
    // n-well | p+ | n channel | p+ | n-well and its tap.
    let mut runs: Vec<(bool, f64, f64)> = Vec::new();
    for i in 0..=24_000 {
        let x = f64::from(i) * 1e-3;
        let n = surface_net(&case, x) > 0.0;
        match runs.last_mut() {
            Some(last) if last.0 == n => last.2 = x,
            _ => runs.push((n, x, x)),
        }
    }
    let polarity: Vec<bool> = runs.iter().map(|r| r.0).collect();
    assert_eq!(
        polarity,
        [false, true, false, true, false, true, false, true, false, true],
        "{runs:?}"
    );
    // The channel is the run in which the gate's middle lies; the gate covers it and
    // overlaps source and drain by 10 to 100 nm.
    for gate in &case.gates {
        let middle = 0.5 * (gate.from + gate.to);
        let channel = runs.iter().find(|r| r.1 <= middle && middle <= r.2).expect("a channel");
        for overlap in [channel.1 - gate.from, gate.to - channel.2] {
            assert!((0.01..0.1).contains(&overlap), "{}: {overlap}", gate.name);
        }
        assert!(channel.2 - channel.1 > 0.2, "{}: {channel:?}", gate.name);
    }
}

#[test]
fn strips_and_bar_are_one_dimensional_with_contacts_on_their_sides() {
    for name in ["four-layer-bar.toml", "diode-strip.toml"] {
        let case = shipped(name);
        let touches: Vec<_> = case.terminals.iter().flat_map(|t| t.touches.clone()).collect();
        assert_eq!(touches, [Touch::Side(Side::Left), Touch::Side(Side::Right)], "{name}");
        for p in case.wells.iter().chain(&case.diffusions) {
            match p.profile {
                Profile::Box { top, bottom } => {
                    assert_eq!((top, bottom), (0.0, case.wafer.thickness), "{name}: {}", p.name);
                }
                ref other => panic!("{name}: {other:?}"),
            }
        }
    }
    let bar = shipped("four-layer-bar.toml");
    assert!((bar.constants.get("shockley-read-hall", "tau_n0") - 1e-9).abs() < 1e-24);
    match &shipped("npn-strip.toml").experiments[..] {
        [e] => match &e.kind {
            ExperimentKind::Bias { drive, at } => {
                assert_eq!(drive, &["base"]);
                assert_eq!((at.first(), at.last()), (Some(&0.4), Some(&0.9)));
                assert_eq!(e.bias[0].voltage, 2.0);
            }
            other => panic!("{other:?}"),
        },
        other => panic!("{other:?}"),
    }
}

/// Section 3 of the design document, verbatim.
const DESIGN: &str = include_str!("case_design_example.toml");

/// The example shows one terminal only; these are the others that it names.
const OTHERS: &str = r#"
[[terminal]]
name = "anode"
touches = [{ from = 14, to = 15 }]
[[terminal]]
name = "well-tap"
touches = [{ from = 22, to = 23 }]
[[terminal]]
name = "substrate-tap"
touches = [{ from = 1, to = 2 }]
[[terminal]]
name = "p-drain"
touches = [{ from = 17, to = 18 }]
[[terminal]]
name = "base"
touches = [{ from = 4, to = 5 }]
[[terminal]]
name = "collector"
touches = [{ from = 6, to = 7 }]
"#;

#[test]
fn the_design_example_lacks_only_the_terminals_that_it_does_not_show() {
    let problems = read_str(DESIGN, "design.toml").expect_err("terminals are missing");
    assert!(problems.iter().all(|p| p.code == "unknown-terminal"), "{problems:#?}");
}

#[test]
fn the_design_example_with_its_terminals_is_read() {
    let text = format!("{DESIGN}{OTHERS}");
    let (case, warnings) = read_str(&text, "design.toml").expect("a good case");
    assert!(warnings.is_empty(), "{warnings:#?}");
    assert_eq!(case.title, "Tern-180 pad driver");
    assert!((case.temperature - 398.15).abs() < 1e-9);
    match &case.diffusions[0].profile {
        Profile::Gaussian { crest, depth } => {
            assert_eq!((*crest, *depth), (0.0, Depth::Falloff(0.12)));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(case.grid.nodes, Some(8000));
    assert!((case.grid.finest.expect("given") - 0.004).abs() < 1e-12);
    assert_eq!(case.experiments.len(), 3);
    assert_eq!(case.constants.get("auger", "c_n"), 2.8e-31);
    assert!((case.constants.get("shockley-read-hall", "tau_n0") - 20e-6).abs() < 1e-18);
    assert_eq!(case.text, text);
}

#[test]
fn a_short_case_gets_its_defaults() {
    let text = "[wafer]\nspan = 5\nthickness = 2\n[[terminal]]\nname = 'back'\ntouches = [{ side = 'back' }]\n[[terminal]]\nname = 'top'\ntouches = [{ from = 1, to = 2 }]\n[[experiment]]\nkind = 'snapback'\ndrive = ['top']\n";
    let (case, warnings) = read_str(text, "").expect("a good case");
    assert!(warnings.is_empty(), "{warnings:#?}");
    assert_eq!((case.temperature, case.width), (300.0, 1.0));
    assert_eq!(case.wafer.doping, None);
    assert_eq!(case.terminals[0].role, Role::None);
    assert_eq!(case.terminals[0].resistance, 0.0);
    assert_eq!(case.grid.nodes, Some(8000));
    assert_eq!(case.laws, holdpoint::case::Laws::default());
    assert!(case.verdict.is_none() && case.temperatures.is_empty());
    match &case.experiments[0].kind {
        ExperimentKind::Snapback { stop, .. } => assert_eq!(stop.current, Some(1e-2)),
        other => panic!("{other:?}"),
    }
}

#[test]
fn units_and_epi_and_temperatures_come_through() {
    let text = r#"
temperatures = ["-40 degC", 300, "125 °C"]
[wafer]
span = "0.02 mm"
thickness = "12 µm"
epi = { thickness = "5 um", acceptors = 1e15, handle = "5e18 cm^-3", blur = "0.4 um" }
[[well]]
name = "retrograde"
donors = "2e23 m^-3"
from = 0x2
to = "12 μm"
shape = "erfc"
crest = 0.5
junction_depth = 2.0
[[gate]]
name = "g"
from = 14
to = 15
oxide = "7 nm"
plate = { work_function = "4.1 eV" }
[[terminal]]
name = "t"
touches = [{ from = 4, to = 5 }, { from = 6, to = 7 }, { side = "left" }]
resistance = "1 ohm*cm"
[[experiment]]
kind = "bias"
drive = ["g"]
at = ["500 mV", 1]
"#;
    let (case, _) = read_str(text, "x.toml").expect("a good case");
    assert_eq!(case.temperatures.len(), 3);
    assert!((case.temperatures[0] - 233.15).abs() < 1e-9);
    assert!((case.temperatures[2] - 398.15).abs() < 1e-9);
    assert_eq!((case.wafer.span, case.wafer.thickness), (20.0, 12.0));
    let epi = case.wafer.epi.expect("an epi layer");
    assert_eq!((epi.thickness, epi.handle, epi.blur), (5.0, 5e18, 0.4));
    let well = &case.wells[0];
    assert!((well.peak / 2e17 - 1.0).abs() < 1e-12);
    assert_eq!((well.from, well.to, well.spread), (2.0, 12.0, 0.0));
    match &well.profile {
        Profile::Erfc { crest, depth } => {
            assert_eq!((*crest, *depth), (0.5, Depth::Junction(2.0)));
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(case.gates[0].plate, Plate::WorkFunction(4.1));
    assert_eq!(case.terminals[0].touches.len(), 3);
    assert!((case.terminals[0].resistance - 1e4).abs() < 1e-9);
    match &case.experiments[0].kind {
        ExperimentKind::Bias { at, .. } => assert_eq!(at, &[0.5, 1.0]),
        other => panic!("{other:?}"),
    }
}
