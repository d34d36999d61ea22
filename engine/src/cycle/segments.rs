//! A period cut into segments that are solved side by side: multiple shooting (Stoer & Bulirsch, *Introduction to
//! Numerical Analysis*, section 7.3.5).
//!
//! In a sweep each segment goes from its border to the next. The unknowns are what linear inductors and capacitors keep
//! at the borders ([`keepers`]); all else there is taken from where the segment before ended, because devices forget
//! within a segment what they came from. By how much a border and that end differ is the closing error. The sensitivity
//! of an end to its beginning is one matrix for all segments, fitted to what two sweeps have shown of all of them (least
//! squares); Newton's step with it gives the next borders. A sensitivity that differs between segments costs sweeps, not
//! accuracy.
//!
//! Borders lie where a known edge opens a window, so that a beginning there is nothing that a run does not meet at every
//! edge. The control of each segment stands as it does at its beginning, which can be known without the circuit where control
//! depends on time alone ([`Run::pass`]).

use std::sync::atomic::{AtomicU64, Ordering};

use nalgebra::{DMatrix, DVector};

use super::steady::{CycleError, Keeper, keepers, scales};
use super::stretch::Stretch;
use crate::accounts::counters::Counters;
use crate::accounts::ledger::Ledger;
use crate::recorder::InMemory;
use crate::run::gauge::Reading;
use crate::run::saved::Saved;
use crate::run::time_loop::{Ended, Run};
use crate::run::watch::Seen;

/// Solves stretches in any order, on any threads ([`solve`](super::stretch::solve) on one).
pub type Solve<'a> = &'a (dyn for<'s> Fn(Vec<Stretch<'s>>) -> Vec<Stretch<'s>> + Sync);

/// Singular values of what two sweeps differ by below which, relative to the largest, nothing is read from them.
const READABLE: f64 = 1e-3;
/// Share of an end's changes that its row of the sensitivity may leave unexplained.
const EXPLAINED: f64 = 0.25;
/// How much less a sweep must leave than the one before; else the sensitivity is fitted anew.
const CONTRACTS: f64 = 0.3;
/// Parts of a period by which progress is told.
const PARTS: f64 = 1e12;

/// Where segments begin: what one search has found, for another with other steps.
#[derive(Clone, Debug)]
pub struct Borders {
    /// Unknowns, and what stands under d/dt, at the end of each segment.
    ends: Vec<(Vec<f64>, Vec<f64>)>,
    /// By what the next segment begins elsewhere: of each keeper, V or A.
    moves: Vec<DVector<f64>>,
    /// What is left at a segment's end of a small change at its beginning.
    map: Option<DMatrix<f64>>,
    /// The largest value of each unknown.
    largest: Vec<f64>,
    /// Energy turned over in all segments, J.
    turned: f64,
}

struct Segment {
    run: Run<f64>,
    /// Its beginning, as far as control goes.
    begin: Saved<f64>,
    /// Its end, s.
    until: f64,
}

/// A period in segments.
pub struct Segments {
    period: f64,
    keepers: Vec<Keeper>,
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
    pub records: Vec<InMemory<f64>>,
}

impl Segments {
    /// Cuts the period (s) after the first one of a run into `count` segments. None where control reads the circuit,
    /// where nothing is kept or a device keeps a flux, or where known edges open fewer windows than `fewest` in a period:
    /// such periods are short work.
    ///
    /// # Errors
    /// Of a controller.
    pub fn new(run: &Run<f64>, period: f64, count: usize, fewest: u64) -> Result<Option<Self>, CycleError> {
        let keepers = keepers(run.system());
        if !run.is_led_by_time() || run.remembers() || keepers.is_empty() {
            return Ok(None);
        }
        let Some(mut control) = run.twin() else { return Ok(None) };
        let began = run.state().t;
        if control.pass(began + period)? < fewest {
            return Ok(None);
        }
        control.pass_to_window(began + period)?;
        let mut segments = Vec::new();
        for k in 1..=count {
            let Some(run) = run.twin() else { return Ok(None) };
            let begin = control.save();
            // The last border is the first one, a period later.
            control.pass_to_window(began + period * (1.0 + k as f64 / count as f64))?;
            segments.push(Segment { run, begin, until: control.state().t });
        }
        Ok(Some(Self {
            period,
            keepers,
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
        self.borders = Some(borders).filter(|b| b.ends.len() == self.segments.len());
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
        let (period, sweeps, done) = (self.period, f64::from(self.sweeps), AtomicU64::new(0));
        let told = |since: f64| {
            let part = (since / period * PARTS) as u64;
            tell(sweeps + (done.fetch_add(part, Ordering::Relaxed) + part) as f64 / PARTS)
        };
        let count = self.segments.len();
        let (mut starts, mut begins, mut stretches) = (Vec::new(), Vec::new(), Vec::new());
        for (k, Segment { mut run, begin, until }) in
            std::mem::take(&mut self.segments).into_iter().enumerate()
        {
            run.restore(&begin);
            run.hold(celsius);
            run.sample_every(if kept { 0.0 } else { f64::INFINITY });
            let (x, q) = match &self.borders {
                Some(borders) => {
                    let before = (k + count - 1) % count;
                    let (x, mut q) = borders.ends[before].clone();
                    for (keeper, change) in self.keepers.iter().zip(borders.moves[before].iter()) {
                        keeper.rows.iter().for_each(|(row, each)| q[*row] += each * change);
                    }
                    let ground = run.system().n;
                    q[ground] = 0.0;
                    (x, q)
                }
                None => (run.state().x.clone(), run.state().q.clone()),
            };
            run.adopt(&x, &q)?;
            if let Some(borders) = &self.borders {
                run.has_seen(&borders.largest);
                run.part_of(borders.turned);
            }
            run.watch_anew();
            starts.push(self.read(&run));
            begins.push((begin, run.counters()));
            stretches.push(Stretch::new(run, until, &told));
        }
        self.sweeps += 1;
        self.last = Counters::default();
        let (mut ends, mut records) = (Vec::new(), Vec::new());
        for (Stretch { run, until, record, ended }, (begin, counted)) in
            solve(stretches).into_iter().zip(begins)
        {
            match ended {
                Some(Ok(Ended::Reached)) => {}
                Some(Err(error)) => return Err(error.into()),
                Some(Ok(Ended::Stopped)) | None => return Err(CycleError::Stopped),
            }
            self.last.gather(&counted, &run.counters());
            ends.push(self.read(&run));
            records.push(record.kept);
            self.segments.push(Segment { run, begin, until });
        }
        self.work.gather(&Counters::default(), &self.last);
        let (closing, distance) = self.correct(starts, ends);
        Ok(Sweep { closing, distance, records })
    }

    fn read(&self, run: &Run<f64>) -> DVector<f64> {
        DVector::from_iterator(self.keepers.len(), self.keepers.iter().map(|k| k.read(run)))
    }

    /// Newton's step for the borders: closing error and distance.
    fn correct(&mut self, starts: Vec<DVector<f64>>, ends: Vec<DVector<f64>>) -> (f64, f64) {
        let (n, count) = (self.keepers.len(), starts.len());
        let most =
            DVector::from_fn(n, |k, _| starts.iter().chain(&ends).map(|z| z[k].abs()).fold(0.0, f64::max));
        let scale = scales(&self.keepers, &most, &most);
        let size = |z: &DVector<f64>| z.iter().zip(&scale).map(|(z, s)| (z / s).abs()).fold(0.0, f64::max);
        let missed: Vec<_> = (0..count).map(|k| &ends[(k + count - 1) % count] - &starts[k]).collect();
        let closing = missed.iter().map(size).fold(0.0, f64::max);
        let slow = closing.is_nan() || closing > CONTRACTS * self.closing;
        let (known, turned) = self.borders.take().map_or((None, 0.0), |b| (b.map, b.turned));
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
        let ends_now = self.segments.iter().map(|s| (s.run.state().x.clone(), s.run.state().q.clone()));
        let mut largest = vec![0.0f64; self.segments.first().map_or(0, |s| s.run.largest().len())];
        for segment in &self.segments {
            largest.iter_mut().zip(segment.run.largest()).for_each(|(most, now)| *most = most.max(*now));
        }
        let turned = self.segments.iter().map(|s| s.run.turned()).sum::<f64>().max(turned);
        self.borders = Some(Borders { ends: ends_now.collect(), moves, map, largest, turned });
        self.before = Some([starts, ends]);
        self.closing = closing;
        (closing, distance)
    }

    /// Sweeps so far, each one period.
    pub fn sweeps(&self) -> u32 {
        self.sweeps
    }

    /// Work of all sweeps; what stalled and what else went wrong, of the last one.
    pub fn counters(&self) -> Counters {
        Counters { steps: self.work.steps, iterations: self.work.iterations, ..self.last }
    }

    /// What was solved for, and its value at the end of the period.
    pub fn kept(&self) -> Vec<(Keeper, f64)> {
        let last = self.segments.last();
        last.map(|s| self.keepers.iter().map(|k| (k.clone(), k.read(&s.run))).collect()).unwrap_or_default()
    }

    /// The run through the last segment, at its end.
    pub fn last(&self) -> Option<&Run<f64>> {
        self.segments.last().map(|s| &s.run)
    }

    /// An integral asked for in the setup, over the period, by its number there.
    pub fn integral(&self, k: usize) -> f64 {
        self.segments.iter().map(|s| s.run.integral(k)).sum()
    }

    /// The energy ledger of the period.
    pub fn ledger(&self) -> Option<Ledger<f64>> {
        let mut all = self.segments.iter().map(|s| s.run.ledger());
        let mut sum = all.next()?;
        for one in all {
            for (entry, more) in sum.entries.iter_mut().zip(one.entries) {
                entry.delivered += more.delivered;
                entry.dissipated += more.dissipated;
                entry.stored += more.stored;
            }
            sum.residual += one.residual;
        }
        sum.turnover = sum.entries.iter().map(|e| e.delivered.max(0.0)).sum();
        // What is stored all the time is no measure for what goes over meanwhile.
        sum.largest = 0.0;
        Some(sum)
    }

    /// What the watches saw of the period.
    pub fn seen(&self) -> Vec<Seen> {
        let mut all = self.segments.iter().map(|s| s.run.watcher().seen());
        let mut sum = all.next().unwrap_or_default();
        all.for_each(|one| sum.iter_mut().zip(&one).for_each(|(sum, one)| sum.take(one)));
        sum
    }

    /// What gauges of bursts read of the period; a burst belongs to a segment.
    pub fn readings(&self) -> Vec<Reading> {
        let mut all = self.segments.iter().map(|s| s.run.readings());
        let mut sum = all.next().unwrap_or_default();
        all.for_each(|one| sum.iter_mut().zip(&one).for_each(|(sum, one)| sum.take(one)));
        sum
    }
}

/// The matrix that leads changes of all beginnings between two sweeps to those of the ends, by least squares in units of
/// `scale`.
fn fitted(
    before: &[Vec<DVector<f64>>; 2],
    starts: &[DVector<f64>],
    ends: &[DVector<f64>],
    scale: &DVector<f64>,
) -> Option<DMatrix<f64>> {
    let changes = |now: &[DVector<f64>], then: &[DVector<f64>]| {
        let each: Vec<_> = now.iter().zip(then).map(|(a, b)| (a - b).component_div(scale)).collect();
        DMatrix::from_columns(&each)
    };
    let (begin, end) = (changes(starts, &before[0]), changes(ends, &before[1]));
    if !begin.iter().chain(&end).all(|x| x.is_finite()) {
        return None;
    }
    let singular = begin.clone().svd(true, true);
    let cut = READABLE * singular.singular_values.max();
    let inverse = singular.pseudo_inverse(cut).ok()?;
    let mut map = &end * inverse;
    let n = scale.len();
    // What is not so explained is forgotten within a segment, and follows whatever the control does at a border.
    let missed = &end - &map * &begin;
    for row in 0..n {
        // Written so that what is not a number is not explained.
        let explained = missed.row(row).norm() <= EXPLAINED * end.row(row).norm();
        if !explained {
            map.row_mut(row).fill(0.0);
        }
    }
    let map = DMatrix::from_fn(n, n, |i, j| map[(i, j)] * scale[i] / scale[j]);
    map.iter().all(|x| x.is_finite()).then_some(map)
}
