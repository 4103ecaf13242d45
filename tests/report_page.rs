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
    let found = drive(&chromium, &write(&folder, "large.html", &items));
    let ready = found["ready_s"].as_f64().unwrap();
    println!("{size} bytes, ready after {ready:.2} s");
    assert!(ready < 2.0, "ready after {ready} s");
}
