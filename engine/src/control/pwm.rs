//! Pulse-width modulation at a fixed frequency, with a duty that may be ramped (soft start).

use super::board::Board;
use super::{Controller, Seen, duration, require};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::LineId;
use crate::error::{CircuitError, SolverError};
use crate::recorder::{Action, Event, EventKind};

/// What a modulator is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The line it sets.
    pub command: LineId,
    /// A line that is on while the command is off, and how long both are off at each change, s. The dead time is taken
    /// off this line alone, so that the command keeps its duty; where it leaves nothing, the line stays off.
    pub complement: Option<(LineId, f64)>,
    /// The line that lets it work; without one it works from the start.
    pub run: Option<LineId>,
    /// Hz.
    pub frequency: f64,
    /// Where in its period each pulse begins, as a fraction of it, in [0, 1). Interleaved modulators differ in it.
    pub phase: f64,
    /// Duty over the time since it began to work: points (s, fraction of the period), straight between them,
    /// constant outside; read at the start of each pulse. One point is a fixed duty.
    pub duty: Vec<(f64, f64)>,
}

/// Pulses whose edges are ordered one period ahead. Period k begins at origin + (k + phase)/frequency, computed from
/// the whole number k, so that nothing drifts.
#[derive(Clone, Debug, PartialEq)]
pub struct Pwm {
    name: String,
    with: Settings,
    /// When it began to work, s, and the number of the period that begins next.
    working: Option<(f64, u64)>,
}

impl Pwm {
    /// A modulator that waits for its `run` line.
    ///
    /// # Errors
    /// When the frequency is not above zero, the phase is not in [0, 1), or the duty's points are none, out of order
    /// or outside [0, 1].
    pub fn new(name: &str, with: Settings) -> Result<Self, CircuitError> {
        let (f, phase) = (with.frequency, with.phase);
        require(name, f > 0.0 && f.is_finite(), || format!("frequency is {f} Hz, expected above zero"))?;
        require(name, (0.0..1.0).contains(&phase), || {
            format!("phase is {phase} of a period, expected from 0 to below 1")
        })?;
        require(name, !with.duty.is_empty(), || "has no duty".into())?;
        for &(t, d) in &with.duty {
            require(name, (0.0..=1.0).contains(&d), || format!("duty is {d}, expected from 0 to 1"))?;
            require(name, t.is_finite(), || format!("duty is given at {t} s, expected a number"))?;
        }
        if let Some((line, dead)) = with.complement {
            duration(name, "dead time", dead)?;
            require(name, line != with.command, || "output and complement are one line".into())?;
        }
        let ordered = with.duty.windows(2).all(|w| w[0].0 < w[1].0);
        require(name, ordered, || "times of the duty do not rise".into())?;
        Ok(Self { name: name.to_string(), with, working: None })
    }

    fn begins(&self, origin: f64, k: u64) -> f64 {
        origin + (k as f64 + self.with.phase) / self.with.frequency
    }

    fn duty(&self, time: f64) -> f64 {
        let points = &self.with.duty;
        let k = points.partition_point(|p| p.0 <= time);
        if k == 0 {
            return points[0].1;
        }
        let (t0, a) = points[k - 1];
        points.get(k).map_or(a, |&(t1, b)| a + (b - a) * ((time - t0) / (t1 - t0)))
    }

    /// Duty of period k.
    fn share(&self, origin: f64, k: u64) -> f64 {
        self.duty(self.begins(origin, k) - origin)
    }

    /// Orders the edges of a period.
    fn order<L: Lane>(&self, origin: f64, k: u64, board: &mut Board<L>) {
        let (begin, duty) = (self.begins(origin, k), self.share(origin, k));
        let fall = origin + (k as f64 + self.with.phase + duty) / self.with.frequency;
        board.set_at(self.with.command, duty > 0.0, begin);
        if duty > 0.0 && duty < 1.0 {
            board.set_at(self.with.command, false, fall);
        }
        let Some((line, dead)) = self.with.complement else { return };
        if duty == 1.0 {
            return;
        }
        // Until the next pulse, less the dead time; on through periods without one.
        let next =
            if self.share(origin, k + 1) > 0.0 { self.begins(origin, k + 1) - dead } else { f64::INFINITY };
        if fall + dead < next {
            board.set_at(line, true, fall + dead);
        }
        if next.is_finite() {
            board.set_at(line, false, next);
        }
    }

    fn note<L: Lane>(&self, board: &mut Board<L>, time: f64, action: Action) {
        let note = action.word().to_string();
        board.note(Event { action, note, ..Event::new(time, EventKind::Control, &self.name) });
    }
}

impl<L: Lane> Controller<L> for Pwm {
    fn name(&self) -> &str {
        &self.name
    }

    #[inline(never)]
    fn look(&mut self, seen: &Seen<'_, L>, board: &mut Board<L>) -> Result<(), SolverError> {
        if !self.with.run.is_none_or(|line| board.line(line)) {
            if self.working.take().is_some() {
                board.forget(self.with.command);
                board.set(self.with.command, false);
                if let Some((line, _)) = self.with.complement {
                    board.forget(line);
                    board.set(line, false);
                }
                self.note(board, seen.t, Action::Stops);
            }
            return Ok(());
        }
        let (origin, mut next) = match self.working {
            Some(working) => working,
            None => {
                // Where the run line changed, if it did; a boundary lies there.
                let since = self.with.run.map_or(seen.t, |line| board.since(line));
                let origin = if since.is_finite() { since } else { seen.t };
                self.note(board, origin, Action::Starts);
                self.order(origin, 0, board);
                (origin, 0)
            }
        };
        while self.begins(origin, next) <= seen.t {
            next += 1;
            self.order(origin, next, board);
        }
        self.working = Some((origin, next));
        Ok(())
    }

    fn wakes(&self, t: f64) -> Option<f64> {
        self.working.map(|(origin, next)| self.begins(origin, next)).filter(|&at| at > t)
    }

    fn boxed(&self) -> Box<dyn Controller<L>> {
        Box::new(self.clone())
    }
}

#[cfg(test)]
#[path = "pwm_tests.rs"]
mod tests;
