//! The shipped Slurm job files on a real Slurm of one node: its daemons run in a folder of their own on the loopback
//! interface and end with the test.

use std::fs;
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::program::{Folder, TOLERANCES};

/// Longest wait for a job.
const PATIENCE: Duration = Duration::from_secs(240);
/// Longest wait for the daemons.
const RISING: Duration = Duration::from_secs(60);

/// A program in the folders where packages put them, which the path of a plain user leaves out.
fn program(name: &str) -> Option<PathBuf> {
    let path = std::env::var("PATH").unwrap_or_default();
    let folders = path.split(':').map(str::to_string).chain(["/usr/sbin".into(), "/sbin".into()]);
    folders.map(|f| Path::new(&f).join(name)).find(|p| p.is_file())
}

fn needed(name: &str) -> PathBuf {
    program(name).unwrap_or_else(|| panic!("`{name}` is not here (Debian: slurm-wlm, munge)"))
}

/// A port that nobody uses now.
fn port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

struct Slurm {
    folder: PathBuf,
    daemons: Vec<Child>,
}

impl Slurm {
    /// The daemons with an idle node; what they logged where they do not come up.
    fn start(folder: &Path) -> Result<Self, String> {
        for sub in ["state", "spool", "log", "run"] {
            fs::create_dir_all(folder.join(sub)).unwrap();
        }
        let s = folder.display();
        let key: Vec<u8> = (0..256u32).map(|k| (k.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
        fs::write(folder.join("munge.key"), key).unwrap();
        fs::set_permissions(folder.join("munge.key"), fs::Permissions::from_mode(0o400)).unwrap();
        let host = fs::read_to_string("/proc/sys/kernel/hostname").unwrap();
        let host = host.trim().split('.').next().unwrap();
        let (control, node) = (port(), port());
        let conf = format!(
            "ClusterName=one\nSlurmctldHost={host}(127.0.0.1)\nSlurmUser=root\nSlurmdUser=root\n\
             SlurmctldPort={control}\nSlurmdPort={node}\nAuthType=auth/munge\nAuthInfo=socket={s}/run/munge.sock\n\
             CommunicationParameters=NoInAddrAny,NoCtldInAddrAny\nProctrackType=proctrack/linuxproc\n\
             TaskPlugin=task/none\nReturnToService=2\nSelectType=select/cons_tres\nMpiDefault=none\n\
             SlurmdParameters=config_overrides\nStateSaveLocation={s}/state\nSlurmdSpoolDir={s}/spool\n\
             SlurmctldLogFile={s}/log/slurmctld.log\nSlurmdLogFile={s}/log/slurmd.log\n\
             SlurmctldPidFile={s}/run/slurmctld.pid\nSlurmdPidFile={s}/run/slurmd.pid\n\
             NodeName={host} NodeAddr=127.0.0.1 CPUs=4 RealMemory=4096 State=UNKNOWN\n\
             PartitionName=all Nodes={host} Default=YES State=UP\n"
        );
        fs::write(folder.join("slurm.conf"), conf).unwrap();
        let mut slurm = Self { folder: folder.to_path_buf(), daemons: Vec::new() };
        let at = |name: &str| format!("{s}/{name}");
        slurm.daemon(
            "munged",
            &[
                "-F".into(),
                format!("--key-file={}", at("munge.key")),
                format!("--socket={}", at("run/munge.sock")),
                format!("--pid-file={}", at("run/munged.pid")),
                format!("--log-file={}", at("log/munged.log")),
                format!("--seed-file={}", at("run/seed")),
            ],
        );
        slurm.until("munged", || folder.join("run/munge.sock").exists())?;
        for name in ["slurmctld", "slurmd"] {
            slurm.daemon(name, &["-D".into(), "-f".into(), at("slurm.conf")]);
        }
        let idle = || {
            let printed = slurm.command("sinfo").args(["-h", "-o", "%T"]).output().unwrap();
            String::from_utf8_lossy(&printed.stdout).trim() == "idle"
        };
        slurm.until("an idle node", idle)?;
        Ok(slurm)
    }

    fn daemon(&mut self, name: &str, args: &[String]) {
        let log = fs::File::create(self.folder.join(format!("log/{name}.out"))).unwrap();
        let mut command = Command::new(needed(name));
        command.args(args).stdin(Stdio::null()).stdout(log.try_clone().unwrap()).stderr(log);
        self.daemons.push(command.spawn().unwrap());
    }

    fn until(&self, what: &str, there: impl Fn() -> bool) -> Result<(), String> {
        let began = Instant::now();
        while !there() {
            if began.elapsed() > RISING {
                return Err(format!("no {what}:\n{}", self.logs()));
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        Ok(())
    }

    fn logs(&self) -> String {
        let files = fs::read_dir(self.folder.join("log")).unwrap().filter_map(Result::ok);
        let text = |p: PathBuf| {
            let text = fs::read_to_string(&p).unwrap_or_default();
            let last: Vec<&str> = text.lines().rev().take(15).collect();
            format!("{}\n{}\n", p.display(), last.into_iter().rev().collect::<Vec<_>>().join("\n"))
        };
        files.map(|f| text(f.path())).collect()
    }

    fn command(&self, name: &str) -> Command {
        let mut command = Command::new(needed(name));
        command.env("SLURM_CONF", self.folder.join("slurm.conf"));
        command
    }

    /// Submits a job; what `sbatch` says, once it has said it.
    fn submit(&self, at: &Path, args: &[&str], environment: &[(&str, &str)]) -> String {
        let mut command = self.command("sbatch");
        command.current_dir(at).arg("--parsable").args(args).envs(environment.iter().copied());
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let began = Instant::now();
        while child.try_wait().unwrap().is_none() {
            if began.elapsed() > PATIENCE {
                child.kill().unwrap();
                panic!("{args:?} does not end:\n{}", self.logs());
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let done = child.wait_with_output().unwrap();
        let (out, err) = (String::from_utf8_lossy(&done.stdout), String::from_utf8_lossy(&done.stderr));
        assert!(done.status.success(), "{args:?}: {out}{err}\n{}", self.logs());
        out.trim().to_string()
    }
}

impl Drop for Slurm {
    fn drop(&mut self) {
        for daemon in self.daemons.iter_mut().rev() {
            // Each by its own process id; one that has ended is no matter.
            let _ = daemon.kill();
            let _ = daemon.wait();
        }
    }
}

/// The job array as its head comment says to submit it, and the merge that depends on it.
#[test]
#[cfg_attr(
    not(with_slurm),
    ignore = "no Slurm (Debian: slurm-wlm, munge), or not root, as its daemons must be"
)]
fn the_slurm_job_array_gives_the_table_of_a_single_machine() {
    let folder = Folder::new(TOLERANCES);
    assert!(folder.batch("alone.h5", &["--jobs", "2"]).code <= 1);
    let scratch = tempfile::tempdir().unwrap();
    let slurm = Slurm::start(scratch.path()).unwrap_or_else(|why| panic!("Slurm does not come up: {why}"));
    let files = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/cluster");
    let file = |name: &str| files.join(name).to_str().unwrap().to_string();
    let here = folder.path("");
    let environment =
        [("PLAN", "plan.toml"), ("OUT", "table.h5"), ("JOULESTEP", env!("CARGO_BIN_EXE_joulestep"))];
    let id = slurm.submit(&here, &["--array=1-3", &file("batch.slurm")], &environment);
    let after = format!("--dependency=afterok:{id}");
    let mut of_merge = environment.to_vec();
    of_merge.push(("SHARDS", "3"));
    slurm.submit(&here, &["--wait", &after, &file("merge.slurm")], &of_merge);
    let log = fs::read_to_string(folder.path(&format!("batch-{id}-2.log"))).unwrap();
    println!("the second of three tasks said at last: {}", log.lines().last().unwrap_or(""));
    assert!(folder.bytes("alone.h5") == folder.bytes("table.h5"), "the merged table differs:\n{log}");
}
