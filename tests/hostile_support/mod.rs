//! Results that are damaged or made to do harm, and the program run on them as a process
//! of its own, under limits of time and memory.
#![allow(dead_code)] // each test binary uses its share

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// How long any verb may look at a bad file. Far more than it needs, for a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

/// How a process ended.
pub struct Ended {
    /// `None`: killed by a signal, as after a crash.
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

/// Runs the program in `folder` with at most `mib` MiB of address space; panics if it does
/// not end in time.
pub fn bounded(program: &str, folder: &Path, mib: u64, args: &[&str]) -> Ended {
    let mut shell = Command::new("sh");
    shell.arg("-c").arg(format!("ulimit -v {}; exec \"$0\" \"$@\"", mib * 1024));
    shell.arg(program).args(args).current_dir(folder).stdin(Stdio::null());
    // Few threads, so that their stacks and arenas leave room for the rest.
    shell.env("RAYON_NUM_THREADS", "1").env("MALLOC_ARENA_MAX", "1");
    let (out, err) = (tempfile::tempfile().unwrap(), tempfile::tempfile().unwrap());
    shell.stdout(out.try_clone().unwrap()).stderr(err.try_clone().unwrap());
    let begin = Instant::now();
    let mut child = {
        let _alone = alone();
        shell.spawn().unwrap()
    };
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        if begin.elapsed() > PATIENCE {
            child.kill().unwrap();
            child.wait().unwrap();
            panic!("{args:?} did not end within {PATIENCE:?}");
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    Ended { code: status.code(), out: text(out), err: text(err) }
}

/// A file that is open while a process starts is locked in that process too: forging and
/// starting take turns.
fn alone() -> std::sync::MutexGuard<'static, ()> {
    static TURN: std::sync::Mutex<()> = std::sync::Mutex::new(());
    TURN.lock().unwrap_or_else(|e| e.into_inner())
}

fn text(mut file: std::fs::File) -> String {
    use std::io::{Read, Seek};
    let mut bytes = Vec::new();
    file.rewind().unwrap();
    file.read_to_end(&mut bytes).unwrap();
    String::from_utf8_lossy(&bytes).into_owned()
}

const SEAL: &[u8] = b"holdpoint seal 1";

/// Bytes of a result without their seal.
pub fn unsealed(mut bytes: Vec<u8>) -> Vec<u8> {
    if bytes.len() >= 32 && bytes[bytes.len() - 32..].starts_with(SEAL) {
        bytes.truncate(bytes.len() - 32);
    }
    bytes
}

/// Seals bytes as a forger would: 32 bytes of words, length and FNV-1a.
pub fn sealed(mut bytes: Vec<u8>) -> Vec<u8> {
    let sum = bytes.iter().fold(0xcbf2_9ce4_8422_2325u64, |s, b| {
        (s ^ u64::from(*b)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    let length = bytes.len() as u64;
    bytes.extend_from_slice(SEAL);
    bytes.extend_from_slice(&length.to_le_bytes());
    bytes.extend_from_slice(&sum.to_le_bytes());
    bytes
}

/// Copies the result `from` to `to`, changed by `change` and sealed again.
pub fn forged(from: &Path, to: &Path, change: impl FnOnce(&hdf5::File)) {
    let _alone = alone();
    std::fs::write(to, unsealed(std::fs::read(from).unwrap())).unwrap();
    let file = hdf5::File::open_rw(to).unwrap();
    change(&file);
    file.close().unwrap();
    std::fs::write(to, sealed(unsealed(std::fs::read(to).unwrap()))).unwrap();
}

/// Where `needle` stands in `bytes`, each time.
pub fn places(bytes: &[u8], needle: &[u8]) -> Vec<usize> {
    (0..bytes.len()).filter(|k| bytes[*k..].starts_with(needle)).collect()
}

/// Seeded (Knuth, MMIX constants), so that a failure can be had again.
pub struct Dice(pub u64);

impl Dice {
    pub fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        ((self.0 >> 33) as usize) % n.max(1)
    }
}
