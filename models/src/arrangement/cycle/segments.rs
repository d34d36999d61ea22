//! The search in segments of the period that are solved side by side, for periods of many edges.

use joulestep_engine::cycle::segments::Segments;
use joulestep_engine::cycle::steady::{CycleError, Steady};
use joulestep_engine::recorder::Samples;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::thermal::run::Thermal;

use super::slopes::Slopes;
use super::{Cycle, Heats, STILL, Search, Why, ripple, watts};
use crate::arrangement::builder::CircuitLayout;
use crate::arrangement::losses::{Beside, Meter, Record, Task};

/// Segments of a period: the lanes of several threads.
const SEGMENTS: usize = 32;
/// Windows that known edges must open in a period for it to be cut: about as many in a segment.
const FEWEST: u64 = 32 * SEGMENTS as u64;
/// Most sweeps.
const MOST: u32 = 12;
/// Where a search only begins a finer one and tells errors: closing error and distance, temperatures (K).
const ROUGH: (f64, f64) = (1e-4, 0.05);

/// What a search works with.
pub(super) struct Parts<'a> {
    pub(super) layout: &'a CircuitLayout,
    pub(super) meter: &'a mut Meter,
    pub(super) thermal: Option<Thermal<f64>>,
    pub(super) period: f64,
    /// Which channels are integrals.
    pub(super) sums: Vec<bool>,
    /// The first heat input's channel, and its integral.
    pub(super) first: [usize; 2],
    pub(super) inputs: usize,
}

/// The periodic steady state of a run that is ready; None where segments do not serve, or find none.
pub(super) fn solve(
    run: &Run<f64>,
    search: &Search<'_>,
    mut celsius: Vec<f64>,
    parts: Parts<'_>,
) -> Result<Option<Cycle>, Why> {
    let Parts { layout, meter, mut thermal, period, sums, first, inputs } = parts;
    let known = search.from.map(|guess| (guess.borders.clone(), guess.of_power.clone()));
    if matches!(known, Some((None, _))) {
        return Ok(None);
    }
    let Ok(Some(mut segments)) = Segments::new(run, (period, layout.carrier), SEGMENTS, FEWEST) else {
        return Ok(None);
    };
    let (borders, mut of_power) = known.unwrap_or_default();
    match borders {
        Some(borders) => segments.begin_at(borders),
        None => match segments.approach(&celsius, search.tell, search.solve) {
            Ok(()) => {}
            Err(CycleError::Stopped) => return Err(CycleError::Stopped.into()),
            Err(_) => return Ok(None),
        },
    }
    // A sweep is not worth its work for a distance below the closing error asked for: errors tell it.
    let (closing, still) = match search.rough {
        true => (ROUGH.0.max(search.effort.closing), ROUGH.1),
        false => (search.effort.closing, STILL),
    };
    let mut met: Option<Slopes> = None;
    let mut history = Vec::new();
    for round in 1..=MOST {
        // The last sweep's samples are what is counted; one that begins far off cannot be the last.
        let near = segments.is_near();
        let kept = near && (inputs == 0 || search.from.is_some() || met.is_some());
        let swept = match segments.sweep(&celsius, kept, search.tell, search.solve) {
            Ok(swept) => swept,
            Err(CycleError::Stopped) => return Err(CycleError::Stopped.into()),
            // One segment after the other may go better.
            Err(_) => return Ok(None),
        };
        history.push(swept.closing);
        let closed = swept.closing <= closing && swept.distance <= closing;
        if !(kept && closed) {
            if let Some(network) = thermal.as_mut().filter(|_| near) {
                let power: Vec<f64> = (0..inputs).map(|k| segments.integral(first[1] + k) / period).collect();
                network.start_steady(&power);
                let slopes = met.get_or_insert_with(|| Slopes::new(&celsius, power.clone(), of_power.take()));
                slopes.look(&celsius, &power);
                celsius = network.temperatures().to_vec();
            }
            continue;
        }
        let (Some(last), Some(ledger)) = (segments.last(), segments.ledger()) else { return Ok(None) };
        let from = last.state().t - period;
        meter.set_temperatures(&celsius);
        let (before, records) = joined(swept.records, &sums, period, search.beside);
        let record = followed(&before, &records, from, period);
        let (mut ripples, mut heats) = (Vec::new(), Vec::new());
        if let Some(network) = &thermal {
            let of = || ripple(network, &Heats::of(&record, from, first[0]..first[0] + inputs), period);
            let ripples = &mut ripples;
            heats.push(Box::new(move || *ripples = of()) as Task<'_>);
        }
        let account = meter.account(layout, (&record, from), &ledger, search.beside, heats);
        if let Some(network) = &thermal {
            let power = watts(&ripples);
            let slopes = met.get_or_insert_with(|| Slopes::new(&celsius, power.clone(), of_power.take()));
            slopes.look(&celsius, &power);
            let change = ripples.iter().zip(&celsius).map(|(r, t)| (r.mean - t).abs()).fold(0.0, f64::max);
            let next = slopes.estimate(network, &mut ripples, change);
            let rests = change <= still || next <= still;
            if !rests {
                celsius = ripples.iter().map(|r| r.mean).collect();
                continue;
            }
        }
        let steady = Steady {
            closing: swept.closing,
            distance: Some(swept.distance),
            periods: segments.sweeps(),
            history,
            kept: segments.kept(),
            jacobian: None,
        };
        return Ok(Some(Cycle {
            period,
            steady,
            account,
            ripple: ripples,
            rounds: round,
            ledger,
            seen: segments.seen(),
            readings: segments.readings(),
            counters: segments.counters(),
            method: last.method(),
            electrical: (last.state().x.clone(), last.state().q.clone()),
            of_power: met.and_then(|slopes| slopes.of_power),
            borders: segments.borders().cloned(),
        }));
    }
    Ok(None)
}

/// The samples of all segments as those of one run, where integrals go on, and before them those of the last segment a
/// period earlier.
fn joined(
    mut records: Vec<Samples>,
    sums: &[bool],
    period: f64,
    beside: Beside<'_>,
) -> (Samples, Vec<Samples>) {
    let sums: Vec<usize> = (0..sums.len()).filter(|k| sums[*k]).collect();
    let gained = |record: &Samples| -> Vec<f64> {
        let last = record.rows().next_back();
        sums.iter().map(|&k| last.map_or(0.0, |row| row[k])).collect()
    };
    let add = |record: &mut Samples, reached: &[f64]| {
        record.rows_mut().for_each(|row| sums.iter().zip(reached).for_each(|(&k, before)| row[k] += before));
    };
    let mut before = records.last().cloned().unwrap_or_default();
    before.time.iter_mut().for_each(|t| *t -= period);
    let back: Vec<f64> = gained(&before).iter().map(|x| -x).collect();
    add(&mut before, &back);
    let mut reached = vec![0.0; sums.len()];
    let (mut tasks, add) = (Vec::<Task<'_>>::new(), &add);
    for record in &mut records {
        let (gained, from) = (gained(record), reached.clone());
        reached.iter_mut().zip(gained).for_each(|(sum, x)| *sum += x);
        tasks.push(Box::new(move || add(record, &from)));
    }
    beside(tasks);
    (before, records)
}

/// Samples one after the other; of a rounding error before the instant `from`, s, is there.
fn followed<'a>(before: &'a Samples, records: &'a [Samples], from: f64, period: f64) -> Record<'a> {
    let mut all = Record::default();
    for samples in std::iter::once(before).chain(records) {
        let at = |t: &f64| if *t < from && from - t < 1e-9 * period { from } else { *t };
        all.time.extend(samples.time.iter().map(at));
        all.rows.extend(samples.rows());
    }
    all
}
