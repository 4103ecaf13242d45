//! A case belongs to one process at a time: a claim file beside its result.
//!
//! A claim is written under a name of its own and then linked to the claim's name, which
//! fails if that is taken, in one step also on NFS; where there are no links the file is
//! created exclusively. It is kept by writing it again every quarter of a minute. It is
//! stale if its process is gone (same machine), or if it was not touched for two minutes by
//! the file server's own clock. A stale claim is moved away under a new name; who finds that
//! it moved another's fresh claim puts it back. Should two processes run the same case all the same, nothing is lost: results
//! are the same bits, and are put in place in one step.

use std::fs::{self, File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, SystemTime};

/// Between touches.
const BEAT: Duration = Duration::from_secs(15);
/// A claim of another machine that was not touched for this long is stale.
const STALE: Duration = Duration::from_secs(120);

/// Who holds a claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    pub host: String,
    /// This start of this machine, and its namespace of process numbers: hosts in a
    /// cluster of containers may share their name.
    pub machine: String,
    pub pid: u32,
    /// Tells processes apart that had the same number one after the other.
    pub start: String,
    /// Different in every claim.
    pub token: String,
}

/// Why a case could not be claimed.
#[derive(Debug, thiserror::Error)]
pub enum ClaimError {
    #[error("process {} on {} is at work on it", .0.pid, .0.host)]
    Held(Holder),
    #[error("{}: the claim cannot be made: {source}; is the folder writable, is the disk full?", .path.display())]
    Io { path: PathBuf, source: std::io::Error },
}

/// A claim that is held; given back when dropped.
#[derive(Debug)]
pub struct Claim {
    path: PathBuf,
    me: Holder,
    stop: Arc<AtomicBool>,
    beat: Option<std::thread::JoinHandle<()>>,
}

impl Holder {
    /// This process.
    pub fn me() -> Holder {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let pid = std::process::id();
        let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        Holder {
            host: host(),
            machine: machine(),
            pid,
            start: started(pid).unwrap_or_default(),
            token: format!("{:x}-{count:x}", now.as_nanos()),
        }
    }

    fn line(&self) -> String {
        format!("{}\n{}\n{}\n{}\n{}\n", self.host, self.machine, self.pid, self.start, self.token)
    }

    fn parse(text: &str) -> Option<Holder> {
        let mut lines = text.lines().map(str::to_string);
        let holder = Holder {
            host: lines.next()?,
            machine: lines.next()?,
            pid: lines.next()?.parse().ok()?,
            start: lines.next()?,
            token: lines.next()?,
        };
        (!holder.token.is_empty()).then_some(holder)
    }

    /// True if the process is known to be gone.
    fn gone(&self) -> bool {
        self.machine == machine() && started(self.pid).is_none_or(|s| s != self.start)
    }
}

fn host() -> String {
    fs::read_to_string("/proc/sys/kernel/hostname")
        .map(|h| h.trim().to_string())
        .ok()
        .filter(|h| !h.is_empty())
        .unwrap_or_else(|| "here".to_string())
}

fn machine() -> String {
    let boot = fs::read_to_string("/proc/sys/kernel/random/boot_id").unwrap_or_default();
    let names = fs::read_link("/proc/self/ns/pid").unwrap_or_default();
    format!("{} {} {}", host(), boot.trim(), names.display())
}

/// When a process started, in clock ticks since boot; `None` if there is no such process
/// (or it is only waiting to be collected).
fn started(pid: u32) -> Option<String> {
    let stat = fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
    // The command's name is in brackets and may hold anything.
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    if matches!(fields.first(), Some(&"Z" | &"X")) {
        return None;
    }
    Some(fields.get(19)?.to_string())
}

/// Claims the file `path`.
///
/// # Errors
/// [`ClaimError::Held`] by a process that is alive, as far as can be known.
pub fn claim(path: &Path) -> Result<Claim, ClaimError> {
    let io = |source| ClaimError::Io { path: path.to_path_buf(), source };
    // Each round ends one stale claim; more than a few mean that others win.
    for _ in 0..8 {
        let me = Holder::me();
        match make(path, &me) {
            Ok(()) => return Ok(Claim::keep(path, me)),
            Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
            Err(source) => return Err(io(source)),
        }
        let text = match fs::read_to_string(path) {
            Ok(text) => text,
            Err(e) if e.kind() == ErrorKind::NotFound => continue,
            Err(source) => return Err(io(source)),
        };
        let holder = Holder::parse(&text);
        let stale = holder.as_ref().is_some_and(Holder::gone) || untouched(path).map_err(io)?;
        if !stale {
            let unknown = || Holder { host: "an unknown machine".into(), pid: 0, ..Holder::me() };
            return Err(ClaimError::Held(holder.unwrap_or_else(unknown)));
        }
        remove_stale(path, &text, &me);
    }
    Err(io(std::io::Error::other("others keep claiming it")))
}

/// Puts the claim in its place, whole or not at all.
fn make(path: &Path, me: &Holder) -> std::io::Result<()> {
    let own = beside(path, me);
    let mut made = fs::write(&own, me.line()).and_then(|()| {
        let linked = fs::hard_link(&own, path);
        // The answer of a file server may be lost and its second one be "exists": the claim
        // is ours if it has our text (open(2), on O_EXCL over NFS, counts the links).
        match linked.is_err() && fs::read_to_string(path).is_ok_and(|t| t == me.line()) {
            true => Ok(()),
            false => linked,
        }
    });
    let _ = fs::remove_file(&own);
    // Where there are no links Linux says EPERM or EOPNOTSUPP; the file could be written.
    let no_links = [ErrorKind::Unsupported, ErrorKind::PermissionDenied];
    if made.as_ref().is_err_and(|e| no_links.contains(&e.kind())) {
        made = OpenOptions::new().write(true).create_new(true).open(path).and_then(|mut file| {
            file.write_all(me.line().as_bytes()).inspect_err(|_| {
                let _ = fs::remove_file(path);
            })
        });
    }
    made
}

/// A name of this process's own beside the claim.
fn beside(path: &Path, me: &Holder) -> PathBuf {
    let mut own = path.as_os_str().to_os_string();
    own.push(format!(".{}-{}", me.pid, me.token));
    PathBuf::from(own)
}

/// Moves the claim with this text away; another's fresh one is put back.
fn remove_stale(path: &Path, text: &str, me: &Holder) {
    let aside = beside(path, me);
    if fs::rename(path, &aside).is_err() {
        return;
    }
    if fs::read_to_string(&aside).is_ok_and(|found| found != text) {
        let _ = fs::hard_link(&aside, path);
    }
    let _ = fs::remove_file(&aside);
}

/// True if the claim was not touched for long, by the clock that stamps files there.
fn untouched(path: &Path) -> std::io::Result<bool> {
    let stamp = match fs::metadata(path) {
        Ok(about) => about.modified()?,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(false),
        Err(e) => return Err(e),
    };
    // By this machine's clock it may be fresh or old; a new file tells the server's.
    if SystemTime::now().duration_since(stamp).is_ok_and(|age| age < BEAT) {
        return Ok(false);
    }
    let mut probe = path.as_os_str().to_os_string();
    probe.push(format!(".now-{}", std::process::id()));
    let probe = PathBuf::from(probe);
    let now = File::create(&probe).and_then(|f| f.metadata()).and_then(|m| m.modified());
    let _ = fs::remove_file(&probe);
    Ok(now?.duration_since(stamp).is_ok_and(|age| age > STALE))
}

impl Claim {
    fn keep(path: &Path, me: Holder) -> Claim {
        let stop = Arc::new(AtomicBool::new(false));
        let (flag, file, line) = (stop.clone(), path.to_path_buf(), me.line());
        let beat = std::thread::Builder::new()
            .name("claim".into())
            .spawn(move || {
                while !flag.load(Ordering::Relaxed) {
                    std::thread::park_timeout(BEAT);
                    if flag.load(Ordering::Relaxed) {
                        break;
                    }
                    // Written, not stamped: so the file server's clock sets the time. A
                    // claim that was taken over is left alone.
                    if fs::read_to_string(&file).is_ok_and(|t| t == line) {
                        let opened = OpenOptions::new().write(true).open(&file);
                        let _ = opened.and_then(|mut f| f.write_all(line.as_bytes()));
                    }
                }
            })
            .ok();
        Claim { path: path.to_path_buf(), me, stop, beat }
    }

    /// True if the claim is still this process's.
    pub fn mine(&self) -> bool {
        fs::read_to_string(&self.path).is_ok_and(|t| t == self.me.line())
    }
}

impl Drop for Claim {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(beat) = self.beat.take() {
            beat.thread().unpark();
            let _ = beat.join();
        }
        if self.mine() {
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// Who holds the claim `path` and is alive, as far as can be known without writing.
pub fn holder(path: &Path) -> Option<Holder> {
    let holder = Holder::parse(&fs::read_to_string(path).ok()?)?;
    let age = fs::metadata(path).and_then(|m| m.modified()).ok()?;
    let old = SystemTime::now().duration_since(age).is_ok_and(|a| a > 2 * STALE);
    (!holder.gone() && !old).then_some(holder)
}
