//! Sweeps on disks that are full or may not be written, real ones.

mod disk_support;
mod sweep_support;

use std::path::Path;
use std::process::Command;

use disk_support::SmallDisk;
use serde_json::Value;
use sweep_support::{DIODE, Desk, Said};

const DIODES: &str = "base = \"diode.toml\"\n[axes]\ntemperature = [260, 300, 340]\n";

fn desk() -> Desk {
    let desk = Desk::new();
    desk.put("diode.toml", DIODE);
    desk.put("d.sweep.toml", DIODES);
    desk
}

fn run(desk: &Desk, folder: &str) -> Said {
    desk.run(&["sweep", "run", "d.sweep.toml", "-o", folder, "--json", "-q"])
}

/// Each of the three cases failed and says `part`.
fn all_failed(said: &Said, part: &str) {
    assert_eq!(said.code, Some(1), "{said:?}");
    let json = said.json();
    let failed: Vec<&Value> = json["failed"].as_array().expect("a list").iter().collect();
    assert_eq!(failed.len(), 3, "{json}");
    for f in failed {
        assert!(f["reason"].as_str().is_some_and(|r| r.contains(part)), "{json}");
    }
}

fn files(folder: &Path, end: &str) -> usize {
    let entries = std::fs::read_dir(folder.join("cases")).expect("there");
    entries
        .filter(|e| e.as_ref().expect("readable").path().to_string_lossy().ends_with(end))
        .count()
}

#[test]
fn a_full_file_system_is_reported_for_each_case_and_room_mends_it() {
    // 64 KiB: less than one result.
    let Some(disk) = SmallDisk::new() else { return };
    let (desk, folder) = (desk(), disk.path().join("d"));
    let name = folder.to_string_lossy().into_owned();
    all_failed(&run(&desk, &name), "No space left");
    assert_eq!((files(&folder, ".h5"), files(&folder, ".claim")), (0, 0));
    let mut mount = Command::new("mount");
    let grown = mount.args(["-o", "remount,size=8m"]).arg(disk.path()).output();
    assert!(grown.is_ok_and(|o| o.status.success()));
    assert_eq!(run(&desk, &name).good().json()["done"], 3);
    assert_eq!((files(&folder, ".h5"), files(&folder, ".failed")), (3, 0));
}

#[test]
fn a_read_only_file_system_is_reported_for_each_case() {
    let Some(disk) = SmallDisk::new() else { return };
    let (desk, folder) = (desk(), disk.path().join("d"));
    let name = folder.to_string_lossy().into_owned();
    // Leaves the plan there, so that only the cases are left to be refused.
    all_failed(&run(&desk, &name), "No space left");
    if !disk.read_only() {
        println!("skipped: mounting for reading only is not allowed here");
        return;
    }
    all_failed(&run(&desk, &name), "Read-only file system");
    // What is there can still be looked at.
    let status = desk.run(&["sweep", "status", &name, "--json"]).good().json();
    assert_eq!((status["cases"].as_u64(), status["done"].as_u64()), (Some(3), Some(0)));
}
