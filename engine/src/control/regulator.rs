//! Closed-loop control: a proportional-integral controller with limits, which sets the duty of pulses or the course of
//! a source once in a period.

use super::board::Board;
use super::centred::{Centred, Lines};
use super::{Controller, Seen, require};
use crate::circuit::graph::{LineId, WaveId};
use crate::circuit::probe::Probe;
use crate::error::{CircuitError, SolverError};
use crate::recorder::{Action, Event, EventKind};

/// What a regulator sets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Output {
    /// The duty of pulses centred in the periods.
    Duty(Lines),
    /// A driven course: each value is held for a period.
    Course(WaveId),
}

/// What a regulator is made of. Units: x that of what is watched, u that of the output (1 for a duty).
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// What is kept at the set-point.
    pub probe: Probe,
    /// The course of the set-point, in x.
    pub set_point: WaveId,
    /// Gain of the deviation, u/x.
    pub proportional: f64,
    /// Gain of its integral, u/(x s).
    pub integral: f64,
    /// Least output, u.
    pub least: f64,
    /// Largest output, u.
    pub most: f64,
    /// Integral part at the start, u.
    pub initial: f64,
    /// Periods, Hz: it samples at the beginning of each.
    pub frequency: f64,
    /// What it sets.
    pub output: Output,
    /// The line that lets it work; without one it works from the start.
    pub run: Option<LineId>,
}

/// u = P·e + I·∫e dt with e = set-point − x, sampled once a period and kept within limits: while the output is at a
/// limit and the deviation drives it further, the integral stands still (conditional integration: Åström & Hägglund, PID
/// Controllers, 2nd ed. 1995, 3.5). The beginning of a period is the middle between two centred pulses, where the
/// current of a choke is its mean (symmetrical regular sampling: Holmes & Lipo 2003, ch. 3).
#[derive(Clone, Debug, PartialEq)]
pub struct Regulator {
    name: String,
    with: Settings,
    pulses: Option<Centred>,
    /// The integral part.
    integral: f64,
    /// When it began to work, s, and the number of the period that begins next.
    working: Option<(f64, u64)>,
}

impl Regulator {
    /// A regulator that waits for its `run` line.
    ///
    /// # Errors
    /// When the frequency is not above zero, a number is none, the limits exclude each other, or those of a duty go
    /// beyond 0 to 1.
    pub fn new(name: &str, with: Settings) -> Result<Self, CircuitError> {
        let f = with.frequency;
        require(name, f > 0.0 && f.is_finite(), || format!("frequency is {f} Hz, expected above zero"))?;
        for (what, x) in [
            ("proportional gain", with.proportional),
            ("integral gain", with.integral),
            ("start", with.initial),
        ] {
            require(name, x.is_finite(), || format!("{what} is {x}, expected a number"))?;
        }
        let (least, most) = (with.least, with.most);
        require(name, least < most, || {
            format!("limits from {least} to {most}, expected the least below the most")
        })?;
        let pulses = match with.output {
            Output::Duty(lines) => {
                let good = least >= 0.0 && most <= 1.0;
                require(name, good, || format!("limits from {least} to {most} of a duty, expected 0 to 1"))?;
                Some(Centred::new(name, lines)?)
            }
            Output::Course(_) => None,
        };
        let integral = with.initial;
        Ok(Self { name: name.to_string(), with, pulses, integral, working: None })
    }

    fn begins(&self, origin: f64, k: u64) -> f64 {
        origin + k as f64 / self.with.frequency
    }

    /// The output for a deviation, and the integral part that follows.
    fn next(&self, deviation: f64) -> (f64, f64) {
        let Settings { proportional, integral, least, most, frequency, .. } = self.with;
        let free = proportional * deviation + self.integral;
        let step = integral * deviation / frequency;
        let held = (free > most && step > 0.0) || (free < least && step < 0.0);
        (free.clamp(least, most), if held { self.integral } else { self.integral + step })
    }

    fn note(&self, board: &mut Board<f64>, time: f64, action: Action) {
        let note = action.word().to_string();
        board.note(Event { action, note, ..Event::new(time, EventKind::Control, &self.name) });
    }
}

impl Controller<f64> for Regulator {
    fn name(&self) -> &str {
        &self.name
    }

    fn probes(&self) -> Vec<Probe> {
        vec![self.with.probe.clone()]
    }

    fn remembers(&self) -> bool {
        self.with.integral != 0.0
    }

    #[inline(never)]
    fn look(&mut self, seen: &Seen<'_, f64>, board: &mut Board<f64>) -> Result<(), SolverError> {
        if !self.with.run.is_none_or(|line| board.line(line)) {
            if self.working.take().is_some() {
                self.pulses.iter_mut().for_each(|p| p.stop(board));
                self.integral = self.with.initial;
                self.note(board, seen.t, Action::Stops);
            }
            return Ok(());
        }
        let (origin, mut next) = match self.working {
            Some(working) => working,
            None => {
                self.note(board, seen.t, Action::Starts);
                (seen.t, 0)
            }
        };
        while self.begins(origin, next) <= seen.t {
            let (begin, end) = (self.begins(origin, next), self.begins(origin, next + 1));
            // A step ends at every beginning, so this is a sample of now.
            let Some(wanted) = board.driven(self.with.set_point, begin) else { return Ok(()) };
            let (output, integral) = self.next(wanted - seen.now[0]);
            self.integral = integral;
            match (self.with.output, &mut self.pulses) {
                (Output::Course(wave), _) => board.step(wave, begin, output),
                (_, Some(pulses)) => pulses.order(begin, end, output, board),
                _ => {}
            }
            next += 1;
        }
        self.working = Some((origin, next));
        Ok(())
    }

    fn wakes(&self, t: f64) -> Option<f64> {
        self.working.map(|(origin, next)| self.begins(origin, next)).filter(|&at| at > t)
    }

    fn boxed(&self) -> Box<dyn Controller<f64>> {
        Box::new(self.clone())
    }
}

#[cfg(test)]
#[path = "regulator_tests.rs"]
mod tests;
