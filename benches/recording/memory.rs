//! Resident memory of a run and of one ten times as long, each in a process of its own.

use std::fs;
use std::path::Path;
use std::process::{Command, ExitCode, Stdio};
use std::thread::sleep;
use std::time::Duration;

use crate::converter;
use crate::ready;

/// First argument of the process that runs through the library and tells its own peak.
pub const CHILD: &str = "child";
/// Lengths of the two runs, ms.
const LENGTHS: [u32; 2] = [2, 20];

/// A field of a process's status, kB (Linux only).
fn status(process: &str, field: &str) -> Option<u64> {
    let text = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = text.lines().find(|l| l.starts_with(field))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Processor time of this process so far, s; 0 where the system does not tell.
pub fn processor() -> f64 {
    let read = || {
        let text = fs::read_to_string("/proc/self/stat").ok()?;
        // user and system time are fields 14 and 15, the second field (in parentheses) may hold blanks
        let after = text.rsplit_once(')')?.1;
        let mut fields = after.split_whitespace().skip(11);
        let ticks = fields.next()?.parse::<f64>().ok()? + fields.next()?.parse::<f64>().ok()?;
        Some(ticks / 100.0)
    };
    read().unwrap_or(0.0)
}

/// The other process: solves a scenario through the library and prints its peak, kB.
pub fn child(scenario: &Path) -> ExitCode {
    let solved = ready(scenario).and_then(|(ready, end)| {
        let mut run = ready.setup.ready().map_err(|e| e.to_string())?;
        run.advance(end, &mut ()).map_err(|e| e.to_string())
    });
    match (solved, status("self", "VmHWM:")) {
        (Ok(_), Some(peak)) => {
            println!("{peak}");
            ExitCode::SUCCESS
        }
        (Err(why), _) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
        (_, None) => ExitCode::FAILURE,
    }
}

fn through_library(scenario: &Path, _: &Path) -> Result<u64, String> {
    let own = std::env::current_exe().map_err(|e| e.to_string())?;
    let output = Command::new(own).arg(CHILD).arg(scenario).output().map_err(|e| e.to_string())?;
    let report = String::from_utf8_lossy(&output.stdout);
    report.trim().parse().map_err(|_| format!("the child says {:?}", String::from_utf8_lossy(&output.stderr)))
}

fn through_program(scenario: &Path, folder: &Path) -> Result<u64, String> {
    let mut command = Command::new(env!("CARGO_BIN_EXE_joulestep"));
    command.arg("run").arg(scenario).arg("--out").arg(folder.join("memory.h5")).args(["--force", "--quiet"]);
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().map_err(|e| e.to_string())?;
    let process = child.id().to_string();
    let mut peak = 0;
    // the peak only grows, so the last look tells it but for the last half millisecond
    loop {
        peak = status(&process, "VmHWM:").unwrap_or(peak);
        match child.try_wait() {
            Ok(Some(ended)) if ended.success() || ended.code() == Some(1) => return Ok(peak),
            Ok(Some(ended)) => return Err(format!("the program ends with {ended}")),
            Ok(None) => sleep(Duration::from_micros(500)),
            Err(e) => return Err(e.to_string()),
        }
    }
}

/// Prints the peaks of both lengths, through the library and through the program.
pub fn grow(folder: &Path) -> Result<(), String> {
    println!("\npeak resident memory (VmHWM) of the chopper, kB; smallest of three processes each");
    if status("self", "VmHWM:").is_none() {
        println!("skipped: this system has no /proc/self/status");
        return Ok(());
    }
    println!(
        "{:<34}{:>12}{:>12}{:>10}",
        "",
        format!("{} ms", LENGTHS[0]),
        format!("{} ms", LENGTHS[1]),
        "ratio"
    );
    type Way = fn(&Path, &Path) -> Result<u64, String>;
    let ways: [(&str, Way); 2] =
        [("library, nothing recorded", through_library), ("joulestep run", through_program)];
    for (name, peak) in ways {
        let mut peaks = [u64::MAX; 2];
        for (length, least) in LENGTHS.iter().zip(&mut peaks) {
            let scenario = converter(folder, *length)?;
            for _ in 0..3 {
                *least = peak(&scenario, folder)?.min(*least);
            }
        }
        println!("{name:<34}{:>12}{:>12}{:>10.3}", peaks[0], peaks[1], peaks[1] as f64 / peaks[0] as f64);
    }
    Ok(())
}
