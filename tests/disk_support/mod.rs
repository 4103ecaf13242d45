//! Disks that refuse: a small file system, and a limit on the size of files.

use std::ffi::OsStr;
use std::path::Path;
use std::process::Command;

/// A mounted file system of 64 KiB, unmounted at the end.
pub struct SmallDisk(tempfile::TempDir);

impl SmallDisk {
    /// `None`, and said so, where mounting is not allowed.
    pub fn new() -> Option<SmallDisk> {
        let folder = tempfile::tempdir().unwrap();
        let mut mount = Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", "size=64k", "tmpfs"]).arg(folder.path());
        if !mount.output().is_ok_and(|o| o.status.success()) {
            println!("skipped: mounting a small file system is not allowed here");
            return None;
        }
        Some(SmallDisk(folder))
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Mount it again for reading only; false where that is not allowed.
    #[allow(dead_code)] // each test binary uses its share
    pub fn read_only(&self) -> bool {
        let mut mount = Command::new("mount");
        mount.args(["-o", "remount,ro"]).arg(self.path());
        mount.output().is_ok_and(|o| o.status.success())
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.path()).output();
    }
}

/// `program` with `arguments` under a limit of a few KiB per file. The limit's signal is
/// ignored, so that the write itself fails.
#[allow(dead_code)] // each test binary uses its share
pub fn limited(program: impl AsRef<OsStr>, arguments: &[&str]) -> Command {
    let mut shell = Command::new("sh");
    shell.args(["-c", "trap '' XFSZ; ulimit -f 16; exec \"$0\" \"$@\""]).arg(program);
    shell.args(arguments);
    shell
}
