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
pub mod crossing;
pub mod detect;
pub mod drive;
pub mod hysteretic;
pub mod let_through;
pub mod protection;
pub mod pwm;
pub mod sequence;
#[cfg(test)]
mod trial;

use std::any::Any;
use std::fmt::Debug;

use wide::{f64x4, f64x8};

use crate::arithmetic::lane::Lane;
use crate::arithmetic::lockstep::Lockstep;
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
    /// [`SolverError::LeavesLockstep`] when lanes would have to act differently.
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
    /// A copy in the same state.
    fn boxed(&self) -> Box<dyn Controller<L>>;
    /// Controllers of four variants in lockstep, this one among them; `None` where that cannot be.
    fn in_four_lanes(&self, each: &[&dyn Controller<L>]) -> Option<Box<dyn Controller<f64x4>>> {
        let _ = each;
        None
    }
    /// Controllers of eight variants in lockstep, this one among them; `None` where that cannot be.
    fn in_eight_lanes(&self, each: &[&dyn Controller<L>]) -> Option<Box<dyn Controller<f64x8>>> {
        let _ = each;
        None
    }
}

/// What a controller that is [`Lockstep`] gives for its lanes.
fn side_by_side<L: Lane, C, K: Lane>(each: &[&dyn Controller<L>]) -> Option<Box<dyn Controller<K>>>
where
    C: Lockstep<Of<K>: Controller<K>> + 'static,
{
    let mut mine: Vec<&C> = Vec::with_capacity(each.len());
    for &controller in each {
        let any: &dyn Any = controller;
        mine.push(any.downcast_ref()?);
    }
    Some(Box::new(C::lockstep::<K>(&mine)?))
}

/// The two methods of a controller that is [`Lockstep`].
macro_rules! in_lanes {
    () => {
        #[inline(never)]
        fn in_four_lanes(
            &self,
            each: &[&dyn $crate::control::Controller<L>],
        ) -> Option<Box<dyn $crate::control::Controller<wide::f64x4>>> {
            // Known when compiled: nothing is compiled for lanes of lanes.
            if const { L::WIDTH == 1 } { $crate::control::side_by_side::<L, Self, _>(each) } else { None }
        }
        #[inline(never)]
        fn in_eight_lanes(
            &self,
            each: &[&dyn $crate::control::Controller<L>],
        ) -> Option<Box<dyn $crate::control::Controller<wide::f64x8>>> {
            // Known when compiled: nothing is compiled for lanes of lanes.
            if const { L::WIDTH == 1 } { $crate::control::side_by_side::<L, Self, _>(each) } else { None }
        }
    };
}
pub(crate) use in_lanes;

/// A controller without numbers in lanes: all must be equal.
macro_rules! same_in_lanes {
    ($name:ident) => {
        impl $crate::arithmetic::lockstep::Lockstep for $name {
            type Of<K: Lane> = Self;
            fn lockstep<K: Lane>(each: &[&Self]) -> Option<Self> {
                $crate::arithmetic::lockstep::shared(each, |one| one)
            }
        }
    };
}
pub(crate) use same_in_lanes;

/// The common answer of all lanes to a question, or the lanes that answer otherwise than most.
///
/// # Errors
/// [`SolverError::LeavesLockstep`].
pub fn agree<L: Lane>(mask: L::Mask, time: f64) -> Result<bool, SolverError> {
    if L::all(mask) {
        return Ok(true);
    }
    if !L::any(mask) {
        return Ok(false);
    }
    let ones = L::select(mask, L::splat(1.0), L::splat(0.0));
    let answers: Vec<bool> = (0..L::WIDTH).map(|k| ones.lane(k) > 0.5).collect();
    Err(SolverError::LeavesLockstep { lanes: fewer(&answers), time })
}

/// The places of all that differ from what most are; of equally many, from the first.
pub(crate) fn fewer<T: PartialEq>(answers: &[T]) -> Vec<usize> {
    let alike = |k: usize| answers.iter().filter(|a| **a == answers[k]).count();
    // The last largest of a reversed order is the first.
    let Some(most) = (0..answers.len()).rev().max_by_key(|&k| alike(k)) else { return Vec::new() };
    (0..answers.len()).filter(|&k| answers[k] != answers[most]).collect()
}

/// Refuses a duration in s that is no number, or below zero.
pub(crate) fn duration(subject: &str, what: &str, x: f64) -> Result<(), CircuitError> {
    require(subject, x >= 0.0 && x.is_finite(), || format!("{what} is {x} s, expected zero or above"))
}

/// Refuses a setting.
pub(crate) fn require(subject: &str, good: bool, what: impl FnOnce() -> String) -> Result<(), CircuitError> {
    if good { Ok(()) } else { Err(CircuitError::BadValue { component: subject.to_string(), what: what() }) }
}
