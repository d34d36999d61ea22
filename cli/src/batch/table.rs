//! The table of a batch: HDF5 through the result store, CSV, and Parquet.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::Path;

use crate::batch::errors::Errors;
use crate::batch::indices::Indices;
use crate::batch::plan::Estimated;
use crate::batch::row::Row;
use crate::batch::save::{file_name, is_kept};
use crate::batch::statistics::{PERCENTS, Share, Statistics, Worst};
use crate::batch::variant::PlannedBatch;
use crate::judge::{Uncertainty, unit_of_difference};
use crate::output::result::{BatchTable, ResultError, Statistic, TableColumn, write_table};

/// Rows and what they say together.
#[derive(Clone, Copy, Debug)]
pub struct BatchResult<'a> {
    /// The study.
    pub study: &'a PlannedBatch,
    /// Its rows.
    pub rows: &'a BTreeMap<usize, Row>,
    /// The errors of its columns.
    pub errors: &'a Errors,
    /// What they say together.
    pub statistics: &'a Statistics,
    /// Sobol indices of outputs.
    pub indices: &'a [(usize, Indices)],
    /// Variants whose waveforms are kept, ascending; `None`: the plan keeps none.
    pub kept: Option<&'a [usize]>,
}

impl BatchResult<'_> {
    /// The columns of numbers: the inputs, then each output with its errors behind it, where some were estimated and it
    /// is no error itself.
    pub(super) fn columns(&self) -> Vec<TableColumn<'_>> {
        let BatchResult { study, rows, errors, .. } = *self;
        let inputs = study.plan.inputs.iter().enumerate().map(|(k, input)| TableColumn {
            name: Cow::Borrowed(&input.name),
            unit: &input.parameter.unit,
            role: "input",
            kind: "",
            values: rows.keys().map(|variant| study.inputs(*variant)[k]).collect(),
        });
        let mut all: Vec<TableColumn<'_>> = inputs.collect();
        let none = study.plan.estimate == Estimated::None;
        let of_rows: Vec<_> = match none {
            true => Vec::new(),
            false => rows.values().map(|row| errors.of_row(study, row)).collect(),
        };
        for (k, output) in study.outputs.iter().enumerate() {
            let values: Vec<f64> = rows.values().map(|row| row.outputs[k]).collect();
            // A number that there is not has no error.
            let own = |(errors, x): (&Vec<Uncertainty>, &f64)| {
                errors[k].plus_minus().filter(|_| !x.is_nan()).unwrap_or(f64::NAN)
            };
            let of_errors = (!none && !output.exact).then(|| TableColumn {
                name: Cow::Owned(format!("{}.error", output.name)),
                unit: unit_of_difference(&output.unit),
                role: "error",
                kind: errors.columns[k].word(),
                values: of_rows.iter().zip(&values).map(own).collect(),
            });
            let (name, unit) = (Cow::Borrowed(output.name.as_str()), output.unit.as_str());
            all.push(TableColumn { name, unit, role: "output", kind: "", values });
            all.extend(of_errors);
        }
        all
    }

    /// The columns of texts.
    pub(super) fn texts(&self) -> Vec<(&'static str, Vec<String>)> {
        let of = |text: fn(&Row) -> &str| self.rows.values().map(|r| text(r).to_string()).collect();
        let mut all = vec![
            ("doubts", of(|r| &r.doubts)),
            ("status", of(|r| r.status.word())),
            ("verdict", of(|r| r.verdict.word())),
            ("error", of(|r| &r.error)),
        ];
        all.extend(self.waveforms().map(|files| ("waveforms", files)));
        all
    }

    /// The result file of each row's variant.
    pub(super) fn waveforms(&self) -> Option<Vec<String>> {
        let kept = self.kept?;
        let name =
            |variant: &usize| if is_kept(kept, *variant) { file_name(*variant) } else { String::new() };
        Some(self.rows.keys().map(name).collect())
    }
}

/// Writes the HDF5 table; the same rows give the same bytes.
///
/// # Errors
/// Those of the file.
pub fn hdf5(path: &Path, result: &BatchResult<'_>) -> Result<(), ResultError> {
    let BatchResult { study, rows, .. } = *result;
    let of_inputs =
        |what: &str| study.plan.inputs.iter().map(|i| format!("{what}.{}", i.name)).collect::<Vec<_>>();
    let (first, total) = (of_inputs("first"), of_inputs("total"));
    let mut statistics = vec![outputs(result)];
    if !study.limits.is_empty() {
        statistics.push(limits(result));
    }
    if !result.indices.is_empty() {
        statistics.push(indices(result, &first, &total));
    }
    let flag = |of: &dyn Fn(&Row) -> bool| rows.values().map(|r| i64::from(of(r))).collect::<Vec<_>>();
    let table = BatchTable {
        title: &study.plan.title,
        inputs: &study.inputs,
        digest: &study.digest,
        estimate: study.plan.estimate.words(),
        flags: vec![
            (
                "estimated",
                "1 where coarser runs estimated the errors of the variant",
                flag(&|r| r.estimate.is_some()),
            ),
            (
                "out_of_range",
                "1 where a law was used outside the range for which it is known",
                flag(&|r| r.out_of_range),
            ),
            (
                "stalled",
                "1 where steps exceeded the error bound at their finest length",
                flag(&|r| r.stalled),
            ),
        ],
        variants: rows.keys().map(|v| *v as i64).collect(),
        columns: result.columns(),
        status: rows.values().map(|r| r.status.word()).collect(),
        verdict: rows.values().map(|r| r.verdict.word()).collect(),
        error: rows.values().map(|r| r.error.as_str()).collect(),
        doubts: rows.values().map(|r| r.doubts.as_str()).collect(),
        waveforms: result.waveforms(),
        statistics,
    };
    write_table(path, &table)
}

/// Names of the percentiles' columns, in the order of [`PERCENTS`].
const PERCENT_NAMES: [&str; PERCENTS.len()] = ["p0", "p1", "p5", "p50", "p95", "p99", "p100"];

fn outputs<'a>(result: &BatchResult<'_>) -> Statistic<'a> {
    let BatchResult { study, statistics, .. } = *result;
    let columns = &statistics.columns;
    let names = columns.iter().map(|c| study.outputs[c.output].name.clone()).collect();
    let units = columns.iter().map(|c| study.outputs[c.output].unit.clone()).collect();
    let kinds = columns.iter().map(|c| c.error.word().to_string()).collect();
    let mut numbers = vec![
        (
            "error",
            "the largest estimated error, +-; NaN where it is not known",
            columns.iter().map(|c| c.error.plus_minus().unwrap_or(f64::NAN)).collect(),
        ),
        ("count", "variants with this number", columns.iter().map(|c| c.count as f64).collect::<Vec<_>>()),
        ("mean", "mean", columns.iter().map(|c| c.mean).collect()),
        ("deviation", "standard deviation of the sample", columns.iter().map(|c| c.deviation).collect()),
    ];
    for (k, name) in PERCENT_NAMES.into_iter().enumerate() {
        numbers.push((name, "percentile", columns.iter().map(|c| c.percentiles[k]).collect()));
    }
    let words = "outputs over the variants that were run to their end";
    Statistic {
        name: "outputs",
        words,
        texts: vec![("output", names), ("unit", units), ("error_kind", kinds)],
        numbers,
    }
}

/// A limit, the variants that keep it, those that exceed it, those of which neither is proven, and the worst one.
type Yield<'a> = (String, Share, [usize; 2], Option<&'a Worst>);

/// Yields: of each limit, and last of all together.
fn limits<'a>(result: &BatchResult<'_>) -> Statistic<'a> {
    let BatchResult { study, statistics, .. } = *result;
    let all = statistics.passes.iter();
    let all = all.map(|s| ("all limits".to_string(), *s, [statistics.fails, statistics.not_proven], None));
    let each = statistics.limits.iter();
    let each = each.map(|l| (l.limit.name.clone(), l.kept, [l.fails, l.not_proven], l.worst.as_ref()));
    let each: Vec<Yield<'_>> = each.chain(all).collect();
    let column = |of: &dyn Fn(&Yield<'_>) -> f64| each.iter().map(of).collect::<Vec<_>>();
    let unit = |name: &String| {
        study
            .limits
            .iter()
            .find(|l| l.limit.name == *name)
            .map_or(String::new(), |l| study.outputs[l.columns.0].unit.clone())
    };
    let numbers = vec![
        ("kept_by", "variants that keep it, by more than the error", column(&|l| l.1.hits as f64)),
        ("of", "all variants", column(&|l| l.1.of as f64)),
        ("exceeded_by", "variants that exceed it, by more than the error", column(&|l| l.2[0] as f64)),
        ("not_proven", "variants of which neither is shown", column(&|l| l.2[1] as f64)),
        ("lower", "lower Clopper-Pearson bound of the share, 95 %", column(&|l| l.1.lower)),
        ("upper", "upper Clopper-Pearson bound of the share, 95 %", column(&|l| l.1.upper)),
        (
            "worst_variant",
            "the variant of the least margin",
            column(&|l| l.3.map_or(f64::NAN, |w| w.variant as f64)),
        ),
        ("worst_margin", "its margin", column(&|l| l.3.map_or(f64::NAN, |w| w.margin))),
    ];
    let (names, units) = each.iter().map(|l| (l.0.clone(), unit(&l.0))).unzip();
    let words = "limits and ratings: variants that keep them, of all, and the worst one";
    Statistic { name: "limits", words, texts: vec![("limit", names), ("unit", units)], numbers }
}

fn indices<'a>(result: &BatchResult<'_>, first: &'a [String], total: &'a [String]) -> Statistic<'a> {
    let BatchResult { study, indices, .. } = *result;
    let names = indices.iter().map(|(k, _)| study.outputs[*k].name.clone()).collect();
    let mut numbers: Vec<(&str, &str, Vec<f64>)> =
        vec![("points", "base points", indices.iter().map(|(_, i)| i.points as f64).collect())];
    for (k, (first, total)) in first.iter().zip(total).enumerate() {
        numbers.push((first, "first-order Sobol index", indices.iter().map(|(_, i)| i.first[k]).collect()));
        numbers.push((total, "total Sobol index", indices.iter().map(|(_, i)| i.total[k]).collect()));
    }
    Statistic {
        name: "sobol_indices",
        words: "Sobol indices of outputs",
        texts: vec![("output", names)],
        numbers,
    }
}

/// Writes the table as CSV (RFC 4180): a line of names, each with its unit in brackets, and a line per variant; a
/// number that is none is an empty cell.
///
/// # Errors
/// Those of the stream.
pub fn csv(out: &mut dyn Write, result: &BatchResult<'_>) -> io::Result<()> {
    let mut writer = csv::Writer::from_writer(out);
    let (columns, texts) = (result.columns(), result.texts());
    let named = columns.iter().map(|c| match c.unit {
        "1" => c.name.to_string(),
        unit => format!("{} [{unit}]", c.name),
    });
    let header = std::iter::once("variant".to_string()).chain(named);
    writer.write_record(header.chain(texts.iter().map(|t| t.0.to_string())))?;
    let number = |x: f64| if x.is_nan() { String::new() } else { format!("{x:?}") };
    for (k, variant) in result.rows.keys().enumerate() {
        let numbers = columns.iter().map(|c| number(c.values[k]));
        let record = std::iter::once(variant.to_string()).chain(numbers);
        writer.write_record(record.chain(texts.iter().map(|t| t.1[k].clone())))?;
    }
    writer.flush()
}
