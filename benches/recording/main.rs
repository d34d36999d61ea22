//! What recording costs, and whether memory grows with the length of a run. `cargo bench --bench recording`; see
//! benches/README.md.

mod memory;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

use joulestep::diagnostic::Sources;
use joulestep::input::keys::include;
use joulestep::input::scenario::build::{Ready, build};
use joulestep::input::scenario::resolve::read;
use joulestep::output::result::{Precision, ResultWriter, WriterOptions};
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
    let report = cost(&folder).and_then(|()| memory::grow(&folder));
    match report {
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

/// What becomes of the samples.
enum Way {
    /// There are none.
    Nothing,
    /// They are taken and thrown away.
    Sampled,
    /// They are written so.
    Written(WriterOptions),
}

/// Ways whose difference tells where the time goes; the second is the program's own.
fn ways() -> [(&'static str, Way); 5] {
    let default = WriterOptions::default;
    [
        ("nothing recorded", Way::Nothing),
        ("file, default settings", Way::Written(default())),
        ("sampled, not written", Way::Sampled),
        ("file, not deflated", Way::Written(WriterOptions { deflate: 0, ..default() })),
        ("file, float32", Way::Written(WriterOptions { precision: Precision::Single, ..default() })),
    ]
}

/// Solves the scenario.
fn solve(scenario: &Path, file: &Path, way: &Way) -> Result<Spent, String> {
    let (Ready { mut setup, .. }, end) = ready(scenario)?;
    if matches!(way, Way::Nothing) {
        setup.channels.clear();
    }
    let mut run = setup.ready().map_err(|e| e.to_string())?;
    let before = memory::processor();
    let start = Instant::now();
    let mut nothing = ();
    let mut writer = None;
    if let Way::Written(options) = way {
        let made = ResultWriter::create(file, &Sources::of_text("bench"), options.clone());
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

/// Run time of each way over run time with nothing recorded, in interleaved rounds.
fn cost(folder: &Path) -> Result<(), String> {
    println!("run time with recording over run time without, medians of {ROUNDS} interleaved rounds");
    let ferry = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/ferry-breaker.toml");
    let chopper = converter(folder, 10)?;
    let file = folder.join("cost.h5");
    for (name, scenario) in [("ferry-breaker, as shipped", ferry), ("chopper, every step sampled", chopper)] {
        let ways = ways();
        let mut spent: Vec<Vec<Spent>> = ways.iter().map(|_| Vec::new()).collect();
        for _ in 0..ROUNDS {
            for ((_, way), spent) in ways.iter().zip(&mut spent) {
                spent.push(solve(&scenario, &file, way)?);
            }
        }
        println!("{name}: {} steps, {} samples", spent[1][0].steps, spent[1][0].samples);
        println!("    {:<26}{:>10}{:>10}{:>26}{:>18}", "", "ms", "MB", "ratio (range)", "processor ratio");
        for ((way, _), own) in ways.iter().zip(&spent) {
            let ratio = |of: fn(&Spent) -> f64| sorted(own.iter().zip(&spent[0]).map(|(a, b)| of(a) / of(b)));
            let (wall, processor) = (ratio(|s| s.wall), ratio(|s| s.processor));
            let spread = format!("{:.3} ({:.2}-{:.2})", wall[ROUNDS / 2], wall[0], wall[ROUNDS - 1]);
            println!(
                "    {way:<26}{:>10.1}{:>10.1}{spread:>26}{:>18.2}",
                sorted(own.iter().map(|s| s.wall))[ROUNDS / 2] * 1e3,
                own[0].bytes as f64 / 1e6,
                processor[ROUNDS / 2]
            );
        }
    }
    Ok(())
}

fn sorted(numbers: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut numbers: Vec<f64> = numbers.collect();
    numbers.sort_by(f64::total_cmp);
    numbers
}
