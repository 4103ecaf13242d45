//! Results that were made to do harm: sealed anew after the change, so that only what is
//! in them gives them away. The program may not follow them out of the file, run short of
//! memory, or act on a terminal or a spreadsheet.

mod hostile_support;
mod shipped_support;

use std::path::Path;

use hdf5::types::VarLenUnicode;
use hdf5::{Dataset, File};
use hostile_support::{Dice, Ended, bounded, forged, places, sealed, unsealed};
use shipped_support::{Desk, PROGRAM, shipped, with};

const GOOD: &str = "good.h5";
const BAD: &str = "bad.h5";
/// Address space of a verb [MiB]: what the program maps at its start, and some.
const ROOM: u64 = 1500;

fn desk() -> Desk {
    let desk = Desk::new();
    desk.write("diode.toml", &with(&shipped("diode-strip.toml"), "nodes = 1000", "nodes = 120"));
    let ran = bounded(PROGRAM, &desk.path(""), ROOM, &["run", "diode.toml", "-o", GOOD, "--quiet"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    desk
}

fn show(desk: &Desk) -> Ended {
    bounded(PROGRAM, &desk.path(""), ROOM, &["show", BAD, "--json"])
}

/// Changes the good result, and expects a refusal that says `words`.
fn refused(desk: &Desk, words: &str, change: impl FnOnce(&File)) {
    forged(&desk.path(GOOD), &desk.path(BAD), change);
    let ended = show(desk);
    let said = format!("{:?}: {}{}", ended.code, ended.out, ended.err);
    assert_eq!((ended.code, ended.out.as_str()), (Some(2), ""), "{said}");
    assert!(ended.err.contains(words), "{words:?} is not in {said}");
    assert!(!ended.err.contains("hidden"), "{said}");
}

/// A result beside the good one, with something in it that must not be seen.
fn secret(desk: &Desk) -> String {
    let title: VarLenUnicode = "hidden".parse().unwrap();
    forged(&desk.path(GOOD), &desk.path("secret.h5"), |file| {
        file.attr("title").unwrap().write_scalar(&title).unwrap();
    });
    desk.path("secret.h5").display().to_string()
}

fn values(file: &File, name: &str) -> (Dataset, Vec<usize>) {
    let data = file.dataset(name).unwrap();
    let shape = data.shape();
    (data, shape)
}

#[test]
fn links_lead_nowhere() {
    let desk = desk();
    let outside = secret(&desk);
    for name in ["equilibrium", "mesh", "experiment/0", "experiment/0/curve"] {
        refused(&desk, "a link that leads elsewhere", |file| {
            file.unlink(name).unwrap();
            file.link_external(&outside, name, name).unwrap();
        });
        refused(&desk, "a link that leads elsewhere", |file| {
            file.unlink(name).unwrap();
            file.link_soft("/verdict", name).unwrap();
        });
    }
    refused(&desk, "a link that leads elsewhere", |file| {
        file.unlink("mesh/node").unwrap();
        file.link_external(&outside, "mesh/node", "mesh/node").unwrap();
    });
    // A group that holds itself.
    refused(&desk, "damaged at", |file| {
        file.unlink("experiment/0/curve").unwrap();
        file.link_hard("/experiment", "experiment/0/curve").unwrap();
    });
}

#[test]
fn values_stand_in_the_file_itself() {
    let desk = desk();
    let outside = secret(&desk);
    let name = "equilibrium/potential";
    refused(&desk, "said to stand in another file", |file| {
        let (_, shape) = values(file, name);
        file.unlink(name).unwrap();
        let build = file.new_dataset::<f64>().shape(shape.clone());
        build.virtual_map(&outside, name, shape.clone(), .., shape, ..).create(name).unwrap();
    });
    std::fs::write(desk.path("secret.bin"), vec![b'h'; 1 << 20]).unwrap();
    refused(&desk, "said to stand in another file", |file| {
        let (_, shape) = values(file, name);
        file.unlink(name).unwrap();
        let bytes = 8 * shape.iter().product::<usize>();
        let from = desk.path("secret.bin").display().to_string();
        let build = file.new_dataset::<f64>().shape(shape).no_chunk();
        build.external(&from, 0, bytes).create(name).unwrap();
    });
    refused(&desk, "packed with the filter", |file| {
        let (data, shape) = values(file, name);
        let all: Vec<f64> = data.read_raw().unwrap();
        file.unlink(name).unwrap();
        let build = file.new_dataset::<f64>().shape(shape.clone()).chunk(shape).nbit();
        build.create(name).unwrap().write_raw(&all).unwrap();
    });
}

#[test]
fn what_is_declared_must_be_there() {
    let desk = desk();
    let list = "mesh/x";
    for (length, words) in [(1_000_000_000_000usize, "not a list"), (40_000_000, "not there")] {
        refused(&desk, words, |file| {
            file.unlink(list).unwrap();
            file.new_dataset::<f64>().shape(length).chunk(1000).create(list).unwrap();
        });
    }
    // One value and a chunk of 800 MB around it.
    refused(&desk, "values at once", |file| {
        file.unlink(list).unwrap();
        let build = file.new_dataset::<f64>().shape((2..,)).chunk(100_000_000).deflate(1);
        build.create(list).unwrap();
    });
    // 320 MB of zeros in a file of less than one.
    refused(&desk, "more than a file of this size can hold", |file| {
        file.unlink(list).unwrap();
        let build = file.new_dataset::<f64>().shape(40_000_000).chunk(1 << 17);
        let made = build.deflate(9).create(list).unwrap();
        made.write_raw(&vec![0.0; 40_000_000]).unwrap();
    });
    let size = std::fs::metadata(desk.path(BAD)).unwrap().len();
    assert!(size < 1_000_000, "{size} bytes: this was no bomb");
    refused(&desk, "cannot be", |file| {
        let at = file.group("experiment").unwrap();
        at.attr("count").unwrap().write_scalar(&u64::MAX).unwrap();
    });
    refused(&desk, "damaged at /experiment/0/curve", |file| {
        let at = file.group("experiment/0/curve").unwrap();
        at.attr("count").unwrap().write_scalar(&49_999_999u64).unwrap();
    });
}

/// 4,000 texts that all stand for one megabyte of the file.
#[test]
fn one_text_does_not_count_for_many() {
    let desk = desk();
    let name = "run_warnings";
    forged(&desk.path(GOOD), &desk.path(BAD), |file| {
        let mut texts = vec![VarLenUnicode::new(); 4000];
        texts[0] = "x".repeat(1_000_000).parse().unwrap();
        for t in &mut texts[1..] {
            *t = "y".parse().unwrap();
        }
        if file.link_exists(name) {
            file.unlink(name).unwrap();
        }
        let made = file.new_dataset::<VarLenUnicode>().shape(4000).no_chunk().create(name).unwrap();
        made.write_raw(texts.as_slice()).unwrap();
    });
    let at = {
        let file = File::open(desk.path(BAD)).unwrap();
        file.dataset(name).unwrap().offset().unwrap() as usize
    };
    let mut bytes = unsealed(std::fs::read(desk.path(BAD)).unwrap());
    // Length, address, number: 16 bytes for each text.
    let first = bytes[at..at + 16].to_vec();
    assert_eq!(first[..4], 1_000_000u32.to_le_bytes());
    for k in 1..4000 {
        bytes[at + 16 * k..at + 16 * k + 16].copy_from_slice(&first);
    }
    std::fs::write(desk.path(BAD), sealed(bytes)).unwrap();
    let ended = show(&desk);
    assert_eq!(ended.code, Some(2), "{}", ended.err);
    assert!(ended.err.contains("more than a file of this size can hold"), "{}", ended.err);
}

#[test]
fn texts_are_texts() {
    let desk = desk();
    let good = unsealed(std::fs::read(desk.path(GOOD)).unwrap());
    let title = "Diode strip".as_bytes();
    let found = places(&good, title);
    assert!(!found.is_empty(), "the title does not stand in the file");
    let mut bytes = good.clone();
    for at in found {
        bytes[at] = 0xff;
    }
    std::fs::write(desk.path(BAD), sealed(bytes)).unwrap();
    let ended = show(&desk);
    assert_eq!(ended.code, Some(2), "{}", ended.err);
    assert!(ended.err.contains("no UTF-8 text"), "{}", ended.err);
    // The heaps that texts stand in, with lengths that lead out of them.
    let heaps = places(&good, b"GCOL\x01");
    assert!(!heaps.is_empty());
    for (offset, length) in [(8, u64::MAX), (8, 7), (24, 1 << 40), (24, 5000), (16, 0)] {
        let mut bytes = good.clone();
        let at = heaps[0] + offset;
        bytes[at..at + 8].copy_from_slice(&length.to_le_bytes());
        std::fs::write(desk.path(BAD), sealed(bytes)).unwrap();
        let ended = show(&desk);
        assert_eq!((ended.code, ended.out.as_str()), (Some(2), ""), "{offset}: {}", ended.err);
        assert!(ended.err.contains("damaged at its texts"), "{offset}: {}", ended.err);
    }
}

/// Bytes changed by chance under a seal that fits. The HDF5 library's own checksums catch
/// most; what no checksum covers (letters of texts, unused room) may be read as it stands.
#[test]
fn changed_bytes_under_a_new_seal_do_not_crash() {
    let desk = desk();
    let good = unsealed(std::fs::read(desk.path(GOOD)).unwrap());
    let tries = std::env::var("HOLDPOINT_FLIPS").ok().and_then(|v| v.parse().ok()).unwrap_or(150);
    let (mut dice, mut crashed, mut taken) = (Dice(77), Vec::new(), 0);
    for _ in 0..tries {
        let mut bytes = good.clone();
        let at = dice.below(bytes.len());
        let by = dice.below(255) as u8 + 1;
        bytes[at] ^= by;
        std::fs::write(desk.path(BAD), sealed(bytes)).unwrap();
        match show(&desk).code {
            Some(2) => {}
            Some(0) => taken += 1,
            code => crashed.push((at, by, code)),
        }
    }
    println!("{tries} changes, {taken} read, {} crashed", crashed.len());
    assert!(crashed.is_empty(), "(byte, change, code): {crashed:?}");
}

const TITLE: &str =
    "\u{1b}[2J\u{1b}]0;x\u{7}\u{9b}31m\u{202e}<script>alert(1)</script>\nverdict: none";
const ANODE: &str = "=HYPERLINK(\"http:x\")";
const CATHODE: &str = "<img src=x onerror=alert(2)>\u{1b}[8m\t";

/// The shipped diode with the hostile title; names of that kind are refused in a case.
fn hostile_case() -> String {
    let text = with(&shipped("diode-strip.toml"), "nodes = 1000", "nodes = 120");
    let title = text.lines().find(|l| l.starts_with("title")).unwrap().to_string();
    with(&text, &title, &format!("title = {}", toml_text(TITLE)))
}

fn toml_text(text: &str) -> String {
    let escaped: String = text
        .chars()
        .map(|c| match c {
            '"' => "\\\"".to_string(),
            c if c.is_control() || c == '\u{202e}' => format!("\\u{:04x}", u32::from(c)),
            c => c.to_string(),
        })
        .collect();
    format!("\"{escaped}\"")
}

/// A result whose terminals bear the hostile names.
fn hostile_names(desk: &Desk, from: &str, to: &str) {
    forged(&desk.path(from), &desk.path(to), |file| {
        let texts: Vec<VarLenUnicode> = [ANODE, CATHODE].map(|t| t.parse().unwrap()).to_vec();
        for list in ["mesh/terminal_names", "experiment/0/terminal"] {
            file.dataset(list).unwrap().write_raw(texts.as_slice()).unwrap();
        }
        for (old, text) in [("anode", ANODE), ("cathode", CATHODE)] {
            for within in ["mesh/terminal", "experiment/0/curve"] {
                let group = file.group(within).unwrap();
                let name = text.replace('/', "_");
                group.relink(old, &name).unwrap();
                let title: VarLenUnicode = text.parse().unwrap();
                group.group(&name).unwrap().attr("name").unwrap().write_scalar(&title).unwrap();
            }
        }
    });
}

fn harmless(text: &str, what: &str) {
    let acting = |c: &char| {
        (c.is_control() && !matches!(c, '\n' | '\t' | '\r'))
            || matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
    };
    let found: Vec<char> = text.chars().filter(acting).collect();
    assert!(found.is_empty(), "{found:?} in {what}:\n{text}");
}

#[test]
fn texts_do_not_act_on_terminals_and_spreadsheets() {
    let desk = Desk::new();
    desk.write("case.toml", &hostile_case());
    let ran = desk.run(&["run", "case.toml", "-o", "r.h5"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    harmless(&(ran.out + &ran.err), "run");
    hostile_names(&desk, "r.h5", "forged.h5");
    std::fs::rename(desk.path("forged.h5"), desk.path("r.h5")).unwrap();
    for args in [
        &["show", "r.h5"][..],
        &["show", "r.h5", "--details"],
        &["show", "r.h5", "--curve"],
        &["show", "r.h5", "--csv"],
        &["show", "r.h5", "--json"],
        &["compare", "r.h5", "r.h5"],
        &["check", "case.toml"],
    ] {
        let ran = desk.run(args);
        assert_eq!(ran.code, Some(0), "{args:?}: {}", ran.err);
        harmless(&(ran.out.clone() + &ran.err), &format!("{args:?}"));
        // The title cannot pass for a line of ours.
        assert!(!ran.out.lines().any(|l| l == "verdict: none"), "{args:?}: {}", ran.out);
        if args.contains(&"--csv") {
            let head = ran.out.lines().next().unwrap();
            assert!(head.contains("'=HYPERLINK"), "{head}");
        }
        if args.contains(&"--json") {
            let document: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
            let title = document["title"].as_str().unwrap();
            assert!(title.starts_with("\u{1b}[2J"), "JSON keeps the text: {title:?}");
        }
    }
    // Problems quote the case.
    let named =
        with(&hostile_case(), "name    = \"anode\"", &format!("name = {}", toml_text(CATHODE)));
    desk.write("named.toml", &named);
    let ran = desk.run(&["check", "named.toml"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("cannot be a name"), "{}", ran.err);
    harmless(&(ran.out + &ran.err), "check of hostile names");
    desk.write("bad.toml", &(hostile_case() + "\n\"\\u001b[2J\\u009b\" = \"\\u001b[2J\"\n"));
    let ran = desk.run(&["check", "bad.toml"]);
    assert_eq!(ran.code, Some(2));
    harmless(&(ran.out + &ran.err), "check of a bad case");
    let xmf = desk.run(&["report", "r.h5", "--xdmf"]);
    assert_eq!(xmf.code, Some(0), "{}", xmf.err);
    assert_eq!(desk.run(&["report", "r.h5", "-o", "r.html"]).code, Some(0));
    let svg = desk.run(&["report", "r.h5", "--figure", "section", "-o", "r.svg"]);
    let drawn = svg.code == Some(0);
    assert!(drawn || svg.err.contains("there are:"), "{}", svg.err);
    for name in ["r.xmf", "r.html"].into_iter().chain(drawn.then_some("r.svg")) {
        let text = std::fs::read_to_string(desk.path(name)).unwrap();
        assert!(!text.contains("<script>alert") && !text.contains("<img src"), "{name}");
        harmless(&text.replace("\\u001b", ""), name);
    }
}

/// What a case or sweep names lies beside it or below.
#[test]
fn cases_and_sweeps_read_nothing_elsewhere() {
    let outer = Desk::new();
    let inner = outer.path("inner");
    std::fs::create_dir(&inner).unwrap();
    outer.write("secret.csv", "hidden\n");
    outer.write("secret.toml", &shipped("diode-strip.toml"));
    std::os::unix::fs::symlink(outer.path("secret.csv"), inner.join("link.csv")).unwrap();
    std::os::unix::fs::symlink(outer.path("secret.toml"), inner.join("link.toml")).unwrap();
    std::os::unix::fs::symlink(outer.path(""), inner.join("up")).unwrap();
    let absolute = |name: &str| outer.path(name).display().to_string();
    let run = |args: &[&str]| bounded(PROGRAM, &inner, ROOM, args);
    let refused = |ended: Ended, what: &str| {
        assert_eq!(ended.code, Some(2), "{what}: {}{}", ended.out, ended.err);
        assert!(!ended.err.contains("hidden"), "{what}: {}", ended.err);
        let clear = ["outside the case's folder", "absolute path", "not a file"];
        assert!(clear.iter().any(|w| ended.err.contains(w)), "{what}: {}", ended.err);
    };
    let profiles = ["../secret.csv", "link.csv", "up/secret.csv", &absolute("secret.csv"), "."];
    for file in profiles {
        let shape = format!("shape     = \"table\"\nfile = \"{file}\" #");
        let text =
            with(&shipped("diode-strip.toml"), "shape     = \"box\"                     #", &shape);
        std::fs::write(inner.join("case.toml"), text).unwrap();
        refused(run(&["check", "case.toml"]), file);
        refused(run(&["run", "case.toml", "-o", "r.h5"]), file);
    }
    for base in ["../secret.toml", "link.toml", "up/secret.toml", &absolute("secret.toml"), "."] {
        let text = format!("base = \"{base}\"\n[axes]\ntemperature = [300, 310]\n");
        std::fs::write(inner.join("s.sweep.toml"), text).unwrap();
        refused(run(&["sweep", "plan", "s.sweep.toml"]), base);
        refused(run(&["sweep", "run", "s.sweep.toml"]), base);
    }
    // Texts as values of an axis do not lead out of the sweep's folder.
    std::fs::write(inner.join("case.toml"), shipped("diode-strip.toml")).unwrap();
    let axis = "[axes]\n\"diffusion.n+ cathode.name\" = [\"../../x\", \"/tmp/y\"]\n";
    std::fs::write(inner.join("s.sweep.toml"), format!("base = \"case.toml\"\n{axis}")).unwrap();
    run(&["sweep", "run", "s.sweep.toml"]);
    assert!(!outer.path("x.h5").exists() && !Path::new("/tmp/y.h5").exists());
    let results = inner.join("results");
    if results.exists() {
        assert!(places(format!("{:?}", files(&results)).as_bytes(), b"..").is_empty());
    }
}

fn files(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        match path.is_dir() {
            true => all.extend(files(&path)),
            false => all.push(path),
        }
    }
    all
}

#[test]
fn a_case_beyond_the_machine_is_refused_with_the_estimate() {
    let desk = Desk::new();
    let text = with(&shipped("diode-strip.toml"), "nodes = 1000", "nodes = 100_000");
    desk.write("large.toml", &text);
    for args in [
        &["check", "large.toml"][..],
        &["mesh", "large.toml"],
        &["run", "large.toml", "-o", "r.h5"],
    ] {
        let ended = bounded(PROGRAM, &desk.path(""), ROOM, args);
        assert_eq!(ended.code, Some(2), "{args:?}: {}", ended.err);
        let words = [
            "too-large",
            "100000 nodes need about 2.3 GiB of memory, there are 1.5 GiB",
            "nodes fits",
        ];
        for word in words {
            assert!(ended.err.contains(word), "{word:?} is not in {}", ended.err);
        }
    }
    // The same case with a mesh that fits, and with error bars that do not.
    desk.write("fits.toml", &text.replace("100_000", "30_000"));
    assert_eq!(bounded(PROGRAM, &desk.path(""), ROOM, &["check", "fits.toml"]).code, Some(0));
    let bars = ["run", "fits.toml", "-o", "r.h5", "--error-bars"];
    let ended = bounded(PROGRAM, &desk.path(""), ROOM, &bars);
    assert_eq!(ended.code, Some(2), "{}", ended.err);
    assert!(ended.err.contains("120000 nodes need about"), "{}", ended.err);
    assert_eq!(desk.names(), ["fits.toml", "large.toml"]);
}
