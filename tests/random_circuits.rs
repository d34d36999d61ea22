//! Circuits by chance: what a generator of valid circuits makes must run to its end, and its ledger must close. More of
//! them: `cargo bench --bench random_circuits`.

pub mod carry;
pub mod generate;

use carry::{Came, carry};

/// Circuits that run here.
const SEEDS: u64 = 300;

#[test]
fn circuits_by_chance_end_and_balance() {
    let all: Vec<(u64, Came)> = (1..=SEEDS).map(|seed| (seed, carry(seed))).collect();
    let which =
        |of: &dyn Fn(&Came) -> bool| -> Vec<&(u64, Came)> { all.iter().filter(|c| of(&c.1)).collect() };
    let failed = which(&|c| matches!(c, Came::Failed(_) | Came::Refused(_)));
    assert!(failed.is_empty(), "{failed:?}");
    let open = which(&Came::open);
    assert!(open.is_empty(), "{open:?}");
    let unproven = which(&|c| matches!(c, Came::NotProven(_)));
    assert!(unproven.len() as u64 * 50 <= SEEDS, "{unproven:?}");
}
