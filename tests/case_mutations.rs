//! Random damage: whatever stands in a case file, it is read or refused, never a panic,
//! and what is drawn and listed always fits the text.

use std::path::Path;

use holdpoint::case::{problem_json, read_str, render};

/// A small linear congruential generator (Knuth, MMIX constants): seeded, so that a
/// failure can be run again.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        ((self.0 >> 33) as usize) % n
    }
}

/// Reads, draws, lists; the number of problems.
fn survive(text: &str) -> usize {
    let problems = match read_str(text, "case.toml") {
        Ok((_, warnings)) => warnings,
        Err(problems) => {
            assert!(!problems.is_empty(), "refused without a reason:\n{text}");
            problems
        }
    };
    for p in &problems {
        if let Some(at) = &p.at {
            assert!(at.start <= at.end && at.end <= text.len(), "{p:?}");
        }
        assert!(!p.text.is_empty(), "{p:?}");
    }
    assert_eq!(problem_json(&problems, text).as_array().map(Vec::len), Some(problems.len()));
    let drawn = render(&problems, text, "case.toml", true);
    assert!(problems.is_empty() || !drawn.is_empty());
    problems.len()
}

fn shipped(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("meshes").join(name);
    std::fs::read_to_string(path).expect("readable")
}

#[test]
fn single_character_mutations_never_panic() {
    const LETTERS: &[char] = &[
        'x', '0', '9', '.', '-', '+', 'e', '"', '\'', '[', ']', '{', '}', '=', ',', '#', '\n', ' ',
        'µ', '€', '\\', '\u{0}', '_', '\u{202e}',
    ];
    let mut dice = Dice(20);
    let mut refused = 0;
    for name in ["tern180-pad.toml", "four-layer-bar.toml"] {
        let good: Vec<char> = shipped(name).chars().collect();
        for _ in 0..300 {
            let mut text = good.clone();
            let at = dice.below(text.len());
            let letter = LETTERS[dice.below(LETTERS.len())];
            match dice.below(3) {
                0 => text[at] = letter,
                1 => text.insert(at, letter),
                _ => {
                    text.remove(at);
                }
            }
            refused += usize::from(survive(&text.into_iter().collect::<String>()) > 0);
        }
    }
    // Much of a case is comment; what is not must mostly be noticed.
    assert!(refused > 100, "only {refused} of 600 were noticed");
}

#[test]
fn cut_and_doubled_cases_never_panic() {
    let good = shipped("tern180-pad.toml");
    let mut dice = Dice(7);
    for _ in 0..100 {
        let mut at = dice.below(good.len());
        while !good.is_char_boundary(at) {
            at -= 1;
        }
        survive(&good[..at]);
        survive(&good[at..]);
    }
    assert!(survive(&format!("{good}{good}")) > 0);
    survive("");
    survive("\u{feff}");
    survive(&"[".repeat(100_000));
    survive(&format!("a = {}1{}", "[".repeat(5_000), "]".repeat(5_000)));
    survive(&"x = 1\n".repeat(2_000));
}

#[test]
fn huge_cases_are_refused_in_no_time() {
    let begin = std::time::Instant::now();
    let many = |line: &dyn Fn(usize) -> String| (0..50_000).map(line).collect::<String>();
    assert!(survive(&many(&|i| format!("widt{i} = 1\n"))) > 0);
    assert!(survive(&many(&|i| format!("widt{i}\n"))) > 0);
    let wafer = "[wafer]\nspan = 1\nthickness = 1\n";
    let terminal = "[[terminal]]\nname = 'a'\ntouches = [{ from = 0, to = 1 }]\n";
    assert!(survive(&format!("{wafer}{}", terminal.repeat(20_000))) > 0);
    assert!(survive(&format!("{wafer}{}", terminal.repeat(900))) > 0);
    assert!(survive(&format!("{} = 1\n", "w".repeat(1_000_000))) > 0);
    assert!(survive(&format!("{wafer}[grid]\nx = [{}]\n", "1,".repeat(200_000))) > 0);
    assert!(begin.elapsed().as_secs() < 20, "{:?}", begin.elapsed());
}

#[test]
fn values_swapped_between_keys_never_panic() {
    let good = shipped("tern180-pad.toml");
    let values: Vec<&str> = good
        .lines()
        .filter_map(|l| l.split_once('='))
        .map(|(_, v)| v.split('#').next().unwrap_or("").trim())
        .collect();
    let lines: Vec<&str> = good.lines().collect();
    let mut dice = Dice(99);
    for _ in 0..300 {
        let at = dice.below(lines.len());
        let value = values[dice.below(values.len())];
        let mut changed: Vec<String> = lines.iter().map(|l| l.to_string()).collect();
        if let Some((key, _)) = lines[at].split_once('=') {
            changed[at] = format!("{key}= {value}");
        }
        survive(&changed.join("\n"));
    }
}
