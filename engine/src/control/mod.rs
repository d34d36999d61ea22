//! Drives, protections and controllers: logic that looks at the circuit at step boundaries and orders edges.
//!
//! A controller never touches the equations. It reads probes, and it orders on the [`board`]: lines, courses of
//! driven sources, choices among conductances. Orders carry the instant at which they take effect; the loop ends a
//! step exactly there and opens a fine window.
//!
//! At a boundary t the loop carries out what is due (the board), lets every controller look in the order
//! of registration, and then asks for what changed ([`Board::take_changes`]). Protections and modulators are registered
//! before the drives that follow their lines; in the other order a drive learns of a change that takes effect
//! without delay one boundary late.

pub mod board;
pub mod carrier;
pub mod centred;
pub mod crossing;
pub mod detect;
pub mod drive;
pub mod hysteretic;
pub mod let_through;
pub mod protection;
pub mod pwm;
pub mod regulator;
pub mod relay;
pub mod sequence;
#[cfg(test)]
mod trial;

use std::any::Any;
use std::fmt::Debug;

use crate::arithmetic::lane::Lane;
use crate::circuit::probe::Probe;
use crate::error::{CircuitError, SolverError};
use board::Board;

/// What a controller sees at the end of a step: the probes it asked for, now and at the previous boundary.
/// Between the two, a straight line may be assumed to find the instant of a crossing.
#[derive(Debug)]
pub struct Seen<'a, L> {
    /// Instant of the previous boundary, s.
    pub before: f64,
    /// This instant, s.
    pub t: f64,
    /// Values at the previous boundary, in the order of [`Controller::probes`].
    pub then: &'a [L],
    /// Values now.
    pub now: &'a [L],
}

impl<L: Lane> Seen<'_, L> {
    /// Value of probe number `k` at an instant of the step just done, s, on the straight line through it.
    pub fn at(&self, k: usize, instant: f64) -> L {
        if self.t <= self.before || instant >= self.t {
            return self.now[k];
        }
        let share = ((instant - self.before) / (self.t - self.before)).max(0.0);
        self.then[k] + (self.now[k] - self.then[k]) * L::splat(share)
    }
}

/// Logic that looks on at step boundaries.
pub trait Controller<L: Lane>: Any + Debug + Send + Sync {
    /// Its name in events.
    fn name(&self) -> &str;
    /// What it wants to see.
    fn probes(&self) -> Vec<Probe> {
        Vec::new()
    }
    /// Looks and orders. Called once at the start (with `before == t`) and at every step boundary, in the order of
    /// registration; an order that takes effect now is seen by the controllers after it at once.
    ///
    /// # Errors
    /// What ends the run.
    fn look(&mut self, seen: &Seen<'_, L>, board: &mut Board<L>) -> Result<(), SolverError>;
    /// The next instant (after `t`) at which it wants a step to end, whatever the circuit does.
    fn wakes(&self, t: f64) -> Option<f64> {
        let _ = t;
        None
    }
    /// The longest step that may come next, s: shorter ones where what it watches comes near a level at which it acts,
    /// so that it neither acts late nor misses what the finest steps would show.
    fn longest_step(&self) -> f64 {
        f64::INFINITY
    }
    /// Whether what it does in a period follows from periods before: an integral that it keeps. The circuit's state alone
    /// does not say how such a run goes on.
    fn remembers(&self) -> bool {
        false
    }
    /// A copy in the same state.
    fn boxed(&self) -> Box<dyn Controller<L>>;
}

/// Refuses a duration in s that is no number, or below zero.
pub(crate) fn duration(subject: &str, what: &str, x: f64) -> Result<(), CircuitError> {
    require(subject, x >= 0.0 && x.is_finite(), || format!("{what} is {x} s, expected zero or above"))
}

/// Refuses a setting.
pub(crate) fn require(subject: &str, good: bool, what: impl FnOnce() -> String) -> Result<(), CircuitError> {
    if good { Ok(()) } else { Err(CircuitError::BadValue { component: subject.to_string(), what: what() }) }
}
