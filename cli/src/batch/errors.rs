//! What is known of the errors of a batch's numbers, and the verdicts that follow.
//!
//! Some variants (of a plan that says nothing every sixteenth) are run at two coarser levels too, so that each of their
//! numbers has an error of its own ([`Estimate`], kept in the journal). The largest of a column is the error of that
//! column, and one that could not be found leaves the column without; where every variant is estimated, each keeps its
//! own. This is derived when the table is made, from all rows that are there, so that threads, shards and resumptions
//! leave no trace.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::batch::plan::Estimated;
use crate::batch::row::{Column, Row, Status};
use crate::batch::variant::{Bound, PlannedBatch};
use crate::judge::{Bounds, End, Occurrence, Ruling, Uncertainty, Verdict, overall, rule, worst};

/// The errors of a variant's numbers, in the order of its outputs, as a journal keeps them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// A letter each: within, converging not, not estimated, bare (there is no number, or it is an error itself).
    kinds: String,
    /// ±, 0 where there is none.
    #[serde(with = "super::row::bits")]
    plus_minus: Vec<f64>,
    /// Why the first that was not estimated was not.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    why: String,
}

impl Estimate {
    /// Of the errors of all outputs.
    pub fn of(each: &[Uncertainty]) -> Self {
        let letter = |error: &Uncertainty| match error {
            Uncertainty::Within { .. } => 'w',
            Uncertainty::NotConverging { .. } => 'c',
            Uncertainty::NotEstimated { .. } => 'n',
            Uncertainty::Bare => 'b',
        };
        let why = each.iter().find_map(|error| match error {
            Uncertainty::NotEstimated { why } => Some(why.clone()),
            _ => None,
        });
        Self {
            kinds: each.iter().map(letter).collect(),
            plus_minus: each.iter().map(|error| error.plus_minus().unwrap_or(0.0)).collect(),
            why: why.unwrap_or_default(),
        }
    }

    /// Whether it has an error for each of so many numbers.
    pub fn fits(&self, outputs: usize) -> bool {
        self.kinds.len() == outputs && self.plus_minus.len() == outputs
    }

    /// The errors.
    pub fn each(&self) -> Vec<Uncertainty> {
        let one = |(letter, &plus_minus): (char, &f64)| match letter {
            'w' => Uncertainty::Within { plus_minus },
            'c' => Uncertainty::NotConverging { plus_minus },
            'b' => Uncertainty::Bare,
            _ => Uncertainty::not_estimated(&self.why),
        };
        self.kinds.chars().zip(&self.plus_minus).map(one).collect()
    }
}

/// The errors of the columns of outputs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Errors {
    /// Of each column.
    pub columns: Vec<Uncertainty>,
    /// Variants that they rest on.
    pub variants: usize,
}

impl Errors {
    /// The largest of each column over the variants of which they were estimated.
    pub fn of(study: &PlannedBatch, rows: &BTreeMap<usize, Row>) -> Self {
        let bare = vec![Uncertainty::Bare; study.outputs.len()];
        if study.plan.estimate == Estimated::None {
            return Self { columns: bare, variants: 0 };
        }
        let estimated = || rows.values().filter_map(|row| Some((row.variant, row.estimate.as_ref()?)));
        let variants = estimated().count();
        if variants == 0 {
            let column = |c: &Column| match c.exact {
                true => Uncertainty::Bare,
                false => Uncertainty::not_estimated("no variant here was estimated"),
            };
            return Self { columns: study.outputs.iter().map(column).collect(), variants };
        }
        let mut columns = bare;
        for (variant, estimate) in estimated() {
            for (column, error) in columns.iter_mut().zip(estimate.each()) {
                let report = match error {
                    Uncertainty::NotEstimated { why } => {
                        Uncertainty::NotEstimated { why: format!("variant {variant}: {why}") }
                    }
                    other => other,
                };
                *column = larger(std::mem::take(column), report);
            }
        }
        Self { columns, variants }
    }

    /// What is known of the error of an output of a row.
    pub fn of_output(&self, study: &PlannedBatch, row: &Row, output: usize) -> Uncertainty {
        let column = self.columns.get(output).cloned().unwrap_or_default();
        if study.plan.estimate != Estimated::All {
            return column;
        }
        let own = row.estimate.as_ref().and_then(|e| e.each().into_iter().nth(output));
        own.unwrap_or_else(|| match column {
            Uncertainty::Bare => column,
            _ => Uncertainty::not_estimated("this variant did not come to its end"),
        })
    }

    /// Of all outputs of a row.
    pub fn of_row(&self, study: &PlannedBatch, row: &Row) -> Vec<Uncertainty> {
        match (study.plan.estimate, &row.estimate) {
            (Estimated::All, Some(own)) => own.each(),
            _ => (0..self.columns.len()).map(|k| self.of_output(study, row, k)).collect(),
        }
    }

    /// Gives every row the verdict that follows from its numbers with these errors.
    pub fn judge(&self, study: &PlannedBatch, rows: &mut BTreeMap<usize, Row>) {
        for row in rows.values_mut() {
            row.verdict = verdict(study, row, &self.of_row(study, row));
        }
    }
}

/// The larger of two errors of a column: not found before not converging before within; with the larger ±.
fn larger(a: Uncertainty, b: Uncertainty) -> Uncertainty {
    use Uncertainty::{Bare, NotConverging, NotEstimated, Within};
    match (a, b) {
        (NotEstimated { why }, _) | (_, NotEstimated { why }) => NotEstimated { why },
        (Bare, other) | (other, Bare) => other,
        (Within { plus_minus: x }, Within { plus_minus: y }) => Within { plus_minus: x.max(y) },
        (NotConverging { plus_minus: x } | Within { plus_minus: x }, NotConverging { plus_minus: y })
        | (NotConverging { plus_minus: x }, Within { plus_minus: y }) => {
            NotConverging { plus_minus: x.max(y) }
        }
    }
}

/// The ruling on each limit in a row, by the errors of its outputs.
pub fn rulings(study: &PlannedBatch, row: &Row, errors: &[Uncertainty]) -> Vec<Ruling> {
    let one = |(k, limit): (usize, &Bound)| {
        let searched = study.plan.search.as_ref().is_some_and(|s| s.limit == limit.limit.name);
        let (least, largest) = (row.outputs[limit.columns.0], row.outputs[limit.columns.1]);
        // A limit that a search meets is met by definition: what it found has an error, and no verdict.
        let met = searched && limit.limit.by_user() && row.status == Status::Done;
        // What failed at once has seen nothing.
        let unseen = row.status == Status::Failed && least.is_nan() && largest.is_nan();
        if row.status == Status::Refused || met || unseen {
            return Ruling::NotJudged;
        }
        if limit.limit.waived.is_some() {
            return Ruling::Waived;
        }
        let Bounds { lower, upper } = match row.bounds.get(2 * k..2 * k + 2) {
            Some(&[lower, upper]) => Bounds { lower, upper },
            _ => limit.of(study.inputs(row.variant)),
        };
        let occurrence = match row.open.contains(&k) {
            true => Occurrence::Open,
            // What never happened has no number.
            false => Occurrence::Happened,
        };
        let sides = [
            (End::Least, least, limit.columns.0, Bounds::at_least(lower)),
            (End::Largest, largest, limit.columns.1, Bounds::at_most(upper)),
        ];
        worst(sides.map(|(end, found, column, bounds)| {
            let error = errors.get(column).unwrap_or(&Uncertainty::Bare);
            // As in a single run: steps that stalled prove nothing unless coarser runs show that they converge.
            let relied = !row.stalled || matches!(error, Uncertainty::Within { .. });
            occurrence.temper(end, rule(found, error, bounds, !row.out_of_range && relied))
        }))
    };
    study.limits.iter().enumerate().map(one).collect()
}

/// The verdict of a row.
pub fn verdict(study: &PlannedBatch, row: &Row, errors: &[Uncertainty]) -> Verdict {
    let rulings = rulings(study, row, errors);
    let judges = rulings.iter().any(|r| !matches!(r, Ruling::NotJudged | Ruling::Waived));
    let unfinished = judges && matches!(row.status, Status::Failed | Status::Broken);
    overall(rulings, unfinished || !row.doubts.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Computed, Number, errors};

    #[test]
    fn the_largest_of_a_column_counts_and_one_that_is_not_known_leaves_none() {
        let within = Uncertainty::within;
        let wild = |plus_minus| Uncertainty::NotConverging { plus_minus };
        let unknown = || Uncertainty::not_estimated("x");
        assert_eq!(larger(within(1.0), within(2.0)), within(2.0));
        assert_eq!(larger(wild(1.0), within(2.0)), wild(2.0));
        assert_eq!(larger(within(2.0), wild(1.0)), wild(2.0));
        assert_eq!(larger(Uncertainty::Bare, within(2.0)), within(2.0));
        assert_eq!(larger(unknown(), within(2.0)), unknown());
        assert_eq!(larger(Uncertainty::Bare, unknown()), unknown());
    }

    /// Errors ε, 2ε and 4ε give 1.25 ε, as for a single run; what the journal keeps gives the same bits.
    #[test]
    fn estimates_are_those_of_single_runs_and_come_back_to_the_bit() {
        let exact = |name: &str, value| Number { exact: true, ..Number::plain(name, value) };
        let at = |k: f64| Computed {
            numbers: vec![
                Number::plain("x", 3.0 + 1e-3 * k),
                Number::plain("let-through", f64::NAN),
                exact("ledger.residual", k),
                exact("ledger.residual-relative", k),
            ],
            ..Computed::default()
        };
        let report = Estimate::of(&errors::<String>(&at(1.0), &[Ok(at(2.0)), Ok(at(4.0))]));
        let each = report.each();
        assert!((each[0].plus_minus().unwrap() / 1.25e-3 - 1.0).abs() < 1e-6, "{each:?}");
        assert_eq!(each[1..], [Uncertainty::Bare, Uncertainty::Bare, Uncertainty::Bare]);
        let back: Estimate = serde_json::from_str(&serde_json::to_string(&report).unwrap()).unwrap();
        assert!(back == report && back.fits(4) && !back.fits(3));
        let report = Estimate::of(&errors(&at(1.0), &[Ok(at(2.0)), Err("it failed")]));
        assert!(matches!(&report.each()[0], Uncertainty::NotEstimated { why } if why.contains("it failed")));
    }
}
