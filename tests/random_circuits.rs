//! Circuits by chance: what a generator of valid circuits makes must run to its end, and its ledger must close. More of
//! them: `cargo bench --bench random_circuits -- FIRST COUNT`.

pub mod execute;
pub mod generate;
mod lanes;
mod slope;

use execute::{Came, carry};

/// Circuits that run here.
const SEEDS: u64 = 500;

/// One in fifty may have steps whose errors stay above their bounds.
const UNPROVEN: u64 = SEEDS / 50;

#[test]
fn circuits_by_chance_end_and_balance() {
    let mut unproven = 0;
    for seed in 1..=SEEDS {
        let came = carry(seed);
        unproven += u64::from(matches!(came, Came::NotProven(_)));
        assert!(!matches!(came, Came::Failed(_) | Came::Refused(_)) && !came.open(), "{seed}: {came:?}");
    }
    assert!(unproven <= UNPROVEN, "{unproven} not proven");
}

/// Just after a jump the middle node of a cascode has another voltage than before, and between the two lies one at which
/// the JFET's slope changes sign.
const OVER_A_SLOPE: [u64; 3] = [765, 2836, 3192];
/// Within one step a small pulse or the end of a transistor's conduction leaves more of the energy than the ledger
/// may be open by, and all unknowns keep their bounds at its end.
const WITHIN_A_STEP: [u64; 5] = [934, 982, 1586, 2610, 2984];

/// A JFET carries current from its source to its drain, and its channel is pinched off at the source.
const IN_REVERSE: [u64; 5] = [5029, 7572, 9081, 9627, 20217];
/// Rounding moves a diode that leaks less than a femtoampere, between nodes that hang on the rest by its leakage.
const BY_LITTLE: [u64; 1] = [29852];
/// A transistor turns off the current of an inductor where nothing else may take it: within less than the finest step the
/// voltage goes to kilovolts.
const TO_KILOVOLTS: [u64; 3] = [4665, 5722, 9738];

#[test]
fn currents_that_nothing_takes_are_turned_off() {
    for seed in TO_KILOVOLTS {
        let came = carry(seed);
        assert!(matches!(came, Came::Through(_) | Came::NotProven(_)) && !came.open(), "{seed}: {came:?}");
    }
}

#[test]
fn circuits_that_others_of_their_kind_failed_on_end_and_balance() {
    let all = [&OVER_A_SLOPE[..], &WITHIN_A_STEP, &IN_REVERSE, &BY_LITTLE];
    for seed in all.into_iter().flatten().copied() {
        let came = carry(seed);
        assert!(matches!(came, Came::Through(_)) && !came.open(), "{seed}: {came:?}");
    }
}
