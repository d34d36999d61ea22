//! Executes the variants of a study on several threads; the journal has each before it counts.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use rayon::ThreadPoolBuilder;
use rayon::prelude::*;
use serde::Serialize;
use wide::{f64x4, f64x8};

use crate::batch::alone::Ran;
use crate::batch::journal::{Journal, JournalError};
use crate::batch::lanes::Work;
use crate::batch::row::Row;
use crate::batch::variant::PlannedBatch;

/// Rows that wait at most before the threads do.
const WAITING: usize = 256;

/// Why a batch did not end.
#[derive(Debug, thiserror::Error)]
pub enum BatchError {
    /// The journal could not be written.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// No threads could be started.
    #[error("cannot start threads: {0}")]
    Threads(#[from] rayon::ThreadPoolBuildError),
}

/// Shortest time between two waits for the disk: what is lost at most when the program is killed.
const BETWEEN_SYNCS: Duration = Duration::from_millis(50);

/// What has been run, and how.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Executed {
    /// Variants run now.
    #[serde(rename = "run")]
    pub variants: usize,
    /// Those of them that ran in lanes beside others.
    pub in_lanes: usize,
    /// Share of the lanes in which a variant was at work; 0 where none ran in lanes.
    pub busy: f64,
}

/// Runs the pending variants and adds their rows, in whatever order they end; a row depends on its variant alone, neither
/// on threads nor on the company it had. Ends early once `stop` is set. `describe` hears of rows that became safe.
///
/// # Errors
/// [`BatchError`]; the rows so far are safe.
pub fn execute(
    study: &PlannedBatch,
    pending: &[usize],
    jobs: usize,
    journal: &mut Journal,
    rows: &mut BTreeMap<usize, Row>,
    stop: &AtomicBool,
    describe: &mut dyn FnMut(&[Row]),
) -> Result<Executed, BatchError> {
    let pool = ThreadPoolBuilder::new().num_threads(jobs).build()?;
    let (send, receive) = sync_channel::<Ran>(WAITING);
    let work = Mutex::new(Work::default());
    let mut executed = std::thread::scope(|scope| {
        scope.spawn(|| {
            pool.install(|| match study.in_lanes() {
                true => in_lanes(study, pending, stop, &send, &work),
                // One variant at a time: they differ in length.
                false => pending.par_iter().with_max_len(1).for_each(|&variant| {
                    if stop.load(Ordering::Relaxed) {
                        return;
                    }
                    if let Some(ran) = study.run_alone(variant, stop) {
                        // Nobody listens any more after an error with the journal; `stop` is set then.
                        let _ = send.send(ran);
                    }
                }),
            });
            drop(send);
        });
        let outcome = keep(&receive, journal, rows, describe);
        if outcome.is_err() {
            stop.store(true, Ordering::Relaxed);
        }
        drop(receive);
        outcome
    })?;
    let Work { lanes, busy } = *work.lock().unwrap_or_else(PoisonError::into_inner);
    executed.busy = if lanes > 0 { busy as f64 / lanes as f64 } else { 0.0 };
    Ok(executed)
}

/// Every thread has lanes of its own; all take the next variant from one list.
fn in_lanes(
    study: &PlannedBatch,
    pending: &[usize],
    stop: &AtomicBool,
    send: &SyncSender<Ran>,
    all: &Mutex<Work>,
) {
    let taken = AtomicUsize::new(0);
    let next = || pending.get(taken.fetch_add(1, Ordering::Relaxed)).copied();
    rayon::broadcast(|_| {
        let mut done = |ran: Ran| {
            let _ = send.send(ran);
        };
        let work = match study.lanes {
            4 => study.run_in_lanes::<f64x4>(&next, stop, &mut done),
            _ => study.run_in_lanes::<f64x8>(&next, stop, &mut done),
        };
        let mut all = all.lock().unwrap_or_else(PoisonError::into_inner);
        all.lanes += work.lanes;
        all.busy += work.busy;
    });
}

fn keep(
    receive: &Receiver<Ran>,
    journal: &mut Journal,
    rows: &mut BTreeMap<usize, Row>,
    describe: &mut dyn FnMut(&[Row]),
) -> Result<Executed, JournalError> {
    let mut executed = Executed::default();
    let mut synced = None;
    while let Ok(first) = receive.recv() {
        // All that come within a while go to disk together: waiting for the disk costs processor time too.
        let mut all = vec![first];
        while let Some(left) = synced.and_then(|at: Instant| BETWEEN_SYNCS.checked_sub(at.elapsed())) {
            match receive.recv_timeout(left) {
                Ok(next) => all.push(next),
                Err(_) => break,
            }
        }
        all.extend(receive.try_iter());
        let mut batch: Vec<Row> = Vec::new();
        for ran in all {
            executed.variants += 1;
            executed.in_lanes += usize::from(ran.in_lanes);
            batch.push(ran.row);
        }
        journal.append(&batch)?;
        synced = Some(Instant::now());
        describe(&batch);
        rows.extend(batch.into_iter().map(|row| (row.variant, row)));
    }
    Ok(executed)
}
