//! The same mission under the powers that its cycles have when they are solved otherwise, with coarser steps say:
//! cycles that were solved on the way are solved again, each from its own periodic state at the temperatures it had; by
//! what their powers differ, the course of the temperatures moves. The network is linear, so the move is its answer to
//! the difference; that losses follow the moved temperatures is left out.

use joulestep_engine::run::watch::Seen;

use super::super::cycle::NEAR;
use super::profile::Begin;
use super::ripple::{Within, apart, harmonics, numbers};
use super::site::{OneCycle, Site};
use super::{Followed, Hottest, Make, MissionError, Solved};

/// A quantity at instants, linear in between and constant outside.
fn between(times: &[f64], values: &[f64], t: f64) -> f64 {
    let k = times.partition_point(|x| *x < t);
    match (k.checked_sub(1), times.get(k)) {
        (None, _) => values.first().copied().unwrap_or(0.0),
        (Some(last), None) => values[last],
        (Some(last), Some(next)) => {
            let share = (t - times[last]) / (next - times[last]).max(f64::MIN_POSITIVE);
            values[last] + share * (values[k] - values[last])
        }
    }
}

fn all_seen<'a>(cycles: impl Iterator<Item = &'a OneCycle>, count: usize) -> Vec<Seen> {
    let mut all = vec![Seen::NOTHING; count];
    for cycle in cycles {
        all.iter_mut().zip(&cycle.seen).for_each(|(all, one)| all.take(one));
    }
    all
}

/// Solves the cycles that `followed` kept again, in the setups that `make` gives now.
///
/// # Errors
/// As of [`follow`](super::follow).
pub fn again(followed: &Followed, begin: Begin, make: &mut Make<'_>) -> Result<Followed, MissionError> {
    let period = followed.period.0;
    let mut out = followed.clone();
    out.counters = Default::default();
    let mut cycles = Vec::with_capacity(followed.solved.len());
    for Solved { time, parameters, celsius, electrical, jacobian, .. } in &followed.solved {
        let time = *time;
        let (layout, setup) = make(parameters).map_err(|what| MissionError::Circuit { time, what })?;
        let site = Site::new(&layout, setup, period, Some(electrical));
        let mut site = site.map_err(|what| MissionError::Start { time, what })?;
        site.jacobian.clone_from(jacobian);
        let cycle = site.steady(celsius, NEAR).map_err(|what| MissionError::Cycle { time, what })?;
        out.counters.steps += cycle.counters.steps * site.cycles;
        out.counters.iterations += cycle.counters.iterations * site.cycles;
        cycles.push(cycle);
    }
    let times: Vec<f64> = followed.solved.iter().map(|s| s.time).collect();
    let then: Vec<&OneCycle> = followed.solved.iter().map(|s| &s.cycle).collect();
    let pairs = || then.iter().zip(&cycles);
    let inputs = followed.inputs.len();
    let ratio = |k: usize, (a, b): (&&OneCycle, &OneCycle)| {
        if a.power[k] == 0.0 { 1.0 } else { b.power[k] / a.power[k] }
    };
    let ratios: Vec<Vec<f64>> = (0..inputs).map(|k| pairs().map(|p| ratio(k, p)).collect()).collect();
    let at = |t: f64| -> Vec<f64> { ratios.iter().map(|r| between(&times, r, t)).collect() };
    let more: [Vec<f64>; 3] =
        std::array::from_fn(|j| pairs().map(|(a, b)| b.balance[j] - a.balance[j]).collect());

    let mut network = followed.network.clone();
    network.start_steady(&vec![0.0; inputs]);
    let rest = network.temperatures().to_vec();
    if let (Begin::Steady, Some(first)) = (begin, followed.course.first()) {
        let power: Vec<f64> =
            first.power.iter().zip(at(first.time)).map(|(p, ratio)| p * (ratio - 1.0)).collect();
        network.start_steady(&power);
    }
    out.energy = vec![0.0; inputs];
    for k in 0..out.course.len() {
        let last = if k > 0 { out.course[k - 1].time } else { out.course[0].time };
        let instant = &mut out.course[k];
        let dt = instant.time - last;
        let ratios = at(0.5 * (last + instant.time));
        let moved: Vec<f64> = instant.power.iter().zip(&ratios).map(|(p, ratio)| p * (ratio - 1.0)).collect();
        if dt > 0.0 {
            network.advance(dt, &moved);
            for (joules, more) in out.balance.iter_mut().zip(&more) {
                *joules += dt * between(&times, more, 0.5 * (last + instant.time));
            }
        }
        let ratios = at(instant.time);
        for i in 0..inputs {
            instant.celsius[i] += network.temperatures()[i] - rest[i];
            instant.power[i] += moved[i];
            out.energy[i] += instant.power[i] * dt;
            let within = &mut instant.within[i];
            let [least, largest, lag] = [within.least, within.largest, within.lag].map(|x| x * ratios[i]);
            *within = Within { least, largest, lag };
        }
    }
    let (fine, coarse) =
        (all_seen(then.iter().copied(), followed.seen.len()), all_seen(cycles.iter(), followed.seen.len()));
    for (seen, (a, b)) in out.seen.iter_mut().zip(fine.iter().zip(&coarse)) {
        seen.least += (b.least + b.missed.0) - (a.least + a.missed.0);
        seen.largest += (b.largest + b.missed.1) - (a.largest + a.missed.1);
    }
    for (k, reading) in out.readings.iter_mut().enumerate() {
        let most = |all: &mut dyn Iterator<Item = &OneCycle>| {
            all.filter_map(|c| c.readings.get(k)).map(|r| r.largest).fold(0.0, f64::max)
        };
        reading.largest += most(&mut cycles.iter()) - most(&mut then.iter().copied());
        reading.least = reading.largest;
    }
    let mut hot = followed
        .solved
        .iter()
        .zip(&cycles)
        .filter(|(s, _)| followed.hottest.as_ref().is_some_and(|h| h.time == s.time));
    if let (Some((_, cycle)), Some(last)) = (hot.next_back(), &followed.hottest) {
        let slots = followed.period.1;
        out.hottest = Some(Hottest {
            ripple: apart(&mut network.clone(), &cycle.course, slots),
            harmonics: harmonics(network.modal(), &cycle.course, &numbers(slots)),
            ..last.clone()
        });
    }
    out.solved.clear();
    Ok(out)
}
