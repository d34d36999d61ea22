//! Pulses centred in their periods, and a second line that complements them with a dead time.

use super::board::Board;
use super::{duration, require};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::LineId;
use crate::error::CircuitError;

/// The lines that pulses go to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lines {
    /// The line that is on for the duty.
    pub command: LineId,
    /// A line that is on while the command is off, and how long both are off at each change, s. The dead time is taken
    /// off this line, so that the command keeps its duty up to 1 less two dead times a period; a duty of 1 stays one.
    pub complement: Option<(LineId, f64)>,
}

/// Orders the edges of period after period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Centred {
    lines: Lines,
    /// Whether the command fills the period before.
    full: bool,
}

impl Centred {
    /// Pulses that begin off.
    ///
    /// # Errors
    /// When output and complement are one line, or the dead time is none.
    pub fn new(name: &str, lines: Lines) -> Result<Self, CircuitError> {
        if let Some((line, dead)) = lines.complement {
            duration(name, "dead time", dead)?;
            require(name, line != lines.command, || "output and complement are one line".into())?;
        }
        Ok(Self { lines, full: false })
    }

    /// Orders the edges of the period from `begin` to `end`, s: on for the share `duty` of it around its middle.
    pub fn order<L: Lane>(&mut self, begin: f64, end: f64, duty: f64, board: &mut Board<L>) {
        let (command, length) = (self.lines.command, end - begin);
        let dead = self.lines.complement.map_or(0.0, |c| c.1);
        let most = (1.0 - 2.0 * dead / length).max(0.0);
        let duty = if duty >= 1.0 { 1.0 } else { duty.clamp(0.0, most) };
        let was_full = std::mem::replace(&mut self.full, duty == 1.0);
        // What filled the period before ends where this one begins.
        let free = if was_full { begin + dead } else { begin };
        let at = |share: f64| begin + length * share;
        let (rise, fall) = (at(0.5 - 0.5 * duty), at(0.5 + 0.5 * duty));
        let complement = self.lines.complement.map(|c| c.0);
        let mut second =
            |on: bool, at: f64| complement.into_iter().for_each(|line| board.set_at(line, on, at));
        match duty {
            0.0 => second(true, free),
            1.0 if was_full => {}
            1.0 => second(false, begin),
            _ => {
                if free < rise - dead {
                    second(true, free);
                }
                second(false, rise - dead);
                second(true, fall + dead);
            }
        }
        match duty {
            0.0 => board.set_at(command, false, begin),
            1.0 if was_full => {}
            1.0 => board.set_at(command, true, begin + dead),
            _ => {
                board.set_at(command, false, begin);
                board.set_at(command, true, rise);
                board.set_at(command, false, fall);
            }
        }
    }

    /// Both lines off, now.
    pub fn stop<L: Lane>(&mut self, board: &mut Board<L>) {
        self.full = false;
        for line in [Some(self.lines.command), self.lines.complement.map(|c| c.0)].into_iter().flatten() {
            board.forget(line);
            board.set(line, false);
        }
    }
}
