//! What a full disk and kills at random moments leave: the table is the undisturbed one, bit for bit.

use std::process::{Command, Stdio};
use std::time::Duration;
use std::{fs, path::Path};

use super::program::{Folder, TOLERANCES};

/// The program in a shell in which no file may grow beyond a number of blocks of 512 bytes: writing fails as on a full
/// disk (EFBIG in place of ENOSPC; the signal that goes with it is ignored).
#[cfg(unix)]
fn with_little_space(blocks: usize, args: &[&str]) -> (Option<i32>, String) {
    let mut command = Command::new("sh");
    command.args(["-c", &format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$@\""), "sh"]);
    let done = command.arg(env!("CARGO_BIN_EXE_joulestep")).args(args).output().unwrap();
    (done.status.code(), String::from_utf8_lossy(&done.stderr).into_owned())
}

fn lines(journal: &Path) -> usize {
    fs::read(journal).map_or(0, |b| b.iter().filter(|b| **b == b'\n').count())
}

#[cfg(unix)]
#[test]
fn a_full_disk_is_reported_and_costs_no_finished_variant() {
    let folder = Folder::new(TOLERANCES);
    assert!(folder.batch("alone.h5", &[]).code <= 1);
    let journal = folder.path("full.h5.journal");
    let [plan, out] = ["plan.toml", "full.h5"].map(|n| folder.text(n));
    let args = ["batch", &plan, "--out", &out, "--quiet", "--jobs", "2", "--resume"];
    let mut before = 0;
    // The journal of 1000 variants has some 350 kB: the space grows until it and the table fit.
    for blocks in [8, 100, 300] {
        let (code, err) = with_little_space(blocks, &args);
        let now = lines(&journal);
        println!("{blocks} blocks of 512 bytes: exit code {code:?}, {now} lines; {}", err.trim());
        assert!(
            code == Some(4) && err.contains("cannot write") && err.contains("--resume continues"),
            "{err}"
        );
        assert!(now >= before && !Path::new(&out).exists());
        before = now;
    }
    assert!(before > 100, "{before} lines");
    // The journal fits, the table does not.
    let size = fs::metadata(&journal).map_or(0, |m| m.len());
    println!("journal of {size} bytes");
    assert!(folder.batch("full.h5", &["--resume"]).code <= 1);
    assert!(folder.bytes("alone.h5") == folder.bytes("full.h5"), "the resumed table differs");
    assert_eq!(lines(&journal), 1001, "a variant was computed twice or lost");
}

/// On a disk of its own, 128 kB.
#[test]
#[cfg_attr(not(with_mount), ignore = "no disk can be mounted here (not root, or not allowed)")]
fn a_small_disk_fills_up_and_the_batch_goes_on_elsewhere() {
    let folder = Folder::new(TOLERANCES);
    let disk = folder.path("disk");
    fs::create_dir(&disk).unwrap();
    let mount = |args: &[&str]| Command::new("mount").args(args).stderr(Stdio::null()).status();
    let mounted = mount(&["-t", "tmpfs", "-o", "size=128k", "tmpfs", disk.to_str().unwrap()]);
    assert!(mounted.is_ok_and(|s| s.success()), "a disk cannot be mounted");
    let full = folder.batch("disk/t.h5", &["--jobs", "2"]);
    let there = lines(&folder.path("disk/t.h5.journal"));
    let copied = fs::copy(folder.path("disk/t.h5.journal"), folder.path("t.h5.journal"));
    let gone = Command::new("umount").arg(&disk).status();
    println!("a disk of 128 kB: exit code {}, {there} lines; {}", full.code, full.err.trim());
    assert!(gone.is_ok_and(|s| s.success()) && copied.is_ok());
    assert!(full.code == 4 && full.err.contains("No space left"), "{}", full.err);
    assert!((2..1001).contains(&there));
    assert!(folder.batch("t.h5", &["--resume"]).code <= 1);
    assert!(folder.batch("alone.h5", &[]).code <= 1);
    assert!(folder.bytes("alone.h5") == folder.bytes("t.h5"), "the resumed table differs");
}

/// The waveforms of the most extreme variants, and kills while they and the table are written.
const KEPT: &str = r#"
vary = [{ name = "R", value = "component.R1.resistance", kind = "uniform", lower = "0.7 kohm", upper = "1.4 kohm" }]
output = [{ name = "settled", signal = "voltage(out)", measure = "settling-time", target = "1 V", band = "20 mV" }]
[sampling]
kind = "sobol-sequence"
variants = 64
seed = 9
[[keep]]
which = "worst"
limit = "current"
count = 2
[[keep]]
which = "best"
limit = "current"
[[keep]]
which = "highest"
output = "settled"
[[keep]]
which = "every"
step = 20
[[keep]]
which = "listed"
variants = [7]
"#;

#[test]
fn kills_at_any_moment_leave_the_same_table_and_waveforms() {
    let folder = Folder::new(KEPT);
    let alone = folder.batch("alone.h5", &["--csv", &folder.text("alone.csv")]);
    assert!(alone.code <= 1, "{}", alone.err);
    let plan = folder.text("plan.toml");
    // Killed between the making of the journal and its first line.
    fs::write(folder.path("k.h5.journal"), "").unwrap();
    let mut kills = 0;
    for milliseconds in [1, 3, 9, 20, 40, 60, 80, 100, 130, 160, 200, 250] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_joulestep"));
        command.args(["batch", &plan, "--out", &folder.text("k.h5"), "--quiet", "--jobs", "1", "--resume"]);
        let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_millis(milliseconds));
        // SIGKILL.
        kills += usize::from(child.kill().is_ok() && child.wait().unwrap().code().is_none());
    }
    println!("killed {kills} times");
    let done = folder.batch("k.h5", &["--resume"]);
    assert!(done.code <= 1, "{}", done.err);
    assert!(folder.bytes("alone.h5") == folder.bytes("k.h5"), "the resumed table differs");
    assert_eq!(lines(&folder.path("k.h5.journal")), 65);
    // V/R is the largest current: the worst variants have the least R, the best one and the one that settles last the
    // largest.
    let text = fs::read_to_string(folder.path("alone.csv")).unwrap();
    let rows: Vec<Vec<&str>> = text.lines().skip(1).map(|l| l.split(',').collect()).collect();
    let mut order: Vec<usize> = (0..64).collect();
    let r = |k: &usize| rows[*k][1].parse::<f64>().unwrap();
    order.sort_by(|a, b| r(a).total_cmp(&r(b)));
    let mut expected = vec![order[0], order[1], order[63], 0, 20, 40, 60, 7];
    expected.sort_unstable();
    expected.dedup();
    let named: Vec<usize> = (0..64).filter(|k| !rows[*k].last().unwrap().is_empty()).collect();
    assert_eq!(named, expected);
    let mut files: Vec<String> = fs::read_dir(folder.path("k.h5.waveforms"))
        .unwrap()
        .map(|f| f.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !name.ends_with(".part"))
        .collect();
    files.sort();
    let mut wanted: Vec<String> = expected.iter().map(|k| format!("variant-{k}.h5")).collect();
    wanted.sort();
    assert_eq!(files, wanted);
    // A kept waveform is the variant's own: 1 V - exp(-t/RC).
    let archive =
        joulestep::output::result::ResultFile::open(&folder.path("k.h5.waveforms/variant-7.h5")).unwrap();
    assert!(archive.complete());
    let samples = 0..archive.samples();
    let (t, v) = (archive.time(samples.clone()).unwrap(), archive.window("voltage(out)", samples).unwrap());
    let worst =
        t.iter().zip(&v).map(|(t, v)| (v - (1.0 - (-t / (r(&7) * 1e-6)).exp())).abs()).fold(0.0, f64::max);
    println!("waveform of variant 7: {} samples, within {worst:.1e} V of the closed form", t.len());
    assert!(t.len() > 100 && worst < 1e-5);
    // A folder of an earlier batch is not mixed with another's.
    fs::remove_file(folder.path("k.h5")).unwrap();
    fs::remove_file(folder.path("k.h5.journal")).unwrap();
    let stale = folder.batch("k.h5", &[]);
    assert!(stale.code == 4 && stale.err.contains("k.h5.waveforms` exists"), "{}", stale.err);
}
