//! The I²t and the peak that a fault lets through: ∫ i² dt from its start until the current has fallen below a fraction
//! of a level that it had crossed (let-through I²t as of a fuse or a current-limiting breaker, IEC 60947-2, from
//! memory).
//!
//! A fault starts where an event marks it ([`Board::fault`](super::board::Board::fault)); a retry while it stands
//! starts it anew, because the current then begins once more. Without a mark nobody knows when it started: it is
//! counted from the crossing of the level, and the event says so.

use super::crossing::{Sense, Stretch};
use super::{Seen, require};
use crate::circuit::probe::Probe;
use crate::error::CircuitError;

/// Fraction of a protection's level below which the current of a fault counts as gone.
pub const CLEARED: f64 = 0.1;

/// What let-through I²t is, for people.
pub const DEFINITION: &str = "∫ i² dt of the protection's current from the start of the fault (an event with \
                              `fault = true`, or a retry while that fault stands) until the current is below a tenth \
                              of the protection's threshold; where no start is marked, from the threshold on only, and the \
                              event says so";

/// What is measured of each fault.
#[derive(Clone, Debug)]
pub struct LetThrough<L> {
    /// The current.
    pub probe: Probe,
    /// |i| above which a current is that of a fault, A.
    pub from: L,
    /// Fraction of `from` below which it is over, above 0 and at most 1.
    pub fraction: f64,
}

/// From where let-through is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Since {
    /// The start of the fault.
    Fault,
    /// A retry on a fault that stands.
    Retry,
    /// The crossing of the level: no start is marked.
    Level,
}

/// A fault that is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cleared {
    /// The level, A.
    pub(super) from: f64,
    /// From where it is counted.
    pub(super) since: Since,
    /// When that was, s.
    pub(super) begin: f64,
    /// When it had fallen below the fraction, s.
    pub(super) end: f64,
    /// A²s.
    pub(super) i2t: f64,
    /// Largest |i|, A.
    pub(super) peak: f64,
}

/// What is known of the present fault.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Course {
    running: Option<Cleared>,
    /// Whether the level has been crossed since.
    crossed: bool,
}

/// The meter.
#[derive(Clone, Debug)]
pub(super) struct Meter {
    pub(super) what: LetThrough<f64>,
    course: Course,
    /// The last start that was taken up, s.
    taken: f64,
}

impl Meter {
    pub(super) fn new(protection: &str, what: LetThrough<f64>) -> Result<Self, CircuitError> {
        let (from, f) = (what.from, what.fraction);
        require(protection, from > 0.0 && from.is_finite(), || {
            format!("let-through is measured from {from} A, expected above zero")
        })?;
        require(protection, f > 0.0 && f <= 1.0, || {
            format!("let-through ends at the fraction {f}, expected above 0 and at most 1")
        })?;
        Ok(Self { what, course: Course::default(), taken: f64::NEG_INFINITY })
    }

    /// Looks at a step, the current being probe number `k` and `start` where a fault that stands has started last;
    /// gives the fault that ended in it.
    pub(super) fn look(
        &mut self,
        seen: &Seen<'_, f64>,
        k: usize,
        start: Option<(f64, Since)>,
    ) -> Option<Cleared> {
        let fresh = start.filter(|s| s.0 > self.taken);
        self.taken = fresh.map_or(self.taken, |s| s.0);
        let stretch = Stretch { before: seen.before, t: seen.t, then: seen.then[k], now: seen.now[k] };
        if start.is_none() && !self.course.crossed {
            // A fault that has ended without a current of its own.
            self.course.running = None;
        }
        self.course.look(&stretch, (self.what.from, self.what.fraction * self.what.from), fresh)
    }
}

impl Course {
    fn look(
        &mut self,
        stretch: &Stretch,
        (from, low): (f64, f64),
        fresh: Option<(f64, Since)>,
    ) -> Option<Cleared> {
        let begun = |since, begin: f64| {
            let begin = begin.clamp(stretch.before, stretch.t);
            Cleared { from, since, begin, end: begin, i2t: 0.0, peak: 0.0 }
        };
        if let Some((at, since)) = fresh.filter(|_| !self.crossed) {
            self.running = Some(begun(since, at));
        }
        let mut cleared = None;
        let mut at = self.running.map_or(stretch.before, |fault| fault.end.max(stretch.before));
        let passed = |level: f64, up: bool, after: f64| {
            let all = stretch.crossings(Sense::Magnitude, level);
            all.filter(move |c| c.1 == up && c.0 >= after).map(|c| c.0)
        };
        if let Some(mut fault) = self.running {
            // Only a current that has been that of a fault can be over.
            let high = match self.crossed || stretch.at(at).abs() > from {
                true => Some(at),
                false => passed(from, true, at).next(),
            };
            let end = high.and_then(|high| passed(low, false, high).next());
            let until = end.unwrap_or(stretch.t);
            fault.add(stretch, at, until);
            at = until;
            (self.running, self.crossed) = (end.is_none().then_some(fault), end.is_none() && high.is_some());
            cleared = end.map(|_| fault);
        }
        if self.running.is_none() && stretch.now.abs() > from {
            let mut fault = begun(Since::Level, passed(from, true, at).last().unwrap_or(stretch.t));
            fault.add(stretch, fault.begin, stretch.t);
            (self.running, self.crossed) = (Some(fault), true);
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

    /// In words, with what it is counted from.
    pub(super) fn words(&self) -> String {
        use crate::units::people;
        let (at, peak) = (1e3 * self.begin, people(self.peak, "A"));
        match self.since {
            Since::Fault => format!("let-through I²t since the fault at {at:.4} ms, peak {peak}"),
            Since::Retry => format!("let-through I²t since the retry at {at:.4} ms, peak {peak}"),
            Since::Level => {
                let from = people(self.from, "A");
                format!(
                    "let-through I²t above {from} only, from {at:.4} ms (no start of a fault is marked), peak {peak}"
                )
            }
        }
    }
}
