//! Two-point current control: command on below a lower bound, off above an upper one; ends when a second quantity
//! has reached its value (a bank that is charged in current-limited pulses), and then holds the command on.

use super::board::Board;
use super::crossing::{Sense, Stretch};
use super::{Controller, Seen, duration, require};
use crate::circuit::graph::LineId;
use crate::circuit::probe::Probe;
use crate::error::{CircuitError, SolverError};
use crate::recorder::{Action, Event, EventKind};

/// What a two-point controller is made of.
#[derive(Clone, Debug)]
pub struct Settings<L> {
    /// The quantity held between the bounds.
    pub probe: Probe,
    /// The command goes on when the quantity is at or below this.
    pub lower: L,
    /// The command goes off when the quantity is at or above this.
    pub upper: L,
    /// The line it sets.
    pub command: LineId,
    /// The line that lets it work; without one it works from the start.
    pub run: Option<LineId>,
    /// Shortest time on, s.
    pub min_on: f64,
    /// Shortest time off, s.
    pub min_off: f64,
    /// From a crossing to the change of the command, s. A crossing is found at the end of the step it lies in: with
    /// a delay shorter than the rest of that step (steps shrink as a bound comes near), the command changes there.
    pub delay: f64,
    /// The quantity and the value, reached from below, at which the task is done.
    pub until: Option<(Probe, L)>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    Idle,
    /// The command has been on or off since an instant, may change from another on, and changes at a third if that
    /// is ordered.
    Working {
        on: bool,
        since: f64,
        earliest: f64,
        order: Option<f64>,
    },
    Done,
}

/// Holds a quantity between two bounds by switching a command.
#[derive(Clone, Debug)]
pub struct Hysteretic {
    name: String,
    with: Settings<f64>,
    state: State,
    longest: f64,
}

impl Hysteretic {
    /// A controller that waits for its `run` line.
    ///
    /// # Errors
    /// When the lower bound is not below the upper one, or a time is no number or below zero.
    pub fn new(name: &str, with: Settings<f64>) -> Result<Self, CircuitError> {
        let good = with.lower.is_finite() && with.upper.is_finite() && with.lower < with.upper;
        require(name, good, || {
            let (lower, upper) = (with.lower, with.upper);
            format!("lower bound is {lower}, upper bound is {upper}, expected lower below upper")
        })?;
        duration(name, "shortest time on", with.min_on)?;
        duration(name, "shortest time off", with.min_off)?;
        duration(name, "delay", with.delay)?;
        if let Some((_, value)) = &with.until {
            require(name, value.is_finite(), || format!("end value is {}, expected a number", value))?;
        }
        Ok(Self { name: name.to_string(), with, state: State::Idle, longest: f64::INFINITY })
    }

    fn note(&self, board: &mut Board<f64>, time: f64, action: Action) {
        let note = action.word().to_string();
        board.note(Event { action, note, ..Event::new(time, EventKind::Control, &self.name) });
    }

    fn shortest(&self, on: bool) -> f64 {
        if on { self.with.min_on } else { self.with.min_off }
    }

    /// Whether the end value has been reached.
    fn is_done(&self, seen: &Seen<'_, f64>) -> bool {
        self.with.until.as_ref().is_some_and(|(_, value)| seen.now[1] >= *value)
    }

    /// The end value acts at its instant, as the bounds do.
    fn near_done(&mut self, seen: &Seen<'_, f64>) {
        let Some((_, value)) = &self.with.until else { return };
        let stretch = Stretch { before: seen.before, t: seen.t, then: seen.then[1], now: seen.now[1] };
        self.longest = self.longest.min(stretch.approach(Sense::Above, *value, 0.0));
    }

    /// The instant of the next change of the command, if a bound is reached by now.
    fn change(&mut self, seen: &Seen<'_, f64>, on: bool, since: f64, earliest: f64) -> Option<f64> {
        let bound = if on { self.with.upper } else { self.with.lower };
        let sense = if on { Sense::Above } else { Sense::Below };
        let now = seen.now[0];
        let stretch = Stretch { before: seen.before, t: seen.t, then: seen.then[0], now };
        // Nothing is decided before `earliest`.
        let slack = self.with.delay.max(earliest - seen.t);
        self.longest = self.longest.min(stretch.approach(sense, bound, slack));
        let crossing = stretch.crossings(sense, bound).find(|c| c.1).map(|c| c.0.max(since));
        // Beyond the bound all along: since the command changed, as far as this controller is concerned.
        let all_along = (sense.exceeds(now, bound) || now == bound).then_some(since.max(seen.before));
        let reached = crossing.or(all_along);
        reached.map(|at| (at + self.with.delay).max(earliest).max(seen.t))
    }
}

impl Controller<f64> for Hysteretic {
    fn name(&self) -> &str {
        &self.name
    }

    fn probes(&self) -> Vec<Probe> {
        let until = self.with.until.iter().map(|u| u.0.clone());
        [self.with.probe.clone()].into_iter().chain(until).collect()
    }

    #[inline(never)]
    fn look(&mut self, seen: &Seen<'_, f64>, board: &mut Board<f64>) -> Result<(), SolverError> {
        let (t, command) = (seen.t, self.with.command);
        self.longest = f64::INFINITY;
        if !self.with.run.is_none_or(|line| board.line(line)) {
            if self.state != State::Idle {
                board.forget(command);
                board.set(command, false);
                self.note(board, t, Action::Stops);
                self.state = State::Idle;
            }
            return Ok(());
        }
        if self.state == State::Idle {
            self.note(board, t, Action::Starts);
            // No time off has to pass before the first pulse.
            self.state = State::Working { on: false, since: t, earliest: t, order: None };
        }
        let State::Working { mut on, mut since, mut earliest, mut order } = self.state else {
            return Ok(());
        };
        if self.is_done(seen) {
            board.forget(command);
            board.set(command, true);
            let unit = self.with.until.as_ref().map_or("", |u| u.0.unit());
            board.note(Event {
                action: Action::Finishes,
                note: "finished, command stays on".into(),
                value: seen.now[1],
                unit,
                ..Event::new(t, EventKind::Control, &self.name)
            });
            self.state = State::Done;
            return Ok(());
        }
        self.near_done(seen);
        if let Some(at) = order
            && t >= at
        {
            (on, since, order) = (!on, at, None);
            earliest = at + self.shortest(on);
        }
        if order.is_none()
            && let Some(at) = self.change(seen, on, since, earliest)
        {
            board.set_at(command, !on, at);
            if at <= t {
                (on, since) = (!on, at);
                earliest = at + self.shortest(on);
            } else {
                order = Some(at);
            }
        }
        self.state = State::Working { on, since, earliest, order };
        Ok(())
    }

    fn wakes(&self, t: f64) -> Option<f64> {
        match self.state {
            State::Working { order, .. } => order.filter(|&at| at > t),
            _ => None,
        }
    }

    fn longest_step(&self) -> f64 {
        self.longest
    }

    fn boxed(&self) -> Box<dyn Controller<f64>> {
        Box::new(self.clone())
    }
}

#[cfg(test)]
#[path = "hysteretic_tests.rs"]
mod tests;
