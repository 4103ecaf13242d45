//! Values of a case by dotted path: found, set, refused.

use std::path::Path;

use holdpoint::case::constants::Dim;
use holdpoint::case::{get_path, quantity_at, read_beside, read_str, set_path};

fn pad() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("meshes/tern180-pad.toml");
    std::fs::read_to_string(path).expect("the shipped case")
}

fn with_slide() -> String {
    pad()
}

/// Lines that differ, of texts with the same number of lines.
fn changed(old: &str, new: &str) -> Vec<String> {
    assert_eq!(old.lines().count(), new.lines().count());
    old.lines().zip(new.lines()).filter(|(a, b)| a != b).map(|(_, b)| b.to_string()).collect()
}

#[test]
fn one_value_changes_and_nothing_else() {
    let text = pad();
    for (path, value, line) in [
        ("temperature", "25 degC", "temperature = \"25 degC\"              # a plain number"),
        ("wafer.acceptors", "5e15", "acceptors = 5e15"),
        ("well.n-well.falloff", "1.25", "falloff = 1.25  "),
        ("diffusion.n+ source.donors", "\"2e20 cm^-3\"", "donors  = \"2e20 cm^-3\""),
        (
            "terminal.cathode.resistance",
            "50 ohm*um",
            "resistance = \"50 ohm*um\"               # cont",
        ),
        ("experiment.snapback.stop.current", "1e-3", "stop  = { current = 1e-3 }"),
        ("experiment.2.bias.anode", "1.8", "bias = { anode = 1.8, well-tap = 3.3 }"),
        ("gate.n-gate.plate.work_function", "4.2", "plate = { work_function = 4.2 }"),
        ("terminal.anode.touches.0.from", "14.4", "touches = [{ from = 14.4, to = 15.7 }]"),
        ("trench.0.depth", "0.4", "depth = 0.4"),
        ("grid.nodes", "2000", "nodes = 2000                          # budget"),
        ("verdict.supply", "1.8 V", "supply = \"1.8 V\""),
    ] {
        let new = set_path(&text, path, value).unwrap_or_else(|e| panic!("{path}: {e}"));
        let lines = changed(&text, &new);
        assert_eq!(lines.len(), 1, "{path}: {lines:?}");
        assert!(lines[0].starts_with(line), "{path}: {:?}", lines[0]);
        read_str(&new, "new").unwrap_or_else(|p| panic!("{path}: {p:?}"));
        let back = get_path(&new, path).expect("set").expect("there");
        assert_eq!(back.trim_matches('"'), value.trim_matches('"'), "{path}");
    }
}

#[test]
fn what_is_absent_is_added() {
    let text = pad();
    for (path, value) in [
        ("temperatures", "[\"25 degC\", \"125 degC\"]"),
        ("constants.shockley-read-hall.tau_n0", "2 us"),
        ("constants.masetti-1983.electrons", "phosphorus"),
        ("laws.avalanche", "okuto-crowell-1975"),
        ("terminal.anode.resistance", "10"),
        ("well.p-well.crest", "0.2"),
    ] {
        assert_eq!(get_path(&text, path), Ok(None), "{path}");
        let new = set_path(&text, path, value).unwrap_or_else(|e| panic!("{path}: {e}"));
        for line in text.lines() {
            assert!(new.contains(line), "{path}: lost {line}");
        }
        read_str(&new, "new").unwrap_or_else(|p| panic!("{path}: {p:?}"));
        assert!(get_path(&new, path).expect("set").is_some(), "{path}");
    }
    // A table of its own on the way: the reader then asks for what it needs.
    let new = set_path(&text, "wafer.epi.thickness", "5").expect("a key");
    let problems = read_str(&new, "new").expect_err("an epi layer needs more");
    assert!(problems.iter().any(|p| p.text.contains("handle")), "{problems:?}");
}

#[test]
fn wrong_paths_say_what_is_near() {
    let text = with_slide();
    for (path, code, part) in [
        ("", "no-such-path", "dots"),
        ("well..falloff", "no-such-path", "dots"),
        ("temprature", "no-such-path", "`temperature`"),
        ("well.n-wel.falloff", "no-such-path", "`well.n-well.falloff`"),
        ("well.n-well.fallof", "no-such-path", "`well.n-well.falloff`"),
        ("well.n-well.top", "key-not-of-kind", "shape = \"gaussian\""),
        ("well.n-well.falloff.x", "no-such-path", "ends at `well.n-well.falloff`"),
        ("well.n-well", "not-a-value", "falloff"),
        ("well", "not-a-value", "n-well, p-well"),
        ("trench.1.depth", "no-such-path", "`trench.0.depth`"),
        ("experiment.injection.stop.current", "ambiguous-path", "experiment.1, experiment.2"),
        ("experiment.snapback.into", "key-not-of-kind", "drive"),
        ("experiment.1.bias.anod", "no-such-path", "`experiment.1.bias.anode`"),
        ("constants.auger.c_m", "no-such-path", "`constants.auger.c_n`"),
        ("constants.augur.c_n", "no-such-path", "`constants.auger.c_n`"),
        ("slide.spacin", "no-such-path", "`slide.spacing`"),
    ] {
        let error = set_path(&text, path, "1").expect_err(path);
        assert_eq!(error.code, code, "{path}: {error}");
        assert!(error.to_string().contains(part), "{path}: {error}");
        assert_eq!(get_path(&text, path).expect_err(path), error);
    }
    assert_eq!(set_path("a = ", "temperature", "1").expect_err("no TOML").code, "not-toml");
}

#[test]
fn numbers_come_with_unit_bounds_and_default() {
    let text = with_slide();
    let at = |path: &str| quantity_at(&text, path).expect(path).expect("a number");
    assert_eq!(at("temperature").value, Some(398.15));
    assert_eq!(at("temperature").bounds.low, 233.0);
    let falloff = at("well.n-well.falloff");
    assert_eq!((falloff.dim, falloff.value), (Dim::Length, Some(0.9)));
    assert_eq!(at("terminal.anode.resistance").value, Some(0.0));
    assert_eq!(at("constants.shockley-read-hall.tau_n0").dim, Dim::Time);
    assert!(at("constants.auger.c_n").value.is_some());
    assert_eq!(at("experiment.1.bias.anode").value, Some(3.3));
    assert_eq!(at("slide.spacing").value, Some(0.0));
    assert_eq!(quantity_at(&text, "laws.mobility"), Ok(None));
    let wrong = set_path(&text, "temperature", "3 V").expect("any value can be set");
    assert_eq!(quantity_at(&wrong, "temperature").expect_err("a voltage").code, "wrong-unit");
}

#[test]
fn a_slide_moves_what_lies_right_of_it() {
    let text = with_slide();
    let drawn = read_str(&text, "drawn").expect("good").0;
    assert_eq!(drawn.slides.len(), 1);
    assert_eq!(set_path(&text, "slide.spacing", "0"), Ok(text.clone()));
    let moved = set_path(&text, "slide.spacing", "500 nm").expect("moves");
    let case = read_str(&moved, "moved").unwrap_or_else(|p| panic!("{p:?}")).0;
    assert_eq!(case.wafer.span, 24.5);
    for (a, b) in
        drawn.wells.iter().chain(&drawn.diffusions).zip(case.wells.iter().chain(&case.diffusions))
    {
        let expect = |x: f64| if x > 11.0 { x + 0.5 } else { x };
        assert_eq!((b.from, b.to), (expect(a.from), expect(a.to)), "{}", a.name);
        assert_eq!((a.spread, a.peak), (b.spread, b.peak));
    }
    assert_eq!((case.trenches[0].from, case.trenches[0].to), (10.5, 14.0));
    assert_eq!((case.gates[0].from, case.gates[1].from), (7.47, 16.7));
    assert!(format!("{:?}", case.terminals[3].touches).contains("14.8"));
    assert_eq!(case.slides[0].right_of, 11.0, "its own x stays");
    assert!(moved.contains("within the trench") && moved.contains("# the cut runs from"));
    // There and back again.
    let back = set_path(&moved, "slide.spacing", "-0.5").expect("moves back");
    let back = read_str(&back, "back").expect("good").0;
    assert_eq!(back.wafer.span, drawn.wafer.span);
    assert_eq!(back.diffusions[3].from, drawn.diffusions[3].from);
    // Too far: the well edges at 12 would pass the trench's left end at 10.5.
    let error = set_path(&text, "slide.spacing", "-1.6").expect_err("too far");
    assert_eq!(error.code, "bad-slide");
    assert!(error.help.contains("-1.5"), "{error}");
    let beyond = text.replace("right_of = 11.0", "right_of = 30");
    assert_eq!(set_path(&beyond, "slide.spacing", "1").expect_err("outside").code, "bad-slide");
    let unit = set_path(&text, "slide.spacing", "1 V").expect_err("a voltage");
    assert_eq!(unit.code, "wrong-unit");
}

#[test]
fn tables_beside_a_case_are_found_for_a_changed_text() {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("p.csv"), "depth_um,concentration_cm3\n0,1e17\n1,1e16\n")
        .expect("written");
    let text = pad().replace("spread  = 0.2\n\n", "spread = 0.2\n\n[[well]]\nname = \"deep\"\nshape = \"table\"\nfile = \"p.csv\"\ndonors = 1e17\nfrom = 12\nto = 24\n\n");
    let new = set_path(&text, "well.deep.from", "12.5").expect("a key");
    read_beside(&new, &folder.path().join("case.toml")).unwrap_or_else(|p| panic!("{p:?}"));
    assert!(read_str(&new, "memory").is_err());
}
