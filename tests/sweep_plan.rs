//! Sweep files: what they plan, and what is wrong with bad ones.

mod sweep_support;

use std::path::Path;

use holdpoint::case::read_str;
use holdpoint::sweep::{Mode, Sweep};
use sweep_support::{DIODE, Desk};

fn sweep(text: &str) -> Result<Sweep, Vec<holdpoint::case::Problem>> {
    let load = |name: &str| match name {
        "diode.toml" => Ok((DIODE.to_string(), Path::new("diode.toml").to_path_buf())),
        _ => Err("not there".to_string()),
    };
    Sweep::of_text(text, Path::new("s.sweep.toml"), &load)
}

fn good(text: &str) -> Sweep {
    sweep(text).unwrap_or_else(|p| panic!("{text}\n{p:?}"))
}

const BASE: &str = "base = \"diode.toml\"\n";

#[test]
fn a_grid_has_each_value_with_each() {
    let s = good(&format!(
        "{BASE}[axes]\n\"diffusion.p+ anode.acceptors\" = {{ from = 1e17, to = 1e19, count = 3, scale = \"log\" }}\n\
         temperature = [\"25 degC\", 398.15]\nwafer.donors = [1e15]\n"
    ));
    assert_eq!((s.name.as_str(), s.count, s.mode), ("s", 6, Mode::Grid));
    let names: Vec<String> = (0..6).map(|k| s.case_name(k)).collect();
    assert_eq!(names[0], "acceptors=1e17_temperature=25degC_donors=1e15");
    assert_eq!(names[3], "acceptors=1e18_temperature=398.15_donors=1e15");
    assert_eq!(s.axes[1].levels[0].number, Some(298.15));
    let mut texts = Vec::new();
    for k in 0..6 {
        let text = s.case_text(k).expect("fits");
        let case = read_str(&text, "case").unwrap_or_else(|p| panic!("{p:?}")).0;
        assert_eq!(case.diffusions[0].peak, [1e17, 1e18, 1e19][k / 2]);
        assert_eq!(case.temperature, [298.15, 398.15][k % 2]);
        texts.push(text);
    }
    texts.dedup();
    assert_eq!(texts.len(), 6);
}

#[test]
fn names_stay_when_an_axis_grows() {
    let names = |list: &str| -> Vec<String> {
        let s = good(&format!(
            "{BASE}[axes]\ntemperature = [{list}]\n\"wafer.donors\" = [1e15, 1e16]\n"
        ));
        (0..s.count).map(|k| s.case_name(k)).collect()
    };
    let (few, many) = (names("300, 350"), names("280, 300, 325, 350"));
    assert!(few.iter().all(|n| many.contains(n)), "{few:?} {many:?}");
}

#[test]
fn zip_pairs_values_and_ranges_keep_their_unit() {
    let s = good(&format!(
        "{BASE}mode = \"zip\"\n[axes]\ntemperature = {{ from = \"0 degC\", to = \"100 degC\", count = 3 }}\n\
         \"wafer.span\" = [3, 3.5, 4]\n"
    ));
    assert_eq!(s.count, 3);
    assert_eq!(s.case_name(1), "temperature=50degC_span=3.5");
    assert!(s.case_text(1).expect("fits").contains("temperature = \"50 degC\""));
}

#[test]
fn a_latin_hypercube_has_one_sample_in_each_slice_and_follows_its_seed() {
    let text = |seed: u32| {
        format!(
            "{BASE}mode = \"latin-hypercube\"\nsamples = 40\nseed = {seed}\n[axes]\n\
             temperature = {{ from = 250, to = 450 }}\n\"wafer.donors\" = {{ from = 1e14, to = 1e18, scale = \"log\" }}\n\
             \"laws.statistics\" = [\"boltzmann\", \"fermi-dirac\"]\n"
        )
    };
    // 450 K is beyond what a case allows: the plan is made, the cases say so.
    let s = good(&text(7));
    assert_eq!(s.count, 40);
    for (axis, share) in [
        (0, (|v: f64| (v - 250.0) / 200.0) as fn(f64) -> f64),
        (1, |v: f64| (v.log10() - 14.0) / 4.0),
    ] {
        let mut slices: Vec<usize> = s.axes[axis]
            .levels
            .iter()
            .map(|l| (share(l.number.expect("a number")) * 40.0).floor() as usize)
            .collect();
        slices.sort_unstable();
        assert_eq!(slices, (0..40).collect::<Vec<_>>(), "axis {axis}");
    }
    let fermi = s.axes[2].levels.iter().filter(|l| l.toml.contains("fermi")).count();
    assert_eq!(fermi, 20);
    assert_eq!(good(&text(7)).axes, s.axes);
    assert_ne!(good(&text(8)).axes, s.axes);
    let mut names: Vec<String> = (0..40).map(|k| s.case_name(k)).collect();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), 40);
}

#[test]
fn long_names_stay_apart() {
    let value = "x".repeat(50);
    let text = format!("{BASE}mode = \"zip\"\n[axes]\ntitle = [\"{value}a\", \"{value}b\"]\n");
    let s = good(&text);
    assert_ne!(s.case_name(0), s.case_name(1));
    // Labels that lose what tells them apart are numbered.
    let s = good(&format!("{BASE}[axes]\ntitle = [\"a b\", \"ab\", \"a/b\"]\n"));
    assert_eq!(
        (0..3).map(|k| s.case_name(k)).collect::<Vec<_>>(),
        ["title=ab", "title=ab-2", "title=ab-3"]
    );
}

#[test]
fn bad_sweep_files_say_what_would_be_right() {
    for (text, code, part) in [
        ("", "bad-base", "CASE.toml"),
        ("base = 3\n[axes]\ntemperature = [300]\n", "bad-base", "CASE.toml"),
        ("base = \"none.toml\"\n[axes]\ntemperature = [300]\n", "bad-base", "beside"),
        ("base = ", "syntax", "base ="),
        (BASE, "bad-axis", "temperature = "),
        ("base = \"diode.toml\"\naxis = 1\n[axes]\ntemperature = [300]\n", "unknown-key", "`axes`"),
        ("base = \"diode.toml\"\n[axes]\ntemprature = [300]\n", "bad-axis", "`temperature`"),
        (
            "base = \"diode.toml\"\n[axes]\n\"diffusion.anode.donors\" = [300]\n",
            "bad-axis",
            "p+ anode",
        ),
        ("base = \"diode.toml\"\n[axes]\ntemperature = [\"3 V\"]\n", "bad-axis-value", "degC"),
        ("base = \"diode.toml\"\n[axes]\ntemperature = []\n", "bad-axis", "at least one"),
        ("base = \"diode.toml\"\n[axes]\ntemperature = 300\n", "bad-axis", "count = 5"),
        ("base = \"diode.toml\"\n[axes]\ntemperature = [300, 300]\n", "bad-axis", "leave one"),
        (
            "base = \"diode.toml\"\n[axes]\ntemperature = { from = 300, count = 3 }\n",
            "bad-range",
            "to = 2",
        ),
        (
            "base = \"diode.toml\"\n[axes]\ntemperature = { from = 300, to = 310 }\n",
            "bad-range",
            "count = 5",
        ),
        (
            "base = \"diode.toml\"\n[axes]\ntemperature = { from = 300, to = 310, count = 0 }\n",
            "bad-range",
            "count",
        ),
        (
            "base = \"diode.toml\"\n[axes]\ntemperature = { from = 300, to = 310, step = 1 }\n",
            "bad-range",
            "from, to",
        ),
        (
            "base = \"diode.toml\"\n[axes]\ntemperature = { from = -3, to = 310, count = 3, scale = \"log\" }\n",
            "bad-range",
            "positive",
        ),
        (
            "base = \"diode.toml\"\n[axes]\ntemperature = { from = 300, to = 310, count = 3, scale = \"cubic\" }\n",
            "bad-range",
            "\"log\"",
        ),
        (
            "base = \"diode.toml\"\n[axes]\ntemperature = { from = 300, to = 300, count = 3 }\n",
            "bad-range",
            "two ends",
        ),
        (
            "base = \"diode.toml\"\n[axes]\n\"laws.mobility\" = { from = 1, to = 2, count = 2 }\n",
            "bad-axis",
            "klaassen-1992",
        ),
        (
            "base = \"diode.toml\"\nmode = \"random\"\n[axes]\ntemperature = [300]\n",
            "bad-mode",
            "latin-hypercube",
        ),
        (
            "base = \"diode.toml\"\nseed = 1\n[axes]\ntemperature = [300]\n",
            "bad-mode",
            "leave it out",
        ),
        (
            "base = \"diode.toml\"\nmode = \"latin-hypercube\"\n[axes]\ntemperature = [300]\n",
            "bad-mode",
            "samples = 200",
        ),
        (
            "base = \"diode.toml\"\nmode = \"zip\"\n[axes]\ntemperature = [300, 310]\n\"wafer.span\" = [3]\n",
            "bad-axis",
            "as many",
        ),
        (
            "base = \"diode.toml\"\n[axes]\ntemperature = { from = 240, to = 440, count = 100000 }\n\"wafer.span\" = { from = 3, to = 4, count = 100000 }\n",
            "bad-axis",
            "fewer",
        ),
    ] {
        let problems = sweep(text).err().unwrap_or_else(|| panic!("accepted: {text}"));
        let p = &problems[0];
        assert_eq!(p.code, code, "{text}: {p:?}");
        let help = p.help.clone().unwrap_or_default();
        assert!(help.contains(part) || p.text.contains(part), "{text}: {p:?}");
    }
}

#[test]
fn plan_prints_and_refuses() {
    let desk = Desk::new();
    desk.put("diode.toml", DIODE);
    desk.put(
        "t.sweep.toml",
        "base = \"diode.toml\"\n[axes]\ntemperature = { from = 250, to = 440, count = 200 }\n",
    );
    let said = desk.run(&["sweep", "plan", "t.sweep.toml"]).good();
    for part in
        ["t: 200 cases (grid)", "temperature=250\n", "  …\n", "on one core", "results/t/cases"]
    {
        assert!(said.out.contains(part), "{part}: {said:?}");
    }
    let json = desk.run(&["sweep", "plan", "t.sweep.toml", "--json"]).good().json();
    assert_eq!(json["cases"], 200);
    assert_eq!(json["names"].as_array().map(Vec::len), Some(200));
    assert!(json["estimate"]["seconds_per_case"].as_f64().is_some_and(|s| s > 0.0));
    assert!(!desk.file("results").exists(), "a plan writes nothing");
    // A value that the key allows in form but not in size is found before anything runs.
    desk.put("hot.sweep.toml", "base = \"diode.toml\"\n[axes]\ntemperature = [300, 3000]\n");
    for verb in ["plan", "run"] {
        let said = desk.run(&["sweep", verb, "hot.sweep.toml"]);
        assert_eq!(said.code, Some(2), "{said:?}");
        assert!(said.err.contains("temperature=3000") && said.err.contains("448"), "{said:?}");
    }
    let said = desk.run(&["sweep", "plan", "none.toml"]);
    assert_eq!(said.code, Some(2));
    let said = desk.run(&["sweep", "status", "."]);
    assert_eq!(said.code, Some(2), "{said:?}");
    assert!(said.err.contains("sweep.json"), "{said:?}");
}

#[test]
fn the_estimate_rests_on_present_results_or_on_steps_taken_now() {
    let desk = Desk::new();
    desk.put("diode.toml", DIODE);
    let sweep = "base = \"diode.toml\"\n[axes]\ntemperature = [260, 300, 340]\n";
    desk.put("e.sweep.toml", sweep);
    let plan = || desk.run(&["sweep", "plan", "e.sweep.toml", "--json"]).good().json();
    let of = |j: &serde_json::Value, key: &str| j["estimate"][key].as_f64().expect("a number");
    let steps = plan();
    assert_eq!(steps["estimate"]["from"], "newton-steps", "{steps}");
    assert!(of(&steps, "seconds_per_case_low") < of(&steps, "seconds_per_case"));
    // A rule of thumb for 50 nodes and five points, on any machine: no second.
    assert!(of(&steps, "seconds_per_case_high") < 1.0, "{steps}");
    desk.run(&["sweep", "run", "e.sweep.toml", "-q"]).good();
    let walls: Vec<f64> = desk
        .results("e")
        .iter()
        .map(|p| holdpoint::record::head(p).expect("a result").wall)
        .collect();
    let there = plan();
    assert_eq!(there["estimate"]["from"], "results", "{there}");
    let mean = walls.iter().sum::<f64>() / 3.0;
    assert!((of(&there, "seconds_per_case") / mean - 1.0).abs() < 1e-9, "{there} {walls:?}");
    // Results of another case text say nothing of this one.
    desk.put("diode.toml", &DIODE.replace("1e18", "2e18"));
    assert_eq!(plan()["estimate"]["from"], "newton-steps");
    // A finer grid, a longer case; an axis over the grid asks for the memory of its largest.
    desk.put("diode.toml", DIODE);
    let bytes = |nodes: &str| {
        let base = DIODE.split("[grid]").next().expect("a part").to_string();
        let end = DIODE.split_once("y = [0, 1]\n").expect("a part").1;
        desk.put("g.toml", &format!("{base}[grid]\nnodes = 500\n{end}"));
        desk.put(
            "g.sweep.toml",
            &format!("base = \"g.toml\"\n[axes]\n\"grid.nodes\" = [{nodes}]\n"),
        );
        let j = desk.run(&["sweep", "plan", "g.sweep.toml", "--json"]).good().json();
        (of(&j, "bytes_per_case"), of(&j, "seconds_per_case"))
    };
    let (small, large) = (bytes("500"), bytes("500, 9000, 600, 700"));
    assert!((large.0 - small.0 - 8500.0 * 24e3).abs() < 1.0, "{small:?} {large:?}");
    assert!(large.1 > 2.0 * small.1, "{small:?} {large:?}");
}

#[test]
fn the_shipped_sweep_is_good() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/tern180-spacing.sweep.toml");
    let s = Sweep::read(Path::new(path)).unwrap_or_else(|p| panic!("{p:?}"));
    assert_eq!(s.count, 10);
    for k in 0..s.count {
        let (case, warnings) = s.case(k).unwrap_or_else(|p| panic!("{p:?}"));
        assert!(warnings.is_empty(), "{warnings:?}");
        let spacing = [-1.0, -0.5, 0.0, 1.0, 2.0][k / 2];
        assert!((case.wafer.span - 24.0 - spacing).abs() < 1e-9);
    }
}
