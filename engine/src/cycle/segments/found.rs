//! What sweeps have found, of the whole period.

use super::Segments;
use crate::accounts::counters::Counters;
use crate::accounts::ledger::Ledger;
use crate::cycle::keeper::Keeper;
use crate::run::gauge::Reading;
use crate::run::time_loop::Run;
use crate::run::watch::Seen;

impl Segments {
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
        self.segments.iter().map(|s| s.run.ledger()).reduce(|all, one| all.and(&one))
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
