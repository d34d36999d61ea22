//! What an account rests on.

use joulestep_engine::accounts::counters::Counters;
use joulestep_engine::accounts::ledger::Entry;
use joulestep_engine::run::watch::{Seen, Watch};

use super::{Peak, Shown};

/// What an account rests on: of a run, or of the cycles that a study solved.
#[derive(Debug)]
pub struct Found<'a> {
    /// What was seen of each watch.
    pub seen: Vec<Seen>,
    /// The watches, in the same order, and errors of theirs that are known otherwise than by coarser runs.
    pub watches: Vec<(&'a Watch, f64)>,
    /// What the gauges of limits show; none of a study that has no events.
    pub readings: Vec<Shown>,
    /// The ledger's lines: one for each component of the circuit, then what drives add.
    pub entries: &'a [Entry<f64>],
    /// What it does not close by, J.
    pub residual: f64,
    /// That against the energy turned over or stored.
    pub relative: f64,
    /// The time over which the ledger counts, s, where that repeats without end.
    pub repeats: Option<f64>,
    /// Work done.
    pub counters: Counters,
    /// Simulated time reached, s.
    pub reached: f64,
}

impl Found<'_> {
    /// What was seen, as the account states it.
    pub(super) fn peaks(&self) -> Vec<Peak> {
        let one = |(s, &(w, further)): (&Seen, &(&Watch, f64))| Peak {
            name: w.name.clone(),
            long_name: w.long_name.clone(),
            unit: w.unit,
            least: s.least,
            least_at: s.least_at,
            largest: s.largest,
            largest_at: s.largest_at,
            missed: s.missed,
            further,
        };
        self.seen.iter().zip(&self.watches).map(one).collect()
    }
}
