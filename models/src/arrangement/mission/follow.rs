//! A mission from its begin to its end: settle after steps, leap between them.

use std::collections::BTreeMap;

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::run::gauge::Reading;
use joulestep_engine::run::watch::Seen;
use joulestep_engine::thermal::run::Thermal;

use super::super::cycle::STEEPEST;
use super::leap::{Extrapolated, set_boundaries};
use super::profile::{Begin, Profile, Side};
use super::ripple::{Within, apart, harmonics, numbers, within};
use super::site::{OneCycle, Power, Site, later};
use super::{
    Followed, Hottest, Instant, Listener, Make, MissionError, MissionEvent, Options, Solved, Work, checked,
};

/// Share of the tolerance that one leap may add.
pub(super) const SHARE: f64 = 0.2;
/// A temperature beyond this has run away, °C.
pub(super) const RUNAWAY: f64 = 800.0;
/// Sites that are kept for when their parameters come again.
const KEPT: usize = 64;

/// Most solved cycles that are kept to be solved again.
const MOST_SOLVED: usize = 24;
/// Most cycles when each is resolved: the course is kept.
const MOST_CYCLES: f64 = 5e6;

/// Parameters as they identify a site.
pub(super) type Key = Vec<u64>;

pub(super) fn key(parameters: &[f64]) -> Key {
    parameters.iter().map(|x| x.to_bits()).collect()
}

/// A settling as it was resolved: temperatures at its begin (°C), and by how much the power of each of its cycles was
/// above that of the steady cycle, W.
pub(super) type Settling = (Vec<f64>, Vec<Vec<f64>>);

pub(super) struct Follower<'a, 'b> {
    pub(super) profile: &'a Profile,
    pub(super) options: &'a Options,
    pub(super) make: &'a mut Make<'b>,
    pub(super) listener: &'a mut dyn Listener,
    pub(super) period: f64,
    pub(super) network: Thermal<f64>,
    /// The network at rest, to ask it for rises.
    pub(super) rest: Thermal<f64>,
    /// The network under the power that may be wrong.
    pub(super) wrong: Thermal<f64>,
    pub(super) site: Site,
    pub(super) key: Key,
    pub(super) kept: BTreeMap<Key, Site>,
    pub(super) settlings: BTreeMap<(Key, Key), Settling>,
    pub(super) model: Extrapolated,
    pub(super) within: Vec<Within>,
    /// Balance of the last cycle, W.
    pub(super) balance: [f64; 3],
    pub(super) hot: Option<(f64, Vec<f64>, Power)>,
    hot_solved: Option<Solved>,
    /// Cycles that were looked at.
    looked: u64,
    pub(super) out: Followed,
    /// Cycles of sites that are gone.
    pub(super) gone: u64,
}

/// Largest rise of a network above one at rest, K.
pub(super) fn rise(network: &Thermal<f64>, rest: &Thermal<f64>) -> f64 {
    let each = network.temperatures().iter().zip(rest.temperatures());
    each.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// Follows a mission. The thermal network is that of the setups that `make` gives; what `listener` hears is reported as
/// it is computed.
///
/// # Errors
/// [`MissionError`].
pub fn follow(
    profile: &Profile,
    make: &mut Make<'_>,
    options: &Options,
    listener: &mut dyn Listener,
) -> Result<Followed, MissionError> {
    let first = profile.parameters(0.0, Side::After);
    let (layout, setup) = make(&first).map_err(|what| MissionError::Circuit { time: 0.0, what })?;
    let period = layout.period.ok_or(MissionError::NotPeriodic)?;
    let mut network =
        setup.thermal.clone().filter(|t| !t.temperatures().is_empty()).ok_or(MissionError::NoHeat)?;
    checked(profile, network.modal().boundaries().len())?;
    let cycles = profile.duration() / period;
    if options.every_cycle && cycles > MOST_CYCLES {
        let what =
            format!("{cycles:.2e} cycles are too many to resolve each; expected at most {MOST_CYCLES:e}");
        return Err(MissionError::Profile(what));
    }
    let inputs = network.modal().inputs().to_vec();
    set_boundaries(&mut network, profile, 0.0, Side::After);
    let nothing = vec![0.0; inputs.len()];
    network.start_steady(&nothing);
    let rest = network.clone();
    let start = |what| MissionError::Start { time: 0.0, what };
    let mut site = Site::new(&layout, setup, period, None).map_err(start)?;
    let slots = options.switching.map_or(1, |f| (f * period).round().max(1.0) as u32);
    let cycle = begin(profile, &mut network, &mut site, options)?;
    let out = Followed {
        period: (period, slots),
        course: Vec::new(),
        network: network.clone(),
        energy: vec![0.0; inputs.len()],
        inputs,
        balance: [0.0; 3],
        balance_error: [0.0; 3],
        hottest: None,
        dissipated: vec![0.0; cycle.dissipated.len()],
        seen: vec![Seen::NOTHING; cycle.seen.len()],
        readings: vec![Reading::default(); cycle.readings.len()],
        counters: Counters::default(),
        method: site.method(),
        solved: Vec::new(),
        work: Work { cycles, ..Work::default() },
        complete: false,
    };
    let model = Extrapolated::constant(0.0, &cycle.power, network.temperatures());
    let mut follower = Follower {
        profile,
        options,
        make,
        listener,
        period,
        wrong: rest.clone(),
        rest,
        site,
        key: key(&first),
        kept: BTreeMap::new(),
        settlings: BTreeMap::new(),
        model,
        within: Vec::new(),
        balance: cycle.balance,
        hot: None,
        hot_solved: None,
        looked: 0,
        out,
        gone: 0,
        network,
    };
    follower.solved(0.0, &cycle);
    let (power, now) = (cycle.power.clone(), follower.network.temperatures().to_vec());
    let repeated = follower.within.clone();
    if profile.begin == Begin::Rest {
        // Nothing was heated yet: no ripple.
        follower.within.fill(Within::default());
    }
    follower.report(0.0, now, power, 0.0);
    follower.within = repeated;
    let complete = follower.rounds()?;
    Ok(follower.end(complete))
}

/// The first cycle, and the temperatures it begins with.
fn begin(
    profile: &Profile,
    network: &mut Thermal<f64>,
    site: &mut Site,
    options: &Options,
) -> Result<OneCycle, MissionError> {
    let solve = |site: &mut Site, network: &Thermal<f64>| {
        let celsius = network.temperatures().to_vec();
        site.steady(&celsius, options.effort).map_err(|what| MissionError::Cycle { time: 0.0, what })
    };
    let mut cycle = solve(site, network)?;
    if profile.begin == Begin::Rest {
        return Ok(cycle);
    }
    const ROUNDS: u32 = 50;
    for _ in 0..ROUNDS {
        let before = network.clone();
        network.start_steady(&cycle.power);
        let hottest = network.temperatures().iter().fold(f64::NEG_INFINITY, |a, &b| a.max(b));
        if hottest.is_nan() || hottest > RUNAWAY {
            return Err(MissionError::Runaway { time: 0.0, celsius: hottest });
        }
        cycle = solve(site, network)?;
        if rise(network, &before) < 0.1 * options.tolerance {
            return Ok(cycle);
        }
    }
    Err(MissionError::Profile(format!("the steady state of the first load is not found in {ROUNDS} rounds")))
}

impl Follower<'_, '_> {
    /// All rounds; false where the listener stopped.
    fn rounds(&mut self) -> Result<bool, MissionError> {
        let corners = self.profile.corners();
        for round in 0..self.profile.rounds {
            let begin = f64::from(round) * self.profile.length;
            for (k, ends) in corners.windows(2).enumerate() {
                self.listener.event(begin + ends[0], MissionEvent::Stretch(k));
                if !self.stretch(begin, ends[0], ends[1])? {
                    return Ok(false);
                }
            }
        }
        Ok(true)
    }

    /// One stretch, in which every segment is straight.
    fn stretch(&mut self, round: f64, from: f64, to: f64) -> Result<bool, MissionError> {
        set_boundaries(&mut self.network, self.profile, from, Side::After);
        let [first, last] =
            [(from, Side::After), (to, Side::Before)].map(|(t, side)| self.profile.parameters(t, side));
        let moving = key(&first) != key(&last);
        let (mut t, end) = (round + from, round + to);
        self.model.per_second.fill(0.0);
        if key(&first) != self.key {
            let before = self.key.clone();
            let electrical = self.site.electrical();
            self.move_to(&first, t, true)?;
            let celsius = self.network.temperatures().to_vec();
            let cycle = self.steady(t, &celsius)?;
            self.solved(t, &cycle);
            self.model.rebase(t, cycle.power, celsius);
            self.site.start_from(&electrical).map_err(|what| MissionError::Numerical { time: t, what })?;
            if !self.options.every_cycle {
                t = self.settle(&before, round, t, end)?;
            }
        }
        if self.options.every_cycle {
            return self.every_cycle(round, t, end, moving);
        }
        self.leaps(round, t, end, moving)
    }

    /// Changes the site to other parameters; the run there guesses its state from here.
    pub(super) fn move_to(&mut self, parameters: &[f64], t: f64, keep: bool) -> Result<(), MissionError> {
        let new = key(parameters);
        let site = match self.kept.remove(&new) {
            Some(site) => site,
            None => self.another(parameters, t)?,
        };
        let old = std::mem::replace(&mut self.site, site);
        let old_key = std::mem::replace(&mut self.key, new);
        if keep && self.kept.len() < KEPT {
            self.kept.insert(old_key, old);
        } else {
            self.gone += old.cycles;
        }
        Ok(())
    }

    /// A site with these parameters.
    pub(super) fn another(&mut self, parameters: &[f64], t: f64) -> Result<Site, MissionError> {
        let (layout, setup) =
            (self.make)(parameters).map_err(|what| MissionError::Circuit { time: t, what })?;
        let from = self.site.electrical();
        Site::new(&layout, setup, self.period, Some(&from))
            .map_err(|what| MissionError::Start { time: t, what })
    }

    pub(super) fn steady(&mut self, t: f64, celsius: &[f64]) -> Result<OneCycle, MissionError> {
        self.site.steady(celsius, self.options.effort).map_err(|what| MissionError::Cycle { time: t, what })
    }

    /// Takes note of a cycle that was solved at the present temperatures.
    pub(super) fn solved(&mut self, t: f64, cycle: &OneCycle) {
        self.look(t, cycle);
        self.within = within(&mut self.rest.clone(), &cycle.course);
        self.balance = cycle.balance;
        self.out.work.coupling = self.out.work.coupling.max(self.coupling_error());
        let hottest = |celsius: &[f64]| celsius.iter().fold(f64::NEG_INFINITY, |a, &b| a.max(b));
        let solved = Solved {
            time: t,
            parameters: self.key.iter().map(|bits| f64::from_bits(*bits)).collect(),
            celsius: self.site.held.clone(),
            cycle: cycle.clone(),
            electrical: self.site.electrical(),
            jacobian: self.site.jacobian.clone(),
        };
        let now = self.network.temperatures();
        if self.hot.as_ref().is_none_or(|h| hottest(now) > hottest(&h.1)) {
            self.hot = Some((t, now.to_vec(), cycle.course.clone()));
            self.hot_solved = Some(solved.clone());
        }
        // Every second one is given up when they are too many.
        if self.out.solved.len() == MOST_SOLVED {
            let mut number = 0..;
            self.out.solved.retain(|_| number.next().is_some_and(|k| k % 2 == 0));
        }
        self.out.solved.push(solved);
    }

    /// Takes in what was seen of a cycle that begins at this instant of the mission, s.
    pub(super) fn look(&mut self, t: f64, cycle: &OneCycle) {
        self.looked += 1;
        let out = &mut self.out;
        out.seen.iter_mut().zip(&cycle.seen).for_each(|(all, one)| all.take(&later(one, t)));
        out.readings.iter_mut().zip(&cycle.readings).for_each(|(all, one)| all.take(one));
        out.dissipated.iter_mut().zip(&cycle.dissipated).for_each(|(all, one)| *all = all.max(*one));
        out.counters.steps += cycle.counters.steps;
        out.counters.iterations += cycle.counters.iterations;
        out.counters.stalled += cycle.counters.stalled;
        out.counters.stalled_by = out.counters.stalled_by.max(cycle.counters.stalled_by);
    }

    /// What the lag of the laws within the last cycle would make of the temperatures if it lasted, K: the powers are
    /// wrong by slope times lag.
    fn coupling_error(&self) -> f64 {
        let m = self.within.len();
        let resistances = self.rest.modal().steady_resistances();
        let product = |row: &[f64], x: &[f64]| row.iter().zip(x).map(|(a, b)| a.abs() * b).sum::<f64>();
        let lags: Vec<f64> = self.within.iter().map(|w| w.lag.abs()).collect();
        // Where nothing showed how powers depend on temperatures: as steeply as they can.
        let unknown = self.model.per_kelvin.iter().all(|g| *g == 0.0);
        let watts: Vec<f64> = (0..m)
            .map(|k| match unknown {
                true => STEEPEST * self.model.power[k].abs() * lags[k],
                false => product(&self.model.per_kelvin[k * m..(k + 1) * m], &lags),
            })
            .collect();
        (0..m).map(|k| product(&resistances[k * m..(k + 1) * m], &watts)).fold(0.0, f64::max)
    }

    /// A further instant; `power` since the one before.
    pub(super) fn report(&mut self, time: f64, celsius: Vec<f64>, power: Vec<f64>, estimate: f64) {
        if let Some(last) = self.out.course.last() {
            let dt = time - last.time;
            self.out.energy.iter_mut().zip(&power).for_each(|(h, p)| *h += p * dt);
        }
        let instant = Instant { time, celsius, within: self.within.clone(), power, estimate };
        self.listener.instant(&instant);
        self.out.course.push(instant);
    }

    /// The estimated error now, K.
    pub(super) fn estimate(&mut self) -> f64 {
        let now = rise(&self.wrong, &self.rest);
        self.out.work.estimate = self.out.work.estimate.max(now);
        self.out.work.estimate_at_end = now;
        now
    }

    fn end(mut self, complete: bool) -> Followed {
        let kept: u64 = self.kept.values().map(|s| s.cycles).sum();
        self.out.work.solved = self.site.cycles + kept + self.gone;
        // The work of a cycle that was looked at stands for those of searches.
        let each = self.out.work.solved as f64 / self.looked.max(1) as f64;
        for count in [&mut self.out.counters.steps, &mut self.out.counters.iterations] {
            *count = (*count as f64 * each) as u64;
        }
        if let Some(hot) = self.hot_solved.take() {
            let solved = &mut self.out.solved;
            let at = solved.partition_point(|s| s.time < hot.time);
            if solved.get(at).is_none_or(|s| s.time != hot.time) {
                solved.insert(at, hot);
            }
        }
        self.out.complete = complete;
        let slots = self.out.period.1;
        self.out.hottest = self.hot.take().map(|(time, celsius, course)| Hottest {
            time,
            celsius,
            ripple: apart(&mut self.rest.clone(), &course, slots),
            harmonics: harmonics(self.rest.modal(), &course, &numbers(slots)),
        });
        self.out.network = self.network;
        self.out
    }
}
