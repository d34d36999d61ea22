//! The child that carries cases out, and what watches it.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Write};
use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use crate::cases::{End, TARGETS, Target, World};

/// The first argument of a child.
pub const CHILD: &str = "--carry";
/// Processor time of a case that counts as a hang, s; where it is not known, the time of the clock six times as long.
const LONG: f64 = 10.0;
/// Processor time after which work that may have no end is asked to stop, and what it may take to do so, s.
const ASKED: f64 = 2.0;
const STOPS: f64 = 1.0;
/// Findings after which a target is left.
const ENOUGH: u64 = 50;

/// What became of the cases of a target.
#[derive(Default)]
pub struct Counted {
    pub cases: u64,
    pub accepted: u64,
    pub refused: u64,
    pub panics: u64,
    pub hangs: u64,
    /// Ends that are neither accepted nor refused, and children that died.
    pub others: u64,
    pub seconds: f64,
}

/// Carries out cases: target, seed, first, last, folder, the file that says which one it is at.
pub fn child(arguments: &[String]) -> ExitCode {
    let [target, seed, from, to, folder, at] = arguments else { return ExitCode::from(2) };
    let number = |text: &String| text.parse::<u64>().unwrap_or(0);
    let (Some(target), Ok(at)) = (TARGETS.iter().find(|t| t.name == target), File::create(at)) else {
        return ExitCode::from(2);
    };
    std::panic::set_hook(Box::new(|_| {}));
    let world = World::new(target, Path::new(folder));
    let mut counted = [0_u64; 2];
    let mut out = std::io::stdout();
    for case in number(from)..number(to) {
        note(&at, case);
        let input = world.input(target, number(seed), case);
        let end = catch_unwind(AssertUnwindSafe(|| world.carry(target, &input)));
        match end {
            Ok(End::Accepted) => counted[0] += 1,
            Ok(End::Refused) => counted[1] += 1,
            Ok(End::Wrong(why)) => drop(writeln!(out, "wrong {case} {}", why.replace('\n', " "))),
            Err(panic) => {
                let words = panic.downcast_ref::<String>().cloned();
                let words = words.or_else(|| panic.downcast_ref::<&str>().map(ToString::to_string));
                let _ = writeln!(out, "panic {case} {}", words.unwrap_or_default().replace('\n', " "));
            }
        }
        if case % 64 == 63 {
            let _ = writeln!(out, "count {} {}", counted[0], counted[1]);
            counted = [0; 2];
        }
    }
    let _ = writeln!(out, "count {} {}", counted[0], counted[1]);
    ExitCode::SUCCESS
}

/// Says which case is being carried out.
fn note(at: &File, case: u64) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileExt;
        let _ = at.write_all_at(&case.to_le_bytes(), 0);
    }
    #[cfg(not(unix))]
    {
        let _ = (at, case);
    }
}

fn noted(at: &Path) -> Option<u64> {
    Some(u64::from_le_bytes(*fs::read(at).ok()?.first_chunk()?))
}

/// Processor time of a process so far, s.
fn processor_time(child: &Child) -> Option<f64> {
    let stat = fs::read_to_string(format!("/proc/{}/stat", child.id())).ok()?;
    // User and system time in hundredths of a second, after the name in brackets (proc(5)).
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    Some((fields.get(11)?.parse::<f64>().ok()? + fields.get(12)?.parse::<f64>().ok()?) / 100.0)
}

/// Ctrl-C, as a shell sends it.
fn interrupt(child: &Child) {
    let _ = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
}

/// Carries out cases of a target in children, one behind the other.
pub fn drive(
    target: &'static Target,
    seed: u64,
    cases: Range<u64>,
    until: Option<Instant>,
    folder: &Path,
) -> Counted {
    let (began, mut counted) = (Instant::now(), Counted::default());
    let mut next = cases.start;
    while next < cases.end && counted.panics + counted.hangs + counted.others < ENOUGH {
        let at = folder.join("at");
        let _ = fs::remove_file(&at);
        let Ok(program) = std::env::current_exe() else { break };
        let range = [seed.to_string(), next.to_string(), cases.end.to_string()];
        let child = Command::new(program)
            .args([CHILD, target.name])
            .args(range)
            .args([folder, &at])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn();
        let Ok(mut child) = child else { break };
        let (done, why) = watch(&mut child, target, seed, &at, until, &mut counted);
        counted.cases += done.map_or(0, |last| last + 1 - next);
        match why {
            Why::Ended => counted.cases += cases.end - done.map_or(next, |last| last + 1),
            Why::TimeIsUp => {}
            Why::Hung => counted.hangs += 1,
            Why::Died => counted.others += 1,
        }
        match (why, done) {
            (Why::Ended | Why::TimeIsUp, _) | (_, None) => break,
            (why, Some(case)) => {
                keep(target, seed, case, folder, if why == Why::Hung { "hang" } else { "the child died" });
                next = case + 1;
            }
        }
    }
    counted.seconds = began.elapsed().as_secs_f64();
    counted
}

#[derive(Clone, Copy, PartialEq)]
enum Why {
    Ended,
    TimeIsUp,
    Hung,
    Died,
}

/// Watches a child to its end; the last case it was at, and why it ended.
fn watch(
    child: &mut Child,
    target: &'static Target,
    seed: u64,
    at: &Path,
    until: Option<Instant>,
    counted: &mut Counted,
) -> (Option<u64>, Why) {
    let (tell, report) = mpsc::channel();
    if let Some(out) = child.stdout.take() {
        std::thread::spawn(move || {
            BufReader::new(out).lines().map_while(Result::ok).for_each(|l| drop(tell.send(l)))
        });
    }
    let folder = at.parent().unwrap_or(Path::new(".")).to_path_buf();
    let hear = |counted: &mut Counted, line: String| {
        let mut words = line.splitn(3, ' ');
        let (what, a, b) = (words.next(), words.next().unwrap_or(""), words.next().unwrap_or(""));
        match what {
            Some("count") => {
                counted.accepted += a.parse::<u64>().unwrap_or(0);
                counted.refused += b.parse::<u64>().unwrap_or(0);
            }
            Some(what) => {
                *(if what == "panic" { &mut counted.panics } else { &mut counted.others }) += 1;
                keep(target, seed, a.parse().unwrap_or(0), &folder, &format!("{what}: {b}"));
            }
            None => {}
        }
    };
    let (mut last, mut asked, mut began) = (None, None, (Instant::now(), processor_time(child)));
    let why = loop {
        while let Ok(line) = report.recv_timeout(Duration::from_millis(20)) {
            hear(counted, line);
        }
        if let Ok(Some(status)) = child.try_wait() {
            break if status.success() { Why::Ended } else { Why::Died };
        }
        let now = noted(at);
        if now != last {
            (last, began) = (now, (Instant::now(), processor_time(child)));
        }
        let took = match (processor_time(child), began.1) {
            (Some(now), Some(then)) => now - then,
            _ => began.0.elapsed().as_secs_f64() / 6.0,
        };
        if target.endless && took > ASKED && asked != now {
            asked = now;
            interrupt(child);
        }
        let long = if target.endless { ASKED + STOPS } else { LONG };
        // The first case waits for the corpus.
        if now.is_some() && took > long {
            break Why::Hung;
        }
        if until.is_some_and(|until| Instant::now() > until) {
            break Why::TimeIsUp;
        }
    };
    let _ = child.kill();
    let _ = child.wait();
    while let Ok(line) = report.recv_timeout(Duration::from_millis(100)) {
        hear(counted, line);
    }
    (noted(at), why)
}

/// Keeps the input of a case, and tells it.
fn keep(target: &Target, seed: u64, case: u64, folder: &Path, why: &str) {
    let found = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("fuzz-found");
    let path = found.join(format!("{}-{seed}-{case}", target.name));
    let input = World::new(target, folder).input(target, seed, case);
    let _ = fs::create_dir_all(&found).and_then(|()| fs::write(&path, input));
    println!("  {} --seed {seed} --case {case}: {why} ({})", target.name, path.display());
}
