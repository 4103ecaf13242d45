//! Random cross-sections traced to `stop` without help. The long run, of the seeds asked for
//! (200 take half an hour or more on two cores):
//! `HOLDPOINT_HARD=0..200 cargo test --release --test hard_cases -- --ignored --nocapture`.

mod hard_support;
mod shipped_support;

use std::sync::Mutex;
use std::time::{Duration, Instant};

use hard_support::cross_section;
use shipped_support::Desk;

/// Seeds that once failed, and what each needed.
const KEPT: &[(u64, &str)] = &[];

/// How one ended.
#[derive(Debug, PartialEq)]
enum End {
    /// The trace reached `stop`.
    Reached,
    /// The case is none: the message.
    Refused(String),
    /// The trace ended before: the reason.
    Short(String),
}

/// No cross-section of this size takes longer on a busy machine.
const LONGEST: Duration = Duration::from_secs(900);

/// Traces cross-section `seed`, with more nodes than drawn if its junctions ask for them.
fn trace(seed: u64) -> End {
    let text = cross_section(seed);
    match trace_text(&text) {
        End::Refused(why) => match why.split("= help: nodes = ").nth(1) {
            Some(rest) => {
                let nodes: String = rest.chars().take_while(char::is_ascii_digit).collect();
                trace_text(&text.replace("nodes = 1200", &format!("nodes = {nodes}")))
            }
            None => End::Refused(why),
        },
        end => end,
    }
}

fn trace_text(text: &str) -> End {
    let desk = Desk::new();
    desk.write("case.toml", text);
    let args = ["run", "case.toml", "-o", "case.h5", "--json", "--quiet", "--threads", "1"];
    let mut child = desk
        .command(&args)
        .stdout(std::fs::File::create(desk.path("out")).unwrap())
        .stderr(std::fs::File::create(desk.path("err")).unwrap())
        .spawn()
        .unwrap();
    let since = Instant::now();
    let code = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status.code();
        }
        if since.elapsed() > LONGEST {
            child.kill().unwrap();
            child.wait().unwrap();
            return End::Short(format!("still at work after {} s", LONGEST.as_secs()));
        }
        std::thread::sleep(Duration::from_millis(50));
    };
    let said = |name: &str| std::fs::read_to_string(desk.path(name)).unwrap();
    if code == Some(2) {
        return End::Refused(said("err"));
    }
    let Ok(document) = serde_json::from_str::<serde_json::Value>(&said("out")) else {
        return End::Short(format!("exit code {code:?}: {}{}", said("out"), said("err")));
    };
    let experiment = &document["experiments"][0];
    match experiment["status"].as_str() {
        Some("complete") => End::Reached,
        _ => End::Short(format!("{}: {}", experiment["status"], experiment["reason"])),
    }
}

/// Traces all, one on each core; prints how each ended. Returns how many were cases at all,
/// and the seeds that fell short. A drawing may be none: its tails may short two terminals.
fn trace_all(seeds: Vec<u64>) -> (usize, Vec<(u64, String)>) {
    let count = Mutex::new(0);
    let rest = Mutex::new(seeds.into_iter());
    let short = Mutex::new(Vec::new());
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            scope.spawn(|| {
                loop {
                    let Some(seed) = rest.lock().unwrap().next() else { return };
                    let since = Instant::now();
                    let end = trace(seed);
                    *count.lock().unwrap() += usize::from(!matches!(end, End::Refused(_)));
                    match end {
                        End::Reached => println!("{seed}: {:.1} s", since.elapsed().as_secs_f64()),
                        End::Refused(why) => {
                            println!("{seed} is no case: {}", why.lines().next().unwrap_or(""));
                        }
                        End::Short(why) => {
                            println!("{seed} FELL SHORT: {why}");
                            short.lock().unwrap().push((seed, why));
                        }
                    }
                }
            });
        }
    });
    let mut short = short.into_inner().unwrap();
    short.sort();
    (count.into_inner().unwrap(), short)
}

#[test]
fn some_random_cross_sections_trace_to_their_stop() {
    let seeds: Vec<u64> = [0, 1, 2, 4].into_iter().chain(KEPT.iter().map(|k| k.0)).collect();
    let all = seeds.len();
    let (count, short) = trace_all(seeds);
    assert!(count == all && short.is_empty(), "{count} of {all} cases, {short:#?}");
}

#[test]
#[ignore = "an hour or more: docs/hard-cases.md"]
fn two_hundred_random_cross_sections_trace_to_their_stop() {
    let asked = std::env::var("HOLDPOINT_HARD").unwrap_or_else(|_| "0..200".into());
    let ends: Vec<u64> = asked.split("..").map(|w| w.parse().unwrap()).collect();
    let (count, short) = trace_all((ends[0]..ends[1]).collect());
    let reached = count - short.len();
    println!("{reached} of {count} cases reached their stop");
    assert!(2 * count as u64 > ends[1] - ends[0], "most drawings are no cases: {count}");
    assert!(100 * reached >= 99 * count, "{short:#?}");
}
