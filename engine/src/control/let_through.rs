//! The I²t and the peak that a fault lets through: from the instant the current crosses a level until it has fallen
//! below a fraction of it (let-through I²t as of a fuse or a current-limiting breaker, IEC 60947-2, from memory).

use super::crossing::{Sense, Stretch};
use super::{Seen, require};
use crate::abreast;
use crate::arithmetic::lane::Lane;
use crate::circuit::probe::Probe;
use crate::trouble::CircuitTrouble;

/// What is measured of each fault.
#[derive(Clone, Debug)]
pub struct LetThrough<L> {
    /// The current.
    pub probe: Probe,
    /// |i| above which a fault begins, A.
    pub from: L,
    /// Fraction of `from` below which it is over, above 0 and at most 1.
    pub fraction: f64,
}

/// A fault that is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cleared {
    /// The level, A.
    pub(super) from: f64,
    /// When the current crossed the level, s.
    pub(super) begin: f64,
    /// When it had fallen below the fraction, s.
    pub(super) end: f64,
    /// A²s.
    pub(super) i2t: f64,
    /// Largest |i|, A.
    pub(super) peak: f64,
}

/// The meter. Events carry one value, that of lane 0, so only that one is measured.
#[derive(Clone, Debug)]
pub(super) struct Meter<L> {
    pub(super) what: LetThrough<L>,
    running: Option<Cleared>,
}

abreast!(LetThrough: from; shared probe, fraction);
abreast!(Meter: what; shared running);

impl<L: Lane> Meter<L> {
    pub(super) fn new(guard: &str, what: LetThrough<L>) -> Result<Self, CircuitTrouble> {
        let from = what.from.lane(0);
        require(guard, from > 0.0 && from.is_finite(), || {
            format!("let-through is measured from {from} A, expected above zero")
        })?;
        let f = what.fraction;
        require(guard, f > 0.0 && f <= 1.0, || {
            format!("let-through ends at the fraction {f}, expected above 0 and at most 1")
        })?;
        Ok(Self { what, running: None })
    }

    /// Looks at a step, the current being probe number `k`; gives the fault that ended in it.
    pub(super) fn look(&mut self, seen: &Seen<'_, L>, k: usize) -> Option<Cleared> {
        let (then, now) = (seen.then[k].lane(0), seen.now[k].lane(0));
        let stretch = Stretch { before: seen.before, t: seen.t, then, now };
        let from = self.what.from.lane(0);
        let mut cleared = None;
        let mut at = seen.before;
        if let Some(mut fault) = self.running {
            let mut falls = stretch.crossings(Sense::Magnitude, self.what.fraction * from).filter(|c| !c.1);
            let end = falls.next().map(|c| c.0);
            at = end.unwrap_or(seen.t);
            fault.add(&stretch, seen.before, at);
            self.running = end.is_none().then_some(fault);
            cleared = end.map(|_| fault);
        }
        if self.running.is_none() && now.abs() > from {
            let rises = stretch.crossings(Sense::Magnitude, from).filter(|c| c.1 && c.0 >= at);
            let begin = rises.last().map_or(seen.t, |c| c.0);
            let mut fault = Cleared { from, begin, end: begin, i2t: 0.0, peak: 0.0 };
            fault.add(&stretch, begin, seen.t);
            self.running = Some(fault);
        }
        cleared
    }
}

impl Cleared {
    fn add(&mut self, stretch: &Stretch, from: f64, to: f64) {
        self.i2t += stretch.square_integral(from, to);
        self.peak = self.peak.max(stretch.at(from).abs()).max(stretch.at(to).abs());
        self.end = to;
    }
}
