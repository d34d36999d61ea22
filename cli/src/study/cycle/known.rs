//! Tables of a periodic steady state, and what their numbers are known to err by otherwise than by coarser
//! computations.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::watch::{Seen, Watch};
use joulestep_models::arrangement::cycle::{Cycle, Ripple};

use super::tables::{COLUMNS, balance, losses, others, ripple, work};
use crate::output::answer::StudyTable;

/// Errors of temperatures of an input that coarser computations do not show, K: its coupling, and its rise above
/// `start` as the power errs by what is left of the distance to the periodic state.
pub(super) fn of_temperature(cycle: &Cycle, r: &Ripple, start: f64) -> f64 {
    r.coupling_error + cycle.unrest() * (r.mean - start).abs()
}

/// The tables, without the temperatures that laws were held at.
pub(super) fn tables(cycle: &Cycle, start: &[f64]) -> Vec<StudyTable> {
    let unrest = cycle.unrest();
    let wrong: f64 = cycle.ripple.iter().map(|r| r.power_error).sum();
    let in_place = |place: &str, of: fn(&Ripple) -> f64| -> f64 {
        let mine = cycle.ripple.iter().filter(|r| r.name.starts_with(&format!("{place}-")));
        mine.map(of).sum()
    };
    let of_switch = |row: usize, column: &str, value: f64| {
        let switch = &cycle.account.switches[row];
        let watts = in_place(&switch.name, |r| r.power);
        let wrong = in_place(&switch.name, |r| r.power_error);
        let share = if watts > 0.0 { wrong / watts } else { 0.0 };
        // The first columns are the phases.
        let phase = COLUMNS.iter().position(|c| c.0 == column);
        let parted = phase.and_then(|k| switch.parted.get(k)).map_or(0.0, |joules| joules / cycle.period);
        (unrest + share) * value.abs() + parted
    };
    let rows = balance(cycle);
    let of_balance = |row: usize, _: &str, value: f64| match row {
        3 => unrest * value.abs() + wrong,
        // In a state that repeats nothing changes.
        6 => value.abs(),
        _ => unrest * value.abs(),
    };
    let of_ripple = |row: usize, column: &str, value: f64| {
        let r = &cycle.ripple[row];
        let share = if r.power > 0.0 { r.power_error / r.power } else { 0.0 } + unrest;
        match column {
            "power" | "ripple" => share * value.abs(),
            _ => of_temperature(cycle, r, start[row]),
        }
    };
    let columns: Vec<&str> = COLUMNS.iter().map(|c| c.0).collect();
    vec![
        StudyTable::new("losses", "Losses of the switches, mean over the period", 1, losses(cycle))
            .estimated(&columns)
            .further(of_switch),
        StudyTable::new("others", "Other losses, mean over the period", 1, others(cycle))
            .estimated(&["loss"])
            .further(|_, _, value| unrest * value.abs()),
        StudyTable::new("balance", "Power balance, mean over the period", 1, rows)
            .estimated(&["power"])
            .further(of_balance),
        StudyTable::new("temperatures", "Temperatures over the period", 1, ripple(cycle))
            .estimated(&["power", "mean", "least", "largest", "ripple"])
            .further(of_ripple),
        StudyTable::new("search", "Search for the state that repeats", 0, work(cycle)),
    ]
}

/// What was seen of a watch, and the error of it that is known otherwise: temperatures as they ripple.
pub(super) fn seen(cycle: &Cycle, watch: &Watch, seen: &Seen, start: &[f64]) -> (Seen, f64) {
    if let Probe::Temperature(input) = &watch.probe {
        let Some(r) = cycle.ripple.get(input.0 as usize) else { return (*seen, 0.0) };
        let (least, largest) = r.extremes;
        let outside = least < watch.lower || largest > watch.upper;
        let known = Seen { least, largest, since: outside.then_some(0.0), ..Seen::NOTHING };
        return (known, of_temperature(cycle, r, start[input.0 as usize]));
    }
    let size = seen.least.abs().max(seen.largest.abs());
    // Instants of a search tell nothing.
    (Seen { least_at: f64::NAN, largest_at: f64::NAN, ..*seen }, 0.5 * cycle.unrest() * size)
}
