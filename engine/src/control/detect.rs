//! What a protection trips on: a level held for a time, or an inverse-time sum.
//!
//! Detectors find instants between step boundaries on the straight line of what they watch.

use super::board::Board;
use super::crossing::{Sense, Stretch};
use super::{duration, require};
use crate::arithmetic::lane::Lane;
use crate::circuit::graph::LineId;
use crate::circuit::probe::Probe;
use crate::error::CircuitError;

/// A time after each turn-on during which a detector doesn't look.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Blanking {
    /// The line whose change to true begins it (a drive's [`state`](super::drive::Gate::state)).
    pub line: LineId,
    /// How long, s.
    pub time: f64,
    /// Whether the detector looks only while the line is true (desaturation sensing: a blocking switch has high
    /// voltage by right).
    pub only_on: bool,
}

/// Trips when a quantity has been beyond a threshold for a time.
#[derive(Clone, Debug)]
pub struct Level<L> {
    /// What is watched.
    pub probe: Probe,
    /// Which side of the threshold counts.
    pub sense: Sense,
    /// Threshold, in the probe's unit.
    pub threshold: L,
    /// Time after turn-on that doesn't count.
    pub blanking: Option<Blanking>,
    /// How long the quantity must stay beyond, s; coming back begins anew.
    pub filter: f64,
}

/// How the sum of an inverse-time detector comes back below pick-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cooling {
    /// At a constant rate, A² (A²s per s).
    Rate(f64),
    /// Exponentially, with a time constant in s.
    TimeConstant(f64),
}

/// Trips when ∫ (i² − i_n²) dt, taken while |i| is above pick-up, reaches a limit: for constant current after
/// limit / (i² − i_n²), the adiabatic limit of an overload (the I²t form of inverse-time tripping; IEC 60255-151 has
/// the family, from memory).
#[derive(Clone, Debug)]
pub struct InverseTime<L> {
    /// The current watched.
    pub probe: Probe,
    /// Current above which the sum grows, A.
    pub pick_up: L,
    /// Current i_n that may flow for ever, A; at most the pick-up.
    pub rated: L,
    /// The sum that trips, A²s.
    pub limit: L,
    /// What happens below pick-up.
    pub cooling: Cooling,
}

/// What a protection trips on.
#[derive(Clone, Debug)]
pub enum Criterion<L> {
    /// A level held for a time.
    Level(Level<L>),
    /// An inverse-time sum.
    InverseTime(InverseTime<L>),
}

/// A criterion with its state.
#[derive(Clone, Debug)]
pub(super) struct Detector {
    pub(super) criterion: Criterion<f64>,
    state: Progress,
    due: Option<f64>,
    longest: f64,
}

#[derive(Clone, Copy, Debug, Default)]
struct Progress {
    /// Since when the quantity is beyond the threshold, or the sum beyond its limit, s.
    since: Option<f64>,
    /// Sum, A²s.
    sum: f64,
}

impl Criterion<f64> {
    /// What is watched.
    pub fn probe(&self) -> &Probe {
        match self {
            Self::Level(x) => &x.probe,
            Self::InverseTime(x) => &x.probe,
        }
    }

    /// The level at which it trips, in the unit of what it watches; of an inverse-time sum, A²s.
    pub(super) fn level(&self) -> f64 {
        match self {
            Self::Level(x) => x.threshold,
            Self::InverseTime(x) => x.limit,
        }
    }

    /// In words, for the event.
    pub(super) fn words(&self) -> String {
        match self {
            Self::Level(x) => {
                let side = match x.sense {
                    Sense::Above => "above",
                    Sense::Below => "below",
                    Sense::Magnitude => "magnitude above",
                };
                format!("{side} {} {}", x.threshold, x.probe.unit())
            }
            Self::InverseTime(x) => format!("inverse-time sum reaches {} A²s", x.limit),
        }
    }

    fn checked(&self, protection: &str) -> Result<(), CircuitError> {
        match self {
            Self::Level(x) => {
                duration(protection, "filter time", x.filter)?;
                if let Some(b) = &x.blanking {
                    duration(protection, "blanking time", b.time)?;
                }
                let signed = x.sense != Sense::Magnitude || x.threshold >= 0.0;
                let good = x.threshold.is_finite() && signed;
                let say = || format!("threshold is {}, expected a number, not below zero", x.threshold);
                require(protection, good, say)
            }
            Self::InverseTime(x) => {
                let (rate, unit) = match x.cooling {
                    Cooling::Rate(r) => (r, "A²"),
                    Cooling::TimeConstant(tau) => (tau, "s"),
                };
                let positive = |what: &str, y: f64| {
                    let good = y.is_finite() && y > 0.0;
                    require(protection, good, || format!("{what} is {}, expected above zero", y))
                };
                positive("pick-up current", x.pick_up)?;
                positive("I²t limit", x.limit)?;
                let within = x.rated >= 0.0 && x.rated <= x.pick_up;
                require(protection, within, || {
                    let (rated, pick_up) = (x.rated, x.pick_up);
                    format!("rated current is {rated} A, expected from zero to the pick-up of {pick_up} A")
                })?;
                let good = rate > 0.0 && rate.is_finite();
                require(protection, good, || format!("cooling is {rate} {unit}, expected above zero"))
            }
        }
    }
}

impl Detector {
    pub(super) fn new(protection: &str, criterion: Criterion<f64>) -> Result<Self, CircuitError> {
        criterion.checked(protection)?;
        Ok(Self { criterion, state: Progress::default(), due: None, longest: f64::INFINITY })
    }

    /// The next instant at which it decides if nothing changes.
    pub(super) fn due(&self) -> Option<f64> {
        self.due
    }

    /// The longest step that may come next, s.
    pub(super) fn longest_step(&self) -> f64 {
        self.longest
    }

    /// Looks at a step; gives the instant, at or before its end, at which the criterion was met, not before `from`.
    /// What follows from it comes `delay` s later.
    pub(super) fn look(
        &mut self,
        (before, t): (f64, f64),
        (then, now): (f64, f64),
        from: f64,
        delay: f64,
        board: &Board<f64>,
    ) -> Option<f64> {
        let (stretch, state) = (Stretch { before, t, then, now }, &mut self.state);
        let decided = match &self.criterion {
            Criterion::Level(x) => level(state, x, stretch, from, board),
            Criterion::InverseTime(x) => inverse_time(state, x, stretch, from),
        };
        self.longest = match &self.criterion {
            _ if from > t => f64::INFINITY,
            Criterion::Level(x) => stretch.approach(x.sense, x.threshold, x.filter + delay),
            Criterion::InverseTime(x) => state.approach(x, stretch, delay),
        };
        self.due = decided.filter(|&at| at > t && at.is_finite());
        decided.filter(|&at| at <= t)
    }
}

/// When the level has been exceeded long enough: at or before the end of the stretch, or later if it stays so.
fn level(
    state: &mut Progress,
    x: &Level<f64>,
    stretch: Stretch,
    from: f64,
    board: &Board<f64>,
) -> Option<f64> {
    let threshold = x.threshold;
    let open = match x.blanking {
        Some(b) if board.line(b.line) => board.since(b.line) + b.time,
        Some(b) if b.only_on => f64::INFINITY,
        _ => f64::NEG_INFINITY,
    };
    let decided = |since: f64| since.max(open).max(from) + x.filter;
    let mut met = None;
    for (instant, up) in stretch.crossings(x.sense, threshold) {
        if up {
            state.since = Some(instant);
        } else {
            met = met.or(state.since.map(decided).filter(|&at| at <= instant));
            state.since = None;
        }
    }
    if x.sense.exceeds(stretch.now, threshold) {
        // Beyond the threshold from the start.
        state.since = state.since.or(Some(stretch.t));
    }
    met.or(state.since.map(decided))
}

impl Progress {
    /// The longest step that may follow: half the time to the limit at the present current.
    fn approach(&self, x: &InverseTime<f64>, stretch: Stretch, slack: f64) -> f64 {
        if !Sense::Magnitude.exceeds(stretch.now, x.pick_up) {
            return f64::INFINITY;
        }
        let rate = stretch.now * stretch.now - x.rated * x.rated;
        let left = (x.limit - self.sum) / rate;
        if left > 0.0 { slack.max(0.5 * left) } else { f64::INFINITY }
    }
}

fn inverse_time(state: &mut Progress, x: &InverseTime<f64>, stretch: Stretch, from: f64) -> Option<f64> {
    let (pick_up, limit) = (x.pick_up, x.limit);
    let (mut at, mut heats) = (stretch.before, stretch.then.abs() > pick_up);
    let ends = stretch.crossings(Sense::Magnitude, pick_up).chain([(stretch.t, false)]);
    let mut met = None;
    for (end, then_heats) in ends {
        if heats {
            let rated = x.rated;
            let gain = |to: f64| stretch.square_integral(at, to) - rated * rated * (to - at);
            let all = gain(end);
            if state.since.is_none() && state.sum + all >= limit {
                let missing = limit - state.sum;
                state.since = Some(rises_to(gain, missing, at, end));
            }
            state.sum += all;
        } else {
            let rest = end - at;
            let cooled = match x.cooling {
                Cooling::Rate(rate) => (state.sum - rate * rest).max(0.0),
                Cooling::TimeConstant(tau) => state.sum * Lane::exp(-rest / tau),
            };
            if cooled < limit {
                met = met.or(state.since.map(|s| s.max(from)).filter(|&s| s <= end));
                state.since = None;
            }
            state.sum = cooled;
        }
        (at, heats) = (end, then_heats);
    }
    met.or(state.since.map(|s| s.max(from)))
}

/// Where a rising function, zero at `from`, reaches a value that it exceeds at `to`: by bisection to the last digit.
fn rises_to(f: impl Fn(f64) -> f64, value: f64, from: f64, to: f64) -> f64 {
    let (mut low, mut high) = (from, to);
    loop {
        let middle = low + 0.5 * (high - low);
        if middle <= low || middle >= high {
            return high;
        }
        if f(middle) < value {
            low = middle;
        } else {
            high = middle;
        }
    }
}
