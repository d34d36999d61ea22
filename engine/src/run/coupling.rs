//! When temperatures go into the laws, and how wrong they may be for it.
//!
//! The network is advanced with the heat of every step, so it is always at the run's own instant. The laws keep the
//! temperatures of the last exchange. What separates the two, the *lag*, is therefore known at the end of every step;
//! when it reaches half the bound, or the longest interval is over, they are exchanged. A step that would warm a
//! junction (or let it cool) by more than half the bound is taken back and made finer, so a lag never exceeds the
//! bound.
//!
//! A junction that warms steadily goes on warming: the laws get the network's temperature and half the rise of the last
//! interval, so that they are as much ahead at its start as behind at its end (the midpoint rule; Hairer, Nørsett &
//! Wanner, Solving ODEs I, section II.1). Heat is what the ledger counts, whatever temperature the laws had.
//!
//! The estimate: over an interval a power P that changes by the share σ per kelvin was wrong by σ·∫P·lag dt. This much
//! heat, always counted as if it all went one way, goes through a second network at rest; what it does to the
//! temperatures, and what that does to the power again, is the estimate. σ is measured at each exchange from the
//! circuit as it was linearised last ([`Stepper::warmed`](crate::step::stepper::Stepper::warmed)).

use super::setup::kelvin_of;
use super::time_loop::{Fetch, Run, whole};
use crate::arithmetic::lane::Lane;
use crate::recorder::Recorder;
use crate::step::stepper::Stepper;
use crate::thermal::run::Thermal;

/// Share of the bound at which the laws take new temperatures, and beyond which no step may warm a junction.
const HALF: f64 = 0.5;
/// Share of the bound by which they may be ahead of the network: below [`HALF`], so that a junction that turns about
/// is not exchanged at once.
const AHEAD: f64 = 0.375;
/// Rise of a step, in bounds, at which the next is no longer.
const WARM: f64 = 0.25;
/// Share of an interval's mean power that its last instant must have for its sensitivity to stand for the interval.
const TYPICAL: f64 = 0.25;
/// What the first order leaves out (the factor of the grid convergence index: Roache 1994, J. Fluids Eng. 116, 405).
const SAFETY: f64 = 1.25;
/// Smallest change of the laws' temperatures from which a sensitivity is read, K.
const READABLE: f64 = 1e-3;

/// How far the coupling of heat may have led a junction's temperature astray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CouplingError {
    /// Estimated largest error, K.
    Kelvin(f64),
    /// No estimate holds.
    NotBounded(Cause),
}

/// Why a coupling error is not bounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// Part of the temperature follows the power at once (a path without heat capacity): no interval is short enough.
    AnswersAtOnce,
    /// The finest step warms the junction by more than the bound.
    StepsTooLong,
    /// A die whose properties follow the temperature did not settle.
    NotSettled,
}

/// The exchange between laws and network, and its estimate. One entry per heat input in every list.
#[derive(Clone, Debug)]
pub(super) struct Coupling<L: Lane> {
    /// Largest lag that is aimed at, K.
    bound: f64,
    /// Longest time between two exchanges, s.
    longest: f64,
    /// The present one: shorter in a walk by pieces, which takes nothing back.
    pub(super) interval: f64,
    /// The last exchange, s.
    pub(super) at: f64,
    /// Length of the step just taken, s; 0 where the network has its heat.
    pub(super) took: f64,
    /// Longest step that the present power allows, s.
    pub(super) longest_step: f64,
    /// Heat that the network has got, J.
    seen: Vec<L>,
    /// Mean power over the step attempted, W.
    power: Vec<L>,
    /// Temperatures of the laws, °C.
    held: Vec<L>,
    /// Temperatures of the network at the last exchange, °C.
    before: Vec<L>,
    /// What rises at once, K.
    at_once: Vec<L>,
    /// By how much the power at the last exchange, which the next step begins with, makes that step lag more, K.
    stale: L,
    /// Since the last exchange: heat (J), and heat times lag (J·K).
    heat: Vec<L>,
    lagged: Vec<L>,
    /// Share by which a power changes per kelvin of all laws, 1/K.
    per_kelvin: Vec<L>,
    /// The network through which wrong heat goes.
    wrong: Thermal<L>,
    error: Vec<L>,
    /// Largest so far, K: the error, the lag, a rise at once.
    worst: [Vec<L>; 3],
}

impl<L: Lane> Coupling<L> {
    /// For a network at t, s; `first` is the first interval of a walk by pieces.
    pub(super) fn new(
        thermal: &Thermal<L>,
        (bound, longest): (f64, f64),
        first: Option<f64>,
        t: f64,
    ) -> Self {
        let now = thermal.temperatures().to_vec();
        let zero = vec![L::splat(0.0); now.len()];
        Self {
            bound,
            longest,
            interval: first.map_or(longest, |first| first.min(longest)),
            at: t,
            took: 0.0,
            longest_step: f64::INFINITY,
            seen: zero.clone(),
            power: zero.clone(),
            held: now.clone(),
            before: now,
            at_once: (0..zero.len()).map(|k| thermal.undelayed(k)).collect(),
            stale: L::splat(0.0),
            heat: zero.clone(),
            lagged: zero.clone(),
            per_kelvin: zero.clone(),
            wrong: thermal.unheated(),
            error: zero.clone(),
            worst: [zero.clone(), zero.clone(), zero],
        }
    }

    /// Heat counts from zero, and intervals from t (s).
    pub(super) fn begin_anew(&mut self, t: f64) {
        self.at = t;
        self.took = 0.0;
        for list in [&mut self.seen, &mut self.heat, &mut self.lagged] {
            list.fill(L::splat(0.0));
        }
    }

    /// The lag, signed, of the input where it is largest, K.
    fn lag(&self, celsius: &[L]) -> L {
        let each = celsius.iter().zip(&self.held).map(|(now, held)| *now - *held);
        each.fold(L::splat(0.0), |most, lag| L::select(lag.abs().gt(most.abs()), lag, most))
    }

    /// Takes the attempted step into the network, whose temperatures go to `celsius`.
    fn advance(&mut self, thermal: &mut Thermal<L>, celsius: &mut [L]) {
        let dt = std::mem::replace(&mut self.took, 0.0);
        let lag = self.lag(celsius);
        thermal.commit();
        celsius.copy_from_slice(thermal.temperatures());
        let mean = L::splat(0.5) * (lag + self.lag(celsius)) + self.stale;
        self.stale = L::splat(0.0);
        self.lags(celsius);
        for (k, rise) in self.worst[2].iter_mut().enumerate() {
            let heat = self.power[k] * L::splat(dt);
            self.seen[k] += heat;
            self.heat[k] += heat;
            self.lagged[k] += heat * mean;
            let undelayed = thermal.undelayed(k);
            *rise = rise.max((undelayed - self.at_once[k]).abs());
            self.at_once[k] = undelayed;
        }
    }

    /// Takes note of the lags.
    fn lags(&mut self, celsius: &[L]) {
        for ((most, now), held) in self.worst[1].iter_mut().zip(celsius).zip(&self.held) {
            *most = most.max((*now - *held).abs());
        }
    }

    fn is_due(&self, t: f64, celsius: &[L]) -> bool {
        let elapsed = t - self.at;
        // A hair less than the interval counts as the interval: instants are sums of steps.
        elapsed >= self.interval * (1.0 - 1e-9)
            || elapsed > 0.0 && self.lag(celsius).abs().widest() >= HALF * self.bound
    }

    /// New temperatures for the laws; returns the largest change of them, signed, K.
    fn renew(&mut self, celsius: &[L], walks: bool) -> L {
        let ahead = L::splat(AHEAD * self.bound);
        let (mut moved, mut rise) = (L::splat(0.0), L::splat(0.0));
        for (k, now) in celsius.iter().enumerate() {
            let risen = *now - self.before[k];
            let half = L::splat(0.5) * risen;
            let next = *now + half.max(-ahead).min(ahead);
            let change = next - self.held[k];
            moved = L::select(change.abs().gt(moved.abs()), change, moved);
            rise = rise.max(risen.abs());
            self.before[k] = *now;
            self.held[k] = next;
        }
        if walks {
            let rise = rise.widest();
            let factor = if rise > HALF * self.bound {
                0.5
            } else if rise < 0.125 * self.bound {
                2.0
            } else {
                1.0
            };
            self.interval = (factor * self.interval).min(self.longest);
        }
        moved
    }

    /// At the end of an interval of `elapsed` s: what its lag may have done.
    fn estimate(&mut self, elapsed: f64) {
        let per_second = L::splat(1.0 / elapsed);
        for k in 0..self.heat.len() {
            let wrong = self.lagged[k].abs() + self.error[k] * self.heat[k].abs();
            self.power[k] = self.per_kelvin[k] * wrong * per_second;
        }
        self.wrong.advance(elapsed, &self.power);
        let reference = self.wrong.modal().reference();
        for (k, t) in self.wrong.temperatures().iter().enumerate() {
            self.error[k] = *t - reference;
            self.worst[0][k] = self.worst[0][k].max(self.error[k]);
        }
        self.heat.fill(L::splat(0.0));
        self.lagged.fill(L::splat(0.0));
    }

    fn error(&self, input: usize, lane: usize) -> CouplingError {
        let [error, lag, at_once] = self.worst.each_ref().map(|list| list[input].lane(lane));
        if at_once > HALF * self.bound {
            CouplingError::NotBounded(Cause::AnswersAtOnce)
        } else if lag <= 2.0 * self.bound {
            CouplingError::Kelvin(SAFETY * error)
        } else {
            CouplingError::NotBounded(Cause::StepsTooLong)
        }
    }
}

/// The energies of the accounts that heat an input, summed, J.
fn heat_of<L: Lane>(accounts: &[u32], energy: &[L]) -> L {
    accounts.iter().fold(L::splat(0.0), |sum, &k| sum + energy[k as usize])
}

impl Run<f64> {
    /// How far the exchange of heat and temperature may have led the temperature of a heat input astray, in a lane.
    /// `None` where no network moves it.
    pub fn coupling_error(&self, input: usize, lane: usize) -> Option<CouplingError> {
        let exists = self.thermal.is_some() && input < self.celsius.len();
        let columns = self.thermal.as_ref().map_or(0.0, |thermal| thermal.column_error(input));
        self.coupling.as_ref().filter(|_| exists).map(|c| match c.error(input, lane) {
            CouplingError::Kelvin(_) if columns.is_infinite() => CouplingError::NotBounded(Cause::NotSettled),
            CouplingError::Kelvin(error) => CouplingError::Kelvin(error + columns),
            not_bounded => not_bounded,
        })
    }

    /// Energy of each heat input since the start, J.
    pub(super) fn heat_since_start(&self) -> Vec<f64> {
        self.heating.iter().map(|accounts| heat_of(accounts, &self.state.energy)).collect()
    }

    /// Whether the attempted step of `h` s would change a junction's temperature too much at once, and can be made
    /// finer.
    /// `mean` tells the mean power of an account over the step, W.
    pub(super) fn too_warm(&mut self, h: f64, mean: &dyn Fn(&Stepper<f64>, usize) -> f64) -> bool {
        let power = |stepper: &Stepper<f64>, accounts: &[u32]| {
            accounts.iter().fold(0.0, |sum, &k| sum + mean(stepper, k as usize))
        };
        let change = self.attempt(h, power);
        let Some(coupling) = self.coupling.as_mut() else { return false };
        coupling.longest_step = if change > WARM * coupling.bound { h } else { f64::INFINITY };
        // Whatever the error ratio is, it is refused where a finer step is left.
        change > HALF * coupling.bound && self.ladder.refuses(f64::INFINITY)
    }

    /// After a walk by pieces from `before`, s, whose energies are worked out.
    pub(super) fn walked(&mut self, before: f64) {
        let h = self.state.t - before;
        if h > 0.0 {
            self.attempt(h, |_, _| 0.0);
            self.warms(h);
        }
    }

    /// Attempts `h` s of the network under the power of each input: what `power` says of its accounts, and the heat
    /// that its accounts hold and the network has not got. The largest change of a temperature, K.
    fn attempt(&mut self, h: f64, power: impl Fn(&Stepper<f64>, &[u32]) -> f64) -> f64 {
        let Self { thermal: Some(thermal), coupling: Some(coupling), heating, state, stepper, .. } = self
        else {
            return 0.0;
        };
        let per_second = 1.0 / h;
        for (k, accounts) in heating.iter().enumerate() {
            let waiting = heat_of(accounts, &state.energy) - coupling.seen[k];
            coupling.power[k] = power(stepper, accounts) + waiting * per_second;
        }
        thermal.attempt(h, &coupling.power)
    }

    /// The step of `h` s attempted last was taken.
    pub(super) fn warms(&mut self, h: f64) {
        if let Some(coupling) = &mut self.coupling {
            coupling.took = h;
        }
    }

    /// At the end of a step: its heat into the network, and where it is time the network's temperatures into the laws.
    pub(super) fn couple(&mut self, recorder: &mut dyn Recorder<f64>, fetch: Fetch<'_>) {
        let (Some(thermal), Some(coupling)) = (&mut self.thermal, &mut self.coupling) else { return };
        if coupling.took > 0.0 {
            coupling.advance(thermal, &mut self.celsius);
        }
        if coupling.is_due(self.state.t, &self.celsius)
            && let Some(mut coupling) = self.coupling.take()
        {
            self.exchange(&mut coupling, recorder, fetch);
            self.coupling = Some(coupling);
        }
    }

    /// Ends the interval, however long it was; call when the run is over.
    pub(super) fn end_interval(&mut self, recorder: &mut dyn Recorder<f64>) {
        let Some(mut coupling) = self.coupling.take() else { return };
        if self.thermal.is_some() && self.state.t > coupling.at {
            self.exchange(&mut coupling, recorder, &mut whole);
        }
        self.coupling = Some(coupling);
    }

    fn exchange(&mut self, coupling: &mut Coupling<f64>, recorder: &mut dyn Recorder<f64>, fetch: Fetch<'_>) {
        let t = self.state.t;
        let elapsed = t - coupling.at;
        if let Some(thermal) = &mut self.thermal {
            thermal.follow();
            self.celsius.copy_from_slice(thermal.temperatures());
            coupling.lags(&self.celsius);
        }
        let walks = self.stepper.pieces().is_some();
        let moved = coupling.renew(&self.celsius, walks);
        if !walks {
            coupling.stale = moved * self.stepper.method.first_weight();
        }
        self.state.kelvin = kelvin_of(self.stepper.system(), &coupling.held);
        self.stepper.solver.set_temperatures(&self.state.kelvin);
        self.measure(coupling, moved.abs(), elapsed, fetch);
        coupling.estimate(elapsed);
        coupling.at = t;
        self.counters.couplings += 1;
        recorder.thermal(t, &self.celsius);
        if !self.rows.is_empty() {
            self.take_peaks();
            let next = self.open_row(String::new());
            let done = std::mem::replace(&mut self.rows[0], next);
            recorder.row(&self.close_row(done, "interval"));
        }
    }

    /// How the power of each input depends on the laws' temperatures, where they moved far enough to tell.
    fn measure(&mut self, coupling: &mut Coupling<f64>, moved: f64, elapsed: f64, fetch: Fetch<'_>) {
        // After a corner the factors are of another instant.
        let followed = self.state.history.len() > 1 && moved > READABLE;
        if !followed {
            return;
        }
        fetch(&mut self.state, &mut self.stepper, &self.board);
        let Some(change) = self.stepper.warmed() else { return };
        for (k, accounts) in self.heating.iter().enumerate() {
            let devices = accounts.iter().map(|&a| a as usize).filter(|&a| a < change.len());
            let [power, change] =
                devices.fold([0.0; 2], |[power, sum], a| [power + self.state.power[a], sum + change[a]]);
            let mean = coupling.heat[k] * (1.0 / elapsed);
            let share = change.abs() / (power.max(f64::MIN_POSITIVE) * moved.max(READABLE));
            // It was moved by more than that.
            if power > (TYPICAL * mean).max(0.0) {
                coupling.per_kelvin[k] = share;
            }
        }
    }
}
