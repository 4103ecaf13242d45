//! What is written is read back, to the bit; what is not whole is refused.

mod record_support;

use holdpoint::experiment::Status;
use holdpoint::extract::Answer;
use holdpoint::record::{self, RecordError};
use record_support::{Numbers, bare, rich, text};

fn assert_same(a: &record::RunRecord, b: &record::RunRecord) {
    let (a, b) = (text(a), text(b));
    if let Some((n, (l, r))) = a.lines().zip(b.lines()).enumerate().find(|(_, (l, r))| l != r) {
        panic!("the records differ in line {n}:\n  {l}\n  {r}");
    }
    assert_eq!(a.len(), b.len(), "one record is longer than the other");
}

#[test]
fn a_rich_record_comes_back_to_the_bit() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.h5");
    let record = rich();
    record::write(&path, &record).unwrap();
    let back = record::read(&path).unwrap();
    assert_same(&record, &back);
    let odd = |r: &record::RunRecord| -> Vec<u64> {
        r.experiments[0].fields[0].electrons.iter().map(|v| v.to_bits()).collect()
    };
    assert_eq!(odd(&record), odd(&back), "NaN payload, -0, denormal, infinity");
    // Only the result is left in the folder, and writing it again gives the same bytes.
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    let bytes = std::fs::read(&path).unwrap();
    record::write(&path, &back).unwrap();
    assert!(bytes == std::fs::read(&path).unwrap(), "the bytes depend on more than the record");
}

#[test]
fn an_empty_record_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.h5");
    record::write(&path, &bare()).unwrap();
    assert_same(&bare(), &record::read(&path).unwrap());
}

#[test]
fn every_answer_and_status_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.h5");
    let mut r = rich();
    r.experiments.truncate(1);
    let answers = [Answer::NoOnState, Answer::NotReached, Answer::Latches, Answer::Undecided];
    let states = [
        Status::Complete,
        Status::Interrupted,
        Status::Waiting,
        Status::Stopped("no convergence".into()),
    ];
    for (answer, status) in answers.into_iter().zip(states) {
        r.verdict.as_mut().unwrap().answer = answer;
        r.experiments[0].status = status.clone();
        record::write(&path, &r).unwrap();
        let back = record::read(&path).unwrap();
        assert_eq!(back.verdict.unwrap().answer, answer);
        assert_eq!(back.experiments[0].status, status);
    }
}

/// Reads the bytes as a file: a record equal to `right`, or a clear refusal.
fn refused(path: &std::path::Path, bytes: &[u8], right: &str, what: &str) -> bool {
    std::fs::write(path, bytes).unwrap();
    match record::read(path) {
        Ok(record) => {
            let found = text(&record);
            let differs = found.lines().zip(right.lines()).find(|(a, b)| a != b);
            assert!(found == right, "{what}: read as good, though {differs:?}");
            false
        }
        Err(e) => {
            let said = e.to_string();
            assert!(said.contains("x.h5") && said.len() > 40, "{what}: unclear message {said:?}");
            true
        }
    }
}

#[test]
fn truncated_files_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.h5");
    record::write(&path, &rich()).unwrap();
    let (bytes, right) = (std::fs::read(&path).unwrap(), text(&rich()));
    let mut r = Numbers::new(3);
    for k in 0..100 {
        let keep = if k < 3 { k } else { (r.bits() as usize) % bytes.len() };
        let whole = !refused(&path, &bytes[..keep], &right, &format!("{keep} bytes kept"));
        assert!(!whole, "{keep} of {} bytes were taken for the whole file", bytes.len());
    }
}

#[test]
fn flipped_bytes_never_give_a_wrong_record() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.h5");
    record::write(&path, &rich()).unwrap();
    let (bytes, right) = (std::fs::read(&path).unwrap(), text(&rich()));
    let mut r = Numbers::new(7);
    let flips = std::env::var("HOLDPOINT_FLIPS").ok().and_then(|v| v.parse().ok()).unwrap_or(100);
    let mut caught = 0;
    for _ in 0..flips {
        let mut bad = bytes.clone();
        let at = (r.bits() >> 20) as usize % bad.len();
        bad[at] ^= ((r.bits() >> 20) % 255) as u8 + 1;
        caught += usize::from(refused(&path, &bad, &right, &format!("byte {at} flipped")));
    }
    assert_eq!(caught, flips, "some flips were not noticed");
}

#[test]
fn foreign_files_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.h5");
    refused(&path, b"title = \"not HDF5\"", "", "a text file");
    let file = hdf5::File::create(&path).unwrap();
    file.new_dataset::<f64>().shape(3).create("voltage").unwrap();
    drop(file);
    let e = record::read(&path).unwrap_err();
    assert!(matches!(e, RecordError::Foreign { .. }), "{e}");
    assert!(e.to_string().contains("seal"), "{e}");
    let e = record::read(folder.path()).unwrap_err();
    assert!(matches!(e, RecordError::Foreign { .. }), "{e}");
    let e = record::read(&folder.path().join("none.h5")).unwrap_err();
    assert!(matches!(e, RecordError::Io { .. }) && e.to_string().contains("none.h5"), "{e}");
}

/// Changes the schema version as another program version would have written it: the
/// seal (32 bytes at the end: words, length, FNV-1a) is renewed.
fn with_version(path: &std::path::Path, version: [u32; 2]) {
    let file = hdf5::File::open_rw(path).unwrap();
    file.attr("schema_version").unwrap().write_raw(&version).unwrap();
    file.close().unwrap();
    let mut bytes = std::fs::read(path).unwrap();
    bytes.truncate(bytes.len() - 32 * usize::from(bytes[bytes.len() - 32..].starts_with(b"hold")));
    let sum = bytes.iter().fold(0xcbf2_9ce4_8422_2325u64, |s, b| {
        (s ^ u64::from(*b)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    let length = bytes.len() as u64;
    bytes.extend_from_slice(b"holdpoint seal 1");
    bytes.extend_from_slice(&length.to_le_bytes());
    bytes.extend_from_slice(&sum.to_le_bytes());
    std::fs::write(path, bytes).unwrap();
}

#[test]
fn another_schema_is_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.h5");
    record::write(&path, &rich()).unwrap();
    with_version(&path, [2, 7]);
    let e = record::read(&path).unwrap_err();
    assert!(matches!(e, RecordError::OtherSchema { .. }), "{e}");
    let said = e.to_string();
    assert!(said.contains("2.7") && said.contains("1.x") && said.contains("rev abc1234"), "{said}");
    // A newer minor version only adds things.
    with_version(&path, [1, 7]);
    assert_same(&rich(), &record::read(&path).unwrap());
}

#[test]
fn a_record_that_contradicts_itself_is_not_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.h5");
    type Spoil = fn(&mut record::RunRecord);
    let spoils: [(&str, Spoil); 6] = [
        ("a short field", |r| r.experiments[0].fields[0].holes.truncate(1)),
        ("a short column", |r| r.experiments[0].curve.current.truncate(1)),
        ("a missing terminal value", |r| {
            r.experiments[0].curve.at_terminals[5].current.truncate(1)
        }),
        ("a node out of order", |r| r.mesh.node_at.swap(20, 21)),
        ("a NUL in a text", |r| r.title.push('\0')),
        ("lines that do not grow", |r| r.mesh.x[1] = r.mesh.x[0]),
    ];
    for (what, spoil) in spoils {
        let mut r = rich();
        spoil(&mut r);
        let e = record::write(&path, &r).expect_err(what);
        assert!(matches!(e, RecordError::Unfit { .. }), "{what}: {e}");
        assert!(!path.exists(), "{what}: something was written");
    }
}
