//! A period cut into segments that are solved side by side: multiple shooting (Stoer & Bulirsch, *Introduction to
//! Numerical Analysis*, section 7.3.5).
//!
//! In a sweep each segment goes from its border to the next. The unknowns are what linear inductors and capacitors keep
//! at the borders ([`keepers`]); all else is taken from the segment before, as the sweep before left it, or a search with
//! other steps. Devices and strays forget over some edges what they came from, so a run begins some edges before its
//! border and counts from there on: what it finds is of its own steps. By how much a border and the end of the segment
//! before differ in the same sweep is the closing error. The sensitivity of an end to its beginning is one matrix for all
//! segments, fitted to what two sweeps have shown of all of them (least squares); Newton's step with it gives the next
//! borders. A sensitivity that differs between segments costs sweeps, not accuracy.
//!
//! Runs begin where a known edge opens a window, so that a beginning is nothing that a run does not meet at every edge. The
//! control of each segment stands as it does there, which can be known without the circuit where control depends on time
//! alone ([`Run::pass`]).

mod envelope;
mod found;
mod sensitivity;

use std::cmp::Reverse;
use std::sync::atomic::{AtomicU64, Ordering};

use nalgebra::{DMatrix, DVector};

use self::sensitivity::fitted;
use super::keeper::{Keeper, keepers, scales};
use super::steady::CycleError;
use super::stretch::Stretch;
use crate::accounts::counters::Counters;
use crate::recorder::Samples;
use crate::run::saved::Saved;
use crate::run::time_loop::{Ended, Run};

/// Solves stretches in any order, on any threads ([`solve`](super::stretch::solve) on one).
pub type Solve<'a> = &'a (dyn for<'s> Fn(Vec<Stretch<'s>>) -> Vec<Stretch<'s>> + Sync);

/// Share of a segment by which it begins before its border. What devices and strays keep was found by other steps, or
/// at other temperatures; over some edges they forget it.
const LEAD: f64 = 1.0 / 12.0;
/// How much less a sweep must leave than the one before; else the sensitivity is fitted anew.
const CONTRACTS: f64 = 0.3;
/// Parts of a period by which progress is told.
const PARTS: f64 = 1e12;

/// Unknowns, and what stands under d/dt.
type Point = (Vec<f64>, Vec<f64>);

/// Where segments begin: what one search has found, for another with other steps.
#[derive(Clone, Debug)]
pub struct Borders {
    /// Where the next segment begins to lead in.
    points: Vec<Point>,
    /// By what that one begins elsewhere: of each keeper, V or A.
    moves: Vec<DVector<f64>>,
    /// What is left at a segment's end of a small change at its beginning.
    map: Option<DMatrix<f64>>,
    /// The largest value of each unknown.
    largest: Vec<f64>,
    /// Steps of each segment.
    steps: Vec<u64>,
}

/// What was met on the way.
struct Met {
    /// Unknowns at the border.
    first: Vec<f64>,
    /// Where the next one begins to lead in.
    next: Point,
    record: Samples,
}

struct Segment {
    run: Run<f64>,
    /// Where it begins to lead in, as far as control goes.
    begin: Saved<f64>,
    /// Its border, where the next one begins to lead in, its end; s.
    stops: [f64; 3],
    /// Steps when it was run last.
    steps: u64,
}

/// A period in segments.
pub struct Segments {
    keepers: Vec<Keeper>,
    /// The carrier periods before each border, where there are carriers.
    carriers: Vec<f64>,
    segments: Vec<Segment>,
    borders: Option<Borders>,
    /// Values of the keepers at both ends of each segment in the last sweep.
    before: Option<[Vec<DVector<f64>>; 2]>,
    closing: f64,
    sweeps: u32,
    work: Counters,
    last: Counters,
}

impl std::fmt::Debug for Segments {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Segments").field("count", &self.segments.len()).finish_non_exhaustive()
    }
}

/// What a sweep has shown.
#[derive(Debug)]
pub struct Sweep {
    /// The largest difference between the end of a segment and the beginning of the next, relative to the largest
    /// voltage or current that is kept.
    pub closing: f64,
    /// By how much Newton's step moves the borders, in the same measure: the estimated distance to the periodic state.
    /// Infinite while no sensitivity is known.
    pub distance: f64,
    /// Samples of each segment.
    pub records: Vec<Samples>,
}

impl Segments {
    /// Cuts the period (s) after the first one of a run into `count` segments; where control has a carrier, that has
    /// the other period (s). None where control reads the circuit, where nothing is kept or a device keeps a flux, or
    /// where known edges open fewer windows than `fewest` in a period: such periods are short work.
    ///
    /// # Errors
    /// Of a controller.
    pub fn new(
        run: &Run<f64>,
        (period, carrier): (f64, Option<f64>),
        count: usize,
        fewest: u64,
    ) -> Result<Option<Self>, CycleError> {
        let keepers = keepers(run.system());
        if !run.is_led_by_time() || run.remembers() || keepers.is_empty() {
            return Ok(None);
        }
        let Some(mut control) = run.twin() else { return Ok(None) };
        let began = run.state().t;
        if control.pass(began + period)? < fewest {
            return Ok(None);
        }
        // Borders a whole number of carrier periods apart see the same of the ripple.
        let carrier = carrier.filter(|carrier| period / carrier >= 2.0 * count as f64);
        let carriers: Vec<f64> = match carrier {
            Some(carrier) => {
                (0..=count).map(|k| (k as f64 / count as f64 * period / carrier).round()).collect()
            }
            None => Vec::new(),
        };
        let segment = period / count as f64;
        let leads: Vec<(f64, f64)> = match carrier {
            Some(carrier) => carriers.iter().map(|before| (before * carrier, carrier)).collect(),
            None => (0..=count).map(|k| (k as f64 * segment, LEAD * segment)).collect(),
        };
        let mut borders = Vec::new();
        for (since, lead) in leads {
            control.pass_to_window(began + period + since)?;
            let begin = control.save();
            // The last border is the first one, a period later.
            control.pass_to_window(began + period + since + lead)?;
            borders.push((begin, control.state().t));
        }
        let mut segments = Vec::new();
        for pair in borders.windows(2) {
            let Some(run) = run.twin() else { return Ok(None) };
            let [(begin, border), (next, end)] = pair else { continue };
            segments.push(Segment { run, begin: begin.clone(), stops: [*border, next.t(), *end], steps: 0 });
        }
        Ok(Some(Self {
            keepers,
            carriers,
            segments,
            borders: None,
            before: None,
            closing: f64::INFINITY,
            sweeps: 0,
            work: Counters::default(),
            last: Counters::default(),
        }))
    }

    /// Begins at borders that a search near by has found.
    pub fn begin_at(&mut self, borders: Borders) {
        self.segments.iter_mut().zip(&borders.steps).for_each(|(segment, steps)| segment.steps = *steps);
        self.borders = Some(borders).filter(|b| b.points.len() == self.segments.len());
    }

    /// Where the next sweep begins.
    pub fn borders(&self) -> Option<&Borders> {
        self.borders.as_ref()
    }

    /// Whether the sensitivity is known, so that the next sweep may be the last.
    pub fn is_near(&self) -> bool {
        self.borders.as_ref().is_some_and(|b| b.map.is_some())
    }

    /// Solves every segment once, with the heat inputs held at these temperatures (°C), and finds the next borders.
    /// Samples are taken at every step where they are `kept`; `tell` is told how many periods have been run.
    ///
    /// # Errors
    /// [`CycleError`]; nothing is left to go on with then.
    pub fn sweep(
        &mut self,
        celsius: &[f64],
        kept: bool,
        tell: &(dyn Fn(f64) -> bool + Sync),
        solve: Solve<'_>,
    ) -> Result<Sweep, CycleError> {
        let count = self.segments.len();
        let from = self.borders.as_ref().map(|borders| {
            let each = (0..count).map(|k| {
                let before = (k + count - 1) % count;
                self.displaced(&borders.points[before], &borders.moves[before])
            });
            each.collect::<Vec<_>>()
        });
        let whole: f64 = self.segments.iter().map(|s| s.stops[2] - s.begin.t()).sum();
        let (_, met) = self.go(celsius, from.as_deref(), (3, kept), (whole, tell), solve)?;
        self.sweeps += 1;
        let starts = met.iter().map(|met| self.read(&met.first)).collect();
        let ends = self.segments.iter().map(|s| self.read(&s.run.state().x)).collect();
        let (points, records) = met.into_iter().map(|met| (met.next, met.record)).unzip();
        let (closing, distance) = self.correct(starts, ends, points);
        Ok(Sweep { closing, distance, records })
    }

    /// What is kept is elsewhere, by `change`.
    fn displaced(&self, (x, q): &Point, change: &DVector<f64>) -> Point {
        let mut q = q.clone();
        for (keeper, change) in self.keepers.iter().zip(change.iter()) {
            keeper.rows.iter().for_each(|(row, each)| q[*row] += each * change);
        }
        let ground = q.len() - 1;
        q[ground] = 0.0;
        (x.clone(), q)
    }

    /// All segments go from where each is to begin to lead in (`None`: as the circuit stood at first) through some of
    /// their parts. What the keepers were there, and what was met.
    fn go(
        &mut self,
        celsius: &[f64],
        from: Option<&[Point]>,
        (parts, kept): (usize, bool),
        (whole, tell): (f64, &(dyn Fn(f64) -> bool + Sync)),
        solve: Solve<'_>,
    ) -> Result<(Vec<DVector<f64>>, Vec<Met>), CycleError> {
        let (sweeps, done) = (f64::from(self.sweeps), AtomicU64::new(0));
        let told = |since: f64| {
            let part = (since / whole * PARTS) as u64;
            tell(sweeps + (done.fetch_add(part, Ordering::Relaxed) + part) as f64 / PARTS)
        };
        let (mut starts, mut begins, mut stretches) = (Vec::new(), Vec::new(), Vec::new());
        for (k, Segment { mut run, begin, stops, steps }) in
            std::mem::take(&mut self.segments).into_iter().enumerate()
        {
            run.restore(&begin);
            run.hold(celsius);
            let (x, q) = match from {
                Some(from) => from[k].clone(),
                None => (run.state().x.clone(), run.state().q.clone()),
            };
            run.adopt(&x, &q)?;
            if let Some(borders) = &self.borders {
                run.has_seen(&borders.largest);
            }
            starts.push(self.read(&run.state().x));
            begins.push((begin, stops, run.counters()));
            stretches.push((steps, k, Stretch::new(run, stops[..parts].to_vec(), kept, &told)));
        }
        // Those that take longest are begun first, so that all threads are done at about the same time.
        stretches.sort_by_key(|(steps, k, _)| (Reverse(*steps), *k));
        let (places, stretches): (Vec<_>, Vec<_>) = stretches.into_iter().map(|(_, k, one)| (k, one)).unzip();
        let mut solved: Vec<_> = places.into_iter().zip(solve(stretches)).collect();
        solved.sort_by_key(|one| one.0);
        self.last = Counters::default();
        let mut met = Vec::new();
        for ((_, Stretch { run, way }), (begin, stops, counted)) in solved.into_iter().zip(begins) {
            match way.ended {
                Some(Ok(Ended::Reached)) => {}
                Some(Err(error)) => return Err(error.into()),
                Some(Ok(Ended::Stopped)) | None => return Err(CycleError::Stopped),
            }
            self.last.gather(&counted, &run.counters());
            met.push(Met { first: way.first, next: way.next, record: way.record.kept });
            let steps = run.counters().steps - counted.steps;
            self.segments.push(Segment { run, begin, stops, steps });
        }
        self.work.gather(&Counters::default(), &self.last);
        Ok((starts, met))
    }

    fn read(&self, x: &[f64]) -> DVector<f64> {
        DVector::from_iterator(self.keepers.len(), self.keepers.iter().map(|k| k.of(x)))
    }

    /// What changes of each keeper are measured by.
    fn scale(&self, starts: &[DVector<f64>], ends: &[DVector<f64>]) -> DVector<f64> {
        let zero = DVector::zeros(self.keepers.len());
        let most =
            starts.iter().chain(ends).fold(zero, |most, z| most.zip_map(z, |most: f64, z| most.max(z.abs())));
        scales(&self.keepers, &most, &most)
    }

    /// Newton's step for the borders: closing error and distance.
    fn correct(
        &mut self,
        starts: Vec<DVector<f64>>,
        ends: Vec<DVector<f64>>,
        points: Vec<Point>,
    ) -> (f64, f64) {
        let (n, count) = (self.keepers.len(), starts.len());
        let scale = self.scale(&starts, &ends);
        let size = |z: &DVector<f64>| z.component_div(&scale).amax();
        let missed: Vec<_> = (0..count).map(|k| &ends[(k + count - 1) % count] - &starts[k]).collect();
        let closing = missed.iter().map(size).fold(0.0, f64::max);
        let slow = closing.is_nan() || closing > CONTRACTS * self.closing;
        let known = self.borders.take().and_then(|b| b.map);
        let map = match (&self.before, known) {
            (Some(before), known) if known.is_none() || slow => {
                fitted(before, &starts, &ends, &scale).or(known)
            }
            (_, known) => known,
        };
        let zero = || DVector::zeros(n);
        let (mut moves, mut distance) = (vec![zero(); count], f64::INFINITY);
        if let Some(map) = &map {
            // Once around from a first border that stays; what it misses then determines how that one moves.
            let around = |first: DVector<f64>| {
                let mut all = vec![first];
                for missed in &missed[1..] {
                    let next = missed + map * &all[all.len() - 1];
                    all.push(next);
                }
                all
            };
            let rest = &missed[0] + map * &around(zero())[count - 1];
            let whole =
                DMatrix::identity(n, n) - (0..count).fold(DMatrix::identity(n, n), |power, _| map * power);
            let all = around(whole.lu().solve(&rest).unwrap_or(rest));
            distance = all.iter().map(size).fold(0.0, f64::max);
            moves = all.iter().map(|by| map * by).collect();
        }
        let (largest, steps) = (self.largest(), self.steps());
        self.borders = Some(Borders { points, moves, map, largest, steps });
        self.before = Some([starts, ends]);
        self.closing = closing;
        (closing, distance)
    }

    /// The largest value of each unknown in any segment.
    fn largest(&self) -> Vec<f64> {
        let mut largest = vec![0.0f64; self.segments.first().map_or(0, |s| s.run.largest().len())];
        for segment in &self.segments {
            largest.iter_mut().zip(segment.run.largest()).for_each(|(most, now)| *most = most.max(*now));
        }
        largest
    }

    fn steps(&self) -> Vec<u64> {
        self.segments.iter().map(|s| s.steps).collect()
    }
}
