//! Throughput of batches in lanes and on threads against scalar runs on one core; memory per variant; a batch of ten
//! thousand variants end to end. `cargo bench --bench batch`, and `-- breaker` for the longest; see benches/README.md.

mod process;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use process::{Spent, run};

/// Interleaved rounds of every way; the best wall and processor time of each counts.
const ROUNDS: usize = 5;
/// Ways: lanes, threads. The first is the measure of the others.
const WAYS: [(u8, u8); 6] = [(1, 1), (4, 1), (8, 1), (1, 2), (4, 2), (8, 2)];
/// Numbers of variants whose peak memory is compared.
const GROWING: [usize; 2] = [1_000, 10_000];
/// Variants of the batch that is timed from end to end.
const WHOLE: usize = 10_000;

/// A plan with `VARIANTS` for their number, beside the shipped scenarios.
struct Case {
    name: &'static str,
    plan: &'static str,
    variants: usize,
}

/// A breaker's inrush with its heat paths and ledger (shipped); a converter with six periods of 100 kHz; a charging
/// capacitor, where reading and writing is most of the work.
const CASES: [Case; 3] = [
    Case { name: "inrush", plan: include_str!("../../examples/inrush-tolerances.toml"), variants: 400 },
    Case { name: "converter", plan: include_str!("converter.toml"), variants: 64 },
    Case { name: "capacitor", plan: include_str!("capacitor.toml"), variants: 4000 },
];

/// A breaker's start, short circuit and retry, and the coarser runs of every sixteenth variant: a quarter of a million
/// steps each, so one round, alone and in eight lanes.
const BREAKER: Case = Case { name: "breaker", plan: include_str!("breaker.toml"), variants: 64 };
const LONG: [(u8, u8); 3] = [(1, 1), (8, 1), (8, 2)];

fn main() -> ExitCode {
    match describe() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn describe() -> Result<(), String> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("batch");
    std::fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    for entry in std::fs::read_dir(&examples).map_err(|e| e.to_string())?.flatten() {
        if entry.path().extension().is_some_and(|e| e == "toml") {
            std::fs::copy(entry.path(), folder.join(entry.file_name())).map_err(|e| e.to_string())?;
        }
    }
    let capacitor = include_str!("capacitor-scenario.toml");
    std::fs::write(folder.join("capacitor-scenario.toml"), capacitor).map_err(|e| e.to_string())?;
    if std::env::args().any(|word| word == "breaker") {
        return throughput(&folder, &BREAKER, &LONG, 1).map(|_| ());
    }
    println!("best of {ROUNDS} interleaved rounds; ms per variant, and times faster than the first line");
    for case in &CASES {
        let best = throughput(&folder, case, &WAYS, ROUNDS)?;
        for k in 0..3 {
            let (one, two) = (&best[k], &best[k + 3]);
            println!(
                "{:<12}{:>6}  two threads: {:.2} times faster, {:.2} times the processor time",
                case.name,
                WAYS[k].0,
                one.wall / two.wall,
                two.processor / one.processor
            );
        }
    }
    memory(&folder)?;
    whole(&folder)
}

fn plan(folder: &Path, case: &Case, variants: usize) -> Result<PathBuf, String> {
    let path = folder.join(format!("{}-{variants}.plan.toml", case.name));
    let shipped = case.plan.replace("variants = 200", "variants = VARIANTS");
    let text = shipped.replace("VARIANTS", &variants.to_string());
    std::fs::write(&path, text).map_err(|e| format!("{}: {e}", path.display()))?;
    Ok(path)
}

fn throughput(folder: &Path, case: &Case, ways: &[(u8, u8)], rounds: usize) -> Result<Vec<Spent>, String> {
    println!("{:<12}{:>6}{:>9}{:>11}{:>8}{:>13}{:>8}", "", "lanes", "threads", "wall", "", "processor", "");
    let plan = plan(folder, case, case.variants)?;
    let mut best: Vec<_> =
        ways.iter().map(|_| Spent { wall: f64::INFINITY, processor: f64::INFINITY, peak: 0 }).collect();
    for _ in 0..rounds {
        for (way, best) in ways.iter().zip(&mut best) {
            let spent = run(&plan, &folder.join("table.h5"), *way)?;
            best.wall = best.wall.min(spent.wall);
            best.processor = best.processor.min(spent.processor);
        }
    }
    let each = |x: f64| 1e3 * x / case.variants as f64;
    for ((lanes, threads), spent) in ways.iter().zip(&best) {
        println!(
            "{:<12}{lanes:>6}{threads:>9}{:>11.3}{:>8.2}{:>13.3}{:>8.2}",
            case.name,
            each(spent.wall),
            best[0].wall / spent.wall,
            each(spent.processor),
            best[0].processor / spent.processor,
        );
    }
    Ok(best)
}

fn memory(folder: &Path) -> Result<(), String> {
    println!("\npeak resident memory (VmHWM), kB, two threads, eight lanes");
    for case in &CASES[..1] {
        let mut peaks = [0; 2];
        for (variants, peak) in GROWING.iter().zip(&mut peaks) {
            *peak = run(&plan(folder, case, *variants)?, &folder.join("table.h5"), (8, 2))?.peak;
        }
        let [few, many] = GROWING;
        let per_variant = (peaks[1] as f64 - peaks[0] as f64) / (many - few) as f64;
        println!(
            "{:<12}{few} variants: {}, {many} variants: {}; {per_variant:.2} kB per variant",
            case.name, peaks[0], peaks[1]
        );
    }
    Ok(())
}

fn whole(folder: &Path) -> Result<(), String> {
    println!("\n{WHOLE} variants from the plan to table and statistics, two threads, eight lanes");
    for case in [&CASES[0], &CASES[2]] {
        let spent = run(&plan(folder, case, WHOLE)?, &folder.join("table.h5"), (8, 2))?;
        println!(
            "{:<12}{:.1} s, {:.0} variants per second, {:.1} s of processor time",
            case.name,
            spent.wall,
            WHOLE as f64 / spent.wall,
            spent.processor
        );
    }
    Ok(())
}
