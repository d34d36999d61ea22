//! Extremes of watched quantities, and the events their crossings make.

use super::vertex::{Pace, Vertices};
use crate::arithmetic::lane::Lane;
use crate::circuit::probe::Probe;
use crate::equations::system::System;
use crate::readout::{Raw, Readouts, Sources};
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

/// Watches quantities at every step. One entry per quantity in every list.
#[derive(Clone, Debug)]
pub struct Watcher {
    watches: Vec<Watch>,
    readouts: Readouts,
    /// Present values.
    pub now: Vec<f64>,
    /// Extremes so far, and their instants, s.
    least: Vec<f64>,
    least_at: Vec<f64>,
    most: Vec<f64>,
    most_at: Vec<f64>,
    /// Bounds whose crossings make events; none where these are infinite.
    lower: Vec<f64>,
    upper: Vec<f64>,
    /// 1 outside, else 0.
    outside: Vec<u64>,
    since: Vec<Option<f64>>,
    /// Those that do not hold throughout.
    sometimes: Vec<usize>,
    /// Extremes of those that do not hold now.
    aside: Vec<(usize, [f64; 4])>,
    pace: Pace,
    vertices: Vertices,
}

impl Watcher {
    /// Compiles the probes.
    pub fn new(watches: Vec<Watch>, system: &System<f64>) -> Self {
        let n = watches.len();
        let bounds = |of: fn(&Watch) -> f64, none: f64| {
            watches.iter().map(|w| if w.event.is_some() { of(w) } else { none }).collect()
        };
        let mut watcher = Self {
            readouts: Readouts::new(watches.iter().map(|w| &w.probe), system),
            now: vec![0.0; n],
            least: vec![0.0; n],
            least_at: vec![0.0; n],
            most: vec![0.0; n],
            most_at: vec![0.0; n],
            lower: bounds(|w| w.lower, f64::NEG_INFINITY),
            upper: bounds(|w| w.upper, f64::INFINITY),
            outside: vec![0; n],
            since: vec![None; n],
            sometimes: (0..n).filter(|k| watches[*k].during != ALWAYS).collect(),
            aside: Vec::new(),
            pace: Pace::default(),
            vertices: Vertices::new(n),
            watches,
        };
        watcher.forget();
        watcher
    }

    /// What is watched.
    pub fn watches(&self) -> &[Watch] {
        &self.watches
    }

    /// What the extremes of a quantity are estimated to miss between the ends of steps: least (at most 0) and largest
    /// (at least 0). Temperatures are not estimated so: within a step they move by less than half the heat bound, and
    /// an extreme there is missed by less than that.
    pub fn missed(&self, k: usize) -> (f64, f64) {
        if matches!(self.watches[k].probe, Probe::Temperature(_)) {
            return (0.0, 0.0);
        }
        let known = |missed: f64| if missed.is_finite() { missed } else { 0.0 };
        (known(self.vertices.least[k] - self.least[k]), known(self.vertices.most[k] - self.most[k]))
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

    /// Raw values that are read ([`Readout::raw`](crate::readout::Readout::raw)).
    pub(super) fn raw(&self, accounts: usize, out: &mut Vec<Raw>) {
        self.readouts.raw(accounts, out);
    }

    /// Forgets what was seen.
    pub(super) fn forget(&mut self) {
        self.least.fill(f64::INFINITY);
        self.most.fill(f64::NEG_INFINITY);
        self.least_at.fill(f64::NAN);
        self.most_at.fill(f64::NAN);
        self.since.fill(None);
        self.outside.fill(0);
        self.vertices = Vertices::new(self.watches.len());
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
    pub fn look(&mut self, t: f64, system: &System<f64>, from: &Sources<'_, f64>, events: &mut Vec<Event>) {
        if self.watches.is_empty() {
            return;
        }
        let steps = self.pace.next(t);
        self.readouts.read(system, from, &mut self.now);
        self.vertices.look(&self.now, steps);
        let absent = self.sometimes.iter().filter(|k| !self.watches[**k].holds(t));
        let extremes = |k: usize| [self.least[k], self.least_at[k], self.most[k], self.most_at[k]];
        self.aside.clear();
        self.aside.extend(absent.map(|&k| (k, extremes(k))));
        if self.keep_extremes(t) {
            (0..self.now.len()).for_each(|k| self.cross(k, t, events));
        }
        for &(k, kept) in &self.aside {
            [self.least[k], self.least_at[k], self.most[k], self.most_at[k]] = kept;
        }
    }

    /// Takes the present values into the extremes; whether some went out of their bounds, or came back. Without
    /// branches, so that it is done for several quantities at once.
    fn keep_extremes(&mut self, t: f64) -> bool {
        let n = self.now.len();
        let (now, lower, upper) = (&self.now[..n], &self.lower[..n], &self.upper[..n]);
        let (least, least_at) = (&mut self.least[..n], &mut self.least_at[..n]);
        for k in 0..n {
            least_at[k] = if now[k] < least[k] { t } else { least_at[k] };
            least[k] = Lane::min(least[k], now[k]);
        }
        let (most, most_at) = (&mut self.most[..n], &mut self.most_at[..n]);
        for k in 0..n {
            most_at[k] = if now[k] > most[k] { t } else { most_at[k] };
            most[k] = Lane::max(most[k], now[k]);
        }
        let outside = &self.outside[..n];
        let changed = |k: usize| u64::from(now[k] > upper[k] || now[k] < lower[k]) ^ outside[k];
        (0..n).fold(0, |any, k| any | changed(k)) != 0
    }

    fn cross(&mut self, k: usize, t: f64, events: &mut Vec<Event>) {
        let (watch, value) = (&self.watches[k], self.now[k]);
        if !watch.holds(t) {
            return;
        }
        let (above, below) = (value > self.upper[k], value < self.lower[k]);
        let outside = above || below;
        let was = std::mem::replace(&mut self.outside[k], u64::from(outside));
        let Some(kind) = watch.event.filter(|_| outside && was == 0) else { return };
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
