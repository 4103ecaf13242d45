//! The page in a real Chromium: everything is drawn, can be used, and asks for nothing.

mod record_support;
mod report_support;

use holdpoint::cli::{Joined, Rooms};
use holdpoint::record::RunRecord;
use holdpoint::report::{Item, page};
use holdpoint::trace::{Fields, StateWords};
use report_support::{browser, drive, pad_record};

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

#[test]
fn twenty_thousand_nodes_stay_small_and_quick() {
    let text = report_support::CASE.replace("nodes = 8000", "nodes = 20000");
    let (case, _) = holdpoint::case::read_str(&text, "pad").unwrap();
    let mut record = pad_record();
    record.mesh = Joined.mesh(&case).ok().unwrap().mesh;
    assert!(record.mesh.nodes() > 19_000, "{} nodes", record.mesh.nodes());
    let whole = record.clone();
    for o in &mut record.experiments {
        o.fields = o.fields.iter().map(|f| invented(&whole, &f.label)).collect();
    }
    let items = [item("large", record)];
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
            column("status", "1", Values::Texts(vec![HOSTILE.to_string(); rows * columns])),
            column("V_h", "V", Values::Numbers(held)),
            column("V_t", "V", Values::Numbers(v_t)),
            column("I_crit_p-drain", "A um^-1", Values::Numbers(at(&|r, c| 1e-4 * (1.0 + r + c)))),
        ],
        files: Vec::new(),
    }
}

#[test]
fn a_gathered_sweep_has_its_boundary() {
    let gathered = invented_sweep(HOSTILE);
    let some = [item("one", pad_record()), item("other", pad_record())];
    let text = holdpoint::report::sweep_page(&gathered, &some);
    assert!(!text.contains("<script>alert") && !text.contains("<img"));
    // 3.3 V and 10 %: the boundary is drawn, white below green.
    assert!(text.contains("boundary of immunity at 3.630 V"));
    assert_eq!(text.matches("stroke=\"#00563f\" stroke-width=\"2.4\"").count(), 1);
    let Some(chromium) = browser() else { return };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sweep.html");
    std::fs::write(&path, text).unwrap();
    let found = drive(&chromium, &path);
    // Three figures over two axes, and the curves of three experiments.
    assert_eq!(found["charts"], 9);
}
