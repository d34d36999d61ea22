//! Carries out the variants of a study on several threads; the journal has each before it counts.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};

use rayon::ThreadPoolBuilder;
use rayon::prelude::*;

use crate::batch::journal::{Journal, JournalTrouble};
use crate::batch::row::Row;
use crate::batch::variant::Study;

/// Rows that wait at most before the threads do.
const WAITING: usize = 256;

/// The variants of shard k of n, from 1: every n-th, so that all shards have a like share of a grid.
pub fn of_shard(count: usize, (k, n): (usize, usize)) -> impl Iterator<Item = usize> {
    (k.saturating_sub(1)..count).step_by(n.max(1))
}

/// Why a batch did not end.
#[derive(Debug, thiserror::Error)]
pub enum CarryTrouble {
    /// The journal could not be written.
    #[error(transparent)]
    Journal(#[from] JournalTrouble),
    /// No threads could be started.
    #[error("cannot start threads: {0}")]
    Threads(#[from] rayon::ThreadPoolBuildError),
}

/// Runs the variants that are not among `rows` yet and adds them, in whatever order they end; a row depends on its
/// variant alone. Ends early once `stop` is set. `told` hears of each number of rows that became safe.
///
/// # Errors
/// [`CarryTrouble`]; the rows so far are safe.
pub fn carry(
    study: &Study,
    pending: &[usize],
    jobs: usize,
    journal: &mut Journal,
    rows: &mut BTreeMap<usize, Row>,
    stop: &AtomicBool,
    told: &mut dyn FnMut(&[Row]),
) -> Result<(), CarryTrouble> {
    let pool = ThreadPoolBuilder::new().num_threads(jobs).build()?;
    let (send, receive) = sync_channel::<Row>(WAITING);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            pool.install(|| {
                // One variant at a time: they differ in length.
                pending.par_iter().with_max_len(1).for_each_with(send, |send, &variant| {
                    if stop.load(Ordering::Relaxed) {
                        return;
                    }
                    if let Some(row) = study.run(variant, stop) {
                        // Nobody listens any more after trouble with the journal; `stop` is set then.
                        let _ = send.send(row);
                    }
                });
            });
        });
        let outcome = keep(&receive, journal, rows, told);
        if outcome.is_err() {
            stop.store(true, Ordering::Relaxed);
        }
        drop(receive);
        outcome
    })?;
    Ok(())
}

fn keep(
    receive: &Receiver<Row>,
    journal: &mut Journal,
    rows: &mut BTreeMap<usize, Row>,
    told: &mut dyn FnMut(&[Row]),
) -> Result<(), JournalTrouble> {
    while let Ok(first) = receive.recv() {
        // All that wait go to disk together.
        let batch: Vec<Row> = std::iter::once(first).chain(receive.try_iter()).collect();
        journal.append(&batch)?;
        told(&batch);
        rows.extend(batch.into_iter().map(|row| (row.variant, row)));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_are_all_variants_once() {
        let mut all: Vec<usize> = (1..=3).flat_map(|k| of_shard(10, (k, 3))).collect();
        assert_eq!(of_shard(10, (3, 3)).collect::<Vec<_>>(), [2, 5, 8]);
        all.sort_unstable();
        assert_eq!(all, (0..10).collect::<Vec<_>>());
    }
}
