//! Executes the variants of a study, block by block, on several threads; the journal has each before it counts.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};
use std::time::{Duration, Instant};

use rayon::ThreadPoolBuilder;
use rayon::prelude::*;
use serde::Serialize;

use crate::batch::block::Blocks;
use crate::batch::journal::{Journal, JournalError};
use crate::batch::lockstep::Ran;
use crate::batch::row::Row;
use crate::batch::variant::PlannedBatch;

/// Blocks that wait at most before the threads do.
const WAITING: usize = 32;

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
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Executed {
    /// Variants run now.
    #[serde(rename = "run")]
    pub variants: usize,
    /// Those of them that ran in lanes beside others.
    pub in_lockstep: usize,
}

/// Runs the pending blocks and adds what rows of them are not there yet, in whatever order they end; a row depends on
/// its block alone. The rows of a block become safe together. Ends early once `stop` is set. `told` hears of each
/// number of rows that became safe.
///
/// # Errors
/// [`BatchError`]; the rows so far are safe.
pub fn execute(
    study: &PlannedBatch,
    (blocks, pending): (&Blocks, &[usize]),
    jobs: usize,
    journal: &mut Journal,
    rows: &mut BTreeMap<usize, Row>,
    stop: &AtomicBool,
    describe: &mut dyn FnMut(&[Row]),
) -> Result<Executed, BatchError> {
    let pool = ThreadPoolBuilder::new().num_threads(jobs).build()?;
    let (send, receive) = sync_channel::<Vec<Ran>>(WAITING);
    let executed = std::thread::scope(|scope| {
        scope.spawn(|| {
            pool.install(|| {
                // One block at a time: they differ in length.
                pending.par_iter().with_max_len(1).for_each_with(send, |send, &block| {
                    if stop.load(Ordering::Relaxed) {
                        return;
                    }
                    if let Some(ran) = study.run_block(blocks.block(block), stop) {
                        // Nobody listens any more after an error with the journal; `stop` is set then.
                        let _ = send.send(ran);
                    }
                });
            });
        });
        let outcome = keep(&receive, journal, rows, describe);
        if outcome.is_err() {
            stop.store(true, Ordering::Relaxed);
        }
        drop(receive);
        outcome
    })?;
    Ok(executed)
}

fn keep(
    receive: &Receiver<Vec<Ran>>,
    journal: &mut Journal,
    rows: &mut BTreeMap<usize, Row>,
    describe: &mut dyn FnMut(&[Row]),
) -> Result<Executed, JournalError> {
    let mut executed = Executed::default();
    let mut synced = None;
    while let Ok(first) = receive.recv() {
        // All that come within a while go to disk together: waiting for the disk costs processor time too.
        let mut blocks = vec![first];
        while let Some(left) = synced.and_then(|at: Instant| BETWEEN_SYNCS.checked_sub(at.elapsed())) {
            match receive.recv_timeout(left) {
                Ok(next) => blocks.push(next),
                Err(_) => break,
            }
        }
        blocks.extend(receive.try_iter());
        let mut batch: Vec<Row> = Vec::new();
        // Rows that a torn block left behind are there already.
        for ran in blocks.into_iter().flatten().filter(|ran| !rows.contains_key(&ran.row.variant)) {
            executed.variants += 1;
            executed.in_lockstep += usize::from(ran.in_lockstep);
            batch.push(ran.row);
        }
        journal.append(&batch)?;
        synced = Some(Instant::now());
        describe(&batch);
        rows.extend(batch.into_iter().map(|row| (row.variant, row)));
    }
    Ok(executed)
}
