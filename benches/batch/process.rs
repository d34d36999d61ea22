//! A batch in a process of its own, and what it spends.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// What a process spent.
#[derive(Clone, Copy, Debug)]
pub struct Spent {
    /// s.
    pub wall: f64,
    /// User and system time of all its threads, s; 0 where the system does not tell.
    pub processor: f64,
    /// Peak resident memory, kB; 0 where the system does not tell.
    pub peak: u64,
}

/// Processor time of all processes that this one has waited for, s.
fn of_children() -> Option<f64> {
    let text = fs::read_to_string("/proc/self/stat").ok()?;
    // times of children are fields 16 and 17, the second field (in parentheses) may hold blanks
    let mut fields = text.rsplit_once(')')?.1.split_whitespace().skip(13);
    let ticks = fields.next()?.parse::<f64>().ok()? + fields.next()?.parse::<f64>().ok()?;
    Some(ticks / 100.0)
}

fn peak(process: u32) -> Option<u64> {
    let text = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    text.lines().find(|l| l.starts_with("VmHWM:"))?.split_whitespace().nth(1)?.parse().ok()
}

/// Runs a plan with so many lanes and threads.
pub fn run(plan: &Path, table: &Path, (lanes, threads): (u8, u8)) -> Result<Spent, String> {
    let mut command = Command::new(env!("CARGO_BIN_EXE_joulestep"));
    command.arg("batch").arg(plan).arg("--out").arg(table).args(["--force", "--quiet"]);
    command.args(["--lanes", &lanes.to_string(), "--jobs", &threads.to_string()]);
    let before = of_children();
    let began = Instant::now();
    let mut child = command.stdout(Stdio::null()).spawn().map_err(|e| e.to_string())?;
    let mut most = 0;
    // the peak only grows, so the last look tells it but for the last millisecond
    let ended = loop {
        most = peak(child.id()).unwrap_or(most);
        match child.try_wait().map_err(|e| e.to_string())? {
            Some(ended) => break ended,
            None => sleep(Duration::from_millis(1)),
        }
    };
    let wall = began.elapsed().as_secs_f64();
    if !ended.success() && ended.code() != Some(1) {
        return Err(format!("{}: the program ends with {ended}", plan.display()));
    }
    let processor = before.zip(of_children()).map_or(0.0, |(before, after)| after - before);
    Ok(Spent { wall, processor, peak: most })
}
