//! `run --prove`: rounds of finer and finer steps, until every judged number stands still within its margin.

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::atomic::Ordering;

use super::execute::{Executed, Job};
use super::stopped;
use crate::judge::{Level, prove};
use crate::output::account::{Account, Outcome};
use crate::output::written::Refused;

/// A round that came to no end, or to an early one.
enum Early {
    Refused(Refused),
    Ended,
}

impl fmt::Display for Early {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refused((why, _)) => f.write_str(why),
            Self::Ended => f.write_str("the run did not come to its end"),
        }
    }
}

/// Makes the rounds; the file holds the last one. Gives its account and the file's size.
pub(super) fn run(job: &Job<'_>) -> Result<(Account, u64), Refused> {
    let bounds = RefCell::new(BTreeMap::new());
    let mut held: Option<Executed> = None;
    let steady = Cell::new(false);
    let at = |level: Level| {
        let (run, facts) = job.begin(job.ready().map_err(Early::Refused)?, level).map_err(Early::Refused)?;
        // The file of the round before is closed before it is replaced.
        drop(held.take());
        let executed = job.execute(run, &facts, job.create().map_err(Early::Refused)?);
        let (computed, done) = (executed.computed(), executed.account.outcome == Outcome::Done);
        bounds.replace(executed.account.bounds());
        steady.set(executed.account.counters.stalled == 0);
        held = Some(executed);
        if done { Ok(computed) } else { Err(Early::Ended) }
    };
    let stop = || stopped().load(Ordering::Relaxed);
    let proof = prove(at, |name| bounds.borrow().get(name).copied(), || steady.get(), stop);
    let none = || ("no round was made".to_string(), crate::exit::NUMERICAL);
    let executed = match (proof, held) {
        (Err(Early::Refused(why)), _) => return Err(why),
        (Err(Early::Ended), held) => return held.ok_or_else(none)?.finish(),
        (Ok(proof), held) => {
            let mut executed = held.ok_or_else(none)?;
            executed.account.proven(&proof, "numbers and file");
            executed
        }
    };
    executed.finish()
}
