//! The statistics of a batch as JSON, and what of them is worth a line.

use serde::Serialize;

use crate::batch::indices::Indices;
use crate::batch::statistics::Statistics;
use crate::batch::variant::PlannedBatch;
use crate::judge::Uncertainty;

/// What of the outputs is worth a line for people: what the user asked for, limits, junctions.
pub fn main_outputs(study: &PlannedBatch) -> Vec<usize> {
    let requested = usize::from(study.plan.search.is_some()) + study.plan.measures.len();
    let mut report: Vec<usize> = (0..requested).collect();
    for limit in study.limits.iter().filter(|l| l.by_user) {
        let (least, largest) = limit.columns;
        report.extend(limit.bounds.0.is_finite().then_some(least));
        report.extend(limit.bounds.1.is_finite().then_some(largest));
    }
    let hottest = study.outputs.iter().enumerate().filter(|(_, c)| c.name.ends_with(".hottest"));
    report.extend(hottest.map(|(k, _)| k));
    report
}

/// How errors are known, and of which columns they are not.
pub(crate) fn estimates(statistics: &Statistics) -> String {
    let mut report = format!("Errors: {}", statistics.estimate);
    if statistics.estimated_variants > 0 {
        report += &format!(" ({} variants)", statistics.estimated_variants);
    }
    let unknown = statistics.columns.iter().filter_map(|c| match &c.error {
        Uncertainty::NotEstimated { why } => Some((&c.column.name, why)),
        _ => None,
    });
    let unknown: Vec<_> = unknown.collect();
    if let Some((name, why)) = unknown.first() {
        report += &format!("; not estimated of {} outputs, first {name}: {why}", unknown.len());
    }
    report
}

#[derive(Serialize)]
struct Document<'a> {
    title: &'a str,
    variants: usize,
    doubts: Vec<String>,
    #[serde(flatten)]
    statistics: &'a Statistics,
    sobol_indices: Vec<OutputIndices<'a>>,
}

#[derive(Serialize)]
struct OutputIndices<'a> {
    output: &'a str,
    points: usize,
    inputs: Vec<InputIndex<'a>>,
}

#[derive(Serialize)]
struct InputIndex<'a> {
    input: &'a str,
    first: f64,
    total: f64,
}

/// For programs: SI units, temperatures in degC, null for what is not finite.
pub fn json<'a>(
    study: &'a PlannedBatch,
    statistics: &'a Statistics,
    indices: &'a [(usize, Indices)],
) -> impl Serialize + 'a {
    let describe = |(output, of): &'a (usize, Indices)| {
        let all = study.plan.inputs.iter().zip(of.first.iter().zip(&of.total));
        let inputs = all.map(|(input, (&first, &total))| InputIndex { input: &input.name, first, total });
        OutputIndices { output: &study.outputs[*output].name, points: of.points, inputs: inputs.collect() }
    };
    let sobol_indices = indices.iter().map(describe).collect();
    Document {
        title: &study.plan.title,
        variants: study.count(),
        doubts: study.doubts(),
        statistics,
        sobol_indices,
    }
}
