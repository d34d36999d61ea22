//! The search in segments of the period that are solved side by side, for periods of many edges.

use joulestep_engine::cycle::segments::Segments;
use joulestep_engine::cycle::steady::{CycleError, Steady};
use joulestep_engine::recorder::InMemory;
use joulestep_engine::run::time_loop::Run;
use joulestep_engine::thermal::run::Thermal;

use super::slopes::Slopes;
use super::{Cycle, STILL, Search, Why, powers, ripple, watts};
use crate::arrangement::builder::CircuitLayout;
use crate::arrangement::losses::Meter;

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
    pub(super) thermal: Option<&'a mut Thermal<f64>>,
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
        let record = joined(swept.records, &sums, from, period);
        let mut ripples = Vec::new();
        if let Some(network) = thermal.as_mut() {
            let power = powers(&record, from, first[0], inputs);
            network.start_periodic(&power);
            ripples = ripple(network, &power, period);
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
        meter.set_temperatures(&celsius);
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
            account: meter.account(layout, &record, from, &ledger),
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

/// The samples of all segments as those of one run, after the last segment of the period before: integrals go on.
fn joined(records: Vec<InMemory<f64>>, sums: &[bool], from: f64, period: f64) -> InMemory<f64> {
    let mut all = InMemory::default();
    let begin = |record: &InMemory<f64>| -> Vec<f64> {
        record
            .samples
            .last()
            .map(|last| last.iter().zip(sums).map(|(x, sum)| if *sum { *x } else { 0.0 }).collect())
            .unwrap_or_default()
    };
    let mut reached: Vec<f64> = vec![0.0; sums.len()];
    let mut join = |record: InMemory<f64>, back: f64, reached: &[f64]| {
        for (t, mut sample) in record.time.into_iter().zip(record.samples) {
            sample.iter_mut().zip(reached).for_each(|(x, before)| *x += before);
            all.time.push(if t - back < from && from - (t - back) < 1e-9 * period { from } else { t - back });
            all.samples.push(sample);
        }
    };
    if let Some(last) = records.last() {
        let before: Vec<f64> = begin(last).iter().map(|x| -x).collect();
        join(last.clone(), period, &before);
    }
    for record in records {
        let gained = begin(&record);
        join(record, 0.0, &reached);
        reached.iter_mut().zip(gained).for_each(|(sum, x)| *sum += x);
    }
    all
}
