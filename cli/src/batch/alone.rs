//! A variant is run by itself, as coarse as its errors need it.

use std::sync::atomic::AtomicBool;

use crate::batch::errors::Estimate;
use crate::batch::row::{Row, Status};
use crate::batch::variant::{Once, PlannedBatch};
use crate::judge::{Computed, Level, Number, Uncertainty, errors};

/// A row, and whether its variant ran in lanes beside others.
#[derive(Clone, Debug)]
pub struct Ran {
    /// The row.
    pub row: Row,
    /// Whether it ran in lanes.
    pub in_lanes: bool,
    /// Its outputs with what is known beside them.
    pub(super) computed: Computed,
}

impl PlannedBatch {
    /// Whether the errors of a row are to be estimated by coarser runs.
    pub(super) fn is_due(&self, row: &Row) -> bool {
        self.plan.estimate.includes(row.variant) && row.status == Status::Done
    }

    /// Runs a variant, one whose errors are estimated at two coarser levels too; whatever goes wrong stands in its row.
    /// `None` where `stop` was set before the end.
    pub fn run_alone(&self, variant: usize, stop: &AtomicBool) -> Option<Ran> {
        let Once { row, computed, .. } = self.run_at(variant, Level::STATED, stop)?;
        let mut ran = Ran { row, in_lanes: false, computed };
        if !self.is_due(&ran.row) {
            return Some(ran);
        }
        if self.subject.knows_its_errors() {
            let own = |n: &Number| if n.value.is_nan() { Uncertainty::Bare } else { n.own.clone() };
            ran.row.estimate = Some(Estimate::of(&ran.computed.numbers.iter().map(own).collect::<Vec<_>>()));
            return Some(ran);
        }
        let [one, two] = Level::COARSER;
        let (coarse, coarsest) =
            rayon::join(|| self.run_at(variant, one, stop), || self.run_at(variant, two, stop));
        let report = [coarse?, coarsest?].map(|own| match own.row.status {
            Status::Done => Ok(own.computed),
            _ => Err(own.row.error),
        });
        let mut fine = ran.computed.clone();
        if let ([_, Ok(coarsest)], true) = (&report, self.is_study()) {
            // What steps do not show is found where they are coarsest and cost least.
            let known = fine.numbers.iter_mut().zip(&coarsest.numbers);
            known.for_each(|(own, other)| own.further = own.further.max(other.further));
        }
        ran.row.estimate = Some(Estimate::of(&errors(&fine, &report)));
        Some(ran)
    }
}
