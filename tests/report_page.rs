//! The page in a real Chromium: everything is drawn, can be used, and asks for nothing.

mod record_support;
mod report_support;

use holdpoint::cli::{Joined, Rooms};
use std::path::Path;

use holdpoint::record::{self, RunRecord};
use holdpoint::report::{Item, page};
use holdpoint::trace::{Fields, StateWords};
use report_support::{browser, drive, holdpoint, pad, pad_record};

/// Breaks out of anything that forgets to escape it.
const HOSTILE: &str =
    "\"'></title></script><script>alert(1)</script><img src=x onerror=alert(2)>\u{2028}&amp;";

fn write(folder: &tempfile::TempDir, name: &str, items: &[Item]) -> std::path::PathBuf {
    let path = folder.path().join(name);
    std::fs::write(&path, page(items)).unwrap();
    path
}

fn item(name: &str, record: RunRecord) -> Item {
    Item { name: name.to_string(), record }
}

#[test]
fn a_result_is_drawn_and_can_be_used() {
    let Some(chromium) = browser() else { return };
    let folder = tempfile::tempdir().unwrap();
    let found = drive(&chromium, &write(&folder, "one.html", &[item("pad", pad_record())]));
    assert_eq!(found["charts"], 3);
    assert_eq!(found["maps"], 1);
    // 7 quantities at 7 points, and the doping once.
    assert_eq!(found["thumbs"], 50);
    assert!(found["map_read"].as_str().unwrap().contains("net doping"));
    println!("{found}");
}

#[test]
fn several_results_are_laid_over_each_other() {
    let Some(chromium) = browser() else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut other = pad_record();
    other.experiments.truncate(2);
    let items = [item("a", pad_record()), item("b", other), item(HOSTILE, pad_record())];
    let found = drive(&chromium, &write(&folder, "several.html", &items));
    assert_eq!(found["charts"], 3);
    // One set of maps; a button for each result shows the large map of it.
    assert_eq!(found["maps"], 1);
    assert_eq!((&found["twins"], &found["results_seen"]), (&3.into(), &3.into()));
}

/// What the page's script draws from.
fn data(text: &str) -> serde_json::Value {
    let start = text.find("id=\"data\">").unwrap() + 10;
    let end = start + text[start..].find("</script>").unwrap();
    serde_json::from_str(&text[start..end]).unwrap()
}

#[test]
fn corresponding_points_share_a_scale() {
    let mut hot = pad_record();
    for f in hot.experiments.iter_mut().flat_map(|o| &mut o.fields) {
        f.hole_current_x.iter_mut().for_each(|v| *v *= 10.0);
    }
    let alone = data(&page(&[item("a", pad_record())]));
    let both = data(&page(&[item("a", pad_record()), item("hot", hot)]));
    let points = both["maps"][0]["points"].as_array().unwrap();
    assert_eq!(points.len(), 14);
    let scale = |p: &serde_json::Value, key: &str| {
        let m = &p["maps"][key];
        (m["low"].as_f64().unwrap(), m["high"].as_f64().unwrap())
    };
    let mut widened = 0;
    for pair in points.chunks(2) {
        assert_eq!(pair[0]["group"], pair[1]["group"]);
        assert_eq!((&pair[0]["of"], &pair[1]["of"]), (&"a".into(), &"hot".into()));
        for key in ["potential", "hole-current", "electrons"] {
            assert_eq!(scale(&pair[0], key), scale(&pair[1], key));
        }
        let own = alone["maps"][0]["points"].as_array().unwrap();
        let own = own.iter().find(|p| p["group"] == pair[0]["group"]).unwrap();
        assert_eq!(scale(own, "potential"), scale(&pair[0], "potential"));
        widened +=
            usize::from(scale(&pair[0], "hole-current").1 > scale(own, "hole-current").1 + 0.3);
    }
    // The current along x rules at some of the points.
    assert!(widened >= 3, "{widened} of 7 scales have grown");
}

/// An invented S-curve of the lumped model that goes far beyond the field solution's.
#[test]
fn the_lumped_model_lies_over_the_curve_and_stretches_no_axis() {
    use holdpoint::experiment::Sheet;
    let fold = |v, i| {
        Sheet::new().number("voltage_V", "V", "voltage", Ok(v)).number(
            "current_A_per_um",
            "A/um",
            "current",
            Ok(i),
        )
    };
    let curve = Sheet::new()
        .column("voltage_V", "V", "voltage", vec![900.0, 20.0, 1.1, 1.3])
        .column("current_A_per_um", "A/um", "current", vec![1e-9, 1e-4, 1e-3, 1e-2]);
    let lumped = Sheet::new()
        .group("trigger", "trigger", fold(900.0, 1e-9))
        .group("holding", "holding", fold(1.1, 1e-3))
        .group("curve", "S-curve", curve);
    let mut record = pad_record();
    let plain = holdpoint::report::figure(&record, "curve-0").unwrap();
    record.extract = Sheet::new().group("lumped", "lumped two-transistor model", lumped);
    let over = holdpoint::report::figure(&record, "curve-0").unwrap();
    // Every tick stands where it stood; a row more in the legend moves them down only.
    let ticks = |d: &holdpoint::report::Drawing| -> Vec<String> {
        let text = holdpoint::report::to_svg(d);
        let all = text.lines().filter(|l| l.starts_with("<text") && l.contains("font-size=\"12\""));
        let parts = all.map(|l| {
            let x = l.split("x=\"").nth(1).and_then(|r| r.split('"').next()).unwrap();
            let label = l.split('>').nth(1).and_then(|r| r.split('<').next()).unwrap();
            format!("{x}: {label}")
        });
        parts.collect()
    };
    assert!(ticks(&plain).len() > 8, "{:?}", ticks(&plain));
    assert_eq!(ticks(&plain), ticks(&over));
    assert!(holdpoint::report::to_svg(&over).contains("lumped model (trigger 900.0 V"));
    let all = data(&page(&[item("pad", record)]));
    let guests = |id: &str| {
        let series = all["charts"][id]["series"].as_array().unwrap().clone();
        series.iter().filter(|s| s["aside"] == true).count()
    };
    assert_eq!((guests("curve-0"), guests("curve-1")), (1, 0));
}

/// A line that only some of the curves are judged by would mislead.
#[test]
fn curves_of_two_supplies_have_no_common_line() {
    let mut other = pad_record();
    let alike = data(&page(&[item("a", pad_record()), item("b", other.clone())]));
    assert_eq!(alike["charts"]["overlay-0"]["supply"]["supply"], 3.3);
    other.verdict.as_mut().unwrap().supply = 1.2;
    let apart = data(&page(&[item("a", pad_record()), item("b", other)]));
    assert!(apart["charts"]["overlay-0"]["supply"].is_null());
}

#[test]
fn several_large_results_stay_small() {
    let (items, _) = large(3);
    let text = page(&items);
    assert!(text.len() < 5_000_000, "{} bytes", text.len());
    // Every result has its holding point's currents, and the reader is told what is missing.
    assert!(text.contains("maps are left out"));
    let all = data(&text);
    for k in 0..3 {
        let mut points = all["maps"][0]["points"].as_array().unwrap().iter();
        assert!(points.any(|p| p["mesh"] == k && p["maps"]["hole-current"]["data"].is_string()));
    }
}

#[test]
fn hostile_text_stays_text() {
    let mut record = pad_record();
    record.title = HOSTILE.to_string();
    record.case_name = HOSTILE.to_string();
    record.case_text = HOSTILE.repeat(3);
    record.warnings.push(HOSTILE.to_string());
    record.provenance.machine = HOSTILE.to_string();
    for terminal in &mut record.mesh.terminals {
        terminal.name.push_str(HOSTILE);
    }
    for o in &mut record.experiments {
        o.kind.push_str(HOSTILE);
        o.drive.push(HOSTILE.to_string());
        o.warnings.push(HOSTILE.to_string());
        o.curve.terminals.iter_mut().for_each(|t| t.push_str(HOSTILE));
        o.fields.iter_mut().for_each(|f| f.label.push_str(HOSTILE));
    }
    let rich = item(HOSTILE, record_support::rich());
    for items in [vec![item(HOSTILE, record)], vec![rich]] {
        let text = page(&items);
        assert!(!text.contains("<script>alert") && !text.contains("<img"), "markup gets through");
        assert_eq!(text.matches("</script>").count(), 2);
        if let Some(chromium) = browser() {
            let folder = tempfile::tempdir().unwrap();
            drive(&chromium, &write(&folder, "hostile.html", &items));
        }
    }
}

/// Smooth fields that nobody solved for: what counts is how many there are.
fn invented(record: &RunRecord, label: &str) -> Fields {
    let mesh = &record.mesh;
    let n = mesh.nodes();
    let of = |f: fn(f64, f64) -> f64| -> Vec<f64> {
        let place = |k: usize| mesh.ij(k);
        (0..n).map(place).map(|(i, j)| f(mesh.x[i] / 24.0, mesh.y[j] / 10.0)).collect()
    };
    Fields {
        label: label.to_string(),
        voltage: 1.0,
        current: 1e-3,
        state: StateWords { potential: of(|x, y| x - y * y), ..StateWords::default() },
        electrons: of(|x, y| 1e17 * (x + y)),
        holes: of(|x, y| 1e17 * (x * y).exp()),
        electron_current_x: of(|x, _| 1e3 * x),
        electron_current_y: of(|_, y| -1e3 * y),
        hole_current_x: of(|x, _| 2e3 * x),
        hole_current_y: of(|_, y| -2e3 * y),
        recombination: of(|x, y| 1e22 * (x - y)),
        avalanche: of(|x, y| 1e20 * (-40.0 * (x - y).powi(2)).exp()),
    }
}

/// `count` results of about 20,000 nodes, and how many they have.
fn large(count: usize) -> (Vec<Item>, usize) {
    let text = report_support::CASE.replace("nodes = 8000", "nodes = 20000");
    let (case, _) = holdpoint::case::read_str(&text, "pad").unwrap();
    let mut record = pad_record();
    record.mesh = Joined.mesh(&case).ok().unwrap().mesh;
    let whole = record.clone();
    for o in &mut record.experiments {
        o.fields = o.fields.iter().map(|f| invented(&whole, &f.label)).collect();
    }
    let nodes = record.mesh.nodes();
    ((0..count).map(|k| item(&format!("large-{k}"), record.clone())).collect(), nodes)
}

#[test]
fn twenty_thousand_nodes_stay_small_and_quick() {
    let (items, nodes) = large(1);
    assert!(nodes > 19_000, "{nodes} nodes");
    let size = page(&items).len();
    assert!(size < 5_000_000, "{size} bytes");
    let Some(chromium) = browser() else { return };
    let folder = tempfile::tempdir().unwrap();
    let path = write(&folder, "large.html", &items);
    // The best of three: others may be at work on the machine.
    let mut best = f64::INFINITY;
    for _ in 0..3 {
        let found = drive(&chromium, &path);
        best = best.min(found["ready_s"].as_f64().unwrap());
        if best < 2.0 {
            break;
        }
    }
    println!("{size} bytes, ready after {best:.2} s");
    assert!(best < 2.0, "ready after {best} s");
}

/// Holding voltages that rise through the supply along one axis.
fn invented_sweep(name: &str) -> holdpoint::record::Gathered {
    use holdpoint::record::{AxisValues, Column, Gathered, Values};
    let (rows, columns) = (5usize, 7usize);
    let at = |f: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
        (0..rows * columns).map(|k| f((k / columns) as f64, (k % columns) as f64)).collect()
    };
    let held = at(&|r, c| 1.0 + 0.4 * r + 0.5 * c);
    let verdict =
        held.iter().map(|v| if *v < 3.63 { "latches" } else { "no-on-state" }.to_string());
    let column = |name: &str, unit: &str, values: Values| Column {
        name: name.to_string(),
        unit: unit.to_string(),
        meaning: format!("{name} of the invented sweep"),
        values,
    };
    let cases = (0..rows * columns).map(|k| format!("r{}c{}", k / columns, k % columns));
    let mut v_t = at(&|r, c| 20.0 + r - c);
    v_t[3] = f64::NAN;
    Gathered {
        name: name.to_string(),
        version: "0".into(),
        sweep_text: HOSTILE.to_string(),
        base_text: report_support::CASE.to_string(),
        axes: vec![
            AxisValues {
                name: "temperature".into(),
                unit: "K".into(),
                meaning: format!("temperature {name}"),
                values: Values::Numbers((0..rows).map(|r| 250.0 + 40.0 * r as f64).collect()),
            },
            AxisValues {
                name: "spacing".into(),
                unit: "um".into(),
                meaning: "slide.spacing".into(),
                values: Values::Numbers((0..columns).map(|c| 2.0 * c as f64).collect()),
            },
        ],
        columns: vec![
            column("verdict", "1", Values::Texts(verdict.collect())),
            column("case", "1", Values::Texts(cases.collect())),
            column("status", "1", Values::Texts(vec![HOSTILE.to_string(); rows * columns])),
            column("V_h", "V", Values::Numbers(held)),
            column("V_t", "V", Values::Numbers(v_t)),
            column("I_crit_p-drain", "A/um", Values::Numbers(at(&|r, c| 1e-4 * (1.0 + r + c)))),
        ],
        files: Vec::new(),
    }
}

#[test]
fn a_gathered_sweep_has_its_boundary() {
    let gathered = invented_sweep(HOSTILE);
    // The results that the families of curves take: a row and a column of the grid.
    let wanted = holdpoint::report::sweep_cases(&gathered);
    assert_eq!(wanted.len(), 5 + 7 - 1);
    let mut record = pad_record();
    record.experiments.iter_mut().for_each(|o| o.fields.clear());
    let some: Vec<Item> = wanted.iter().map(|name| item(name, record.clone())).collect();
    let text = holdpoint::report::sweep_page(&gathered, &some);
    assert!(!text.contains("<script>alert") && !text.contains("<img"));
    // 3.3 V and 10 %: the boundary is drawn, white below green.
    assert!(text.contains("boundary of immunity at 3.630 V"));
    let line = "stroke=\"#093e1b\" stroke-width=\"2.4\"";
    let lines: Vec<&str> = text.lines().filter(|l| l.contains(line)).collect();
    assert_eq!(lines.len(), 1);
    // One piece for each pair of neighbours of which the supply keeps one on.
    let on = |r: i32, c: i32| 1.0 + 0.4 * f64::from(r) + 0.5 * f64::from(c) < 3.63;
    let latching = (0..35).filter(|k| on(k / 7, k % 7)).count();
    let safe = 35 - latching;
    assert!(text.contains(&format!("{latching} latch, {safe} without an on-state at the supply")));
    let parted = |r: i32, c: i32| {
        let right = c < 6 && on(r, c) != on(r, c + 1);
        usize::from(right) + usize::from(r < 4 && on(r, c) != on(r + 1, c))
    };
    let wanted: usize = (0..35).map(|k| parted(k / 7, k % 7)).sum();
    assert_eq!(lines[0].matches('M').count(), wanted, "{}", lines[0]);
    let Some(chromium) = browser() else { return };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sweep.html");
    std::fs::write(&path, text).unwrap();
    let found = drive(&chromium, &path);
    // Three figures over two axes, and the curves of three experiments along each.
    assert_eq!(found["charts"], 12);
}

#[test]
fn a_sweep_gives_figures_alone() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    record::write_gathered(Path::new(&at("g.h5")), &invented_sweep("quiet")).unwrap();
    let list = holdpoint(&["report", &at("g.h5"), "--figure", "list"]);
    let list = String::from_utf8(list.stdout).unwrap();
    let names: Vec<&str> = list.lines().collect();
    assert_eq!(names.len(), 7, "{list}");
    assert!(names.contains(&"V_h-map-temperature-spacing"), "{list}");
    for name in &names {
        for ending in ["svg", "png"] {
            let file = at(&format!("x.{ending}"));
            let ran = holdpoint(&["report", &at("g.h5"), "--figure", name, "-o", &file]);
            assert!(ran.status.success(), "{name}: {}", String::from_utf8_lossy(&ran.stderr));
            assert!(std::fs::metadata(&file).unwrap().len() > 2_000);
        }
    }
    let ran = holdpoint(&["report", &at("g.h5"), "--figure", "nonsense"]);
    assert_eq!(ran.status.code(), Some(2));
    let said = String::from_utf8_lossy(&ran.stderr).into_owned();
    assert!(names.iter().all(|n| said.contains(n)), "{said}");
    // The curves of two results over each other, and a name that is none.
    let (a, b) = (at("a.h5"), at("b.h5"));
    std::fs::copy(&pad().1, &a).unwrap();
    std::fs::copy(&pad().1, &b).unwrap();
    let ran = holdpoint(&["report", &a, &b, "--figure", "overlay-0", "-o", &at("o.svg")]);
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let ran = holdpoint(&["report", &a, &b, "--figure", "overlay-99"]);
    assert_eq!(ran.status.code(), Some(2));
    let said = String::from_utf8_lossy(&ran.stderr).into_owned();
    assert!(said.contains("overlay-0") && said.contains("potential-0-holding"), "{said}");
}
