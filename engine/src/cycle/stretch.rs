//! Stretches of time that are solved side by side: each a run of its own, on the same circuit.

use std::collections::VecDeque;
use std::sync::{Mutex, PoisonError};

use wide::{f64x4, f64x8};

use crate::circuit::lockstep::DeviceLanes;
use crate::error::SolverError;
use crate::recorder::{Recorder, Samples};
use crate::run::abreast::{Abreast, Over, Seating};
use crate::run::time_loop::{Ended, Run};

/// Told by how much time a stretch has gone on since it last told, s; whether to go on.
pub type Tell<'a> = &'a (dyn Fn(f64) -> bool + Sync);

/// A stretch of a run: what leads in, then what counts.
#[derive(Debug)]
pub struct Stretch<'a> {
    /// The run.
    pub run: Run<f64>,
    /// Where it goes, and what it has met there.
    pub way: Way<'a>,
}

/// What a stretch is beside its run.
#[derive(Debug)]
pub struct Way<'a> {
    /// Where it begins to count, where the next one begins to lead in, where it ends, s; or the first of these only.
    stops: Vec<f64>,
    passed: usize,
    /// Unknowns where it begins to count.
    pub first: Vec<f64>,
    /// Unknowns and what stands under d/dt where the next one begins to lead in.
    pub next: (Vec<f64>, Vec<f64>),
    /// What is recorded of what counts.
    pub record: Record<'a>,
    /// How it ended; `None`: it is still to be solved.
    pub ended: Option<Result<Ended, SolverError>>,
}

impl<'a> Stretch<'a> {
    /// A stretch to be solved from where the run stands. Where it counts, samples are `kept` of every step.
    pub fn new(mut run: Run<f64>, stops: Vec<f64>, kept: bool, tell: Tell<'a>) -> Self {
        run.sample_every(f64::INFINITY);
        let record = Record { kept: Samples::default(), every: kept, tell, told: run.state().t };
        let way = Way { stops, passed: 0, first: Vec::new(), next: Default::default(), record, ended: None };
        Self { run, way }
    }

    /// A part of it has ended; whether there is more to solve.
    fn goes_on(&mut self, ended: Result<Ended, SolverError>) -> bool {
        let Self { run, way } = self;
        way.record.tell_until(run.state().t);
        let stopped = !matches!(ended, Ok(Ended::Reached));
        match way.passed {
            _ if stopped => {}
            0 => {
                way.first.clone_from(&run.state().x);
                run.new_account();
                run.watch_anew();
                run.sample_every(if way.record.every { 0.0 } else { f64::INFINITY });
                way.record.kept = Samples::default();
            }
            1 => way.next = (run.state().x.clone(), run.state().q.clone()),
            _ => {}
        }
        way.passed += 1;
        if stopped || way.passed == way.stops.len() {
            way.ended = Some(ended);
        }
        way.ended.is_none()
    }

    /// Goes through it alone.
    fn go(mut self) -> Self {
        loop {
            let ended = self.run.advance(self.way.stops[self.way.passed], &mut self.way.record);
            if !self.goes_on(ended) {
                return self;
            }
        }
    }
}

/// Samples of a stretch.
pub struct Record<'a> {
    /// The samples.
    pub kept: Samples,
    /// Whether there is one of every step.
    every: bool,
    tell: Tell<'a>,
    told: f64,
}

impl std::fmt::Debug for Record<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Record").field("told", &self.told).finish_non_exhaustive()
    }
}

impl Record<'_> {
    fn tell_until(&mut self, t: f64) -> bool {
        let since = (t - self.told).max(0.0);
        self.told = t;
        (self.tell)(since)
    }
}

impl Recorder<f64> for Record<'_> {
    fn sample(&mut self, t: f64, values: &[f64]) {
        self.kept.sample(t, values);
    }
    fn go_on(&mut self, t: f64) -> bool {
        self.tell_until(t)
    }
}

/// Stretches of one circuit that are to be solved, by any number of threads: each takes what the others have left.
#[derive(Debug)]
pub struct Queue<'a> {
    waiting: Mutex<VecDeque<(usize, Stretch<'a>)>>,
    /// As many as a thread takes at a time where all take as many.
    share: usize,
}

impl<'a> Queue<'a> {
    /// The first ones are begun first.
    pub fn new(stretches: Vec<Stretch<'a>>, threads: usize) -> Self {
        let share = stretches.len().div_ceil(threads.max(1));
        Self { waiting: Mutex::new(stretches.into_iter().enumerate().collect()), share }
    }

    /// Solves what nobody else does, several in the lanes of vector arithmetic, and gives it back with its place. What
    /// becomes of a stretch depends neither on its company nor on who solves it.
    pub fn solve(&self) -> Vec<(usize, Stretch<'a>)> {
        match self.share {
            0..=1 => std::iter::from_fn(|| self.next()).map(|(place, one)| (place, one.go())).collect(),
            2..=4 => self.in_lanes::<f64x4>(),
            _ => self.in_lanes::<f64x8>(),
        }
    }

    fn next(&self) -> Option<(usize, Stretch<'a>)> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner).pop_front()
    }

    fn in_lanes<K: DeviceLanes>(&self) -> Vec<(usize, Stretch<'a>)> {
        let mut done: Vec<(usize, Stretch<'a>)> = Vec::new();
        // Those with a part behind them and another before them.
        let mut between: Vec<(usize, Stretch<'a>)> = Vec::new();
        let mut lanes: Option<Abreast<K>> = None;
        let mut seated: Vec<Option<(usize, Way<'a>)>> = (0..K::WIDTH).map(|_| None).collect();
        loop {
            let mut over = Vec::new();
            while lanes.as_ref().is_none_or(|company| company.count() < K::WIDTH.min(self.share)) {
                let Some((place, stretch)) = between.pop().or_else(|| self.next()) else { break };
                if lanes.is_none() {
                    lanes = Abreast::like(&stretch.run);
                }
                let Some(company) = &mut lanes else {
                    done.push((place, stretch.go()));
                    continue;
                };
                let Stretch { run, mut way } = stretch;
                match company.seat(run, way.stops[way.passed], &mut way.record) {
                    Seating::Sits(lane) => seated[lane] = Some((place, way)),
                    Seating::Over(run, ended) => over.push((place, Stretch { run: *run, way }, ended)),
                    Seating::Refused(run) => done.push((place, Stretch { run: *run, way }.go())),
                }
            }
            if let Some(company) = lanes.as_mut().filter(|company| company.count() > 0) {
                let mut nobody = vec![(); K::WIDTH];
                let each = seated.iter_mut().zip(&mut nobody).map(|(seated, nobody)| match seated {
                    Some((_, way)) => &mut way.record as &mut dyn Recorder<f64>,
                    None => nobody as &mut dyn Recorder<f64>,
                });
                let mut recorders: Vec<&mut dyn Recorder<f64>> = each.collect();
                for Over { lane, run, ended } in company.advance(&mut recorders) {
                    let Some((place, way)) = seated[lane].take() else { continue };
                    over.push((place, Stretch { run, way }, ended));
                }
            } else if over.is_empty() {
                break;
            }
            for (place, mut stretch, ended) in over {
                match stretch.goes_on(ended) {
                    true => between.push((place, stretch)),
                    false => done.push((place, stretch)),
                }
            }
        }
        done
    }
}

/// Stretches in the order in which they came into a [`Queue`], from what threads gave back.
pub fn in_order<'a>(solved: impl IntoIterator<Item = (usize, Stretch<'a>)>) -> Vec<Stretch<'a>> {
    let mut all: Vec<_> = solved.into_iter().collect();
    all.sort_by_key(|one| one.0);
    all.into_iter().map(|one| one.1).collect()
}

/// Solves stretches on this thread alone, and gives them back in their order.
pub fn solve(stretches: Vec<Stretch<'_>>) -> Vec<Stretch<'_>> {
    in_order(Queue::new(stretches, 1).solve())
}
