//! An arrangement in its periodic steady state: electrical and thermal, with the losses of a period.

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::accounts::ledger::Ledger;
use joulestep_engine::circuit::probe::Probe;
use joulestep_engine::cycle::segments::{Borders, Solve};
use joulestep_engine::cycle::steady::{CycleError, Effort, Steady, steady_from};
use joulestep_engine::cycle::stretch;
use joulestep_engine::error::SolverError;
use joulestep_engine::recorder::{InMemory, Recorder};
use joulestep_engine::run::gauge::Reading;
use joulestep_engine::run::setup::{Refusal, Setup};
use joulestep_engine::run::time_loop::Ended;
use joulestep_engine::run::watch::Seen;
use nalgebra::DMatrix;

use super::builder::CircuitLayout;
use super::losses::{Account, Beside, Meter, Record, Task};

mod ripple;
mod segments;
mod slopes;

pub use ripple::Ripple;
use ripple::{Heats, ripple, watts};
pub(super) use slopes::STEEPEST;
use slopes::Slopes;

/// Temperatures are found when they change by less than this from one round to the next, or would in one more, K.
const STILL: f64 = 0.01;
/// A search from near by: closing is not asked for, but every step that a known Jacobian gives is taken; a state that
/// does not close is reported by the difference it makes.
pub(super) const NEAR: Effort = Effort { warm_up: 1, closing: f64::INFINITY, distance: 1e-7, most: 16 };
/// Most rounds between losses and temperatures.
const ROUNDS: u32 = 30;

/// Why there is no steady state.
#[derive(Debug, thiserror::Error)]
pub enum Why {
    /// The control does not repeat.
    #[error("the control of this arrangement does not repeat, so it has no periodic steady state")]
    NotPeriodic,
    /// No start.
    #[error(transparent)]
    Start(#[from] Refusal),
    /// No periodic state at the temperatures of a round.
    #[error(transparent)]
    Cycle(#[from] CycleError),
    /// The equations could not be solved.
    #[error(transparent)]
    Numerical(#[from] SolverError),
    /// Losses and temperatures drive each other up.
    #[error(
        "temperatures do not settle: after {rounds} rounds they still move by {change:.3} K (thermal runaway?)"
    )]
    Unsettled {
        /// Rounds made.
        rounds: u32,
        /// The last change, K.
        change: f64,
    },
}

/// What was found.
#[derive(Clone, Debug)]
pub struct Cycle {
    /// The period, s.
    pub period: f64,
    /// How the electrical state was found, in the last round.
    pub steady: Steady,
    /// Losses of a period.
    pub account: Account,
    /// Temperatures; empty without a thermal network.
    pub ripple: Vec<Ripple>,
    /// Rounds between losses and temperatures.
    pub rounds: u32,
    /// The energy account of the period.
    pub ledger: Ledger<f64>,
    /// What the setup's watches saw of the period; temperatures are those that the laws were held at.
    pub seen: Vec<Seen>,
    /// What the setup's gauges read of the period, likewise.
    pub readings: Vec<Reading>,
    /// Work of the whole search; steps that stalled are those of the period.
    pub counters: Counters,
    /// How it was stepped, in a word.
    pub method: &'static str,
    /// Unknowns and charges at the end of the period.
    pub electrical: (Vec<f64>, Vec<f64>),
    /// How the mean power of each input depends on temperature, W/K; `None` where temperatures never moved enough.
    pub of_power: Option<Vec<f64>>,
    /// Where segments of the period begin, if it was found in segments.
    pub borders: Option<Borders>,
}

impl Cycle {
    /// What the distance to the periodic state may do to a power, as a share of it: powers are products of two of the
    /// quantities that the search brings to rest.
    pub fn unrest(&self) -> f64 {
        2.0 * self.steady.closing.max(self.steady.distance.unwrap_or(0.0))
    }
}

/// Where a search begins that another has gone before: one with other steps, say.
#[derive(Clone, Debug)]
pub struct Guess {
    celsius: Vec<f64>,
    electrical: (Vec<f64>, Vec<f64>),
    jacobian: Option<DMatrix<f64>>,
    of_power: Option<Vec<f64>>,
    borders: Option<Borders>,
}

impl Cycle {
    /// Where a search near by may begin.
    pub fn guess(&self) -> Guess {
        Guess {
            celsius: self.ripple.iter().map(|r| r.mean).collect(),
            electrical: self.electrical.clone(),
            jacobian: self.steady.jacobian.clone(),
            of_power: self.of_power.clone(),
            borders: self.borders.clone(),
        }
    }
}

/// How to look for a periodic steady state.
pub struct Search<'a> {
    /// How hard to try.
    pub effort: Effort,
    /// Where to begin; `None`: at the setup's own start.
    pub from: Option<&'a Guess>,
    /// Whether the result only tells how far another may be wrong: a few periods from `from` on, no Jacobian of its own,
    /// `effort` is not asked.
    pub compares: bool,
    /// Whether the result is where a finer search begins and what errors are told by: a closing error that is small
    /// against these is enough.
    pub rough: bool,
    /// Told how many periods have been run, now and then; whether to go on.
    pub tell: &'a (dyn Fn(f64) -> bool + Sync),
    /// What solves segments of a period side by side.
    pub solve: Solve<'a>,
    /// What does other independent work side by side.
    pub beside: Beside<'a>,
}

impl Search<'_> {
    /// From the setup's own start, telling nobody.
    pub fn plain(effort: Effort) -> Self {
        let solve: Solve<'_> = &stretch::solve;
        let beside: Beside<'_> = &|tasks: Vec<Task<'_>>| tasks.into_iter().for_each(|task| task());
        Self { effort, from: None, compares: false, rough: false, tell: &|_| true, solve, beside }
    }
}

impl std::fmt::Debug for Search<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Search").field("effort", &self.effort).field("compares", &self.compares).finish()
    }
}

/// Keeps the samples of what was run last: a search goes back in time again and again.
struct Last<'a> {
    record: InMemory<f64>,
    tell: &'a (dyn Fn(f64) -> bool + Sync),
    /// Periods before those of the present stretch, its begin and end so far, the period.
    run: f64,
    began: f64,
    reached: f64,
    period: f64,
}

impl Recorder<f64> for Last<'_> {
    fn sample(&mut self, t: f64, values: &[f64]) {
        if t <= self.reached {
            self.record.time.clear();
            self.record.samples.clear();
            self.run += (self.reached - self.began) / self.period;
            self.began = t;
        }
        self.reached = t;
        self.record.sample(t, values);
    }
    fn go_on(&mut self, t: f64) -> bool {
        (self.tell)(self.run + (t - self.began).max(0.0) / self.period)
    }
}

/// Finds the periodic steady state of an arrangement in its setup, and counts a period there. With a thermal network,
/// device laws are held at the mean temperatures, in rounds until these stand still; the ripple then follows exactly
/// from the power of every step.
///
/// # Errors
/// [`Why`].
pub fn solve(layout: &CircuitLayout, mut setup: Setup<f64>, search: &Search<'_>) -> Result<Cycle, Why> {
    let period = layout.period.ok_or(Why::NotPeriodic)?;
    setup.sample_every = 0.0;
    let mut meter = Meter::new(layout, &mut setup);
    let thermal = setup.thermal.clone();
    let inputs = thermal.as_ref().map_or(0, |t| t.temperatures().len());
    let (first, integrals) = (setup.channels.len(), setup.integrals.len());
    for k in 0..inputs {
        super::losses::heat_of_input(&mut setup, k);
    }
    let sums = setup.channels.iter().map(|c| matches!(c.probe, Probe::Integral(_))).collect();
    let mut run = setup.ready()?;
    let mut celsius = thermal.as_ref().map(|t| t.temperatures().to_vec()).unwrap_or_default();
    if !search.compares {
        let (meter, thermal) = (&mut meter, thermal.clone().filter(|_| inputs > 0));
        let first = [first, integrals];
        let parts = segments::Parts { layout, meter, thermal, period, sums, first, inputs };
        let begin = search.from.map_or_else(|| celsius.clone(), |guess| guess.celsius.clone());
        if let Some(cycle) = segments::solve(&run, search, begin, parts)? {
            return Ok(cycle);
        }
    }
    let mut known = None;
    let mut of_power = None;
    // What a controller keeps is in no guess.
    let from = search.from.filter(|_| !run.remembers());
    let compares = search.compares && from.is_some();
    let mut effort = if compares { NEAR } else { search.effort };
    let rounds_allowed = if compares { 2 } else { ROUNDS };
    if let Some(guess) = from {
        run.adopt(&guess.electrical.0, &guess.electrical.1)?;
        celsius.clone_from_slice(&guess.celsius);
        known.clone_from(&guess.jacobian);
        of_power.clone_from(&guess.of_power);
        effort.warm_up = 0;
    }
    run.hold(&celsius);
    meter.set_temperatures(&celsius);
    let mut rounds = 0;
    let mut met: Option<Slopes> = None;
    let mut periods = 0;
    let mut far = false;
    let (record, reached) = (InMemory::default(), f64::NEG_INFINITY);
    let began = run.state().t;
    let mut last = Last { record, tell: search.tell, run: 0.0, began, reached, period };
    loop {
        rounds += 1;
        // The period that is counted tells the distance too.
        let later = known.is_none() && !compares && !far;
        let asked = Effort { distance: if later { f64::INFINITY } else { effort.distance }, ..effort };
        let mut steady = steady_from(&mut run, period, asked, known.take(), &mut last)?;
        // The next round is near this one: devices forget within a period what they were held at.
        known.clone_from(&steady.jacobian);
        effort.warm_up = 0;
        if let Some(network) = thermal.as_ref().filter(|_| rounds == 1 && from.is_none() && inputs > 0) {
            // Its last period tells the temperatures well enough to go on with.
            let from = run.state().t - (1.0 + 1e-9) * period;
            let heats = Heats::of(&Record::of(&last.record), from, first..first + inputs);
            let ripple = ripple(network, &heats, period);
            met = Some(Slopes::new(&celsius, watts(&ripple), None));
            let change = ripple.iter().zip(&celsius).map(|(r, t)| (r.mean - t).abs()).fold(0.0, f64::max);
            if !change.is_finite() {
                return Err(Why::Unsettled { rounds, change });
            }
            celsius = ripple.iter().map(|r| r.mean).collect();
            run.hold(&celsius);
            meter.set_temperatures(&celsius);
            periods += u64::from(steady.periods);
            continue;
        }
        // The last period of the search tells in which phase each switch is; one more is counted.
        let began = run.state().t;
        let (before, done) = (run.ledger(), run.counters());
        run.watch_anew();
        if run.advance(began + period, &mut last)? == Ended::Stopped {
            return Err(CycleError::Stopped.into());
        }
        let repeats = steady.one_more(&run, search.effort.closing);
        periods += u64::from(steady.periods);
        far = !repeats || later && steady.distance.is_some_and(|d| d > effort.distance || d.is_nan());
        if far && rounds < rounds_allowed {
            continue;
        }
        let record = Record::of(&last.record);
        let ledger = run.ledger().since(&before);
        let (seen, readings, method) = (run.watcher().seen(), run.readings(), run.method());
        // What the search takes back is not in the run's own count.
        let mut counters = run.counters();
        counters.steps = (counters.steps - done.steps) * periods;
        counters.iterations = (counters.iterations - done.iterations) * periods;
        counters.stalled -= done.stalled;
        let electrical = (run.state().x.clone(), run.state().q.clone());
        let account = meter.account(layout, (&record, began), &ledger, search.beside, Vec::new());
        let cycle = |ripple, of_power| {
            let steady = steady.clone();
            Cycle {
                period,
                steady,
                account,
                ripple,
                of_power,
                rounds,
                ledger,
                seen,
                readings,
                counters,
                method,
                electrical,
                borders: None,
            }
        };
        let Some(network) = thermal.as_ref().filter(|_| inputs > 0) else {
            return Ok(cycle(Vec::new(), None));
        };
        let mut ripple = ripple(network, &Heats::of(&record, began, first..first + inputs), period);
        let slopes = met.get_or_insert_with(|| Slopes::new(&celsius, watts(&ripple), of_power.take()));
        slopes.look(&celsius, &watts(&ripple));
        let change = ripple.iter().zip(&celsius).map(|(r, t)| (r.mean - t).abs()).fold(0.0, f64::max);
        let next = slopes.estimate(network, &mut ripple, change);
        celsius = ripple.iter().map(|r| r.mean).collect();
        if change <= STILL || next <= STILL || compares && rounds == rounds_allowed {
            return Ok(cycle(ripple, slopes.of_power.clone()));
        }
        if rounds == rounds_allowed || !change.is_finite() {
            return Err(Why::Unsettled { rounds, change });
        }
        run.hold(&celsius);
        meter.set_temperatures(&celsius);
    }
}
