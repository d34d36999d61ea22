//! The search of a plan: the value at which a limit is just met, for each variant.

use std::sync::atomic::AtomicBool;

use super::variant::{Once, PlannedBatch};
use crate::batch::plan::Search;
use crate::batch::row::Status;
use crate::input::parameter_path::ParameterPath;
use crate::judge::Level;
use crate::output::answer::Estimation;

/// Most halvings of a search: a double has no more bits.
const MOST_HALVINGS: usize = 60;

impl PlannedBatch {
    /// Halves the bracket whose ends lie on both sides of the limit; gives the run of the kept end.
    pub(super) fn search<'a>(
        &'a self,
        search: &'a Search,
        mut settings: Vec<(&'a ParameterPath, f64)>,
        (level, estimation): (Level, Estimation),
        stop: &AtomicBool,
    ) -> Option<Once> {
        settings.push((&search.parameter, f64::NAN));
        let mut at = |x: f64, how| {
            if let Some(last) = settings.last_mut() {
                last.1 = x;
            }
            self.once(&settings, (level, how), stop)
        };
        // Errors that levels do not show are asked for where it ends.
        let none = Estimation::None;
        let (mut low, mut high) = search.ends;
        let mut best = at(low, none)?;
        let Some(kept_low) = best.kept else { return Some(best) };
        let other = at(high, none)?;
        let Some(kept_high) = other.kept else { return Some(other) };
        if kept_low == kept_high {
            let what = if kept_low { "kept" } else { "exceeded" };
            let why = format!("the limit `{}` is {what} at both ends of the search", search.limit);
            (best.row.status, best.row.error) = (Status::NotFound, why);
            return Some(best);
        }
        if kept_high {
            best = other;
        }
        for _ in 0..MOST_HALVINGS {
            if high - low <= search.tolerance * low.abs().max(high.abs()) {
                break;
            }
            let middle = low + 0.5 * (high - low);
            if middle <= low || middle >= high {
                break;
            }
            let there = at(middle, none)?;
            let Some(kept) = there.kept else { return Some(there) };
            if kept == kept_low {
                low = middle;
            } else {
                high = middle;
            }
            if kept {
                best = there;
            }
        }
        let end = if kept_low { low } else { high };
        if estimation != none && self.is_study() {
            best = at(end, estimation)?;
        }
        if let Some(found) = best.row.outputs.first_mut() {
            *found = end;
        }
        if let Some(number) = best.computed.numbers.first_mut() {
            (number.value, number.further) = (end, high - low);
        }
        Some(best)
    }
}
