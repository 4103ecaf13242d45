//! Runs that are killed at any moment, and gone on with: in the end every bit is that of a
//! run that nobody disturbed. So is it for other numbers of threads, and for a second run.

mod shipped_support;

use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use holdpoint::record;
use shipped_support::{Desk, shipped, with, with_experiment};

/// The bar on few nodes, with experiments of one kind each.
fn bar(experiments: &str) -> String {
    let text = with(&shipped("four-layer-bar.toml"), "nodes = 3200", "nodes = 200");
    with_experiment(&text, experiments)
}

const SNAPBACK: &str =
    "[[experiment]]\nkind = \"snapback\"\ndrive = [\"anode\"]\nstop = { current = 1e-3 }\n";
const BIAS: &str =
    "[[experiment]]\nkind = \"bias\"\ndrive = [\"anode\"]\nat = [0, -1, -5, 0.5, 5, 10]\n";
const INJECTION: &str = "[[experiment]]\nkind = \"injection\"\ninto = \"anode\"\n\
    bias = { anode = 5 }\nlevel = \"100 mA\"\ninjector_width = \"20 um\"\nconfirm = \"ramp\"\n";
const OVERVOLTAGE: &str =
    "[[experiment]]\nkind = \"overvoltage\"\ndrive = [\"anode\"]\nsupply = 5\nto = 20\n";
const PULSE: &str = "[[experiment]]\nkind = \"pulse\"\ninto = \"anode\"\nbias = { anode = 5 }\n\
    height = \"100 uA/um\"\nwidth = \"400 ps\"\nsettle = \"20 ns\"\n";
const STRIKE: &str = "[[experiment]]\nkind = \"strike\"\nbias = { anode = 5 }\nat = 4.5\n\
    reach = 1\nradius = 0.3\ncharge_per_um = 3e-14\nsettle = \"20 ns\"\n";
const RAMP: &str = "[[experiment]]\nkind = \"supply-ramp\"\ndrive = [\"anode\"]\nto = 5\n\
    rise = \"1 ns\"\nsettle = \"20 ns\"\n";

/// All that a result holds, but for who made it and how long it took.
fn contents(desk: &Desk, result: &str) -> String {
    let mut r = record::read(&desk.path(result)).unwrap();
    r.case_name = String::new();
    r.provenance = Default::default();
    r.experiments.iter_mut().for_each(|e| e.wall = 0.0);
    format!("{r:#?}")
}

fn same(desk: &Desk, a: &str, b: &str, what: &str) {
    let (a, b) = (contents(desk, a), contents(desk, b));
    let differs = a.lines().zip(b.lines()).find(|(a, b)| a != b);
    assert!(a == b, "{what}: {differs:?}");
}

#[test]
fn neither_threads_nor_a_second_run_change_a_bit_of_any_experiment() {
    let desk = Desk::new();
    let core = {
        let text = with(&shipped("tern180-core.toml"), "nodes = 5000", "nodes = 800");
        with_experiment(
            &text,
            "[[experiment]]\nkind = \"gains\"\n[[experiment]]\nkind = \"resistances\"\n\
             [verdict]\nsupply = \"1.2 V\"\n",
        )
    };
    let capacitance = with_experiment(
        &with(&shipped("diode-strip.toml"), "nodes = 1000", "nodes = 200"),
        "[[experiment]]\nkind = \"capacitance\"\nbias = { anode = -1 }\nfrequencies = [1e3, 1e9]\n",
    );
    let kinds = [
        ("curves", bar(&[SNAPBACK, BIAS, INJECTION, OVERVOLTAGE].concat())),
        ("times", bar(&[PULSE, STRIKE, RAMP].concat())),
        ("path", core),
        ("capacitance", capacitance),
    ];
    for (name, text) in &kinds {
        for (run, threads) in [("one", "1"), ("two", "2"), ("again", "2")] {
            let ran = desk.case(&format!("{name}-{run}"), text, &["--threads", threads]);
            assert_eq!(ran.code, Some(0), "{name}: {}", ran.err);
        }
        same(&desk, &format!("{name}-one.h5"), &format!("{name}-two.h5"), "threads");
        same(&desk, &format!("{name}-two.h5"), &format!("{name}-again.h5"), "a second run");
    }
}

fn start(desk: &Desk) -> Child {
    let args = ["run", "cut.toml", "-o", "cut.h5", "--resume", "--quiet"];
    desk.command(&args).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

fn send(child: &Child, signal: &str) {
    let pid = child.id().to_string();
    std::process::Command::new("kill").args([signal, &pid]).status().unwrap();
}

/// Runs, is killed in the way of `kill` after a random time, goes on, until it is done or
/// was killed `kills` times; then to the end. How often it was killed, and how often it
/// left a checkpoint.
fn harried(desk: &Desk, kills: usize, longest: Duration, kill: impl Fn(&Child)) -> [usize; 2] {
    let (mut killed, mut kept, mut dice) = (0, 0, 12345u64);
    for _ in 0..kills {
        dice = dice.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        let share = (dice >> 33) as f64 / (1u64 << 31) as f64;
        let mut child = start(desk);
        let begin = Instant::now();
        let limit = longest.mul_f64(share);
        while begin.elapsed() < limit && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_millis(2));
        }
        if child.try_wait().unwrap().is_none() {
            kill(&child);
        }
        if child.wait().unwrap().code() == Some(0) {
            break;
        }
        killed += 1;
        // Whatever is there is whole: a checkpoint, or nothing yet.
        assert!(!desk.path("cut.h5").exists(), "a killed run left a result");
        let partial = desk.path("cut.h5.partial");
        if partial.exists() {
            kept += 1;
            assert!(!record::read(&partial).unwrap().complete);
        }
    }
    let code = start(desk).wait().unwrap().code();
    assert_eq!(code, Some(0), "the last run did not end well");
    assert!(!desk.path("cut.h5.partial").exists());
    [killed, kept]
}

/// The time of an undisturbed run, whose result is straight.h5.
fn straight(desk: &Desk, text: &str) -> Duration {
    let begin = Instant::now();
    let ran = desk.case("straight", text, &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    desk.write("cut.toml", text);
    begin.elapsed()
}

#[test]
fn a_run_killed_at_any_moment_ends_with_the_same_bits() {
    let desk = Desk::new();
    let text = bar(&[SNAPBACK, BIAS, INJECTION, SNAPBACK].concat());
    let time = straight(&desk, &text);
    let [killed, kept] = harried(&desk, 12, time.mul_f64(0.3), |child| send(child, "-KILL"));
    println!("a run of {time:?}: killed {killed} times, {kept} checkpoints");
    assert!(killed > 0, "never killed in time");
    same(&desk, "straight.h5", "cut.h5", "killed and resumed");
}

/// The second signal ends a run that has not yet come to its next point.
#[test]
fn a_run_stopped_twice_ends_with_the_same_bits() {
    let desk = Desk::new();
    let text = bar(&[SNAPBACK, INJECTION].concat());
    let time = straight(&desk, &text);
    for signals in [["-TERM", "-TERM"], ["-INT", "-INT"], ["-INT", "-KILL"]] {
        for name in ["cut.h5", "cut.h5.partial"] {
            let _ = std::fs::remove_file(desk.path(name));
        }
        let [killed, kept] = harried(&desk, 4, time.mul_f64(0.4), |child| {
            send(child, signals[0]);
            send(child, signals[1]);
        });
        println!("{signals:?}: {killed} times, {kept} checkpoints");
        same(&desk, "straight.h5", "cut.h5", signals[0]);
    }
}

/// Rules, points followed along numbers, spreads and temperatures: minutes.
#[test]
#[ignore = "minutes"]
fn a_rule_killed_at_any_moment_ends_with_the_same_bits() {
    let desk = Desk::new();
    let text = with(&shipped("tern180-core-rule.toml"), "nodes = 2000", "nodes = 700");
    let time = straight(&desk, &text);
    let [killed, kept] = harried(&desk, 10, time.mul_f64(0.7), |child| send(child, "-KILL"));
    println!("a run of {time:?}: killed {killed} times, {kept} checkpoints");
    assert!(killed > 0, "never killed in time");
    same(&desk, "straight.h5", "cut.h5", "killed and resumed");
}
