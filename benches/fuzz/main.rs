//! Damaged input of every kind, made from a kept corpus: nothing may panic, hang, or end with a code that is not
//! documented. Work without end (`run`) is asked to stop and must do so within a second.
//!
//!     cargo bench --profile dev --bench fuzz                                    # a minute over all targets
//!     cargo bench --profile dev --bench fuzz -- --target check --cases 1000000 --seed 7
//!     cargo bench --profile dev --bench fuzz -- --target result --seed 7 --case 123   # one case again, kept as a file
//!
//! A case is reported by target, seed and number alone. Cases run in a child process, one after the other; what a case
//! panics with, or a child that dies or takes more than ten seconds of processor time over one, is reported, its input
//! is kept under the target folder, and the next child goes on behind it. Exit code 1 when anything was found.

mod cases;
mod corpus;
mod mutate;
mod worker;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use cases::{TARGETS, Target};

/// What the command line asks for.
struct Asked {
    targets: Vec<&'static Target>,
    seed: u64,
    cases: u64,
    /// Time for all targets together.
    seconds: f64,
    one: Option<u64>,
}

fn asked(arguments: &[String]) -> Result<Asked, String> {
    let mut asked = Asked { targets: Vec::new(), seed: 1, cases: u64::MAX, seconds: 60.0, one: None };
    let (mut stated, mut timed) = (false, false);
    let mut rest = arguments.iter();
    while let Some(option) = rest.next() {
        let value = rest.next().ok_or_else(|| format!("{option}: expected a value"))?;
        let number = || value.parse::<u64>().map_err(|_| format!("{option}: `{value}` is no number"));
        match option.as_str() {
            "--target" => {
                let names: Vec<&str> = TARGETS.iter().map(|t| t.name).collect();
                let found = TARGETS.iter().find(|t| t.name == value);
                asked
                    .targets
                    .push(found.ok_or_else(|| format!("--target: expected one of {}", names.join(", ")))?);
            }
            "--seed" => asked.seed = number()?,
            "--cases" => (asked.cases, stated) = (number()?, true),
            "--seconds" => (asked.seconds, timed) = (number()? as f64, true),
            "--case" => asked.one = Some(number()?),
            _ => return Err(format!("{option}: expected --target, --seed, --cases, --seconds or --case")),
        }
    }
    if stated && !timed {
        asked.seconds = f64::INFINITY;
    }
    if asked.targets.is_empty() {
        asked.targets = TARGETS.iter().filter(|t| t.usual).collect();
    }
    Ok(asked)
}

/// A folder of this process's own.
fn folder() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("fuzz-{}", std::process::id()))
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|a| a != "--bench").collect();
    if arguments.first().is_some_and(|a| a == worker::CHILD) {
        return worker::child(&arguments[1..]);
    }
    let options = match asked(&arguments) {
        Ok(asked) => asked,
        Err(why) => {
            eprintln!("{why}");
            return ExitCode::from(2);
        }
    };
    let folder = folder();
    if let Err(e) = std::fs::create_dir_all(&folder) {
        eprintln!("{}: {e}", folder.display());
        return ExitCode::from(4);
    }
    println!(
        "{:<10} {:>10} {:>9} {:>9} {:>9} {:>7} {:>7} {:>7}",
        "target", "cases", "accepted", "refused", "s", "panics", "hangs", "others"
    );
    let mut found = 0;
    let share = options.seconds / options.targets.len() as f64;
    for target in &options.targets {
        let (from, to) = options.one.map_or((0, options.cases), |n| (n, n + 1));
        let until = share.is_finite().then(|| Instant::now() + Duration::from_secs_f64(share));
        let counted = worker::drive(target, options.seed, from..to, until, &folder);
        let worker::Counted { cases, accepted, refused, panics, hangs, others, seconds } = counted;
        println!(
            "{:<10} {cases:>10} {accepted:>9} {refused:>9} {seconds:>9.1} {panics:>7} {hangs:>7} {others:>7}",
            target.name
        );
        found += panics + hangs + others;
    }
    let _ = std::fs::remove_dir_all(&folder);
    ExitCode::from(u8::from(found > 0))
}
