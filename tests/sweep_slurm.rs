//! A sweep on a real Slurm of one node, started by the test: run, cancel, requeue, kill in
//! mid-trace. Needs the Debian packages slurmctld, slurmd, slurm-client and munge, and root.

mod sweep_support;

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use sweep_support::{DIODE, Desk, Said, bar, same_bits};

/// The daemons, in folders of their own; ended when dropped.
struct Slurm {
    _folder: tempfile::TempDir,
    conf: PathBuf,
    daemons: Vec<Child>,
}

impl Drop for Slurm {
    fn drop(&mut self) {
        for daemon in self.daemons.iter_mut().rev() {
            // Asked first: slurmd then ends its step daemons too.
            let _ = Command::new("kill").arg(daemon.id().to_string()).status();
            let end = Instant::now() + Duration::from_secs(5);
            while daemon.try_wait().is_ok_and(|s| s.is_none()) && Instant::now() < end {
                std::thread::sleep(Duration::from_millis(50));
            }
            let _ = daemon.kill();
            let _ = daemon.wait();
        }
    }
}

fn found(program: &str) -> Option<PathBuf> {
    ["/usr/sbin", "/usr/bin", "/usr/local/sbin", "/usr/local/bin"]
        .iter()
        .map(|d| Path::new(d).join(program))
        .find(|p| p.is_file())
}

fn free_port() -> u16 {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    listener.local_addr().expect("an address").port()
}

impl Slurm {
    /// `None`, with the reason printed, where it cannot be.
    fn start() -> Option<Slurm> {
        let skip = |why: &str| {
            println!(
                "SKIPPED: no Slurm test: {why}. Debian: apt-get install slurmctld slurmd slurm-client munge"
            );
            None::<Slurm>
        };
        let programs: Option<Vec<PathBuf>> =
            ["munged", "slurmctld", "slurmd", "sbatch", "squeue", "scontrol", "scancel"]
                .iter()
                .map(|p| found(p))
                .collect();
        let Some(programs) = programs else { return skip("its programs are not here") };
        let root = Command::new("id").arg("-u").output().is_ok_and(|o| o.stdout == b"0\n");
        if !root {
            return skip("only root can start it");
        }
        let folder = tempfile::tempdir().expect("a folder");
        let base = folder.path().to_path_buf();
        let at = |name: &str| base.join(name).to_string_lossy().into_owned();
        for name in ["state", "spool", "munge"] {
            std::fs::create_dir(at(name)).expect("made");
        }
        let chmod = |mode: &str, path: &str| {
            Command::new("chmod").args([mode, path]).status().expect("ran");
        };
        chmod("755", &at(""));
        std::fs::write(at("munge/key"), [7u8; 1024]).expect("written");
        chmod("700", &at("munge"));
        chmod("600", &at("munge/key"));
        let socket = at("munge/socket");
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let name = Command::new("hostname").arg("-s").output().expect("ran").stdout;
        let name = String::from_utf8_lossy(&name).trim().to_string();
        let conf = format!(
            "ClusterName=test\nSlurmctldHost={name}(127.0.0.1)\nSlurmUser=root\nSlurmdUser=root\n\
             SlurmctldPort={}\nSlurmdPort={}\nStateSaveLocation={}\nSlurmdSpoolDir={}\n\
             SlurmctldPidFile={}\nSlurmdPidFile={}\nAuthType=auth/munge\n\
             AuthInfo=socket={socket},cred_expire=5\nCryptoType=crypto/munge\n\
             CommunicationParameters=NoInAddrAny,NoCtldInAddrAny\nProctrackType=proctrack/linuxproc\n\
             TaskPlugin=task/none\nJobAcctGatherType=jobacct_gather/none\n\
             AccountingStorageType=accounting_storage/none\nJobCompType=jobcomp/none\n\
             SelectType=select/cons_tres\nSelectTypeParameters=CR_Core\nReturnToService=2\n\
             SchedulerParameters=sched_interval=2,batch_sched_delay=0,sched_min_interval=0,requeue_delay=1\n\
             KillWait=5\nMpiDefault=none\n\
             NodeName={name} NodeAddr=127.0.0.1 CPUs={cores} RealMemory=1000 State=UNKNOWN\n\
             PartitionName=main Nodes={name} Default=YES MaxTime=INFINITE State=UP\n",
            free_port(),
            free_port(),
            at("state"),
            at("spool"),
            at("ctld.pid"),
            at("slurmd.pid"),
        );
        std::fs::write(at("slurm.conf"), conf).expect("written");
        // Finding out by itself fails where no cgroup is mounted.
        std::fs::write(at("cgroup.conf"), "CgroupPlugin=cgroup/v1\n").expect("written");
        let log = |name: &str| Stdio::from(std::fs::File::create(at(name)).expect("made"));
        let path = PathBuf::from(at("slurm.conf"));
        let mut slurm = Slurm { conf: path, daemons: Vec::new(), _folder: folder };
        let munge = Command::new(&programs[0])
            .args(["--foreground", "--force", "--key-file", &at("munge/key"), "--socket", &socket])
            .args([
                "--pid-file",
                &at("munge/pid"),
                "--log-file",
                &at("munge/log"),
                "--seed-file",
                &at("munge/seed"),
            ])
            .stdout(log("munged.out"))
            .stderr(log("munged.err"))
            .spawn();
        let (state, conf) = (at("state"), slurm.conf.to_string_lossy().into_owned());
        let start = |program: &Path, args: &[&str], out: &str| {
            Command::new(program)
                .args(args)
                .current_dir(&state)
                .stdout(log(out))
                .stderr(Stdio::null())
                .spawn()
        };
        let Ok(munge) = munge else { return skip("munged does not start") };
        slurm.daemons.push(munge);
        for _ in 0..100 {
            if Path::new(&socket).exists() {
                break;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let controller =
            start(&programs[1], &["-D", "-i", "-f", &conf, "-L", &at("ctld.log")], "ctld.out");
        let node = start(&programs[2], &["-D", "-f", &conf, "-L", &at("slurmd.log")], "slurmd.out");
        let (Ok(controller), Ok(node)) = (controller, node) else {
            return skip("a daemon does not start");
        };
        slurm.daemons.extend([controller, node]);
        let end = Instant::now() + Duration::from_secs(30);
        while Instant::now() < end {
            let said = slurm.tool("sinfo", &["-h", "-o", "%t"]);
            if said.out.trim() == "idle" {
                return Some(slurm);
            }
            std::thread::sleep(Duration::from_millis(200));
        }
        for name in ["munge/log", "ctld.log", "slurmd.log"] {
            let text = std::fs::read_to_string(slurm._folder.path().join(name)).unwrap_or_default();
            let tail: Vec<&str> = text.lines().rev().take(8).collect();
            println!("{name}: {tail:#?}");
        }
        println!(
            "SKIPPED: no Slurm test: its node did not become idle in 30 s (see the lines above)"
        );
        None
    }

    fn tool(&self, program: &str, args: &[&str]) -> Said {
        let out = Command::new("timeout")
            .args(["20", program])
            .args(args)
            .env("SLURM_CONF", &self.conf)
            .output();
        Said::of(out.expect("started"))
    }

    fn submit(&self, desk: &Desk, args: &[&str]) -> String {
        let all = [&["sweep", "slurm"][..], args].concat();
        let out = desk.command(&all).env("SLURM_CONF", &self.conf).output().expect("started");
        let said = Said::of(out).good();
        let job = said.out.split_whitespace().nth(1).expect("a number").trim_end_matches(',');
        job.to_string()
    }

    /// Waits until the job has left the queue.
    fn wait(&self, job: &str) {
        let end = Instant::now() + Duration::from_secs(180);
        while Instant::now() < end {
            let said = self.tool("squeue", &["-h", "-r", "-o", "%T", "-j", job]);
            if said.code != Some(0) || said.out.trim().is_empty() {
                return;
            }
            std::thread::sleep(Duration::from_millis(300));
        }
        panic!("job {job} did not end: {:?}", self.tool("scontrol", &["show", "job", job]));
    }
}

/// Waits for a file; false after a minute.
fn appears(path: &Path) -> bool {
    let end = Instant::now() + Duration::from_secs(60);
    while Instant::now() < end {
        if path.exists() {
            return true;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    false
}

/// Waits for a claim other than `old`; gives its text.
fn claimed(path: &Path, old: &str) -> String {
    let end = Instant::now() + Duration::from_secs(60);
    while Instant::now() < end {
        match std::fs::read_to_string(path) {
            Ok(text) if text != old && text.lines().count() == 5 => return text,
            _ => std::thread::sleep(Duration::from_millis(20)),
        }
    }
    panic!("no task claimed the case within a minute");
}

#[test]
fn a_sweep_survives_a_real_cluster() {
    let Some(slurm) = Slurm::start() else { return };
    let desk = Desk::new();
    desk.put("diode.toml", DIODE);
    desk.put(
        "d.sweep.toml",
        "base = \"diode.toml\"\n[axes]\ntemperature = { from = 250, to = 440, count = 8 }\n",
    );
    // Plain: eight cases in four tasks.
    let job = slurm.submit(
        &desk,
        &["d.sweep.toml", "--tasks-per-job", "2", "--partition", "main", "--mem", "100"],
    );
    let queued = desk
        .command(&["sweep", "status", "d.sweep.toml", "--json"])
        .env("SLURM_CONF", &slurm.conf)
        .output()
        .expect("started");
    let queued = Said::of(queued).good().json();
    assert_eq!(queued["slurm"]["job"], job, "{queued}");
    slurm.wait(&job);
    assert_eq!(desk.results("d").len(), 8, "{:?}", desk.run(&["sweep", "status", "d.sweep.toml"]));

    // Long enough to be met in mid-trace.
    desk.put("bar.toml", &bar().replace("nodes = 200", "nodes = 6500"));
    desk.put("b.sweep.toml", "base = \"bar.toml\"\n[axes]\ntemperature = [300]\n");
    let cases = desk.file("results/b/cases");
    let (result, partial) =
        (cases.join("temperature=300.h5"), cases.join("temperature=300.h5.partial"));
    let submit = || slurm.submit(&desk, &["b.sweep.toml", "--mem", "100"]);

    // Cancelled in mid-trace: what there is stays, and nothing reads as complete.
    let job = submit();
    assert!(appears(&partial), "{:?}", slurm.tool("scontrol", &["show", "job", &job]));
    slurm.tool("scancel", &[&job]).good();
    slurm.wait(&job);
    assert!(partial.exists() && !result.exists());
    let status = desk.run(&["sweep", "status", "b.sweep.toml"]).good();
    assert!(status.out.contains("1 interrupted"), "{status:?}");

    // Killed in mid-trace, then requeued: the same job goes on and finishes.
    let job = submit();
    let claim = cases.join("temperature=300.claim");
    let text = claimed(&claim, "");
    let pid = text.lines().nth(2).expect("a process").to_string();
    Command::new("kill").args(["-KILL", &pid]).status().expect("ran");
    slurm.wait(&job);
    assert!(partial.exists() && !result.exists());
    // The killed one's claim is still there until the next takes over.
    let job = submit();
    claimed(&claim, &text);
    slurm.tool("scontrol", &["requeue", &format!("{job}_0")]).good();
    slurm.wait(&job);
    assert!(result.exists() && !partial.exists());
    let logs = std::fs::read_dir(desk.file("results/b/slurm")).expect("there").count();
    assert!(logs >= 4, "{logs} files: script, job number, logs");

    // The same bits as an uninterrupted run here.
    desk.run(&["sweep", "run", "b.sweep.toml", "-o", "whole", "-q"]).good();
    same_bits(&result, &desk.file("whole/cases/temperature=300.h5"));
}

#[test]
fn the_script_is_readable_and_needs_no_cluster() {
    let desk = Desk::new();
    desk.put("diode.toml", DIODE);
    desk.put(
        "it's.sweep.toml",
        "base = \"diode.toml\"\n[axes]\ntemperature = { from = 250, to = 440, count = 100 }\n",
    );
    std::fs::rename(desk.file("it's.sweep.toml"), desk.file("s.sweep.toml")).expect("renamed");
    let args = [
        "sweep",
        "slurm",
        "s.sweep.toml",
        "--dry-run",
        "-o",
        "it's here",
        "--account",
        "dev",
        "--time",
        "90",
        "--mem",
        "512",
        "--tasks-per-job",
        "8",
    ];
    let said = desk.run(&args);
    // A batch directive cannot hold a quote.
    assert_eq!(said.code, Some(2), "{said:?}");
    let args = args.map(|a| if a == "it's here" { "its here" } else { a });
    let said = desk.run(&args).good();
    for part in [
        "#SBATCH --array=0-12\n",
        "#SBATCH --time=1:30:00\n",
        "#SBATCH --mem=512M\n",
        "#SBATCH --account=dev\n",
        "its here/slurm/%A_%a.log\"\n",
        "--shard \"$SLURM_ARRAY_TASK_ID/13\" --threads 1\n",
    ] {
        assert!(said.out.contains(part), "{part}: {}", said.out);
    }
    assert!(!desk.file("its here").exists(), "a dry run writes nothing");
    let shell = Command::new("sh").args(["-n", "-c", &said.out]).status().expect("ran");
    assert!(shell.success());
    // Without a cluster the error says what to do.
    let out = desk.command(&["sweep", "slurm", "s.sweep.toml"]).env("PATH", "/nowhere").output();
    let said = Said::of(out.expect("started"));
    assert_eq!(said.code, Some(1), "{said:?}");
    assert!(said.err.contains("--dry-run"), "{said:?}");
}
