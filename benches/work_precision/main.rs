//! Work against precision: REF-1 and its 200-edge version with this engine, SUNDIALS IDA and a Rust ODE library, side
//! by side in one run. `cargo bench --bench work_precision [--features outside] [-- two|many]`; see benches/README.md.

mod case;
mod clock;
#[cfg(feature = "outside")]
mod explicit_form;
mod ida;
#[cfg(feature = "outside")]
mod library;
mod ours;
#[allow(dead_code, reason = "shared with the tests")]
#[path = "../../tests/common/ref1.rs"]
mod ref1;
mod reference;
mod table;

use std::path::Path;
use std::process::ExitCode;

use case::Case;
use ida::Ida;
use ours::Ours;
use reference::Reference;
use table::Row;

/// Rounds over all methods; the best time of each row counts, so that a slow moment of the machine hits nobody.
const ROUNDS: usize = 3;

fn main() -> ExitCode {
    let mut cases = Vec::new();
    for argument in std::env::args().skip(1).filter(|a| a != "--bench") {
        match argument.as_str() {
            "two" => cases.push(Case::Two),
            "many" => cases.push(Case::Many),
            other => {
                eprintln!("unknown case {other:?}; expected two or many");
                return ExitCode::from(2);
            }
        }
    }
    if cases.is_empty() {
        cases = vec![Case::Two, Case::Many];
    }
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("work_precision");
    if let Err(e) = std::fs::create_dir_all(&folder) {
        eprintln!("{}: {e}", folder.display());
        return ExitCode::from(4);
    }
    let ida = match Ida::build(&folder) {
        Ok(ida) => {
            println!("SUNDIALS IDA: {}", ida.build);
            Some(ida)
        }
        Err(why) => {
            println!("SUNDIALS IDA: skipped: {why}");
            None
        }
    };
    if cfg!(not(feature = "outside")) {
        println!("Rust ODE library (diffsol): skipped: build with --features outside");
    }
    for case in cases {
        match Reference::new(case, ida.as_ref(), &folder) {
            Ok(reference) => compare(&reference, ida.as_ref(), &folder),
            Err(why) => println!("\n{}: skipped: {why}", case.title()),
        }
    }
    ExitCode::SUCCESS
}

fn compare(reference: &Reference, ida: Option<&Ida>, folder: &Path) {
    let mut best: Vec<Row> = Vec::new();
    let ours = Ours::new(reference);
    for _ in 0..ROUNDS {
        let mut round = ours.round();
        if let Some(ida) = ida {
            round.extend(ida.rows(reference, folder));
        }
        #[cfg(feature = "outside")]
        round.extend(library::rows(reference));
        table::merge(&mut best, round);
    }
    table::print(reference, &best);
}
