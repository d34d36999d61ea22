//! Protections: they watch, trip after blanking, filter and delay, latch, retry a number of times, and lock out.
//!
//! A protection decides at the instant a criterion is met (see [`detect`](super::detect)) and sets its trip line a
//! propagation delay later. Where the crossing is found between two boundaries and filter plus delay are shorter
//! than the rest of that step, the line is set at the end of the step, the earliest instant that is left; steps shrink
//! as a level comes near, so that this happens only where a level is crossed in one leap or within the finest step.

use super::board::Board;
use super::detect::{Criterion, Detector};
use super::let_through::{LetThrough, Meter, Since};
use super::{Controller, Seen, duration, require};
use crate::circuit::graph::LineId;
use crate::circuit::probe::Probe;
use crate::error::{CircuitError, SolverError};
use crate::recorder::{Action, Event, EventKind};

/// Automatic retries after a trip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Retry {
    /// How many; with none, the first trip locks out.
    pub number: u32,
    /// From the trip to the next try, s.
    pub wait: f64,
    /// Time without a trip after which the count begins anew, s; ∞ for never.
    pub healthy: f64,
}

impl Retry {
    /// The first trip locks out.
    pub const NONE: Self = Self { number: 0, wait: 0.0, healthy: f64::INFINITY };
}

/// What a protection is made of.
#[derive(Clone, Debug)]
pub struct Settings<L> {
    /// What it trips on; the first that is met counts.
    pub criteria: Vec<Criterion<L>>,
    /// From the decision to the change of the trip line, s.
    pub delay: f64,
    /// The line it sets: an inhibit of drives.
    pub trip: LineId,
    /// What happens after a trip.
    pub retry: Retry,
    /// A line whose change to true ends a latched trip and begins the count anew.
    pub reset: Option<LineId>,
    /// What is measured of each fault that trips it.
    pub let_through: Option<LetThrough<L>>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    /// Watches since an instant.
    Watching(f64),
    /// Has decided; the line follows at an instant, for the criterion of a number.
    Deciding(f64, usize),
    /// The line is set until an instant.
    Tripped(f64),
    LockedOut,
}

/// Watches, trips, retries, locks out.
#[derive(Clone, Debug)]
pub struct Protection {
    name: String,
    detectors: Vec<Detector>,
    meter: Option<Meter>,
    delay: f64,
    trip: LineId,
    retry: Retry,
    reset: Option<LineId>,
    /// Retries used.
    used: u32,
    state: State,
    /// The last trip, and where the last retry began, s.
    last_trip: f64,
    tried: f64,
    /// When the reset line changed last, as seen so far, s.
    reset_seen: f64,
}

impl Protection {
    /// A protection that watches from the start.
    ///
    /// # Errors
    /// When there is nothing to trip on, or a setting is outside what it can be.
    pub fn new(name: &str, settings: Settings<f64>) -> Result<Self, CircuitError> {
        require(name, !settings.criteria.is_empty(), || "has nothing to trip on".into())?;
        duration(name, "delay", settings.delay)?;
        duration(name, "waiting time", settings.retry.wait)?;
        let (number, wait, healthy) = (settings.retry.number, settings.retry.wait, settings.retry.healthy);
        require(name, number == 0 || wait > 0.0, || "waiting time is 0 s, expected above zero".into())?;
        require(name, healthy >= 0.0, || format!("healthy time is {healthy} s, expected zero or above"))?;
        let detectors: Result<Vec<_>, _> =
            settings.criteria.into_iter().map(|c| Detector::new(name, c)).collect();
        let meter = settings.let_through.map(|m| Meter::new(name, m)).transpose()?;
        Ok(Self {
            name: name.to_string(),
            detectors: detectors?,
            meter,
            delay: settings.delay,
            trip: settings.trip,
            retry: settings.retry,
            reset: settings.reset,
            used: 0,
            state: State::Watching(f64::NEG_INFINITY),
            last_trip: f64::NEG_INFINITY,
            tried: f64::NEG_INFINITY,
            reset_seen: f64::NEG_INFINITY,
        })
    }

    /// The current by which it measures what faults let through, where it does.
    pub fn metered(&self) -> Option<&Probe> {
        self.meter.as_ref().map(|m| &m.what.probe)
    }

    /// The reset line went to true.
    fn resets(&mut self, board: &mut Board<f64>) {
        let Some(reset) = self.reset else { return };
        let since = board.since(reset);
        if since <= self.reset_seen {
            return;
        }
        self.reset_seen = since;
        if board.line(reset) && matches!(self.state, State::Tripped(_) | State::LockedOut) {
            board.forget(self.trip);
            board.set(self.trip, false);
            self.used = 0;
            self.state = State::Watching(since);
            let action = Action::IsReset;
            let note = action.word().to_string();
            board.note(Event { action, note, ..Event::new(since, EventKind::Control, &self.name) });
        }
    }

    /// What faults let through, of those that tripped.
    fn measure(&mut self, seen: &Seen<'_, f64>, board: &mut Board<f64>) {
        let Some(meter) = &mut self.meter else { return };
        let start = board.fault().map(|at| match self.tried > at {
            true => (self.tried, Since::Retry),
            false => (at, Since::Fault),
        });
        if let Some(fault) = meter.look(seen, self.detectors.len(), start)
            && self.last_trip >= fault.begin
        {
            board.note(Event {
                note: fault.words(),
                value: fault.i2t,
                unit: "A²s",
                level: if fault.since == Since::Level { fault.from } else { f64::NAN },
                since: fault.begin,
                peak: fault.peak,
                ..Event::new(fault.end, EventKind::Cleared, &self.name)
            });
        }
    }

    fn trips(&mut self, seen: &Seen<'_, f64>, board: &mut Board<f64>, at: f64, cause: usize) {
        let criterion = &self.detectors[cause].criterion;
        let value = (seen.at(cause, at), criterion.probe().unit());
        let (note, level) = (criterion.words(), criterion.level());
        self.last_trip = at;
        let (value, unit) = value;
        board.note(Event { note, value, unit, level, ..Event::new(at, EventKind::Trip, &self.name) });
        if self.used < self.retry.number {
            self.used += 1;
            let until = at + self.retry.wait;
            board.set_at(self.trip, false, until);
            self.state = State::Tripped(until);
        } else {
            let note = format!("{} of {} retries used", self.used, self.retry.number);
            board.note(Event { note, ..Event::new(at, EventKind::LockOut, &self.name) });
            self.state = State::LockedOut;
        }
    }
}

impl Controller<f64> for Protection {
    fn name(&self) -> &str {
        &self.name
    }

    fn probes(&self) -> Vec<Probe> {
        let criteria = self.detectors.iter().map(|d| d.criterion.probe().clone());
        criteria.chain(self.meter.iter().map(|m| m.what.probe.clone())).collect()
    }

    #[inline(never)]
    fn look(&mut self, seen: &Seen<'_, f64>, board: &mut Board<f64>) -> Result<(), SolverError> {
        self.resets(board);
        let from = match self.state {
            State::Watching(from) => from,
            _ => f64::INFINITY,
        };
        let mut met: Option<(f64, usize)> = None;
        for (k, detector) in self.detectors.iter_mut().enumerate() {
            let span = (seen.before, seen.t);
            let found = detector.look(span, (seen.then[k], seen.now[k]), from, self.delay, board);
            if let Some(at) = found.filter(|&at| met.is_none_or(|m| at < m.0)) {
                met = Some((at, k));
            }
        }
        if let (State::Watching(since), Some((decided, cause))) = (self.state, met) {
            if decided - since.max(self.last_trip) >= self.retry.healthy {
                self.used = 0;
            }
            let at = (decided + self.delay).max(seen.t);
            board.set_at(self.trip, true, at);
            self.state = State::Deciding(at, cause);
        }
        if let State::Deciding(at, cause) = self.state
            && seen.t >= at
        {
            self.trips(seen, board, at, cause);
        }
        self.measure(seen, board);
        if let State::Tripped(until) = self.state
            && seen.t >= until
        {
            self.state = State::Watching(until);
            self.tried = until;
            let note = format!("try {} of {}", self.used, self.retry.number);
            let value = f64::from(self.used);
            board.note(Event { note, value, unit: "1", ..Event::new(until, EventKind::Retry, &self.name) });
        }
        Ok(())
    }

    fn wakes(&self, t: f64) -> Option<f64> {
        let own = match self.state {
            State::Deciding(at, _) | State::Tripped(at) => Some(at),
            State::Watching(_) | State::LockedOut => None,
        };
        let due = self.detectors.iter().filter_map(Detector::due);
        due.chain(own).filter(|&at| at > t).min_by(f64::total_cmp)
    }

    fn longest_step(&self) -> f64 {
        self.detectors.iter().map(Detector::longest_step).fold(f64::INFINITY, f64::min)
    }

    fn boxed(&self) -> Box<dyn Controller<f64>> {
        Box::new(self.clone())
    }
}

#[cfg(test)]
#[path = "protection_tests.rs"]
mod tests;
