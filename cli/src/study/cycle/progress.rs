//! How far the search for a periodic steady state is.

use std::sync::atomic::{AtomicUsize, Ordering};

use crate::judge::Level;
use crate::progress::Rough;

/// Periods that the first search takes as a rule, and one that begins near by.
const AS_A_RULE: [f64; 2] = [4.0, 2.0];

/// All searches together, in work.
pub(super) struct Progress {
    shown: Rough,
    /// Each search's words, periods as a rule, and work of a period.
    searches: Vec<(String, f64, f64)>,
    present: AtomicUsize,
}

impl Progress {
    /// For searches at some coarser levels, and the one that is asked for.
    pub(super) fn new(quiet: bool, coarser: &[Level], own: Level) -> Self {
        let search = |(k, level): (usize, Level)| {
            let words =
                if level == own { String::new() } else { format!(" at {:.1}x steps", level.of_steps()) };
            // Edges are followed as finely at every level.
            (words, AS_A_RULE[k.min(1)], 0.9f64.powi(level.0))
        };
        let searches = coarser.iter().copied().chain([own]).enumerate().map(search).collect();
        Self { shown: Rough::new(quiet), searches, present: AtomicUsize::new(0) }
    }

    /// So many periods of the present search have been run.
    pub(super) fn at(&self, periods: f64) {
        let work = |searches: &[(String, f64, f64)]| searches.iter().map(|s| s.1 * s.2).sum::<f64>();
        let present = self.present.load(Ordering::Relaxed).min(self.searches.len() - 1);
        let (before, rest) = self.searches.split_at(present);
        let (words, rule, each) = &rest[0];
        let done = work(before) + each * periods;
        let left = each * (rule - periods).max(1.0) + work(&rest[1..]);
        let text = format!("period {} of the search{words}", periods.floor() + 1.0);
        self.shown.at(done / (done + left), &text);
    }

    /// The next search begins.
    pub(super) fn next(&self) {
        self.present.fetch_add(1, Ordering::Relaxed);
    }

    /// The one that is asked for begins.
    pub(super) fn last(&self) {
        self.present.store(self.searches.len() - 1, Ordering::Relaxed);
    }

    pub(super) fn done(&self) {
        self.shown.done();
    }
}
