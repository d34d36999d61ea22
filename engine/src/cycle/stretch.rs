//! Stretches of time that are solved side by side: each a run of its own, on the same circuit.

use std::collections::VecDeque;

use wide::{f64x4, f64x8};

use crate::circuit::lockstep::DeviceLanes;
use crate::error::SolverError;
use crate::recorder::{InMemory, Recorder};
use crate::run::abreast::{Abreast, Over, Seating};
use crate::run::time_loop::{Ended, Run};

/// Told by how much time a stretch has gone on since it last told, s; whether to go on.
pub type Tell<'a> = &'a (dyn Fn(f64) -> bool + Sync);

/// A stretch of a run.
#[derive(Debug)]
pub struct Stretch<'a> {
    /// The run, at its beginning.
    pub run: Run<f64>,
    /// Its end, s.
    pub until: f64,
    /// What is recorded of it.
    pub record: Record<'a>,
    /// How it ended; `None`: it is still to be solved.
    pub ended: Option<Result<Ended, SolverError>>,
}

impl<'a> Stretch<'a> {
    /// A stretch to be solved.
    pub fn new(run: Run<f64>, until: f64, tell: Tell<'a>) -> Self {
        let record = Record { kept: InMemory::default(), tell, told: run.state().t };
        Self { run, until, record, ended: None }
    }

    /// Goes through it alone.
    fn go(mut self) -> Self {
        self.ended = Some(self.run.advance(self.until, &mut self.record));
        self.record.tell_until(self.until);
        self
    }
}

/// Samples of a stretch.
pub struct Record<'a> {
    /// The samples.
    pub kept: InMemory<f64>,
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

/// Solves stretches of one circuit, several in the lanes of vector arithmetic, and gives them back in their order. What
/// becomes of one does not depend on its company.
pub fn solve(stretches: Vec<Stretch<'_>>) -> Vec<Stretch<'_>> {
    match stretches.len() {
        0..=1 => stretches.into_iter().map(Stretch::go).collect(),
        2..=4 => in_lanes::<f64x4>(stretches),
        _ => in_lanes::<f64x8>(stretches),
    }
}

/// What stays outside of a stretch while its run has a lane.
struct Beside<'a> {
    place: usize,
    until: f64,
    record: Record<'a>,
}

fn in_lanes<K: DeviceLanes>(stretches: Vec<Stretch<'_>>) -> Vec<Stretch<'_>> {
    let mut done: Vec<Option<Stretch<'_>>> = stretches.iter().map(|_| None).collect();
    let mut waiting: VecDeque<(usize, Stretch<'_>)> = stretches.into_iter().enumerate().collect();
    let mut lanes: Option<Abreast<K>> = None;
    let mut seated: Vec<Option<Beside<'_>>> = (0..K::WIDTH).map(|_| None).collect();
    loop {
        while lanes.as_ref().is_none_or(Abreast::has_room) {
            let Some((place, stretch)) = waiting.pop_front() else { break };
            if lanes.is_none() {
                lanes = Abreast::like(&stretch.run);
            }
            let Some(company) = &mut lanes else {
                done[place] = Some(stretch.go());
                continue;
            };
            let Stretch { run, until, mut record, ended } = stretch;
            match company.seat(run, until, &mut record) {
                Seating::Sits(lane) => seated[lane] = Some(Beside { place, until, record }),
                Seating::Over(run, ended) => {
                    done[place] = Some(Stretch { run: *run, until, record, ended: Some(ended) });
                }
                Seating::Refused(run) => done[place] = Some(Stretch { run: *run, until, record, ended }.go()),
            }
        }
        let Some(company) = lanes.as_mut().filter(|company| company.count() > 0) else { break };
        let mut nobody = vec![(); K::WIDTH];
        let each = seated.iter_mut().zip(&mut nobody).map(|(seated, nobody)| match seated {
            Some(beside) => &mut beside.record as &mut dyn Recorder<f64>,
            None => nobody as &mut dyn Recorder<f64>,
        });
        let mut recorders: Vec<&mut dyn Recorder<f64>> = each.collect();
        for Over { lane, run, ended } in company.advance(&mut recorders) {
            let Some(Beside { place, until, mut record }) = seated[lane].take() else { continue };
            record.tell_until(until);
            done[place] = Some(Stretch { run, until, record, ended: Some(ended) });
        }
    }
    done.into_iter().flatten().collect()
}
