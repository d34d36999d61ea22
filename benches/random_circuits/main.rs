//! Circuits by chance, many of them: `cargo bench --bench random_circuits -- FIRST COUNT`. Tells what came of every
//! circuit that did not simply run to its end with a closed ledger, and the rates.

#[path = "../../tests/random_circuits/execute.rs"]
mod execute;
#[path = "../../tests/random_circuits/generate.rs"]
mod generate;

use execute::{Came, carry};

fn main() {
    let numbers: Vec<u64> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let (first, count) = (numbers.first().copied().unwrap_or(1), numbers.get(1).copied().unwrap_or(1000));
    let (mut failed, mut open, mut unproven) = (0, 0, 0);
    for seed in first..first + count {
        let began = std::time::Instant::now();
        let came = carry(seed);
        let took = began.elapsed().as_secs_f64();
        failed += u64::from(matches!(came, Came::Failed(_) | Came::Refused(_)));
        unproven += u64::from(matches!(came, Came::NotProven(_)));
        open += u64::from(came.open());
        if took > 1.0 || came.open() || !matches!(came, Came::Through(_) | Came::NotProven(_)) {
            println!("{seed}: {came:?} ({took:.1} s)");
        }
    }
    println!("{count} circuits: {failed} failed, {unproven} not proven, {open} of them with an open ledger");
}
