//! Result files that were cut, changed or come from elsewhere: every verb refuses them with
//! what is wrong, never crashes, never shows a part as the whole.

mod hostile_support;
mod shipped_support;

use hostile_support::{Dice, bounded, forged};
use shipped_support::{Desk, PROGRAM, shipped, with};

const CASE: &str = "diode.toml";
const GOOD: &str = "good.h5";
const BAD: &str = "bad.h5";

/// A desk with a finished result of the shipped diode on a small mesh.
fn desk() -> Desk {
    let desk = Desk::new();
    desk.write(CASE, &with(&shipped("diode-strip.toml"), "nodes = 1000", "nodes = 120"));
    let ran = bounded(PROGRAM, &desk.path(""), 4096, &["run", CASE, "-o", GOOD, "--quiet"]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    desk
}

/// What looks at a result, each in its own way.
fn verbs() -> Vec<Vec<&'static str>> {
    vec![
        vec!["show", BAD],
        vec!["show", BAD, "--json"],
        vec!["report", BAD, "-o", "page.html"],
        vec!["report", BAD, "--xdmf"],
        vec!["compare", GOOD, BAD],
        vec!["compare", BAD, GOOD],
        vec!["check", BAD],
        vec!["run", CASE, "-o", BAD, "--resume", "--quiet"],
        vec!["run", CASE, "-o", "new.h5", "--resume", "--quiet"],
    ]
}

/// The bytes stand where the verb looks for a result or a checkpoint; it refuses them in a
/// sentence that names the file and one of `words`.
fn refused(desk: &Desk, bytes: &[u8], verb: &[&str], what: &str, words: &[&str]) {
    let resumes_partial = verb.contains(&"new.h5");
    let name = if resumes_partial { "new.h5.partial" } else { BAD };
    std::fs::write(desk.path(name), bytes).unwrap();
    let ended = bounded(PROGRAM, &desk.path(""), 4096, verb);
    let said = format!("{what}, {verb:?}: {:?}\n{}{}", ended.code, ended.out, ended.err);
    assert_eq!(ended.code, Some(2), "{said}");
    assert!(ended.err.contains(name), "{said}");
    if verb[0] == "check" {
        // No case file: binary data is no text.
        assert!(ended.out.contains("not good"), "{said}");
    } else {
        assert_eq!(ended.out, "", "{said}");
        assert!(words.iter().any(|w| ended.err.contains(w)), "none of {words:?}: {said}");
    }
    for made in ["page.html", "bad.xmf", "new.h5"] {
        assert!(!desk.path(made).exists(), "{made} was written: {said}");
    }
    assert_eq!(std::fs::read(desk.path(name)).unwrap(), bytes, "the file was changed: {said}");
    std::fs::remove_file(desk.path(name)).unwrap();
}

const NO_SEAL: &[&str] = &["does not end with our seal"];
const NO_FIT: &[&str] = &["damaged at its seal", "does not end with our seal"];

#[test]
fn a_file_cut_anywhere_is_refused_by_every_verb() {
    let desk = desk();
    let bytes = std::fs::read(desk.path(GOOD)).unwrap();
    let (verbs, mut dice) = (verbs(), Dice(5));
    for k in 0..200 {
        // The first and last bytes one by one, blocks of the first kilobytes, and by chance.
        let keep = match k {
            0..10 => k,
            10..50 => bytes.len() - 1 - (k - 10),
            50..80 => 512 * (k - 49),
            _ => dice.below(bytes.len()),
        };
        let keep = keep.min(bytes.len() - 1);
        refused(&desk, &bytes[..keep], &verbs[k % verbs.len()], &format!("{keep} bytes"), NO_SEAL);
    }
}

#[test]
fn changed_bytes_are_refused_by_every_verb() {
    let desk = desk();
    let bytes = std::fs::read(desk.path(GOOD)).unwrap();
    let (verbs, mut dice) = (verbs(), Dice(11));
    for k in 0..300 {
        let mut bad = bytes.clone();
        let mut places = Vec::new();
        for _ in 0..[1, 1, 4, 64][k % 4] {
            let at = dice.below(bad.len());
            bad[at] ^= dice.below(255) as u8 + 1;
            places.push(at);
        }
        if bad != bytes {
            refused(&desk, &bad, &verbs[k % verbs.len()], &format!("bytes {places:?}"), NO_FIT);
        }
    }
}

#[test]
fn longer_files_are_refused() {
    let desk = desk();
    let bytes = std::fs::read(desk.path(GOOD)).unwrap();
    let twice = [bytes.as_slice(), &bytes].concat();
    let longer = [bytes.as_slice(), b"\n"].concat();
    let hole = [bytes.as_slice(), &[0; 4096]].concat();
    for verb in verbs() {
        refused(&desk, &twice, &verb, "twice", NO_FIT);
        refused(&desk, &longer, &verb, "a line end", NO_FIT);
        refused(&desk, &hole, &verb, "zeros", NO_FIT);
    }
}

#[test]
fn another_schema_is_refused_by_every_verb() {
    let desk = desk();
    let forge = |change: &dyn Fn(&hdf5::File)| {
        forged(&desk.path(GOOD), &desk.path("forged.h5"), change);
        std::fs::read(desk.path("forged.h5")).unwrap()
    };
    let newer = forge(&|file| file.attr("schema_version").unwrap().write_raw(&[2u32, 0]).unwrap());
    let other = forge(&|file| {
        let name: hdf5::types::VarLenUnicode = "another-schema".parse().unwrap();
        file.attr("schema").unwrap().write_scalar(&name).unwrap();
    });
    let none = forge(&|file| file.delete_attr("schema").unwrap());
    for verb in verbs() {
        refused(
            &desk,
            &newer,
            &verb,
            "version 2.0",
            &["result schema 2.0, this program reads 1.x"],
        );
        refused(&desk, &other, &verb, "another schema", &["its schema is \"another-schema\""]);
        refused(&desk, &none, &verb, "no schema", &["no text attribute `schema`"]);
    }
}

#[test]
fn files_of_other_programs_are_refused_by_every_verb() {
    let desk = desk();
    let other = hdf5::File::create(desk.path("other.h5")).unwrap();
    other.new_dataset::<f64>().shape(3).create("voltage").unwrap();
    other.close().unwrap();
    let other = std::fs::read(desk.path("other.h5")).unwrap();
    for verb in verbs() {
        refused(&desk, &other, &verb, "plain HDF5", NO_SEAL);
        refused(&desk, &hostile_support::sealed(other.clone()), &verb, "sealed HDF5", &["schema"]);
        refused(&desk, b"PK\x03\x04\xff\xfe", &verb, "an archive", NO_SEAL);
        refused(&desk, &hostile_support::sealed(vec![0xff; 64]), &verb, "sealed", &["HDF5"]);
    }
}

/// What a run left when it was interrupted says so wherever it is shown.
#[test]
fn a_partial_result_is_never_shown_as_whole() {
    let desk = desk();
    forged(&desk.path(GOOD), &desk.path(BAD), |file| {
        file.attr("complete").unwrap().write_scalar(&0u8).unwrap();
    });
    let folder = desk.path("");
    let shown = bounded(PROGRAM, &folder, 4096, &["show", BAD]);
    assert_eq!(shown.code, Some(0), "{}", shown.err);
    assert!(
        shown.out.contains("not complete") || shown.out.contains("incomplete"),
        "{}",
        shown.out
    );
    for args in [
        &["show", BAD, "--csv"][..],
        &["show", BAD, "--curve"],
        &["compare", GOOD, BAD],
        &["report", BAD, "--figure", "section", "-o", "section.svg"],
    ] {
        let ended = bounded(PROGRAM, &folder, 4096, args);
        assert_eq!(ended.code, Some(0), "{}", ended.err);
        assert!(ended.err.contains("bad.h5: not complete"), "{args:?}: {}", ended.err);
    }
    let shown = bounded(PROGRAM, &folder, 4096, &["show", BAD, "--json"]);
    let document: serde_json::Value = serde_json::from_str(&shown.out).unwrap();
    assert_eq!(document["complete"], false);
    let page = bounded(PROGRAM, &folder, 4096, &["report", BAD, "-o", "page.html"]);
    assert_eq!(page.code, Some(0), "{}", page.err);
    let page = std::fs::read_to_string(desk.path("page.html")).unwrap();
    assert!(page.contains("not complete") || page.contains("incomplete"), "the page hides it");
}
