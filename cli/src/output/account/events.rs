//! What limits bound, from the extremes and the gauges of a run.

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::run::gauge::Reading;
use joulestep_engine::run::time_loop::Run;

use super::heat::further;
use super::{Found, Judgement, Peak};
use crate::input::scenario::build::{Judged, Origin};
use crate::judge::{Occurrence, Ruling, Uncertainty};

/// What a gauge shows, and the error of it that is known otherwise than by coarser runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// Number of the gauge.
    pub gauge: usize,
    /// What it shows.
    pub reading: Reading,
    /// The error.
    pub further: f64,
}

/// What the gauge of a limit shows; `None` of one without.
pub(super) fn of<L: Lane>(judged: &Judged, readings: &[Reading], run: &Run<L>, lane: usize) -> Option<Shown> {
    let Origin::Gauge(gauge) = judged.origin else { return None };
    let reading = *readings.get(gauge)?;
    // A time above a temperature is known within a unit of it; beyond that nothing bounds it.
    let kelvin: f64 = judged.input.map_or(0.0, |input| further(run, input, lane));
    let further = if kelvin <= 1.0 { kelvin * reading.per_unit } else { f64::INFINITY };
    Some(Shown { gauge, reading, further: further + reading.bent })
}

/// A limit with what was found of it; `None` where a study has nothing that it speaks of. `done`: the run came to its
/// end.
pub(super) fn judgement(judged: &Judged, found: &Found<'_>, peaks: &[Peak], done: bool) -> Option<Judgement> {
    let limit = judged.limit.clone();
    let (least, largest, missed, further, count, occurrence) = match judged.origin {
        Origin::Watch(k) => {
            let &Peak { least, largest, missed, .. } = &peaks[k];
            (least, largest, missed, found.watches[k].1, 1, Occurrence::Happened)
        }
        Origin::Gauge(k) => {
            let shown = found.readings.iter().find(|s| s.gauge == k)?;
            let r = &shown.reading;
            // What an unfinished run counted may go on.
            let occurrence = match r.open || !done {
                _ if r.largest.is_nan() => Occurrence::Never,
                true => Occurrence::Open,
                false => Occurrence::Happened,
            };
            (r.least, r.largest, (0.0, 0.0), shown.further, r.count, occurrence)
        }
    };
    Some(Judgement {
        kept: limit.bounds.hold(least, largest) && occurrence == Occurrence::Happened,
        limit,
        occurrence,
        count,
        least,
        largest,
        least_error: Uncertainty::Bare,
        largest_error: Uncertainty::Bare,
        missed,
        further,
        ruling: Ruling::NotJudged,
    })
}
