//! What comes from outside while a verb runs: Ctrl-C, a closed pipe, a full disk.

mod record_support;

use std::io::Read;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use holdpoint::cli::{Io, run_with};
use holdpoint::experiment::Status;
use holdpoint::record;
use record_support::invented::{Desk, Invented};
use record_support::rich;

/// Runs only as the child of the next test: a run slow enough to be interrupted.
#[test]
fn child_that_runs_slowly() {
    let Ok(args) = std::env::var("HOLDPOINT_TEST_SLOW_RUN") else { return };
    let pause = std::env::var("HOLDPOINT_TEST_PAUSE_MS").map_or(50, |ms| ms.parse().unwrap());
    let rooms = Invented { pause: Duration::from_millis(pause), ..Invented::default() };
    let args = std::iter::once("holdpoint").chain(args.split('\n'));
    std::process::exit(i32::from(run_with(&rooms, args, &mut Io::real())));
}

#[test]
fn ctrl_c_saves_and_ends_with_130() {
    let desk = Desk::new();
    let (case, output) = (desk.case("pad.toml", "title = 1"), desk.file("r.h5"));
    let partial = record::partial_path(Path::new(&output));
    let start = || {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command
            .args(["--exact", "child_that_runs_slowly", "--nocapture"])
            .env("HOLDPOINT_TEST_SLOW_RUN", format!("run\n{case}\n-o\n{output}\n--force"))
            .stdout(Stdio::null())
            .stderr(Stdio::piped());
        let child = command.spawn().unwrap();
        // A trace is under way once its first partial file is there.
        for _ in 0..400 {
            if partial.exists() {
                break;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        child
    };
    let signal = |pid: u32, name: &str| {
        Command::new("kill").args([name, &pid.to_string()]).status().unwrap();
    };
    for name in ["-INT", "-TERM"] {
        let mut child = start();
        signal(child.id(), name);
        let mut said = String::new();
        child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        assert_eq!(child.wait().unwrap().code(), Some(130), "{name}: {said}");
        assert!(said.contains("--resume goes on from there"), "{said}");
        let saved = record::read(&partial).unwrap();
        assert!(!saved.complete);
        assert!(saved.experiments.iter().any(|e| e.status == Status::Interrupted));
        assert!(!Path::new(&output).exists());
        std::fs::remove_file(&partial).unwrap();
    }
}

#[test]
fn without_o_the_result_goes_to_the_results_folder() {
    let desk = Desk::new();
    desk.case("pad.toml", "title = 1");
    let run = || {
        Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "child_that_runs_slowly", "--nocapture"])
            .env("HOLDPOINT_TEST_SLOW_RUN", "run\npad.toml\n--quiet")
            .env("HOLDPOINT_TEST_PAUSE_MS", "0")
            .current_dir(desk.folder.path())
            .output()
            .unwrap()
    };
    let first = run();
    assert_eq!(first.status.code(), Some(0), "{}", String::from_utf8_lossy(&first.stderr));
    assert!(record::read(&desk.folder.path().join("results/pad.h5")).unwrap().complete);
    assert_eq!(run().status.code(), Some(2), "the existing result is refused");
}

#[test]
fn closed_pipes_end_quietly_and_full_disks_do_not() {
    let desk = Desk::new();
    let file = desk.file("rich.h5");
    record::write(Path::new(&file), &rich()).unwrap();
    let show = |out: Stdio| {
        Command::new(env!("CARGO_BIN_EXE_holdpoint"))
            .args(["show", &file, "--curve"])
            .stdout(out)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    };
    let mut child = show(Stdio::piped());
    drop(child.stdout.take());
    let done = child.wait_with_output().unwrap();
    assert_eq!((done.status.code(), done.stderr.len()), (Some(0), 0));
    if let Ok(full) = std::fs::OpenOptions::new().write(true).open("/dev/full") {
        let done = show(Stdio::from(full)).wait_with_output().unwrap();
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        assert_eq!(done.status.code(), Some(1), "{said}");
        assert!(said.contains("could not be printed"), "{said}");
    }
}
