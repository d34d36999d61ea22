//! Extremes of watched quantities, and the events their crossings make.

use super::vertex::{Pace, Vertex};
use crate::arithmetic::lane::Lane;
use crate::circuit::probe::Probe;
use crate::equations::system::System;
use crate::readout::{Readout, Sources};
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
}

/// The extremes a quantity has had: value and instant (s), lane by lane merged to the worst.
#[derive(Clone, Debug, PartialEq)]
pub struct Extreme<L> {
    /// Smallest value.
    pub least: L,
    /// When lane 0 had it, s.
    pub least_at: f64,
    /// Largest value.
    pub most: L,
    /// When lane 0 had it, s.
    pub most_at: f64,
}

impl<L: Lane> Extreme<L> {
    fn nothing() -> Self {
        Self {
            least: L::splat(f64::INFINITY),
            least_at: f64::NAN,
            most: L::splat(f64::NEG_INFINITY),
            most_at: f64::NAN,
        }
    }
}

/// What was seen of one quantity in one lane: values at the ends of steps, and their instants, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Smallest value; ∞ where nothing was seen.
    pub least: f64,
    /// When lane 0 had it.
    pub least_at: f64,
    /// Largest value; −∞ where nothing was seen.
    pub largest: f64,
    /// When lane 0 had it.
    pub largest_at: f64,
    /// What both are estimated to miss between the ends of steps ([`Watcher::missed`]).
    pub missed: (f64, f64),
    /// When it first was outside its bounds in any lane; `None`: it never was, or makes no events.
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

/// Watches quantities at every step.
#[derive(Clone, Debug)]
pub struct Watcher<L> {
    watches: Vec<Watch>,
    readouts: Vec<Readout<L>>,
    /// Present values.
    pub now: Vec<L>,
    /// Extremes so far.
    pub extremes: Vec<Extreme<L>>,
    outside: Vec<bool>,
    since: Vec<Option<f64>>,
    pace: Pace,
    vertices: Vec<Vertex<L>>,
}

impl<L: Lane> Watcher<L> {
    /// Compiles the probes.
    pub fn new(watches: Vec<Watch>, system: &System<L>) -> Self {
        Self {
            readouts: watches.iter().map(|w| Readout::new(&w.probe, system)).collect(),
            now: vec![L::splat(0.0); watches.len()],
            extremes: vec![Extreme::nothing(); watches.len()],
            outside: vec![false; watches.len()],
            since: vec![None; watches.len()],
            pace: Pace::default(),
            vertices: vec![Vertex::new(); watches.len()],
            watches,
        }
    }

    /// Watches nothing.
    pub(super) fn empty() -> Self {
        let (watches, readouts, now, extremes, outside, since, pace, vertices) = Default::default();
        Self { watches, readouts, now, extremes, outside, since, pace, vertices }
    }

    /// What is watched.
    pub fn watches(&self) -> &[Watch] {
        &self.watches
    }

    /// What the extremes of a quantity are estimated to miss between the ends of steps: least (at most 0) and largest
    /// (at least 0). Temperatures are not estimated so: within a step they move by less than half the heat bound, and
    /// an extreme there is missed by less than that.
    pub fn missed(&self, k: usize) -> (L, L) {
        let zero = L::splat(0.0);
        if matches!(self.watches[k].probe, Probe::Temperature(_)) {
            return (zero, zero);
        }
        let (extreme, vertex) = (&self.extremes[k], &self.vertices[k]);
        let known = |missed: L| L::select(missed.abs().lt(L::splat(f64::INFINITY)), missed, zero);
        (known(vertex.least - extreme.least), known(vertex.most - extreme.most))
    }

    /// All that was seen in a lane, in the order of the watches.
    pub fn seen(&self, lane: usize) -> Vec<Seen> {
        let one = |(k, e): (usize, &Extreme<L>)| Seen {
            least: e.least.lane(lane),
            least_at: e.least_at,
            largest: e.most.lane(lane),
            largest_at: e.most_at,
            missed: (self.missed(k).0.lane(lane), self.missed(k).1.lane(lane)),
            since: self.since[k],
        };
        self.extremes.iter().enumerate().map(one).collect()
    }

    /// Forgets what was seen.
    pub(super) fn forget(&mut self) {
        self.extremes.fill(Extreme::nothing());
        self.since.fill(None);
        self.outside.fill(false);
        self.vertices.fill(Vertex::new());
        self.pace.anew();
    }

    /// A course begins anew: what comes does not go on from what was.
    pub(super) fn anew(&mut self) {
        self.pace.anew();
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

    /// Reads all at the instant t, s, keeps extremes, and tells crossings.
    pub fn look(&mut self, t: f64, system: &System<L>, from: &Sources<'_, L>, events: &mut Vec<Event>) {
        let steps = self.pace.next(t);
        for (k, readout) in self.readouts.iter().enumerate() {
            let value = readout.read(system, from);
            self.vertices[k].look(value, steps);
            self.now[k] = value;
            let extreme = &mut self.extremes[k];
            if value.lane(0) > extreme.most.lane(0) {
                extreme.most_at = t;
            }
            if value.lane(0) < extreme.least.lane(0) {
                extreme.least_at = t;
            }
            extreme.most = extreme.most.max(value);
            extreme.least = extreme.least.min(value);
            let watch = &self.watches[k];
            let Some(kind) = watch.event else { continue };
            let (above, below) = (value.widest() > watch.upper, -(-value).widest() < watch.lower);
            let outside = above || below;
            if outside && !self.outside[k] {
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
                    value: value.lane(0),
                    unit: watch.unit,
                    level,
                    ..Event::new(t, kind, &watch.subject)
                });
            }
            self.outside[k] = outside;
        }
    }
}
