//! Events at stated instants: a line is set, a switch thrown, a note made.

use super::board::Board;
use super::{Controller, Seen, require};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::{ChoiceId, LineId, WaveId};
use crate::error::{CircuitError, SolverError};
use crate::recorder::{Event, EventKind};

/// What happens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Deed {
    /// A line takes a state.
    Set(LineId, bool),
    /// A choice takes an option (a switch opens or closes).
    Choose(ChoiceId, usize),
    /// A driven course takes a value, on a straight line over a time in s; at once over none.
    Course(WaveId, f64, f64),
    /// Nothing but the note.
    Note,
    /// A fault begins or ends, from which protections count what they let through. It makes no event of its own.
    Fault(bool),
}

/// Something that happens at a stated instant.
#[derive(Clone, Debug, PartialEq)]
pub struct ScheduledEvent {
    /// s.
    pub at: f64,
    /// To which component or line, for the event.
    pub subject: String,
    /// In words, for the event.
    pub note: String,
    /// What.
    pub deed: Deed,
}

/// Carries out events in the order of their instants; those at one instant in the order given.
#[derive(Clone, Debug, PartialEq)]
pub struct Sequence {
    name: String,
    events: Vec<ScheduledEvent>,
    /// The first whose note is still to be made, and the first that is still to be ordered.
    next: usize,
    ordered: usize,
}

impl Sequence {
    /// A sequence from events in any order.
    ///
    /// # Errors
    /// When an instant is no number.
    pub fn new(name: &str, mut events: Vec<ScheduledEvent>) -> Result<Self, CircuitError> {
        for h in &events {
            let say = || format!("`{}` happens at {} s, expected a number", h.note, h.at);
            require(name, h.at.is_finite(), say)?;
        }
        events.sort_by(|a, b| a.at.total_cmp(&b.at));
        Ok(Self { name: name.to_string(), events, next: 0, ordered: 0 })
    }
}

impl<L: Lane> Controller<L> for Sequence {
    fn name(&self) -> &str {
        &self.name
    }

    #[inline(never)]
    fn look(&mut self, seen: &Seen<'_, L>, board: &mut Board<L>) -> Result<(), SolverError> {
        // What has come, and all of the next instant: so every line changes where it should, whoever looks first.
        let upcoming = self.events[self.next..].iter().map(|h| h.at).find(|&at| at > seen.t);
        let until = upcoming.unwrap_or(seen.t);
        while let Some(h) = self.events.get(self.ordered).filter(|h| h.at <= until) {
            match h.deed {
                Deed::Set(line, value) => board.set_at(line, value, h.at),
                Deed::Choose(choice, option) => board.choose_at(choice, option, h.at),
                Deed::Course(wave, value, over) if over > 0.0 => {
                    board.ramp(wave, h.at, h.at + over, L::splat(value));
                }
                Deed::Course(wave, value, _) => board.step(wave, h.at, L::splat(value)),
                Deed::Note | Deed::Fault(_) => {}
            }
            self.ordered += 1;
        }
        while let Some(h) = self.events.get(self.next).filter(|h| h.at <= seen.t) {
            self.next += 1;
            if let Deed::Fault(stands) = h.deed {
                board.mark_fault(stands.then_some(h.at));
                continue;
            }
            let at = h.at.max(seen.before);
            board.note(Event { note: h.note.clone(), ..Event::new(at, EventKind::Scheduled, &h.subject) });
        }
        Ok(())
    }

    fn wakes(&self, t: f64) -> Option<f64> {
        self.events.get(self.next).map(|h| h.at).filter(|&at| at > t)
    }

    fn boxed(&self) -> Box<dyn Controller<L>> {
        Box::new(self.clone())
    }
}

#[cfg(test)]
#[path = "sequence_tests.rs"]
mod tests;
