//! Measured profiles: read beside the case, and nowhere else.

use std::path::Path;

use holdpoint::case::{Case, Problem, Profile, read_file, read_str};

const CASE: &str = r#"[wafer]
span = 4
thickness = 2
acceptors = 1e15
[[well]]
name = "measured"
donors = 3e17
from = 1
to = 3
shape = "table"
file = "profile.csv"
[[terminal]]
name = "well"
touches = [{ from = 1.5, to = 2 }]
[[terminal]]
name = "back"
touches = [{ side = "back" }]
[[experiment]]
kind = "bias"
drive = ["well"]
at = [1]
"#;

fn read(folder: &Path, text: &str) -> Result<(Case, Vec<Problem>), Vec<Problem>> {
    let path = folder.join("case.toml");
    std::fs::write(&path, text).expect("writable");
    read_file(&path)
}

fn with_profile(csv: &str) -> Result<(Case, Vec<Problem>), Vec<Problem>> {
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("profile.csv"), csv).expect("writable");
    read(folder.path(), CASE)
}

#[track_caller]
fn refused(outcome: Result<(Case, Vec<Problem>), Vec<Problem>>, code: &str, text: &str) -> Problem {
    let all = outcome.expect_err("refused");
    assert_eq!(all.len(), 1, "{all:#?}");
    let problem = all.into_iter().next().expect("one");
    assert_eq!(problem.code, code, "{problem:#?}");
    assert!(problem.text.contains(text), "{problem:#?}");
    assert!(problem.help.is_some());
    problem
}

#[test]
fn a_profile_is_read_with_comments_and_spaces() {
    let csv = "\u{feff}# measured\n\ndepth_um, concentration_cm3\n0, 1e17 # surface\n0.5,3e17\r\n1.2 , 1e15\n";
    let (case, warnings) = with_profile(csv).expect("a good profile");
    assert!(warnings.is_empty(), "{warnings:#?}");
    match &case.wells[0].profile {
        Profile::Table { depth, density } => {
            assert_eq!(depth, &[0.0, 0.5, 1.2]);
            assert_eq!(density, &[1e17, 3e17, 1e15]);
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(case.wells[0].peak, 3e17);
}

#[test]
fn another_peak_than_the_tables_is_a_warning() {
    let (case, warnings) =
        with_profile("depth_um,concentration_cm3\n0,1e17\n1,2e17\n").expect("good");
    assert_eq!(case.wells[0].peak, 2e17);
    assert_eq!(warnings[0].code, "peak-not-used");
    let at = warnings[0].at.clone().expect("a place");
    assert_eq!(&CASE[at], "3e17");
}

#[test]
fn bad_profiles_name_their_line_and_point_into_the_case() {
    let head = "# a\ndepth_um,concentration_cm3\n";
    for (rows, code, text) in [
        ("0,1e17\n0.5,1e16\n0.5,1e15\n", "non-monotonic-depth", "line 5"),
        ("0,1e17\n0.5,1e16\n0.4,1e15\n", "non-monotonic-depth", "line 5: depth 0.4 um"),
        ("0,1e17\n0.5,x\n", "bad-profile", "line 4: \"x\""),
        ("0,1e17\nnan,1e17\n", "bad-profile", "line 4"),
        ("0,1e17\n0.5,0\n", "bad-profile", "line 4"),
        ("0,1e17\n0.5,-1e17\n", "bad-profile", "line 4"),
        ("-1,1e17\n0.5,1e17\n", "bad-profile", "line 3"),
        ("0,1e17,3\n", "bad-profile", "line 3: 3 columns"),
        ("0,1e17\n", "bad-profile", "1 rows"),
    ] {
        let problem = refused(with_profile(&format!("{head}{rows}")), code, text);
        let at = problem.at.clone().expect("a place in the case");
        assert_eq!(&CASE[at], "\"profile.csv\"");
        assert!(problem.text.contains("profile.csv"), "{}", problem.text);
    }
    refused(with_profile("x,y\n0,1\n"), "bad-profile", "line 1: the header is");
    refused(with_profile(""), "bad-profile", "0 rows");
}

#[test]
fn a_profile_stays_in_the_folder_of_its_case() {
    let outer = tempfile::tempdir().expect("a folder");
    let inner = outer.path().join("cases");
    std::fs::create_dir_all(inner.join("data")).expect("a folder");
    let csv = "depth_um,concentration_cm3\n0,3e17\n1,1e17\n";
    std::fs::write(outer.path().join("secret.csv"), csv).expect("writable");
    std::fs::write(inner.join("data/p.csv"), csv).expect("writable");
    let named = |file: &str| read(&inner, &CASE.replace("profile.csv", file));
    assert!(named("data/p.csv").is_ok());
    refused(named("../secret.csv"), "profile-file", "outside the case's folder");
    let absolute = outer.path().join("secret.csv").display().to_string();
    refused(named(&absolute), "profile-file", "absolute");
    refused(named("missing.csv"), "profile-file", "missing.csv");
    refused(named("data"), "profile-file", "not a file");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(outer.path().join("secret.csv"), inner.join("link.csv"))
            .expect("a link");
        refused(named("link.csv"), "profile-file", "outside the case's folder");
    }
}

#[test]
fn files_that_cannot_be_read_say_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let missing = read_file(&folder.path().join("none.toml")).expect_err("no such file");
    assert_eq!((missing[0].code, missing[0].at.clone()), ("unreadable-file", None));
    assert!(missing[0].text.contains("none.toml"), "{}", missing[0].text);
    assert_eq!(read_file(folder.path()).expect_err("a folder")[0].code, "unreadable-file");
    let path = folder.path().join("latin.toml");
    std::fs::write(&path, b"title = \"\xb5m\"").expect("writable");
    assert!(read_file(&path).expect_err("not UTF-8")[0].text.contains("UTF-8"));
    // From memory there is no folder to look in.
    assert_eq!(read_str(CASE, "case.toml").expect_err("no folder")[0].code, "profile-file");
}
