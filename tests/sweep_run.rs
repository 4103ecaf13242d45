//! Sweeps that are run, killed, repeated, crowded and starved.

mod sweep_support;

use std::os::unix::process::CommandExt;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use holdpoint::record;
use sweep_support::{DIODE, Desk, PROGRAM, Said, bar, same_bits};

const DIODES: &str =
    "base = \"diode.toml\"\n[axes]\ntemperature = { from = 250, to = 440, count = 6 }\n";
const BARS: &str = "base = \"bar.toml\"\n[axes]\n\"constants.shockley-read-hall.tau_n0\" = [\"1 ns\", \"2 ns\", \"4 ns\"]\ntemperature = [300, 350]\n";

fn desk() -> Desk {
    let desk = Desk::new();
    desk.put("diode.toml", DIODE);
    desk.put("bar.toml", &bar());
    desk.put("d.sweep.toml", DIODES);
    desk.put("b.sweep.toml", BARS);
    desk
}

fn counts(said: &Said) -> [u64; 3] {
    let json = said.json();
    let list = |key: &str| json[key].as_array().map_or(0, |a| a.len() as u64);
    [json["done"].as_u64().expect("done"), json["kept"].as_u64().expect("kept"), list("failed")]
}

#[test]
fn only_what_is_missing_or_changed_is_run_again() {
    let desk = desk();
    let run = || desk.run(&["sweep", "run", "d.sweep.toml", "--json", "--quiet", "--jobs", "2"]);
    assert_eq!(counts(&run().good()), [6, 0, 0]);
    assert_eq!(desk.results("d").len(), 6);
    assert_eq!(desk.debris("d"), Vec::<String>::new());
    assert_eq!(counts(&run().good()), [0, 6, 0]);
    // A lost file, a damaged one, a foreign one.
    let results = desk.results("d");
    std::fs::remove_file(&results[0]).expect("removed");
    let bytes = std::fs::read(&results[1]).expect("read");
    std::fs::write(&results[1], &bytes[..bytes.len() / 2]).expect("cut");
    std::fs::write(&results[2], b"something else").expect("written");
    let status = desk.run(&["sweep", "status", "d.sweep.toml", "--json"]).good().json();
    assert_eq!((status["done"].as_u64(), status["missing"].as_u64()), (Some(3), Some(1)));
    assert_eq!(status["outdated"].as_array().map(Vec::len), Some(2), "{status}");
    assert_eq!(counts(&run().good()), [3, 3, 0]);
    // One more value keeps the others; another base case keeps none.
    desk.put("d.sweep.toml", "base = \"diode.toml\"\n[axes]\ntemperature = [250, 260, 288, 440]\n");
    assert_eq!(counts(&run().good()), [1, 3, 0]);
    desk.put("diode.toml", &DIODE.replace("1e18", "2e18"));
    assert_eq!(counts(&run().good()), [4, 0, 0]);
    // The folder says what it holds.
    let said = desk.run(&["sweep", "status", "results/d"]).good();
    assert!(said.out.contains("4 of 4 cases done"), "{said:?}");
}

#[test]
fn results_do_not_depend_on_jobs_or_threads() {
    let desk = desk();
    desk.run(&["sweep", "run", "b.sweep.toml", "-o", "one", "--jobs", "1", "-q"]).good();
    desk.run(&["sweep", "run", "b.sweep.toml", "-o", "two", "--jobs", "3", "--threads", "2", "-q"])
        .good();
    let names = |folder: &str| -> Vec<_> {
        let mut all: Vec<_> = std::fs::read_dir(desk.file(folder).join("cases"))
            .expect("there")
            .map(|e| e.expect("readable").path())
            .collect();
        all.sort();
        all
    };
    let (one, two) = (names("one"), names("two"));
    assert_eq!((one.len(), two.len()), (6, 6));
    one.iter().zip(&two).for_each(|(a, b)| same_bits(a, b));
    // Also as single runs of the case's text.
    let text = record::read(&one[0]).expect("a result").case_text;
    desk.put("single.toml", &text);
    desk.run(&["run", "single.toml", "-o", "single.h5", "--quiet"]).good();
    same_bits(&one[0], &desk.file("single.h5"));
}

#[test]
fn failures_are_listed_and_do_not_stop_the_others() {
    let desk = desk();
    // Twenty nodes are too few for the junctions: found when meshing.
    desk.put(
        "f.sweep.toml",
        "base = \"bar.toml\"\n[axes]\n\"well.n base.from\" = [2, 4.4]\n\"grid.nodes\" = [20, 200]\n",
    );
    let said = desk.run(&["sweep", "run", "f.sweep.toml", "--json"]);
    let json = said.json();
    let failed = json["failed"].as_array().expect("a list");
    let ended = json["done"].as_u64().unwrap_or(0)
        + failed.len() as u64
        + json["stopped"].as_array().map_or(0, |s| s.len() as u64);
    assert_eq!(ended, 4, "{json}");
    assert!(!failed.is_empty() && json["done"].as_u64().unwrap_or(0) >= 1, "{json}");
    assert_eq!(said.code, Some(1));
    for f in failed {
        let name = f["case"].as_str().expect("a name");
        assert!(
            said.err.contains(name) && f["reason"].as_str().is_some_and(|r| r.len() > 10),
            "{json}"
        );
    }
    let status = desk.run(&["sweep", "status", "f.sweep.toml", "--json"]).good().json();
    assert_eq!(status["failed"].as_array().map(Vec::len), Some(failed.len()), "{status}");
}

/// Starts a sweep in a process group of its own.
fn start(desk: &Desk, sweep: &str) -> std::process::Child {
    desk.command(&["sweep", "run", sweep, "--jobs", "2", "--quiet"])
        .process_group(0)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("started")
}

fn kill(what: &str, signal: &str) {
    let _ = Command::new("kill").args([signal, "--", what]).stderr(Stdio::null()).status();
}

fn killed_at_random_moments(times: usize) {
    let desk = desk();
    desk.run(&["sweep", "run", "b.sweep.toml", "-o", "whole", "-q"]).good();
    // A fixed sequence of moments: a generator of Lehmer's kind.
    let mut seed = 20_261_126u64;
    let mut kills = 0;
    while kills < times {
        seed = seed * 48_271 % 2_147_483_647;
        let mut child = start(&desk, "b.sweep.toml");
        std::thread::sleep(Duration::from_millis(5 + seed % 400));
        if child.try_wait().expect("asked").is_some() {
            // All done before the kill: begin again.
            std::fs::remove_dir_all(desk.file("results/b")).expect("removed");
            continue;
        }
        // The whole group, or now and then the parent alone: its workers save and end.
        match seed % 3 {
            0 => kill(&child.id().to_string(), "-KILL"),
            _ => kill(&format!("-{}", child.id()), "-KILL"),
        }
        child.wait().expect("ended");
        kills += 1;
        for path in desk.results("b") {
            let whole = record::read(&path).unwrap_or_else(|e| panic!("kill {kills}: {e}"));
            assert!(whole.complete, "kill {kills}");
        }
        let status = desk.run(&["sweep", "status", "b.sweep.toml"]).good();
        assert!(status.out.contains("of 6 cases done"), "{status:?}");
    }
    // Workers whose parent was killed may still be saving.
    let end = Instant::now() + Duration::from_secs(60);
    loop {
        let said = desk.run(&["sweep", "run", "b.sweep.toml", "--json", "-q"]).good();
        if said.json()["elsewhere"].as_array().is_some_and(Vec::is_empty) {
            break;
        }
        assert!(Instant::now() < end, "{said:?}");
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(desk.results("b").len(), 6);
    for path in desk.results("b") {
        same_bits(&path, &desk.file("whole/cases").join(path.file_name().expect("a name")));
    }
    let left: Vec<String> =
        desk.debris("b").into_iter().filter(|n| !n.contains(".claim.")).collect();
    assert_eq!(left, Vec::<String>::new());
}

#[test]
fn ten_kills_lose_nothing() {
    killed_at_random_moments(10);
}

#[test]
#[ignore = "50 kills: about a minute on a quiet core"]
fn fifty_kills_lose_nothing() {
    killed_at_random_moments(50);
}

#[test]
fn two_processes_share_a_sweep() {
    let desk = desk();
    let json = || {
        desk.command(&["sweep", "run", "b.sweep.toml", "--jobs", "2", "--json", "-q"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("started")
    };
    let both = [json(), json()];
    let said = both.map(|c| Said::of(c.wait_with_output().expect("ended")).good());
    let ran: u64 = said.iter().map(|s| counts(s)[0]).sum();
    // Each case was run once, by one of them.
    assert_eq!(ran, 6, "{said:?}");
    assert_eq!(desk.results("b").len(), 6);
    assert_eq!(desk.debris("b"), Vec::<String>::new());
}

#[test]
fn an_interrupt_saves_and_a_rerun_goes_on() {
    let desk = desk();
    let text = bar().replace("nodes = 200", "nodes = 1500");
    desk.put("bar.toml", &text);
    desk.put("i.sweep.toml", "base = \"bar.toml\"\n[axes]\ntemperature = [300]\n");
    let mut child = start(&desk, "i.sweep.toml");
    let partial = desk.file("results/i/cases/temperature=300.h5.partial");
    let end = Instant::now() + Duration::from_secs(60);
    while !partial.exists() && Instant::now() < end {
        std::thread::sleep(Duration::from_millis(5));
    }
    std::thread::sleep(Duration::from_millis(100));
    kill(&child.id().to_string(), "-TERM");
    let code = child.wait().expect("ended").code();
    if partial.exists() {
        assert_eq!(code, Some(130));
        let said = desk.run(&["sweep", "status", "i.sweep.toml"]).good();
        assert!(said.out.contains("1 interrupted"), "{said:?}");
    }
    desk.run(&["sweep", "run", "i.sweep.toml", "-q"]).good();
    assert!(!partial.exists());
    desk.run(&["sweep", "run", "i.sweep.toml", "-o", "whole", "-q"]).good();
    let name = "cases/temperature=300.h5";
    same_bits(&desk.file("results/i").join(name), &desk.file("whole").join(name));
}

#[test]
fn stale_claims_are_recovered_and_live_ones_respected() {
    let desk = desk();
    desk.run(&["sweep", "run", "d.sweep.toml", "-q"]).good();
    let results = desk.results("d");
    let claim = |k: usize| results[k].with_extension("claim");
    for path in &results[..3] {
        std::fs::remove_file(path).expect("removed");
    }
    // A process that is gone; this test, which is alive; another machine, long silent.
    let mut gone = Command::new("true").spawn().expect("started");
    let pid = gone.id();
    gone.wait().expect("ended");
    let mine = holdpoint::sweep::claim(&claim(1)).expect("free");
    let text = std::fs::read_to_string(claim(1)).expect("a claim");
    let own = std::process::id().to_string();
    let pid = pid.to_string();
    let lines: Vec<&str> =
        text.lines().enumerate().map(|(k, l)| if k == 2 { pid.as_str() } else { l }).collect();
    std::fs::write(claim(0), lines.join("\n") + "\n").expect("written");
    std::fs::write(claim(2), "elsewhere\nanother machine\n77\n1\nabc\n").expect("written");
    let touch = |when: &str| {
        assert!(
            Command::new("touch").args(["-d", when]).arg(claim(2)).status().expect("ran").success()
        );
    };
    touch("now");
    let run = || desk.run(&["sweep", "run", "d.sweep.toml", "--json", "-q"]).good();
    let said = run();
    assert_eq!(counts(&said), [1, 3, 0], "{said:?}");
    let elsewhere = said.json()["elsewhere"].to_string();
    assert!(elsewhere.contains(&format!("process {own} on")), "{elsewhere}");
    assert!(elsewhere.contains("process 77 on elsewhere"), "{elsewhere}");
    let status = desk.run(&["sweep", "status", "d.sweep.toml", "--json"]).good().json();
    assert_eq!(status["running"].as_array().map(Vec::len), Some(2), "{status}");
    touch("5 minutes ago");
    assert_eq!(counts(&run()), [1, 4, 0]);
    assert!(mine.mine());
    drop(mine);
    assert_eq!(counts(&run()), [1, 5, 0]);
    assert_eq!(desk.debris("d"), Vec::<String>::new());
}

#[test]
fn one_claim_of_many_who_want_it() {
    let desk = Desk::new();
    let path = desk.file("x.claim");
    // A stale claim that all find at once.
    std::fs::write(&path, "elsewhere\nanother machine\n77\n1\nabc\n").expect("written");
    Command::new("touch").args(["-d", "1 hour ago"]).arg(&path).status().expect("ran");
    let won: usize = std::thread::scope(|s| {
        let all: Vec<_> = (0..8)
            .map(|_| {
                s.spawn(|| {
                    let claim = holdpoint::sweep::claim(&path);
                    std::thread::sleep(Duration::from_millis(200));
                    usize::from(claim.is_ok_and(|c| c.mine()))
                })
            })
            .collect();
        all.into_iter().map(|t| t.join().expect("no panic")).sum()
    });
    assert_eq!(won, 1);
}

#[test]
fn a_full_disk_is_reported_for_each_case() {
    let desk = desk();
    // The limit on a file's size stands in for a full disk: writing stops in the middle.
    let script =
        format!("ulimit -f 4; trap '' XFSZ; exec '{PROGRAM}' sweep run d.sweep.toml --json -q");
    let out = Command::new("bash").args(["-c", &script]).current_dir(desk.0.path()).output();
    let said = Said::of(out.expect("started"));
    assert_eq!(said.code, Some(1), "{said:?}");
    let json = said.json();
    let failed = json["failed"].as_array().expect("a list");
    assert_eq!(failed.len(), 6, "{json}");
    assert!(failed[0]["reason"].as_str().is_some_and(|r| r.contains("ulimit")), "{json}");
    assert!(desk.results("d").is_empty());
    // With room again all is made.
    assert_eq!(
        counts(&desk.run(&["sweep", "run", "d.sweep.toml", "--json", "-q"]).good()),
        [6, 0, 0]
    );
    assert_eq!(desk.debris("d"), Vec::<String>::new());
}

#[test]
fn a_folder_that_cannot_be_written_is_said() {
    let desk = desk();
    // A file where the folder should be refuses even root.
    desk.put("results", "in the way");
    let said = desk.run(&["sweep", "run", "d.sweep.toml"]);
    assert_eq!(said.code, Some(1), "{said:?}");
    assert!(said.err.contains("results/d/cases"), "{said:?}");
    // Read-only where that binds (root may write anyway).
    desk.run(&["sweep", "run", "d.sweep.toml", "-o", "ro", "-q"]).good();
    let cases = desk.file("ro/cases");
    for entry in std::fs::read_dir(&cases).expect("there") {
        std::fs::remove_file(entry.expect("readable").path()).expect("removed");
    }
    let mode = |m: &str| Command::new("chmod").arg(m).arg(&cases).status().expect("ran");
    mode("a-w");
    let probe = std::fs::write(cases.join("probe"), "");
    if probe.is_err() {
        let said = desk.run(&["sweep", "run", "d.sweep.toml", "-o", "ro", "--json", "-q"]);
        assert_eq!((said.code, counts(&said)[2]), (Some(1), 6), "{said:?}");
    } else {
        println!("skipped in part: this user may write into read-only folders");
    }
    mode("u+w");
}

#[test]
fn shards_cover_the_sweep() {
    let desk = desk();
    for k in 0..4 {
        desk.run(&["sweep", "task", "d.sweep.toml", "--shard", &format!("{k}/4")]).good();
    }
    assert_eq!(desk.results("d").len(), 6);
    let said = desk.run(&["sweep", "task", "d.sweep.toml", "--index", "2"]).good();
    assert!(said.err.contains("complete already"), "{said:?}");
    for bad in [&["--index", "6"][..], &["--shard", "4/4"], &["--shard", "x"], &[]] {
        let args = [&["sweep", "task", "d.sweep.toml"][..], bad].concat();
        assert_eq!(desk.run(&args).code, Some(2), "{bad:?}");
    }
}

#[test]
fn another_version_is_run_again() {
    let desk = desk();
    let run = || desk.run(&["sweep", "run", "d.sweep.toml", "--json", "-q"]).good();
    assert_eq!(counts(&run()), [6, 0, 0]);
    let path = desk.results("d")[2].clone();
    let mut old = record::read(&path).expect("a result");
    old.provenance.version = "0.0.1".to_string();
    record::write(&path, &old).expect("written");
    let status = desk.run(&["sweep", "status", "d.sweep.toml"]).good();
    assert!(status.out.contains("made by version 0.0.1"), "{status:?}");
    assert_eq!(counts(&run()), [1, 5, 0]);
}

#[test]
fn a_killed_trace_goes_on_from_its_checkpoint() {
    let desk = desk();
    desk.put("bar.toml", &bar().replace("nodes = 200", "nodes = 6500"));
    desk.put("k.sweep.toml", "base = \"bar.toml\"\n[axes]\ntemperature = [300]\n");
    let partial = desk.file("results/k/cases/temperature=300.h5.partial");
    // The checkpoint once it has points, with the sweep killed in mid-trace.
    let killed = |more_than: usize| {
        let mut child = start(&desk, "k.sweep.toml");
        let end = Instant::now() + Duration::from_secs(120);
        while Instant::now() < end && child.try_wait().expect("asked").is_none() {
            let points = record::read(&partial).map_or(0, |r| r.experiments[0].curve.len());
            if points > more_than {
                break;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        kill(&format!("-{}", child.id()), "-KILL");
        child.wait().expect("ended");
        record::read(&partial).ok().map(|r| r.experiments[0].curve.clone())
    };
    let first = killed(0).expect("a checkpoint with points");
    assert!(!first.voltage.is_empty());
    // The second begins with the points of the first, bit for bit: only those since were lost.
    if let Some(second) = killed(first.len()) {
        assert!(second.len() > first.len());
        assert_eq!(second.voltage[..first.len()], first.voltage[..]);
        assert_eq!(second.current[..first.len()], first.current[..]);
    }
    desk.run(&["sweep", "run", "k.sweep.toml", "-q"]).good();
    let whole = record::read(&desk.results("k")[0]).expect("a result");
    assert_eq!(whole.experiments[0].curve.voltage[..first.len()], first.voltage[..]);
}

#[test]
fn claims_hold_where_links_fail_or_answers_are_lost() {
    let desk = desk();
    // A file system without links (EPERM), and a server whose answer is lost: the link is
    // made, the caller hears "exists".
    desk.put(
        "link.c",
        "#define _GNU_SOURCE\n#include <errno.h>\n#include <stdlib.h>\n#include <unistd.h>\n\
         #include <sys/syscall.h>\n#include <fcntl.h>\n\
         static int no(int made) { errno = made ? EEXIST : EPERM; return -1; }\n\
         int linkat(int a, const char *p, int b, const char *q, int f) {\n\
           if (!getenv(\"LOST\")) return no(0);\n\
           return syscall(SYS_linkat, a, p, b, q, f) ? -1 : no(1);\n}\n\
         int link(const char *p, const char *q) { return linkat(AT_FDCWD, p, AT_FDCWD, q, 0); }\n",
    );
    let made = Command::new("cc")
        .args(["-shared", "-fPIC", "-o", "link.so", "link.c"])
        .current_dir(desk.0.path())
        .status();
    if !made.is_ok_and(|s| s.success()) {
        println!("skipped: no C compiler here");
        return;
    }
    for lost in [false, true] {
        let mut both: Vec<_> = (0..2)
            .map(|_| {
                let mut command =
                    desk.command(&["sweep", "run", "d.sweep.toml", "--jobs", "2", "--json", "-q"]);
                command.env("LD_PRELOAD", desk.file("link.so"));
                if lost {
                    command.env("LOST", "1");
                }
                command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("started")
            })
            .collect();
        let said: Vec<Said> =
            both.drain(..).map(|c| Said::of(c.wait_with_output().expect("ended")).good()).collect();
        let ran: u64 = said.iter().map(|s| counts(s)[0]).sum();
        assert_eq!(ran, 6, "each case once, lost {lost}: {said:?}");
        assert_eq!(desk.debris("d"), Vec::<String>::new());
        std::fs::remove_dir_all(desk.file("results/d")).expect("removed");
    }
}

#[test]
fn progress_counts_all_cases() {
    let desk = desk();
    let said = desk.run(&["sweep", "run", "d.sweep.toml", "--jobs", "1"]).good();
    for k in 1..=6 {
        assert!(said.err.contains(&format!("d: {k} of 6 cases")), "{k}: {said:?}");
    }
    assert!(said.err.contains(" left"), "{said:?}");
}
