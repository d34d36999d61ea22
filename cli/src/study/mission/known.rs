//! What the numbers of a mission are known to err by otherwise than by coarser computations, and its tables.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::watch::{Seen, Watch};
use joulestep_models::arrangement::mission::profile::Begin;
use joulestep_models::arrangement::mission::{Followed, Options};

use super::life::Life;
use super::tables;
use crate::output::answer::StudyTable;

/// How far the power of an input may be wrong, as a share of it, and its temperatures, K: by leaps, by the laws held
/// over a cycle, and by what is left of the distance to periodic states (powers are products of two quantities at
/// rest).
pub(super) struct OfInput {
    pub(super) share: f64,
    pub(super) kelvin: f64,
    pub(super) at_end: f64,
}

pub(super) fn known_of(f: &Followed, options: &Options, input: usize) -> OfInput {
    let means = || f.course.iter().map(|i| i.celsius[input]);
    let swing = means().fold(f64::NEG_INFINITY, f64::max) - means().fold(f64::INFINITY, f64::min);
    let unrest = 2.0 * options.effort.closing.max(options.effort.distance.min(1.0));
    let held = f.work.coupling + unrest * swing;
    // A temperature that does not move is known as well as its cycle.
    let share = if swing > 1e-6 { ((f.work.estimate + f.work.coupling) / swing).min(1.0) } else { 0.0 };
    OfInput { share: share + unrest, kelvin: f.work.estimate + held, at_end: f.work.estimate_at_end + held }
}

/// The tables.
pub(super) fn tables(f: &Followed, lives: &[Life], options: &Options, begin: Begin) -> Vec<StudyTable> {
    let known: Vec<OfInput> = (0..f.inputs.len()).map(|k| known_of(f, options, k)).collect();
    let of_die = |k: usize, column: &str, value: f64| match column {
        "energy" | "mean_power" => known[k].share * value.abs(),
        "start" if begin == Begin::Rest => 0.0,
        "end" => known[k].at_end,
        _ => known[k].kelvin,
    };
    let of_ripple = |k: usize, _: &str, value: f64| known[k].share * value.abs();
    let harmonics = tables::harmonics(f);
    let each = harmonics.rows.len().checked_div(f.inputs.len()).unwrap_or(0).max(1);
    let of_harmonic = |row: usize, _: &str, value: f64| known[row / each].share * value.abs();
    let columns = ["energy", "mean_power", "start", "mean", "least", "largest", "end"];
    vec![
        StudyTable::new("junctions", "Junction temperatures and heat over the mission", 1, tables::dies(f))
            .estimated(&columns)
            .further(of_die),
        StudyTable::new("ripple", "Ripple of the hottest cycle, peak to peak", 1, tables::ripple(f))
            .estimated(&["switching_ripple", "line_ripple"])
            .further(of_ripple),
        StudyTable::new(
            "harmonics",
            "Amplitudes of power and temperature in the hottest cycle",
            2,
            harmonics,
        )
        .estimated(&["power", "temperature"])
        .further(of_harmonic),
        StudyTable::new(
            "temperature_cycles",
            "Counted temperature cycles (ASTM E1049-85)",
            2,
            tables::cycles(f, lives),
        ),
        StudyTable::new("work", "How it was followed", 0, tables::work(f)),
        StudyTable::new("course", "Course of the junction temperatures", 1, tables::course(f)).machine_only(),
    ]
}

/// What was seen of a watch over the mission, and its error that is known otherwise; temperatures as the course has
/// them.
pub(super) fn seen(f: &Followed, options: &Options, watch: &Watch, seen: &Seen) -> (Seen, f64) {
    let Probe::Temperature(input) = &watch.probe else {
        let unrest = options.effort.closing.max(options.effort.distance.min(1.0));
        return (*seen, unrest * seen.least.abs().max(seen.largest.abs()));
    };
    let k = input.0 as usize;
    if k >= f.inputs.len() {
        return (*seen, 0.0);
    }
    let mut out = Seen::NOTHING;
    for i in &f.course {
        let (least, largest) = (i.celsius[k] + i.within[k].least, i.celsius[k] + i.within[k].largest);
        let outside = least < watch.lower || largest > watch.upper;
        let since = outside.then_some(i.time);
        out.take(&Seen { least, largest, least_at: i.time, largest_at: i.time, since, missed: (0.0, 0.0) });
    }
    (out, known_of(f, options, k).kelvin)
}
