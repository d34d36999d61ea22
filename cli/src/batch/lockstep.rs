//! A block is run: its variants in lockstep as far as they go, the others alone.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};

use joulestep_engine::arithmetic::lane::Lane;
use joulestep_engine::error::SolverError;
use joulestep_engine::recorder::{Event, Recorder};
use joulestep_engine::run::lockstep::Wide;
use joulestep_engine::run::setup::Setup;
use joulestep_engine::run::time_loop::Ended;
use wide::{f64x4, f64x8};

use crate::batch::block::alike;
use crate::batch::errors::{estimate, verdict};
use crate::batch::measure::Measures;
use crate::batch::row::{Row, Status};
use crate::batch::subject::Subject;
use crate::batch::variant::{Once, PlannedBatch, coarsen};
use crate::judge::{Computed, Level, Uncertainty};
use crate::output::account::{Account, Outcome};
use crate::study::run::Built;

/// A row, and whether its variant ran in lockstep with others.
#[derive(Clone, Debug)]
pub struct Ran {
    /// The row.
    pub row: Row,
    /// Whether it ran in lanes.
    pub in_lockstep: bool,
    /// Its outputs with what is known beside them.
    computed: Computed,
}

/// How often those left of a block begin anew without the ones that left.
const MOST_BEGINNINGS: usize = 3;

/// A variant that waits to be run.
struct Waiting {
    variant: usize,
    built: Built,
}

/// How a run in lockstep ended.
enum LockstepEnd {
    /// All at the end.
    Done(Vec<Once>),
    /// `stop` was set.
    Stopped,
    /// These leave.
    Leave(Vec<usize>),
    /// They do not share what lanes share.
    Unlike,
    /// In lockstep they have no solution.
    Apart,
}

impl PlannedBatch {
    /// Runs the variants of a block, those whose errors are estimated at two coarser levels too; whatever goes wrong
    /// with one stands in its row. `None` where `stop` was set before the end of all.
    pub fn run_block(&self, block: &[usize], stop: &AtomicBool) -> Option<Vec<Ran>> {
        let mut rows = self.block_at(block, Level::STATED, stop)?;
        let is_due =
            |ran: &Ran| self.plan.estimate.includes(ran.row.variant) && ran.row.status == Status::Done;
        let due: Vec<usize> = rows.iter().filter(|ran| is_due(ran)).map(|ran| ran.row.variant).collect();
        if due.is_empty() {
            return Some(rows);
        }
        if self.subject.knows_its_errors() {
            for ran in rows.iter_mut().filter(|ran| is_due(ran)) {
                let same = || Ok(ran.computed.clone());
                ran.row.estimate = Some(estimate(&ran.computed, &[same(), same()], &self.outputs));
            }
            return Some(rows);
        }
        let [one, two] = Level::COARSER;
        let (coarse, coarsest) =
            rayon::join(|| self.block_at(&due, one, stop), || self.block_at(&due, two, stop));
        let coarser = [coarse?, coarsest?];
        for ran in rows.iter_mut().filter(|ran| is_due(ran)) {
            let report = coarser.each_ref().map(|all| {
                let own = all.iter().find(|c| c.row.variant == ran.row.variant).ok_or("it did not run")?;
                match own.row.status {
                    Status::Done => Ok(own.computed.clone()),
                    _ => Err(own.row.error.clone()),
                }
            });
            let mut fine = ran.computed.clone();
            if let ([_, Ok(coarsest)], false) = (&report, matches!(self.subject, Subject::Run)) {
                // What steps do not show is found where they are coarsest and cost least.
                let known = fine.numbers.iter_mut().zip(&coarsest.numbers);
                known.for_each(|(own, other)| own.further = own.further.max(other.further));
            }
            ran.row.estimate = Some(estimate(&fine, &report, &self.outputs));
        }
        Some(rows)
    }

    /// Runs the variants of a block, as coarse as a level.
    fn block_at(&self, block: &[usize], level: Level, stop: &AtomicBool) -> Option<Vec<Ran>> {
        let together = || match block {
            [] | [_] => Some(Vec::new()),
            _ => self.in_lanes(block, level, stop),
        };
        // What made the program fail is found by running each alone.
        let mut rows = catch_unwind(AssertUnwindSafe(together)).unwrap_or_else(|_| Some(Vec::new()))?;
        for &variant in block {
            if !rows.iter().any(|ran| ran.row.variant == variant) {
                let Once { row, computed, .. } = self.run_at(variant, level, stop)?;
                rows.push(Ran { row, in_lockstep: false, computed });
            }
        }
        rows.sort_unstable_by_key(|ran| ran.row.variant);
        Some(rows)
    }

    /// Runs what runs in lockstep; the rest is left to be run alone.
    fn in_lanes(&self, block: &[usize], level: Level, stop: &AtomicBool) -> Option<Vec<Ran>> {
        let build = |&variant: &usize| {
            let settings = self.settings(variant);
            let mut built = self.built(&settings).ok()?;
            coarsen(&mut built.setup, level);
            Some(Waiting { variant, built })
        };
        self.group_in_lanes(block.iter().filter_map(build).collect(), stop)
    }

    fn group_in_lanes(&self, mut group: Vec<Waiting>, stop: &AtomicBool) -> Option<Vec<Ran>> {
        for _ in 0..MOST_BEGINNINGS {
            let end = match group.len() {
                0 | 1 => LockstepEnd::Apart,
                2..=4 => self.lockstep::<f64x4>(&group, stop),
                _ => self.lockstep::<f64x8>(&group, stop),
            };
            match end {
                LockstepEnd::Done(rows) => {
                    let ran = |Once { row, computed, .. }| Ran { row, in_lockstep: true, computed };
                    return Some(rows.into_iter().map(ran).collect());
                }
                LockstepEnd::Stopped => return None,
                LockstepEnd::Unlike => {
                    let like_first: Vec<bool> =
                        group.iter().map(|w| alike(&group[0].built, &w.built)).collect();
                    let mut like_first = like_first.into_iter();
                    let (with, without): (Vec<_>, Vec<_>) =
                        group.into_iter().partition(|_| like_first.next() == Some(true));
                    if without.is_empty() {
                        break;
                    }
                    let mut rows = self.group_in_lanes(with, stop)?;
                    rows.extend(self.group_in_lanes(without, stop)?);
                    return Some(rows);
                }
                // One or two stragglers do not keep the others from running in lockstep.
                LockstepEnd::Leave(lanes) if 4 * lanes.len() <= group.len() => {
                    let mut lane = 0..;
                    group.retain(|_| lane.next().is_some_and(|k| !lanes.contains(&k)));
                }
                LockstepEnd::Leave(_) | LockstepEnd::Apart => break,
            }
        }
        Some(Vec::new())
    }

    /// At most as many as there are lanes; the last one fills lanes that are left.
    fn lockstep<K: Wide>(&self, group: &[Waiting], stop: &AtomicBool) -> LockstepEnd {
        let last = group.len() - 1;
        let each: Vec<&Setup<f64>> = (0..K::WIDTH).map(|k| &group[k.min(last)].built.setup).collect();
        let end = group[0].built.facts.end;
        let setup = Setup::lockstep::<K>(&each).filter(|_| group.iter().all(|w| w.built.facts.end == end));
        let Some(setup) = setup else { return LockstepEnd::Unlike };
        let Ok(mut run) = setup.ready() else { return LockstepEnd::Apart };
        let mut measures = Lanes {
            each: group.iter().map(|_| Measures::new(&self.plan.measures, stop)).collect(),
            values: Vec::new(),
            stop,
        };
        match run.advance(end, &mut measures) {
            Ok(Ended::Reached) => {}
            Ok(Ended::Stopped) => return LockstepEnd::Stopped,
            Err(SolverError::LeavesLockstep { lanes, .. }) => {
                let mut lanes: Vec<usize> = lanes.into_iter().map(|lane| lane.min(last)).collect();
                lanes.dedup();
                return LockstepEnd::Leave(lanes);
            }
            Err(_) => return LockstepEnd::Apart,
        }
        run.finish(&mut measures);
        let ledger = run.ledger();
        let row = |(lane, w): (usize, &Waiting)| {
            let facts = &w.built.facts;
            let account =
                Account::of_lane(&run, &ledger, lane, facts, measures.each[lane].cleared(), Outcome::Done);
            let mut once = self.of_run(&account, &measures.each[lane]);
            once.row.variant = w.variant;
            once.row.verdict = verdict(self, &once.row, &vec![Uncertainty::Bare; self.outputs.len()]);
            once
        };
        LockstepEnd::Done(group.iter().enumerate().map(row).collect())
    }
}

/// The measures of each lane.
struct Lanes<'a> {
    each: Vec<Measures<'a>>,
    values: Vec<f64>,
    stop: &'a AtomicBool,
}

impl<K: Lane> Recorder<K> for Lanes<'_> {
    fn sample(&mut self, t: f64, values: &[K]) {
        for (lane, measures) in self.each.iter_mut().enumerate().filter(|(_, m)| m.is_asked()) {
            self.values.clear();
            self.values.extend(values.iter().map(|x| x.lane(lane)));
            measures.sample(t, &self.values);
        }
    }

    fn event(&mut self, event: &Event) {
        // The last lanes may be nobody's.
        if let Some(measures) = self.each.get_mut(event.lane) {
            measures.event(event);
        }
    }

    fn go_on(&mut self, _: f64) -> bool {
        !self.stop.load(Ordering::Relaxed)
    }
}
