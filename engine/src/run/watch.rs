//! Extremes of watched quantities, and the events their crossings make.

use std::ops::Range;

use super::vertex::{Pace, Steps, reach, vertex};
use crate::arithmetic::lane::Lane;
use crate::circuit::probe::Probe;
use crate::equations::system::System;
use crate::readout::Readout;
use crate::recorder::{Action, Column, Event, EventKind};
use crate::units::people;

/// A quantity to watch.
#[derive(Clone, Debug, PartialEq)]
pub struct Watch {
    /// Short name.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// Unit symbol.
    pub unit: &'static str,
    /// Where it is read.
    pub probe: Probe,
    /// Whom an event concerns (component name).
    pub subject: String,
    /// What a rise above `upper` or a fall below `lower` is called; `None`: only extremes are kept.
    pub event: Option<EventKind>,
    /// Lower bound; −∞ where there is none.
    pub lower: f64,
    /// Upper bound; ∞ where there is none.
    pub upper: f64,
    /// From when until when extremes are kept and bounds hold, s.
    pub during: (f64, f64),
}

/// For a watch that holds throughout a run.
pub const ALWAYS: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

impl Watch {
    fn holds(&self, t: f64) -> bool {
        self.during.0 <= t && t <= self.during.1
    }
}

/// What was seen of one quantity: values at the ends of steps, and their instants, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Smallest value; ∞ where nothing was seen.
    pub least: f64,
    /// When it had it.
    pub least_at: f64,
    /// Largest value; −∞ where nothing was seen.
    pub largest: f64,
    /// When it had it.
    pub largest_at: f64,
    /// What both are estimated to miss between the ends of steps ([`Watcher::missed`]).
    pub missed: (f64, f64),
    /// When it first was outside its bounds; `None`: it never was, or makes no events.
    pub since: Option<f64>,
}

impl Seen {
    /// Nothing was seen.
    pub const NOTHING: Self = Self {
        least: f64::INFINITY,
        least_at: f64::NAN,
        largest: f64::NEG_INFINITY,
        largest_at: f64::NAN,
        missed: (0.0, 0.0),
        since: None,
    };

    /// Takes in what was seen of the same quantity elsewhere. What an extreme misses stays with it.
    pub fn take(&mut self, other: &Self) {
        let reach = |s: &Self| (s.least + s.missed.0, s.largest + s.missed.1);
        let (mine, theirs) = (reach(self), reach(other));
        if theirs.0 < mine.0 {
            (self.least, self.least_at, self.missed.0) = (other.least, other.least_at, other.missed.0);
        }
        if theirs.1 > mine.1 {
            (self.largest, self.largest_at, self.missed.1) =
                (other.largest, other.largest_at, other.missed.1);
        }
        self.since = match (self.since, other.since) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
    }
}

/// How many quantities are looked at together.
const TOGETHER: usize = 8;

/// Watches quantities at every step. One entry per quantity in every list.
///
/// Most steps bring nothing new. So each quantity has a band, within its extremes and its bounds: while no value of a
/// group, nor the vertex that may lie between its values, leaves its band, the group is not looked at further.
#[derive(Clone, Debug)]
pub struct Watcher {
    watches: Vec<Watch>,
    /// Values at the ends of the last steps, the latest first.
    past: [Vec<f64>; 4],
    /// The bands.
    low: Vec<f64>,
    high: Vec<f64>,
    /// Largest values since rows of the account last took them.
    recent: Vec<f64>,
    /// Extremes so far, and their instants, s; then those with vertices between steps.
    least: Vec<f64>,
    least_at: Vec<f64>,
    most: Vec<f64>,
    most_at: Vec<f64>,
    lowest: Vec<f64>,
    highest: Vec<f64>,
    /// Bounds whose crossings make events; none where these are infinite.
    lower: Vec<f64>,
    upper: Vec<f64>,
    outside: Vec<bool>,
    since: Vec<Option<f64>>,
    pace: Pace,
}

impl Watcher {
    /// Watches these.
    pub fn new(watches: Vec<Watch>) -> Self {
        let n = watches.len();
        let bounds = |of: fn(&Watch) -> f64, none: f64| {
            watches.iter().map(|w| if w.event.is_some() { of(w) } else { none }).collect()
        };
        let zeros = || vec![0.0; n];
        let mut watcher = Self {
            past: std::array::from_fn(|_| zeros()),
            low: zeros(),
            high: zeros(),
            recent: zeros(),
            least: zeros(),
            least_at: zeros(),
            most: zeros(),
            most_at: zeros(),
            lowest: zeros(),
            highest: zeros(),
            lower: bounds(|w| w.lower, f64::NEG_INFINITY),
            upper: bounds(|w| w.upper, f64::INFINITY),
            outside: vec![false; n],
            since: vec![None; n],
            pace: Pace::default(),
            watches,
        };
        watcher.forget();
        watcher.forget_recent();
        watcher
    }

    /// What is watched.
    pub fn watches(&self) -> &[Watch] {
        &self.watches
    }

    /// Present values.
    pub(super) fn now(&self) -> &[f64] {
        &self.past[0]
    }

    /// What the extremes of a quantity are estimated to miss between the ends of steps: least (at most 0) and largest
    /// (at least 0). Temperatures are not estimated so: within a step they move by less than half the heat bound, and
    /// an extreme there is missed by less than that.
    pub fn missed(&self, k: usize) -> (f64, f64) {
        if matches!(self.watches[k].probe, Probe::Temperature(_)) {
            return (0.0, 0.0);
        }
        let known = |missed: f64| if missed.is_finite() { missed } else { 0.0 };
        (known(self.lowest[k] - self.least[k]), known(self.highest[k] - self.most[k]))
    }

    /// All that was seen, in the order of the watches.
    pub fn seen(&self) -> Vec<Seen> {
        let one = |k: usize| Seen {
            least: self.least[k],
            least_at: self.least_at[k],
            largest: self.most[k],
            largest_at: self.most_at[k],
            missed: self.missed(k),
            since: self.since[k],
        };
        (0..self.watches.len()).map(one).collect()
    }

    /// What is read at the ends of steps.
    pub(super) fn readouts(&self, system: &System<f64>, out: &mut Vec<Readout<f64>>) {
        out.extend(self.watches.iter().map(|w| Readout::new(&w.probe, system)));
    }

    /// Forgets what was seen.
    pub(super) fn forget(&mut self) {
        for least in [&mut self.least, &mut self.lowest, &mut self.low] {
            least.fill(f64::INFINITY);
        }
        for most in [&mut self.most, &mut self.highest, &mut self.high] {
            most.fill(f64::NEG_INFINITY);
        }
        self.least_at.fill(f64::NAN);
        self.most_at.fill(f64::NAN);
        self.since.fill(None);
        self.outside.fill(false);
        self.pace.anew();
    }

    /// A course begins anew: what comes does not go on from what was.
    pub(super) fn anew(&mut self) {
        self.pace.anew();
    }

    /// The largest values since [`Watcher::forget_recent`].
    pub(super) fn recent(&self) -> &[f64] {
        &self.recent
    }

    pub(super) fn forget_recent(&mut self) {
        self.recent.fill(f64::NEG_INFINITY);
    }

    /// How many of the watches are reported in columns and rows: all before the first that only guards a law's range.
    pub fn recorded(&self) -> usize {
        let guards = |w: &Watch| w.event == Some(EventKind::OutOfRange);
        self.watches.iter().position(guards).unwrap_or(self.watches.len())
    }

    /// Columns for a recorder.
    pub fn columns(&self) -> Vec<Column> {
        let column = |w: &Watch| Column {
            name: w.name.clone(),
            long_name: w.long_name.clone(),
            unit: w.unit.to_string(),
        };
        self.watches[..self.recorded()].iter().map(column).collect()
    }

    /// Takes the values at the instant t, s, keeps extremes, and tells crossings.
    pub fn look(&mut self, t: f64, values: &[f64], events: &mut Vec<Event>) {
        if values.is_empty() {
            return;
        }
        let steps = self.pace.next(t);
        self.past.rotate_right(1);
        self.past[0].copy_from_slice(values);
        for (most, now) in self.recent.iter_mut().zip(values) {
            *most = Lane::max(*most, *now);
        }
        let n = values.len();
        // Where there are no three values in a row, the latest counts alone.
        let (rise, fall) = steps[0].map_or((0.0, 1.0), reach);
        for begin in (0..n).step_by(TOGETHER) {
            let group = begin..n.min(begin + TOGETHER);
            if self.leaves(group.clone(), rise, fall) {
                group.for_each(|k| self.take(k, t, steps, events));
            }
        }
    }

    /// Whether a value of a group, or a vertex within reach of it, may leave its band. Without branches, so that it is
    /// done for several quantities at once.
    fn leaves(&self, group: Range<usize>, rise: f64, fall: f64) -> bool {
        let [v2, v1, v0, _] = &self.past;
        let of = |list: &Vec<f64>| -> [f64; TOGETHER] {
            let mut own = [0.0; TOGETHER];
            let list = &list[group.clone()];
            if let Some(whole) = list.first_chunk() {
                return *whole;
            }
            own[..list.len()].copy_from_slice(list);
            own
        };
        let (v2, v1, v0, low, high) = (of(v2), of(v1), of(v0), of(&self.low), of(&self.high));
        let mut within = true;
        for k in 0..TOGETHER {
            let beyond = (rise * (v1[k] - v0[k]).abs()).max(fall * (v2[k] - v1[k]).abs());
            // Written so that what is not a number leaves.
            within &= (v1[k] + beyond <= high[k]) & (v1[k] - beyond >= low[k]);
        }
        !within
    }

    /// Takes the present value of a quantity into its extremes, with the vertex before it.
    fn take(&mut self, k: usize, t: f64, steps: [Option<Steps>; 2], events: &mut Vec<Event>) {
        if !self.watches[k].holds(t) {
            return;
        }
        let past = self.past.each_ref().map(|list| list[k]);
        let now = past[0];
        if now < self.least[k] {
            (self.least[k], self.least_at[k]) = (now, t);
        }
        if now > self.most[k] {
            (self.most[k], self.most_at[k]) = (now, t);
        }
        let vertex = vertex(past, steps);
        self.lowest[k] = self.lowest[k].min(now).min(vertex);
        self.highest[k] = self.highest[k].max(now).max(vertex);
        let (above, below) = (now > self.upper[k], now < self.lower[k]);
        if (above || below) != self.outside[k] {
            self.cross(k, t, events);
        }
        (self.low[k], self.high[k]) = match self.outside[k] {
            // It may come back at any time.
            true => (f64::INFINITY, f64::NEG_INFINITY),
            false => (self.least[k].max(self.lower[k]), self.most[k].min(self.upper[k])),
        };
    }

    fn cross(&mut self, k: usize, t: f64, events: &mut Vec<Event>) {
        let (watch, value) = (&self.watches[k], self.past[0][k]);
        let (above, below) = (value > self.upper[k], value < self.lower[k]);
        let outside = above || below;
        self.outside[k] = outside;
        let Some(kind) = watch.event.filter(|_| outside) else { return };
        self.since[k].get_or_insert(t);
        let level = if above { watch.upper } else { watch.lower };
        let bound = people(level, watch.unit);
        let note = match (kind, above) {
            (EventKind::Clamp, _) => format!("starts to conduct (above {bound})"),
            (EventKind::Avalanche, _) => watch.long_name.clone(),
            (_, true) => format!("{} rises above {bound}", watch.long_name),
            (_, false) => format!("{} falls below {bound}", watch.long_name),
        };
        events.push(Event {
            action: if above { Action::Rises } else { Action::Falls },
            note,
            value,
            unit: watch.unit,
            level,
            ..Event::new(t, kind, &watch.subject)
        });
    }
}
