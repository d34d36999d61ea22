//! What rows say together: percentiles, yield with confidence bounds, the worst variant.

use std::collections::BTreeMap;

use serde::{Serialize, Serializer};
use statrs::function::beta::beta_reg;

use crate::batch::errors::{Errors, rulings};
use crate::batch::row::{Column, Row, Status};
use crate::batch::variant::{Bound, PlannedBatch};
use crate::judge::{Bounds, Limit, Ruling, Uncertainty, Verdict};

/// A percentile of ascending numbers, 0 ≤ p ≤ 1, by a straight line between the two nearest (definition 7 of Hyndman &
/// Fan 1996); NaN where there are none.
pub fn percentile(ascending: &[f64], p: f64) -> f64 {
    let Some(last) = ascending.len().checked_sub(1) else { return f64::NAN };
    let at = p.clamp(0.0, 1.0) * last as f64;
    let below = at.floor() as usize;
    let share = at - below as f64;
    let (a, b) = (ascending[below], ascending[(below + 1).min(last)]);
    if share == 0.0 { a } else { a + share * (b - a) }
}

/// The p-quantile of the beta distribution with parameters a, b > 0, by halving: the regularised incomplete beta
/// function rises with x.
fn beta_quantile(a: f64, b: f64, p: f64) -> f64 {
    let (mut low, mut high) = (0.0f64, 1.0f64);
    loop {
        let middle = low + 0.5 * (high - low);
        if middle <= low || middle >= high {
            return middle;
        }
        if beta_reg(a, b, middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
}

/// Two-sided bounds of a probability of which `k` of `n` trials were seen (Clopper & Pearson 1934).
pub fn clopper_pearson(k: usize, n: usize, confidence: f64) -> (f64, f64) {
    let tail = 0.5 * (1.0 - confidence);
    let (hits, misses) = (k as f64, n.saturating_sub(k) as f64);
    let lower = if k == 0 { 0.0 } else { beta_quantile(hits, misses + 1.0, tail) };
    let upper = if k >= n { 1.0 } else { beta_quantile(hits + 1.0, misses, 1.0 - tail) };
    (lower, upper)
}

/// Confidence of the bounds that are reported.
pub const CONFIDENCE: f64 = 0.95;

/// A share of variants.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Share {
    /// Variants that count.
    #[serde(rename = "variants")]
    pub hits: usize,
    /// All of them.
    pub of: usize,
    /// Clopper–Pearson bound at [`CONFIDENCE`]; it means something for independent draws only.
    pub lower: f64,
    /// The other one.
    pub upper: f64,
    /// [`CONFIDENCE`].
    pub confidence: f64,
}

impl Share {
    fn new(hits: usize, of: usize) -> Self {
        let (lower, upper) = clopper_pearson(hits, of, CONFIDENCE);
        Self { hits, of, lower, upper, confidence: CONFIDENCE }
    }
}

/// The variant nearest to a limit, or farthest beyond it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Worst {
    /// Its number.
    pub variant: usize,
    /// Its margin in the limit's unit; below zero: exceeded.
    pub margin: f64,
    /// Its inputs by name.
    pub inputs: BTreeMap<String, f64>,
}

/// A limit over all variants.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimitSummary {
    /// The limit, with its bounds in the subject as it stands.
    #[serde(flatten)]
    pub limit: Limit,
    /// Variants that keep it, by more than the error, of all.
    pub kept: Share,
    /// Variants that exceed it, by more than the error.
    pub fails: usize,
    /// Variants of which neither is shown.
    pub not_proven: usize,
    /// `None` where no variant has a margin.
    pub worst: Option<Worst>,
}

/// A column of numbers over all variants that were run to their end.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ColumnSummary {
    /// Number of the output.
    #[serde(skip)]
    pub output: usize,
    /// The output.
    #[serde(flatten)]
    pub column: Column,
    /// What is known of the error of its numbers.
    pub error: Uncertainty,
    /// How many numbers there are.
    pub count: usize,
    /// Mean and standard deviation (of the sample, divisor n − 1).
    pub mean: f64,
    /// Standard deviation.
    pub deviation: f64,
    /// Percentiles of [`PERCENTS`].
    #[serde(serialize_with = "by_percent")]
    pub percentiles: [f64; PERCENTS.len()],
}

/// Percentiles that are reported.
pub const PERCENTS: [f64; 7] = [0.0, 1.0, 5.0, 50.0, 95.0, 99.0, 100.0];

/// Variants whose verdict cannot be "passes", whatever their numbers say.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Doubted {
    /// How many.
    pub variants: usize,
    /// The first of them.
    pub first: usize,
    /// What speaks against it.
    pub text: String,
}

/// What all rows say together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Statistics {
    /// Variants by how they ended.
    #[serde(serialize_with = "by_end")]
    pub ended: Vec<(Status, usize)>,
    /// Variants that pass, of all; `None` where none is judged.
    #[serde(rename = "yield")]
    pub passes: Option<Share>,
    /// Variants that fail.
    pub fails: usize,
    /// Variants that are not proven to pass or to fail.
    pub not_proven: usize,
    /// Variants that are not judged, or make no scenario.
    pub not_judged: usize,
    /// What speaks against variants, whatever their numbers say.
    pub doubts: Option<Doubted>,
    /// Which errors are estimated, in words.
    pub estimate: &'static str,
    /// Variants of which they were.
    pub estimated_variants: usize,
    /// The limits.
    pub limits: Vec<LimitSummary>,
    /// The outputs.
    #[serde(rename = "outputs")]
    pub columns: Vec<ColumnSummary>,
}

fn by_percent<S: Serializer>(percentiles: &[f64; PERCENTS.len()], to: S) -> Result<S::Ok, S::Error> {
    to.collect_map(PERCENTS.iter().map(f64::to_string).zip(percentiles))
}

fn by_end<S: Serializer>(ended: &[(Status, usize)], to: S) -> Result<S::Ok, S::Error> {
    to.collect_map(ended.iter().map(|(status, n)| (status.word().replace(' ', "_"), n)))
}

/// Gathers the statistics of rows that are judged by these errors.
pub fn gather(study: &PlannedBatch, rows: &BTreeMap<usize, Row>, errors: &Errors) -> Statistics {
    let done: Vec<&Row> = rows.values().filter(|r| r.status == Status::Done).collect();
    let count = |status| rows.values().filter(|r| r.status == status).count();
    let ended = Status::ALL.into_iter().map(|s| (s, count(s))).filter(|(_, n)| *n > 0).collect();
    let verdicts = |verdict| rows.values().filter(|r| r.verdict == verdict).count();
    let ruled: Vec<Vec<Ruling>> =
        rows.values().map(|row| rulings(study, row, &errors.of_row(study, row))).collect();
    let searched = study.plan.search.as_ref().map(|s| s.limit.as_str());
    let describe = |Bound { limit, .. }: &Bound| {
        limit.waived.is_none() && (!limit.by_user() || searched != Some(limit.name.as_str()))
    };
    let limits = study.limits.iter().enumerate().filter(|(_, limit)| describe(limit)).map(|(k, limit)| {
        let margins = done.iter().map(|row| {
            let Bounds { lower, upper } = limit.of(study.inputs(row.variant));
            let (least, largest) = (row.outputs[limit.columns.0], row.outputs[limit.columns.1]);
            (row.variant, (upper - largest).min(least - lower))
        });
        let margins: Vec<(usize, f64)> = margins.collect();
        let worst = margins.iter().copied().filter(|m| !m.1.is_nan()).min_by(|a, b| a.1.total_cmp(&b.1));
        let worst = worst.map(|(variant, margin)| {
            let names = study.plan.inputs.iter().map(|input| input.name.clone());
            let inputs = names.zip(study.inputs(variant).iter().copied()).collect();
            Worst { variant, margin, inputs }
        });
        let of = |ruling| ruled.iter().filter(|all| all[k] == ruling).count();
        LimitSummary {
            limit: limit.limit.clone(),
            kept: Share::new(of(Ruling::Passes), rows.len()),
            fails: of(Ruling::Fails),
            not_proven: of(Ruling::NotProven),
            worst,
        }
    });
    let column = |output: usize| {
        let mut values: Vec<f64> = done.iter().map(|r| r.outputs[output]).filter(|x| x.is_finite()).collect();
        values.sort_by(f64::total_cmp);
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|x| (x - mean).powi(2)).sum();
        let percentiles = PERCENTS.map(|p| percentile(&values, p / 100.0));
        ColumnSummary {
            output,
            column: study.outputs[output].clone(),
            error: errors.columns.get(output).cloned().unwrap_or_default(),
            count: values.len(),
            mean,
            deviation: (squares / (n - 1.0)).sqrt(),
            percentiles,
        }
    };
    Statistics {
        ended,
        passes: (verdicts(Verdict::NotJudged) < rows.len())
            .then(|| Share::new(verdicts(Verdict::Passes), rows.len())),
        fails: verdicts(Verdict::Fails),
        not_proven: verdicts(Verdict::NotProven),
        not_judged: verdicts(Verdict::NotJudged),
        doubts: rows.values().find(|r| !r.doubts.is_empty()).map(|first| Doubted {
            variants: rows.values().filter(|r| !r.doubts.is_empty()).count(),
            first: first.variant,
            text: first.doubts.clone(),
        }),
        estimate: study.plan.estimate.words(),
        estimated_variants: errors.variants,
        limits: limits.collect(),
        columns: (0..study.outputs.len()).map(column).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percentiles_lie_between_the_nearest() {
        let values = [1.0, 2.0, 4.0, 8.0];
        assert_eq!(percentile(&values, 0.5), 3.0);
        assert_eq!(percentile(&values, 1.0), 8.0);
        assert_eq!(percentile(&values, 0.1), 1.3);
        assert!(percentile(&[], 0.5).is_nan());
    }
}
