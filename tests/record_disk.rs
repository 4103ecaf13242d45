//! What the disk can refuse, and what a run under way leaves on it.

mod disk_support;
mod record_support;

use std::path::{Path, PathBuf};

use disk_support::{SmallDisk, limited};
use holdpoint::experiment::Status;
use holdpoint::record::{self, Checkpointer, RecordError};
use holdpoint::trace::{Snapshot, Standing};
use record_support::{Numbers, bare, rich, state, text};

fn names_in(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn a_missing_folder_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("nowhere/r.h5");
    for e in [record::ensure_writable(&path, true), record::write(&path, &bare())] {
        let e = e.unwrap_err();
        assert!(matches!(e, RecordError::NoFolder { .. }), "{e}");
        assert!(e.to_string().contains("nowhere does not exist"), "{e}");
    }
    assert!(names_in(folder.path()).is_empty());
}

#[test]
fn an_existing_result_is_kept_without_force() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.h5");
    record::ensure_writable(&path, false).unwrap();
    assert!(names_in(folder.path()).is_empty(), "the check leaves nothing behind");
    std::fs::write(&path, "old").unwrap();
    let e = record::ensure_writable(&path, false).unwrap_err();
    assert!(matches!(e, RecordError::Exists { .. }) && e.to_string().contains("--force"), "{e}");
    record::ensure_writable(&path, true).unwrap();
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "old", "the check changes nothing");
    let e = record::ensure_writable(folder.path(), true).unwrap_err();
    assert!(matches!(e, RecordError::Io { .. }), "a folder is no result: {e}");
}

#[test]
fn a_full_disk_is_reported_and_keeps_the_old_result() {
    let Some(disk) = SmallDisk::new() else { return };
    let path = disk.path().join("r.h5");
    std::fs::write(&path, "old").unwrap();
    let e = record::write(&path, &rich()).unwrap_err();
    let said = e.to_string();
    assert!(said.contains("No space left") && said.contains("free some space"), "{said}");
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "old");
    assert_eq!(names_in(disk.path()), ["r.h5"], "nothing half-written is left");
    if disk.read_only() {
        let e = record::ensure_writable(&path, true).unwrap_err();
        assert!(e.to_string().contains("allow writing there"), "{e}");
    }
}

/// Runs only as the child of the next test, under a limit on file sizes.
#[test]
fn child_under_a_limit() {
    let Some(path) = std::env::var_os("HOLDPOINT_TEST_LIMITED").map(PathBuf::from) else { return };
    let said = record::write(&path, &rich()).unwrap_err().to_string();
    assert!(said.contains("limit on file sizes"), "{said}");
    println!("refused as it should be");
}

#[test]
fn a_file_size_limit_is_reported() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.h5");
    let this = std::env::current_exe().unwrap();
    let out = limited(this, &["--exact", "child_under_a_limit", "--nocapture"])
        .env("HOLDPOINT_TEST_LIMITED", &path)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(said.contains("refused as it should be"), "{said}");
    assert!(names_in(folder.path()).is_empty(), "nothing half-written is left");
}

#[test]
fn a_folder_without_permission_is_refused() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let locked = folder.path().join("locked");
    std::fs::create_dir(&locked).unwrap();
    std::fs::set_permissions(&locked, std::fs::Permissions::from_mode(0o555)).unwrap();
    if std::fs::write(locked.join("trial"), "").is_ok() {
        println!("skipped: this user may write anywhere");
        return;
    }
    let e = record::ensure_writable(&locked.join("r.h5"), false).unwrap_err();
    assert!(e.to_string().contains("allow writing there"), "{e}");
}

#[test]
fn a_checkpoint_is_a_whole_result_marked_incomplete() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.h5");
    let mut start = rich();
    start.verdict = None;
    for e in &mut start.experiments {
        e.status = Status::Waiting;
        e.snapshot = None;
    }
    let mut keeper = Checkpointer::new(&path, start);
    assert_eq!(keeper.partial(), record::partial_path(&path));
    keeper.save().unwrap();
    let done = rich().experiments.swap_remove(0);
    keeper.put(0, done.clone()).unwrap();
    let early = record::read(&record::partial_path(&path)).unwrap();
    assert_eq!(early.experiments[0].status, Status::Waiting, "nothing is written unasked");

    // The second experiment is under way.
    let nodes = keeper.record().mesh.nodes();
    let snapshot = Snapshot {
        state: state(&mut Numbers::new(1), nodes),
        control: vec![0.1],
        ..Snapshot::default()
    };
    let standing = Standing {
        curve: &done.curve,
        folds: &done.folds,
        fields: &done.fields,
        work: done.work,
        done: 0.4,
    };
    keeper.keep(1, &standing, &snapshot).unwrap();
    keeper.save().unwrap();
    assert_eq!(names_in(folder.path()), ["r.h5.partial"]);
    let partial = record::read(&record::partial_path(&path)).unwrap();
    assert!(!partial.complete);
    let same = format!("{:?}", partial.experiments[0]) == format!("{done:?}");
    assert!(same, "the finished experiment was changed");
    assert_eq!(partial.experiments[1].status, Status::Interrupted);
    assert_eq!(partial.experiments[1].curve, done.curve);
    assert_eq!(partial.experiments[1].snapshot, Some(snapshot));
    assert_eq!(partial.experiments[2].status, Status::Waiting);
    assert!(keeper.keep(99, &standing, &Snapshot::default()).is_err());

    let result = keeper.finish().unwrap();
    assert!(result.complete);
    assert_eq!(names_in(folder.path()), ["r.h5"]);
    assert!(text(&record::read(&path).unwrap()) == text(&result));
}
