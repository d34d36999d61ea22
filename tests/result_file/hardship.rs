//! Hardship: runs that are killed, meet a full disk, or last long. The run is this test program started again with an
//! environment variable that makes the test play the run instead.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use joulestep::diagnostic::Sources;
use joulestep::output::result::{ResultFile, ResultWriter, WriterOptions, block_length};
use joulestep_engine::recorder::{Column, Event, EventKind, Layout, Recorder, Row};
use serde_json::json;

use super::outside;

const PART: &str = "JOULESTEP_TEST_PART";
const CHANNELS: [&str; 4] = ["voltage(bus)", "L1.current", "voltage(mid)", "time"];

/// The file that this process shall write, if it is the one started again.
fn part() -> Option<PathBuf> {
    std::env::var_os(PART).map(PathBuf::from)
}

fn start_again(test: &str, path: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args([&format!("result_file::hardship::{test}"), "--exact", "--nocapture"]);
    command.env(PART, path).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// What channel `c` holds at sample `k`: some of it smooth, some with no pattern (a multiplicative hash).
fn value(c: usize, k: usize) -> f64 {
    let noise = ((k as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40) as f64;
    match c {
        0 => (k as f64 * 1e-4).sin() * 400.0,
        1 => k as f64 * 1e-3,
        2 => noise,
        _ => -(k as f64) + noise * 1e-7,
    }
}

/// Checkpoints often, so that short runs meet many.
fn options() -> WriterOptions {
    WriterOptions { checkpoint_interval: Duration::from_millis(20), ..WriterOptions::default() }
}

fn begin(writer: &mut ResultWriter) {
    let column = |name: &str| Column { name: name.into(), long_name: String::new(), unit: "V".into() };
    writer.begin(&Layout {
        channels: CHANNELS.map(column).to_vec(),
        thermal: vec![column("Q1.jfet")],
        heat: vec![column("Q1.jfet")],
        watched: vec![column("voltage(bus)"), column("L1.current")],
    });
}

fn stream(writer: &mut ResultWriter, from: usize, to: usize) {
    for k in from..to {
        let t = k as f64 * 1e-9;
        writer.sample(t, &[0, 1, 2, 3].map(|c| value(c, k)));
        if k % 100 == 99 {
            writer.thermal(t, &[k as f64]);
            let heat = vec![k as f64];
            let peaks = vec![1.0, k as f64];
            let row = Row {
                kind: "interval",
                subject: String::new(),
                begin: t,
                end: t,
                temperature: heat.clone(),
                heat,
                peaks,
            };
            writer.row(&row);
        }
        if k % 1000 == 999 {
            let note = format!("sample {k}");
            let subject = "drive".into();
            writer.event(&Event {
                time: t,
                kind: EventKind::Edge,
                subject,
                note,
                value: k as f64,
                unit: "V",
            });
        }
        if k % 4096 == 0 && !writer.go_on(t) {
            return;
        }
    }
}

/// Checks every sample, event and row of a partial file; gives the number of samples.
fn check(path: &Path) -> usize {
    let file = ResultFile::open(path).unwrap();
    assert!(!file.complete());
    let samples = file.samples();
    let expected = |of: &dyn Fn(usize) -> f64| (0..samples).map(|k| of(k).to_bits()).collect::<Vec<_>>();
    let bits = |values: Vec<f64>| values.into_iter().map(f64::to_bits).collect::<Vec<_>>();
    assert!(bits(file.time(0..samples).unwrap()) == expected(&|k| k as f64 * 1e-9));
    for (c, name) in CHANNELS.into_iter().enumerate() {
        assert!(bits(file.window(name, 0..samples).unwrap()) == expected(&|k| value(c, k)), "{name}");
    }
    for level in file.overview_levels() {
        let blocks = file.overview_length(level).unwrap();
        let got = file.overview(level, "L1.current", 0..blocks).unwrap();
        for b in 0..blocks {
            let (first, last) = (b * block_length(level), (b + 1) * block_length(level) - 1);
            assert_eq!((got.minimum[b], got.maximum[b]), (value(1, first), value(1, last)));
        }
    }
    for (n, event) in file.events().unwrap().into_iter().enumerate() {
        let k = n * 1000 + 999;
        assert_eq!((event.value, event.note), (k as f64, format!("sample {k}")));
    }
    let steps = file.steps().unwrap();
    for (n, peak) in steps.peak.iter().enumerate() {
        assert_eq!((steps.kind[n].as_str(), peak[1]), ("interval", (n * 100 + 99) as f64));
    }
    let thermal = file.temperature("Q1.jfet", 0..file.thermal_samples()).unwrap();
    assert!(thermal.into_iter().enumerate().all(|(n, celsius)| celsius == (n * 100 + 99) as f64));
    samples
}

/// The same from outside; columns may be some checkpoint longer than what is common to all.
fn check_from_outside(path: &Path, samples: usize) {
    let mut numbers = serde_json::Map::new();
    for (c, dataset) in ["voltage(bus)", "L1.current", "voltage(mid)", "time_2"].into_iter().enumerate() {
        let file = path.with_extension(format!("{c}.bin"));
        let bytes: Vec<u8> = (0..samples + 50 * 4096).flat_map(|k| value(c, k).to_le_bytes()).collect();
        fs::write(&file, bytes).unwrap();
        numbers.insert(format!("waveforms/{dataset}"), json!(file));
    }
    let none = json!({});
    let expected = json!({
        "numbers": numbers, "texts": none, "attributes": none, "dims": none, "complete": 0, "begin_only": true,
    });
    outside::compare_from_outside(path, &expected, &[]);
}

fn wait_for(child: &mut Child, mut ready: impl FnMut() -> bool) {
    let start = Instant::now();
    while !ready() {
        assert!(child.try_wait().unwrap().is_none(), "the run ended by itself");
        assert!(start.elapsed() < Duration::from_secs(60), "the run does not begin");
        thread::sleep(Duration::from_millis(1));
    }
}

#[test]
fn a_killed_run_leaves_a_readable_file() {
    if let Some(path) = part() {
        let mut writer = ResultWriter::create(&path, &Sources::default(), options()).unwrap();
        begin(&mut writer);
        stream(&mut writer, 0, 4_000_000);
        // Longer than any delay below; not for ever, lest it outlive a test that was itself killed.
        thread::sleep(Duration::from_secs(20));
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let mut most = 0;
    let kills = std::env::var("JOULESTEP_TEST_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(12u64);
    for n in 0..kills {
        let path = folder.path().join("killed.h5");
        let mut child = start_again("a_killed_run_leaves_a_readable_file", &path).spawn().unwrap();
        // The file takes its name when its structure is made.
        wait_for(&mut child, || path.exists());
        // Microseconds to 0.4 s, spread by a multiplicative hash; some soon.
        let spread = (n + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 44;
        let longest = if n % 4 == 3 { 3_000 } else { 400_000 };
        thread::sleep(Duration::from_micros(spread % longest));
        if n + 1 == kills {
            // However slow the machine, one run is killed well after its first checkpoints (the file is in use
            // while it is written, so its size must tell).
            wait_for(&mut child, || fs::metadata(&path).is_ok_and(|m| m.len() > 2_000_000));
        }
        child.kill().unwrap();
        child.wait().unwrap();
        let samples = check(&path);
        most = most.max(samples);
        if cfg!(with_h5py) {
            check_from_outside(&path, samples);
        }
        fs::remove_file(&path).unwrap();
    }
    assert!(most >= 10 * 4096, "no run came to a checkpoint before it was killed: {most} samples");
}

#[cfg(unix)]
#[test]
fn a_full_disk_ends_the_run_in_words_and_keeps_the_last_checkpoint() {
    if let Some(path) = part() {
        let mut writer = ResultWriter::create(&path, &Sources::default(), options()).unwrap();
        begin(&mut writer);
        stream(&mut writer, 0, 2_000_000);
        let went_on = writer.go_on(0.0);
        let error = writer.finish(true, None, None).unwrap_err();
        assert!(error.is_input_output());
        println!("went on: {went_on}; {error}");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("full.h5");
    // The shell sets a largest file size (blocks of 512 bytes in POSIX sh, of 1024 in some): a full disk that needs no
    // disk of one's own. Without the trap the signal would end the run.
    let again = start_again("a_full_disk_ends_the_run_in_words_and_keeps_the_last_checkpoint", &path);
    let mut shell = Command::new("sh");
    shell.args(["-c", "trap '' XFSZ; ulimit -f 16000; exec \"$0\" \"$@\""]).arg(again.get_program());
    let output = shell.args(again.get_args()).env(PART, &path).output().unwrap();
    let printed = String::from_utf8_lossy(&output.stdout);
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{printed}{complaint}");
    let expected = format!("went on: false; cannot write {}: File too large (os error 27)", path.display());
    assert!(printed.contains(&expected), "{printed}");
    assert!(check(&path) >= 10 * 4096);
}

#[cfg(target_os = "linux")]
#[test]
fn memory_does_not_grow_with_the_run() {
    const SHORT: usize = 800_000;
    if let Some(path) = part() {
        let mut writer = ResultWriter::create(&path, &Sources::default(), options()).unwrap();
        begin(&mut writer);
        let mut highest = |from, to| {
            stream(&mut writer, from, to);
            let status = fs::read_to_string("/proc/self/status").unwrap();
            let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
            line.trim().trim_end_matches(" kB").parse::<f64>().unwrap()
        };
        let (short, long) = (highest(0, SHORT), highest(SHORT, 10 * SHORT));
        writer.finish(true, None, None).unwrap();
        println!("peak resident {short} kB after {SHORT} samples, {long} kB after ten times as many");
        let _ = std::io::stdout().flush();
        assert!(long <= 1.05 * short);
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.h5");
    let output = start_again("memory_does_not_grow_with_the_run", &path).output().unwrap();
    let printed = String::from_utf8_lossy(&output.stdout);
    let line = printed.lines().find(|line| line.contains("peak resident")).unwrap_or_default();
    println!("{line}");
    assert!(output.status.success(), "{printed}{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(ResultFile::open(&path).unwrap().samples(), 10 * SHORT);
}
