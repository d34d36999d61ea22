//! What limits bound, from the extremes and the gauges of a run.

use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::run::gauge::{Gauge, Reading};
use joulestep_engine::run::time_loop::Run;

use super::heat::further;
use super::{Found, Judgement, Peak};
use crate::input::scenario::build::{Judged, Origin};
use crate::judge::Occurrence;

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
pub(super) fn of(judged: &Judged, readings: &[Reading], run: &Run<f64>) -> Option<Shown> {
    let Origin::Gauge(gauge) = judged.origin else { return None };
    let reading = *readings.get(gauge)?;
    // A time above a temperature is known within a unit of it; beyond that nothing bounds it.
    let kelvin: f64 = judged.input.map_or(0.0, |input| further(run, input));
    let further = if kelvin <= 1.0 { kelvin * reading.per_unit } else { f64::INFINITY };
    Some(Shown { gauge, reading, further: further + reading.bent })
}

impl Shown {
    /// What gauges of bursts, with their numbers, show of a time in which laws and readings are held at temperatures;
    /// `moves` gives that of a heat input and the highest that its die comes to, °C. What that would make of a value is its
    /// error.
    pub fn of_bursts(
        gauges: &[(usize, Gauge)],
        readings: &[Reading],
        moves: &dyn Fn(usize) -> (f64, f64),
    ) -> Vec<Self> {
        let one = |((number, gauge), reading): (&(usize, Gauge), &Reading)| {
            let referred = gauge.burst.as_ref().and_then(|b| b.referred.as_ref());
            let further = referred.map_or(0.0, |r| match &r.temperature {
                Some(Probe::Temperature(input)) => {
                    let (held, most) = moves(input.0 as usize);
                    reading.largest * (r.factor(most) / r.factor(held) - 1.0).max(0.0)
                }
                _ => 0.0,
            });
            Self { gauge: *number, reading: *reading, further }
        };
        gauges.iter().zip(readings).map(one).collect()
    }
}

/// What the gauge of a limit shows before a run; `None` of one without.
pub(super) fn nothing(judged: &Judged) -> Option<Shown> {
    let Origin::Gauge(gauge) = judged.origin else { return None };
    let nan = f64::NAN;
    let reading = Reading { count: 0, least: nan, largest: nan, open: false, per_unit: nan, bent: nan };
    Some(Shown { gauge, reading, further: 0.0 })
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
        missed,
        further,
    })
}
