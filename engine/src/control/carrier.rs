//! Sine-modulated pulses: centred in the periods of a carrier, their width read off a sine once per period.

use super::board::Board;
use super::centred::{Centred, Lines};
use super::{Controller, Seen, require};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::LineId;
use crate::error::{CircuitError, SolverError};
use crate::recorder::{Action, Event, EventKind};

/// What a modulator is made of.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The lines it sets.
    pub lines: Lines,
    /// The line that lets it work; without one it works from the start.
    pub run: Option<LineId>,
    /// Frequency of the carrier, Hz.
    pub frequency: f64,
    /// Mean duty.
    pub mean: f64,
    /// Amplitude of the duty.
    pub amplitude: f64,
    /// Frequency of the sine, Hz.
    pub fundamental: f64,
    /// Its phase, rad.
    pub phase: f64,
    /// Adds 1 to the duty while the sine is below zero: the fast leg of a totem pole.
    pub folded: bool,
}

/// Pulses with regular sampling: period k of the carrier is on for the share d of it around its middle, d = mean +
/// amplitude·sin(2π·fundamental·t + phase) at that middle, kept within 0 and 1. (Holmes & Lipo, Pulse Width Modulation
/// for Power Converters, 2003, ch. 3: symmetrical regular sampling; from memory.)
#[derive(Clone, Debug, PartialEq)]
pub struct Carrier {
    name: String,
    with: Settings,
    pulses: Centred,
    origin: Option<f64>,
    next: u64,
}

impl Carrier {
    /// A modulator that waits for its `run` line.
    ///
    /// # Errors
    /// When a frequency is not above zero, or another number is not finite.
    pub fn new(name: &str, with: Settings) -> Result<Self, CircuitError> {
        for (what, f) in [("frequency", with.frequency), ("fundamental frequency", with.fundamental)] {
            require(name, f > 0.0 && f.is_finite(), || format!("{what} is {f} Hz, expected above zero"))?;
        }
        for (what, x) in [("mean", with.mean), ("amplitude", with.amplitude), ("phase", with.phase)] {
            require(name, x.is_finite(), || format!("{what} is {x}, expected a number"))?;
        }
        let pulses = Centred::new(name, with.lines)?;
        Ok(Self { name: name.to_string(), with, pulses, origin: None, next: 0 })
    }

    /// Duty of period k.
    fn duty(&self, k: u64) -> f64 {
        let turn = (k as f64 + 0.5) / self.with.frequency * self.with.fundamental;
        let angle = std::f64::consts::TAU * (turn - turn.floor()) + self.with.phase;
        let sine = angle.sin();
        let fold = if self.with.folded && sine < 0.0 { 1.0 } else { 0.0 };
        (self.with.mean + self.with.amplitude * sine + fold).clamp(0.0, 1.0)
    }

    fn begins(&self, origin: f64, k: u64) -> f64 {
        origin + k as f64 / self.with.frequency
    }

    fn note<L: Lane>(&self, board: &mut Board<L>, time: f64, action: Action) {
        let note = action.word().to_string();
        board.note(Event { action, note, ..Event::new(time, EventKind::Control, &self.name) });
    }
}

impl<L: Lane> Controller<L> for Carrier {
    fn name(&self) -> &str {
        &self.name
    }

    #[inline(never)]
    fn look(&mut self, seen: &Seen<'_, L>, board: &mut Board<L>) -> Result<(), SolverError> {
        if !self.with.run.is_none_or(|line| board.line(line)) {
            if self.origin.take().is_some() {
                self.pulses.stop(board);
                self.next = 0;
                self.note(board, seen.t, Action::Stops);
            }
            return Ok(());
        }
        if self.origin.is_none() && self.with.run.is_some() {
            self.note(board, seen.t, Action::Starts);
        }
        let origin = *self.origin.get_or_insert(seen.t);
        // One period ahead.
        while self.next == 0 || self.begins(origin, self.next - 1) <= seen.t {
            let (begin, end) = (self.begins(origin, self.next), self.begins(origin, self.next + 1));
            self.pulses.order(begin, end, self.duty(self.next), board);
            self.next += 1;
        }
        Ok(())
    }

    fn wakes(&self, t: f64) -> Option<f64> {
        let at = self.begins(self.origin?, self.next.saturating_sub(1));
        (at > t).then_some(at)
    }

    fn boxed(&self) -> Box<dyn Controller<L>> {
        Box::new(self.clone())
    }
}
