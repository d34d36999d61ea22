//! What the events of a run come to: how often, how long, how much. Gauges look on at the ends of steps, after
//! temperatures have been exchanged; they order nothing, and the step lengths do not depend on them but for the ends of
//! stated intervals.
//!
//! A fault lasts from where it is marked ([`Board::fault`]) or, once it was cleared,
//! from a retry while it stands, until the protection's meter says that its current is gone
//! ([`let_through`](crate::control::let_through)).
//!
//! [`Board::fault`]: crate::control::board::Board::fault

use std::ops::Range;

use super::burst::{Burst, Bursts, Taken};
use crate::circuit::probe::Probe;
use crate::control::crossing::{Sense, Stretch};
use crate::equations::system::System;
use crate::readout::Readout;
use crate::recorder::{Event, EventKind};

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measured {
    /// How many events of a kind the subject makes.
    Count(EventKind),
    /// How long its faults last, from their start until they are cleared, s.
    Clearing,
    /// ∫ x² dt of the probe over them, A²s for a current.
    LetThrough,
    /// Rise of the probe over the interval (a running integral: an energy, J).
    Rise,
    /// Time for which the probe is above the level within the interval, s.
    Above,
    /// What the probe comes to in the bursts of the gauge.
    Bursts(Taken),
    /// The most that is left of the probe's rise (a running integral: an energy, J) where the level, a constant power in
    /// W, carries it off.
    Left,
}

/// A gauge.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// What is measured.
    pub measured: Measured,
    /// The protection whose events count; empty where none do.
    pub subject: String,
    /// What is read, where something is.
    pub probe: Option<Probe>,
    /// The level of [`Measured::Above`]; 0 elsewhere.
    pub level: f64,
    /// When the bursts of [`Measured::Bursts`] last; `None` elsewhere.
    pub burst: Option<Burst>,
    /// The interval, s: events in it count, and faults that start in it.
    pub from: f64,
    /// Its end, s.
    pub to: f64,
}

/// What a gauge shows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Reading {
    /// What has come to its end: events, or faults that were cleared.
    pub count: u32,
    /// Least value, that of a fault which still stands included; NaN where there is none.
    pub least: f64,
    /// Largest value.
    pub largest: f64,
    /// Whether a fault still stands, so that its value may grow.
    pub open: bool,
    /// Of [`Measured::Above`] by how much the time changes if the quantity is off by one unit, s.
    pub per_unit: f64,
    /// What the straight lines between the ends of steps are estimated to make the value wrong by, from how the
    /// quantity bends; at least 0.
    pub bent: f64,
}

/// What a gauge knows.
#[derive(Clone, Copy, Debug)]
struct Known {
    count: u32,
    least: f64,
    largest: f64,
    /// Start of the fault that stands, s, the integral there and its error.
    running: Option<(f64, f64, f64)>,
    /// The last trip, s.
    tripped: f64,
    /// Integral until now.
    sum: f64,
    /// Slope and length of the last stretch; none after a jump.
    slope: Option<(f64, f64)>,
    /// How the quantity bends over the last stretch, its unit over s².
    bend: f64,
    /// Error of the integral until now (signed), and the largest of a value that is over.
    bent: f64,
    most_bent: f64,
    /// Time above the level less and plus one unit.
    near: (f64, f64),
    /// The probe at the start and the end of the interval.
    ends: (f64, f64),
}

#[derive(Clone, Debug)]
struct Running {
    gauge: Gauge,
    /// Numbers of the values that it reads: of its probe, then of what its bursts read beside it.
    reads: Range<usize>,
    bursts: Option<Bursts>,
    /// Values at both ends of the last stretch.
    then: f64,
    now: f64,
    /// The value now: after a jump another than `now`.
    after: f64,
    known: Known,
}

/// All gauges of a run.
#[derive(Clone, Debug)]
pub(super) struct Gauges {
    all: Vec<Running>,
    values: usize,
    /// Both ends of the last stretch, s.
    span: (f64, f64),
    began: bool,
    /// The last start of a fault that was taken up, s.
    taken: f64,
}

impl Gauges {
    pub(super) fn new(gauges: Vec<Gauge>) -> Self {
        let running = |gauge: Gauge| Running {
            reads: 0..0,
            bursts: match (gauge.measured, &gauge.burst) {
                (Measured::Bursts(taken), Some(burst)) => Some(Bursts::new(taken, burst)),
                _ => None,
            },
            then: 0.0,
            now: 0.0,
            after: 0.0,
            known: Known::NOTHING,
            gauge,
        };
        Self {
            all: gauges.into_iter().map(running).collect(),
            values: 0,
            span: (0.0, 0.0),
            began: false,
            taken: f64::NEG_INFINITY,
        }
    }

    /// What is read at the ends of steps, behind others of which the first that counts is number `begin`.
    pub(super) fn readouts(&mut self, system: &System<f64>, out: &mut Vec<Readout<f64>>, begin: usize) {
        let before = out.len();
        for g in &mut self.all {
            let first = out.len() - begin;
            if let Some(probe) = &g.gauge.probe {
                let beside = g.bursts.iter().flat_map(Bursts::probes);
                out.extend([probe].into_iter().chain(beside).map(|p| Readout::new(p, system)));
            }
            g.reads = first..out.len() - begin;
        }
        self.values = out.len() - before;
    }

    /// How many values are read.
    pub(super) fn values(&self) -> usize {
        self.values
    }

    /// The next instant after t at which a step must end, s.
    pub(super) fn wakes(&self, t: f64) -> f64 {
        let timed = |g: &&Running| matches!(g.gauge.measured, Measured::Rise | Measured::Above);
        let ends = self.all.iter().filter(timed).flat_map(|g| [g.gauge.from, g.gauge.to]);
        ends.filter(|&at| at > t).fold(f64::INFINITY, f64::min)
    }

    /// Looks at the end of a step at t, s; after a jump once more at the same instant. `values`: all from the first that
    /// counts ([`Gauges::readouts`]).
    pub(super) fn look(&mut self, t: f64, values: &[f64]) {
        let moved = self.began && t > self.span.1;
        if moved {
            self.span = (self.span.1, t);
        } else if !self.began {
            (self.span, self.began) = ((t, t), true);
        }
        for g in &mut self.all {
            let Some((&value, beside)) = values[g.reads.clone()].split_first() else { continue };
            if moved {
                (g.then, g.now) = (g.after, value);
                g.stretch(self.span);
            }
            if let Some(bursts) = &mut g.bursts {
                bursts.look(g.after, value, beside);
            }
            g.after = value;
            let (begin, end) = (g.gauge.from, g.gauge.to);
            if !moved && value != g.now {
                g.known.slope = None;
            }
            if t <= begin || g.known.ends.0.is_nan() {
                g.known.ends.0 = value;
            }
            if t <= end {
                g.known.ends.1 = value;
            }
        }
    }

    /// Counts and measures anew from here on.
    pub(super) fn forget(&mut self) {
        for g in &mut self.all {
            g.known = Known::NOTHING;
            g.bursts.iter_mut().for_each(Bursts::forget);
        }
    }

    /// Takes an event of the step.
    pub(super) fn event(&mut self, event: &Event) {
        let span = self.span;
        for g in self.all.iter_mut().filter(|g| g.gauge.subject == event.subject) {
            let within = event.time >= g.gauge.from && event.time <= g.gauge.to;
            match g.gauge.measured {
                Measured::Count(kind) if kind == event.kind && within => g.known.count += 1,
                Measured::Clearing | Measured::LetThrough => g.fault(event, span),
                _ => {}
            }
        }
    }

    /// The end of a step: a fault stands since an instant, s, or none does.
    pub(super) fn fault(&mut self, stands: Option<f64>) {
        let fresh = stands.filter(|&at| at > self.taken);
        self.taken = fresh.unwrap_or(self.taken);
        let span = self.span;
        for g in &mut self.all {
            let within = |at: &f64| *at >= g.gauge.from && *at <= g.gauge.to;
            let start = fresh.filter(within);
            if let Some(at) = start {
                g.known.running = Some((at, g.sum_at(at, span), g.known.bent));
            }
            let known = &mut g.known;
            // A fault that went away before anything tripped was never one to be cleared.
            if stands.is_none() && known.running.is_some_and(|(at, ..)| known.tripped < at) {
                known.running = None;
            }
        }
    }

    /// What the gauges show, in the order of the setup.
    pub(super) fn readings(&self) -> Vec<Reading> {
        self.all.iter().map(|g| g.reading(self.span.1)).collect()
    }
}

impl Running {
    /// Adds a stretch of time.
    fn stretch(&mut self, (before, t): (f64, f64)) {
        let within = before >= self.gauge.from && t <= self.gauge.to;
        let s = Stretch { before, t, then: self.then, now: self.now };
        let known = &mut self.known;
        if matches!(self.gauge.measured, Measured::LetThrough | Measured::Clearing | Measured::Above) {
            known.turn(&s);
        }
        match self.gauge.measured {
            Measured::LetThrough => {
                known.sum += s.square_integral(before, t);
                // A parabola lies from its chord by c/2·s·(s − h): ∫ of twice that and the mean.
                known.bent -= known.bend * 0.5 * (s.then + s.now) * (t - before).powi(3) / 6.0;
            }
            Measured::Above if within => {
                let level = self.gauge.level;
                known.sum += s.above(level);
                if Sense::Above.exceeds(s.then, level) != Sense::Above.exceeds(s.now, level) {
                    known.bent += known.late(&s);
                }
                known.near.0 += s.above(level - 1.0);
                known.near.1 += s.above(level + 1.0);
            }
            Measured::Left => {
                known.sum = (known.sum - self.gauge.level * (t - before)).max(0.0) + s.now - s.then;
                known.largest = known.largest.max(known.sum);
            }
            _ => {}
        }
    }

    /// The integral at an instant of the last stretch.
    fn sum_at(&self, at: f64, (before, t): (f64, f64)) -> f64 {
        if at >= t || self.gauge.measured != Measured::LetThrough {
            return self.known.sum;
        }
        let s = Stretch { before, t, then: self.then, now: self.now };
        self.known.sum - s.square_integral(at.max(before), t)
    }

    /// What an event of the protection does to a fault.
    fn fault(&mut self, event: &Event, span: (f64, f64)) {
        match event.kind {
            EventKind::Trip => self.known.tripped = event.time,
            EventKind::Retry => {
                let within = event.time >= self.gauge.from && event.time <= self.gauge.to;
                // Where the fault is gone, the end of the step takes this back.
                if within && self.known.running.is_none() && self.known.count > 0 {
                    let sum = self.sum_at(event.time, span);
                    self.known.running = Some((event.time, sum, self.known.bent));
                }
            }
            EventKind::Cleared => {
                let Some((start, sum, bent)) = self.known.running else { return };
                let s = Stretch { before: span.0, t: span.1, then: self.then, now: self.now };
                let (value, bent) = match self.gauge.measured {
                    Measured::Clearing => (event.time - start, self.known.late(&s)),
                    _ => (self.sum_at(event.time, span) - sum, (self.known.bent - bent).abs()),
                };
                let known = &mut self.known;
                known.most_bent = known.most_bent.max(bent);
                (known.running, known.count) = (None, known.count + 1);
                (known.least, known.largest) = (known.least.min(value), known.largest.max(value));
            }
            _ => {}
        }
    }

    fn reading(&self, t: f64) -> Reading {
        let known = &self.known;
        let one = |count, value: f64, per_unit, bent| Reading {
            count,
            least: value,
            largest: value,
            open: false,
            per_unit,
            bent,
        };
        match self.gauge.measured {
            Measured::Count(_) => one(known.count, f64::from(known.count), 0.0, 0.0),
            Measured::Bursts(_) => {
                let (count, largest, open) = self.bursts.as_ref().map_or((0, 0.0, false), Bursts::reading);
                Reading { open, ..one(count, largest, 0.0, 0.0) }
            }
            Measured::Left => one(1, known.largest.max(0.0), 0.0, 0.0),
            Measured::Rise => one(1, known.ends.1 - known.ends.0, 0.0, 0.0),
            Measured::Above => one(1, known.sum, 0.5 * (known.near.0 - known.near.1).max(0.0), known.bent),
            Measured::Clearing | Measured::LetThrough => {
                let so_far = known.running.map(|(start, sum, _)| match self.gauge.measured {
                    Measured::Clearing => t - start,
                    _ => known.sum - sum,
                });
                let least = so_far.map_or(known.least, |x| known.least.min(x));
                let largest = so_far.map_or(known.largest, |x| known.largest.max(x));
                let number = |x: f64| if x.is_finite() { x } else { f64::NAN };
                Reading {
                    count: known.count,
                    least: number(least),
                    largest: number(largest),
                    open: so_far.is_some(),
                    per_unit: 0.0,
                    bent: known.most_bent,
                }
            }
        }
    }
}

impl Known {
    const NOTHING: Self = Self {
        count: 0,
        least: f64::INFINITY,
        largest: f64::NEG_INFINITY,
        running: None,
        tripped: f64::NEG_INFINITY,
        sum: 0.0,
        slope: None,
        bend: 0.0,
        bent: 0.0,
        most_bent: 0.0,
        near: (0.0, 0.0),
        ends: (f64::NAN, f64::NAN),
    };

    /// Takes in how a stretch goes on from the last one.
    fn turn(&mut self, s: &Stretch) {
        let h = s.t - s.before;
        let slope = (s.now - s.then) / h;
        self.bend = self.slope.map_or(0.0, |(last, length)| 2.0 * (slope - last) / (h + length));
        self.slope = Some((slope, h));
    }

    /// How far the instant at which a stretch reaches a level may lie from that of its chord, s: the distance of a
    /// parabola from its chord, c·h²/8, over the slope; no more than the stretch.
    fn late(&self, s: &Stretch) -> f64 {
        let h = s.t - s.before;
        let slope = ((s.now - s.then) / h).abs();
        (self.bend.abs() * h * h / 8.0 / slope).min(h)
    }
}
