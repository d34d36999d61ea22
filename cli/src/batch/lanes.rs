//! Variants solved side by side: each in a lane, at its own time; one that is over leaves its lane to the next.

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::circuit::lockstep::DeviceLanes;
use joulestep_engine::error::SolverError;
use joulestep_engine::recorder::Recorder;
use joulestep_engine::run::abreast::{Abreast, Over, Seating};
use joulestep_engine::run::time_loop::{Ended, Run};

use crate::batch::alone::Ran;
use crate::batch::errors::Estimate;
use crate::batch::measure::Measures;
use crate::batch::row::Status;
use crate::batch::variant::{Begun, Once, PlannedBatch};
use crate::judge::{Computed, Level, errors};
use crate::output::account::Facts;

/// Variants that wait at most for lanes of their own kind, in lanes.
const MOST_WAITING: usize = 4;

/// A variant to be run at a level.
#[derive(Clone, Copy, Debug)]
struct Job {
    variant: usize,
    level: Level,
}

/// What a run needs beside its lane.
struct Beside<'a> {
    job: Job,
    facts: Facts,
    measures: Measures<'a>,
}

/// A run that waits for a lane.
struct Waiting<'a> {
    run: Run<f64>,
    beside: Beside<'a>,
    /// The company that refused it last.
    refused: Option<usize>,
}

/// A variant of which coarser runs are still to come.
struct Unfinished {
    ran: Ran,
    coarser: [Option<Result<Computed, String>>; 2],
}

/// One thread's lanes and what they work on.
struct Crew<'a, K: DeviceLanes> {
    study: &'a PlannedBatch,
    stop: &'a AtomicBool,
    next: &'a (dyn Fn() -> Option<usize> + Sync),
    done: &'a mut dyn FnMut(Ran),
    /// Coarser runs of variants that are done.
    todo: VecDeque<Job>,
    waiting: VecDeque<Waiting<'a>>,
    unfinished: Vec<Unfinished>,
    lanes: Option<Abreast<K>>,
    company: usize,
    seated: Vec<Option<Beside<'a>>>,
    work: Work,
}

/// How well lanes were used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Work {
    /// Steps of all lanes tried together, in lanes.
    pub lanes: u64,
    /// Those of them in which a variant was at work.
    pub busy: u64,
}

impl PlannedBatch {
    /// Runs the variants that `next` gives in the lanes of `K`, those whose errors are estimated at two coarser levels
    /// too; whatever goes wrong with one stands in its row. Ends early once `stop` is set.
    pub fn run_in_lanes<K: DeviceLanes>(
        &self,
        next: &(dyn Fn() -> Option<usize> + Sync),
        stop: &AtomicBool,
        done: &mut dyn FnMut(Ran),
    ) -> Work {
        let mut crew = Crew::<K> {
            study: self,
            stop,
            next,
            done,
            todo: VecDeque::new(),
            waiting: VecDeque::new(),
            unfinished: Vec::new(),
            lanes: None,
            company: 0,
            seated: (0..K::WIDTH).map(|_| None).collect(),
            work: Work::default(),
        };
        while !stop.load(Ordering::Relaxed) {
            crew.fill();
            if !crew.go() {
                break;
            }
        }
        crew.count();
        crew.work
    }
}

impl<'a, K: DeviceLanes> Crew<'a, K> {
    /// Seats what fits while there is room.
    fn fill(&mut self) {
        while !self.stop.load(Ordering::Relaxed) {
            if self.lanes.as_ref().is_some_and(|lanes| !lanes.has_room()) {
                return;
            }
            if self.lanes.as_ref().is_some_and(|lanes| lanes.count() == 0) && !self.next_fits() {
                // The next company is of another kind.
                self.count();
            }
            let Some(waiting) = self.take_waiting().or_else(|| self.begin()) else { return };
            self.seat(waiting);
        }
    }

    /// Whether some run waits that the present lanes would take.
    fn next_fits(&self) -> bool {
        self.waiting.is_empty() || self.waiting.iter().any(|waiting| self.suits(waiting))
    }

    fn suits(&self, waiting: &Waiting<'_>) -> bool {
        match &self.lanes {
            None => true,
            Some(lanes) => waiting.refused != Some(self.company) && lanes.fits(&waiting.run),
        }
    }

    fn take_waiting(&mut self) -> Option<Waiting<'a>> {
        let k = self.waiting.iter().position(|waiting| self.suits(waiting))?;
        self.waiting.remove(k)
    }

    /// Notes how well the lanes were used, and gives them up.
    fn count(&mut self) {
        let Some(lanes) = self.lanes.take() else { return };
        let (rounds, steps, _) = lanes.work();
        self.work.lanes += rounds * K::WIDTH as u64;
        self.work.busy += steps;
        self.company += 1;
    }

    /// The next run that suits the present lanes; others begin to wait.
    fn begin(&mut self) -> Option<Waiting<'a>> {
        while self.waiting.len() < MOST_WAITING * K::WIDTH {
            let stated = |variant| Job { variant, level: Level::STATED };
            let job = self.todo.pop_front().or_else(|| (self.next)().map(stated))?;
            let study = self.study;
            let begun = catch_unwind(AssertUnwindSafe(|| {
                study.begun(&study.settings(job.variant), job.level, self.stop)
            }));
            let Begun { run, facts, measures } = match begun {
                Ok(Ok(begun)) => begun,
                Ok(Err(mut once)) => {
                    study.complete(&mut once, job.variant);
                    self.finish(job, *once, false);
                    continue;
                }
                Err(_) => {
                    self.alone(job);
                    continue;
                }
            };
            let waiting = Waiting { run, beside: Beside { job, facts, measures }, refused: None };
            if self.suits(&waiting) {
                return Some(waiting);
            }
            self.waiting.push_back(waiting);
        }
        None
    }

    fn seat(&mut self, waiting: Waiting<'a>) {
        let Waiting { run, mut beside, .. } = waiting;
        if self.lanes.is_none() {
            self.lanes = Abreast::like(&run);
        }
        let Some(lanes) = &mut self.lanes else {
            self.by_itself(run, beside);
            return;
        };
        match lanes.seat(run, beside.facts.end, &mut beside.measures) {
            Seating::Sits(lane) => self.seated[lane] = Some(beside),
            Seating::Over(run, ended) => self.over(*run, beside, ended, false),
            Seating::Refused(run) if lanes.count() == 0 => self.by_itself(*run, beside),
            Seating::Refused(run) => {
                self.waiting.push_back(Waiting { run: *run, beside, refused: Some(self.company) });
            }
        }
    }

    /// A run that goes in no lanes.
    fn by_itself(&mut self, mut run: Run<f64>, mut beside: Beside<'a>) {
        let going = AssertUnwindSafe(|| run.advance(beside.facts.end, &mut beside.measures));
        match catch_unwind(going) {
            Ok(ended) => self.over(run, beside, ended, false),
            Err(_) => self.alone(beside.job),
        }
    }

    /// Goes on until some are over. False when nothing is left.
    fn go(&mut self) -> bool {
        let Some(lanes) = self.lanes.as_mut().filter(|lanes| lanes.count() > 0) else {
            return !self.waiting.is_empty() || !self.todo.is_empty();
        };
        let mut nobody = vec![(); K::WIDTH];
        let each = self.seated.iter_mut().zip(&mut nobody).map(|(seated, nobody)| match seated {
            Some(beside) => &mut beside.measures as &mut dyn Recorder<f64>,
            None => nobody as &mut dyn Recorder<f64>,
        });
        let mut recorders: Vec<&mut dyn Recorder<f64>> = each.collect();
        match catch_unwind(AssertUnwindSafe(|| lanes.advance(&mut recorders))) {
            Ok(all) => {
                for Over { lane, run, ended } in all {
                    if let Some(beside) = self.seated[lane].take() {
                        self.over(run, beside, ended, true);
                    }
                }
            }
            // What made the program fail is found by running each alone.
            Err(_) => {
                self.count();
                let jobs: Vec<Job> = self.seated.iter_mut().filter_map(|s| s.take().map(|b| b.job)).collect();
                jobs.into_iter().for_each(|job| self.alone(job));
            }
        }
        true
    }

    fn alone(&mut self, job: Job) {
        if let Some(once) = self.study.run_at(job.variant, job.level, self.stop) {
            self.finish(job, once, false);
        }
    }

    fn over(&mut self, run: Run<f64>, beside: Beside<'a>, ended: Result<Ended, SolverError>, in_lanes: bool) {
        let Beside { job, facts, measures } = beside;
        let study = self.study;
        let row = AssertUnwindSafe(|| study.ended(Begun { run, facts, measures }, ended));
        match catch_unwind(row) {
            Ok(Some(mut once)) => {
                study.complete(&mut once, job.variant);
                self.finish(job, once, in_lanes);
            }
            // `stop` is set.
            Ok(None) => {}
            Err(_) => self.alone(job),
        }
    }

    /// A job is done; its row too where nothing coarser is to be run.
    fn finish(&mut self, job: Job, once: Once, in_lanes: bool) {
        let Once { row, computed, .. } = once;
        if job.level == Level::STATED {
            let ran = Ran { row, in_lanes, computed };
            if self.study.is_due(&ran.row) {
                let coarser = Level::COARSER.map(|level| Job { variant: job.variant, level });
                self.todo.extend(coarser);
                self.unfinished.push(Unfinished { ran, coarser: [None, None] });
            } else {
                (self.done)(ran);
            }
            return;
        }
        let of = |unfinished: &Unfinished| unfinished.ran.row.variant == job.variant;
        let Some(at) = self.unfinished.iter().position(of) else { return };
        let which = usize::from(job.level != Level::COARSER[0]);
        self.unfinished[at].coarser[which] = Some(match row.status {
            Status::Done => Ok(computed),
            _ => Err(row.error),
        });
        if self.unfinished[at].coarser.iter().all(Option::is_some) {
            let Unfinished { mut ran, coarser } = self.unfinished.swap_remove(at);
            let coarser = coarser.map(|one| one.unwrap_or_else(|| Err(String::new())));
            ran.row.estimate = Some(Estimate::of(&errors(&ran.computed, &coarser)));
            (self.done)(ran);
        }
    }
}
