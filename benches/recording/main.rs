//! What recording costs, and whether memory grows with the length of a run. `cargo bench --bench recording`; see
//! benches/README.md.

mod memory;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

use joulestep::result::{ResultWriter, WriterOptions};
use joulestep::scenario::build::{Ready, build};
use joulestep::scenario::include;
use joulestep::scenario::resolve::read;
use joulestep_engine::recorder::Recorder;

/// Interleaved rounds; medians over them.
const ROUNDS: usize = 7;
/// The chopper's scenario, without its length.
const CONVERTER: &str = include_str!("converter.toml");

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    if let [task, scenario] = &arguments[..]
        && task == memory::CHILD
    {
        return memory::child(Path::new(scenario));
    }
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("recording");
    if let Err(e) = std::fs::create_dir_all(&folder) {
        eprintln!("{}: {e}", folder.display());
        return ExitCode::from(4);
    }
    let told = cost(&folder).and_then(|()| memory::grow(&folder));
    match told {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

/// The chopper's scenario for so many ms, as a file.
pub fn converter(folder: &Path, milliseconds: u32) -> Result<PathBuf, String> {
    let path = folder.join(format!("converter-{milliseconds}ms.toml"));
    let text = CONVERTER.replace("\"END\"", &format!("\"{milliseconds} ms\""));
    std::fs::write(&path, text).map_err(|e| format!("{}: {e}", path.display()))?;
    Ok(path)
}

/// Reads and builds a scenario; with the length of the run, s.
pub fn ready(path: &Path) -> Result<(Ready, f64), String> {
    let scenario = read(path, &include::open).map_err(|_| format!("{} is refused", path.display()))?;
    let ready = build(&scenario).map_err(|_| format!("{} is refused", path.display()))?;
    Ok((ready, scenario.steps.end))
}

/// One run.
struct Spent {
    /// s.
    wall: f64,
    /// Of all threads, s; 0 where the system does not tell.
    processor: f64,
    steps: u64,
    samples: u64,
    bytes: u64,
}

/// Solves the scenario; into the file with the program's default settings, or with nothing to record.
fn solve(scenario: &Path, file: Option<&Path>) -> Result<Spent, String> {
    let (Ready { mut setup, .. }, end) = ready(scenario)?;
    if file.is_none() {
        setup.channels.clear();
    }
    let mut run = setup.ready().map_err(|e| e.to_string())?;
    let before = memory::processor();
    let start = Instant::now();
    let mut nothing = ();
    let mut writer = None;
    if let Some(path) = file {
        let made = ResultWriter::create(path, "bench", WriterOptions::default());
        writer = Some(made.map_err(|e| e.to_string())?);
    }
    let recorder: &mut dyn Recorder<f64> = match &mut writer {
        Some(writer) => writer,
        None => &mut nothing,
    };
    run.advance(end, recorder).map_err(|e| e.to_string())?;
    run.finish(recorder);
    let (mut samples, mut bytes) = (0, 0);
    if let Some(writer) = writer {
        let finished = writer.finish(true, None, None).map_err(|e| e.to_string())?;
        (samples, bytes) = (finished.samples, finished.bytes);
    }
    let wall = start.elapsed().as_secs_f64();
    Ok(Spent { wall, processor: memory::processor() - before, steps: run.counters().steps, samples, bytes })
}

/// Run time with the recorder over run time without, in interleaved rounds.
fn cost(folder: &Path) -> Result<(), String> {
    println!(
        "recording at default settings against recording nothing, medians of {ROUNDS} interleaved rounds"
    );
    println!(
        "{:<34}{:>9}{:>9}{:>8}{:>12}{:>12}{:>22}{:>14}",
        "scenario", "steps", "samples", "MB", "nothing ms", "file ms", "ratio (range)", "cpu ratio"
    );
    let ferry = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/ferry-breaker.toml");
    let chopper = converter(folder, 2)?;
    for (name, scenario) in [("ferry-breaker, as shipped", ferry), ("chopper, every step sampled", chopper)] {
        let file = folder.join("cost.h5");
        let (mut nothing, mut recorded) = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            nothing.push(solve(&scenario, None)?);
            recorded.push(solve(&scenario, Some(&file))?);
        }
        let ratio = |of: fn(&Spent) -> f64| {
            let mut ratios: Vec<f64> = recorded.iter().zip(&nothing).map(|(a, b)| of(a) / of(b)).collect();
            ratios.sort_by(f64::total_cmp);
            ratios
        };
        let (wall, processor) = (ratio(|s| s.wall), ratio(|s| s.processor));
        let spread = format!("{:.3} ({:.2}-{:.2})", wall[ROUNDS / 2], wall[0], wall[ROUNDS - 1]);
        println!(
            "{name:<34}{:>9}{:>9}{:>8.1}{:>12.1}{:>12.1}{:>22}{:>14.2}",
            recorded[0].steps,
            recorded[0].samples,
            recorded[0].bytes as f64 / 1e6,
            median(&nothing) * 1e3,
            median(&recorded) * 1e3,
            spread,
            processor[ROUNDS / 2]
        );
    }
    Ok(())
}

fn median(spent: &[Spent]) -> f64 {
    let mut walls: Vec<f64> = spent.iter().map(|s| s.wall).collect();
    walls.sort_by(f64::total_cmp);
    walls[walls.len() / 2]
}
