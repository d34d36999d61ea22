//! The statistics of a batch, for people and as JSON.

use std::fmt::Write;

use joulestep_engine::units::people;
use serde::Serialize;

use crate::batch::indices::Indices;
use crate::batch::plan::Sampling;
use crate::batch::statistics::{CONFIDENCE, ColumnSummary, Doubted, Share, Statistics, Worst};
use crate::batch::variant::PlannedBatch;
use crate::judge::Uncertainty;

/// Indices told of one output: the largest ones.
const TOLD_INDICES: usize = 12;

/// What of the outputs is worth a line for people: what the user asked for, limits, junctions.
pub fn main_outputs(study: &PlannedBatch) -> Vec<usize> {
    let requested = usize::from(study.plan.search.is_some()) + study.plan.measures.len();
    let mut report: Vec<usize> = (0..requested).collect();
    for limit in study.limits.iter().filter(|l| l.limit.by_user()) {
        let (least, largest) = limit.columns;
        report.extend(limit.limit.bounds.lower.is_finite().then_some(least));
        report.extend(limit.limit.bounds.upper.is_finite().then_some(largest));
    }
    let hottest = study.outputs.iter().enumerate().filter(|(_, c)| c.name.ends_with(".hottest"));
    report.extend(hottest.map(|(k, _)| k));
    report
}

fn share(study: &PlannedBatch, s: &Share) -> String {
    let percent = |x: f64| format!("{:.2} %", 100.0 * x);
    let rate = if s.of == 0 { "none judged".into() } else { percent(s.hits as f64 / s.of as f64) };
    // The bounds are about chance, and exact for independent draws only.
    let how = match study.plan.sampling {
        Sampling::MonteCarlo { .. } => "",
        Sampling::LatinHypercube { .. } | Sampling::SobolSequence { .. } => ", as if drawn independently",
        _ => return format!("{} of {} ({rate})", s.hits, s.of),
    };
    let bounds = format!("{} to {}", percent(s.lower), percent(s.upper));
    format!("{} of {} ({rate}; {:.0} % confidence {bounds}{how})", s.hits, s.of, 100.0 * CONFIDENCE)
}

/// "; 3 fail, 1 not proven".
pub(crate) fn others(counts: &[(usize, &str)]) -> String {
    let report: Vec<String> =
        counts.iter().filter(|c| c.0 > 0).map(|(n, what)| format!("{n} {what}")).collect();
    if report.is_empty() { String::new() } else { format!("; {}", report.join(", ")) }
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

fn inputs(study: &PlannedBatch, variant: usize) -> String {
    let one = |(input, x): (&crate::batch::plan::Input, &f64)| {
        format!("{} = {}", input.name, people(*x, &input.parameter.unit))
    };
    let all: Vec<String> = study.plan.inputs.iter().zip(study.inputs(variant)).map(one).collect();
    all.join(", ")
}

/// For people.
pub fn text(study: &PlannedBatch, statistics: &Statistics, indices: &[(usize, Indices)]) -> String {
    let mut out = String::new();
    if !study.plan.title.is_empty() {
        let _ = writeln!(out, "{}", study.plan.title);
    }
    for doubt in study.doubts() {
        let _ = writeln!(out, "NOT PROVEN: {doubt}");
    }
    let ended: Vec<String> = statistics.ended.iter().map(|(s, n)| format!("{n} {}", s.word())).collect();
    let _ = writeln!(out, "Variants: {}", ended.join(", "));
    if let Some(passes) = &statistics.passes {
        let beside = [
            (statistics.fails, "fail"),
            (statistics.not_proven, "not proven"),
            (statistics.not_judged, "not judged"),
        ];
        let _ = writeln!(out, "Yield: {} pass{}", share(study, passes), others(&beside));
    }
    if let Some(Doubted { variants, first, text }) = &statistics.doubts {
        let _ = writeln!(out, "Doubt about {variants} variants, the first is {first}: {text}");
    }
    // Ratings that all variants keep need no line.
    for limit in statistics.limits.iter().filter(|l| l.limit.by_user() || l.kept.hits < l.kept.of) {
        let what = if limit.limit.by_user() { "Limit" } else { "Rating" };
        let beside = [(limit.fails, "exceed it"), (limit.not_proven, "not proven")];
        let (kept, beside) = (share(study, &limit.kept), others(&beside));
        let _ = writeln!(out, "{what} {}: kept by {kept}{beside}", limit.limit.name);
        if let Some(&Worst { variant, margin, .. }) = limit.worst.as_ref() {
            let unit = if limit.limit.unit == "degC" { "K" } else { &limit.limit.unit };
            let _ = writeln!(
                out,
                "  worst: variant {variant}, margin {}: {}",
                people(margin, unit),
                inputs(study, variant)
            );
        }
    }
    let report = main_outputs(study);
    let lines: Vec<&ColumnSummary> =
        report.iter().map(|k| &statistics.columns[*k]).filter(|c| c.count > 0).collect();
    if !lines.is_empty() {
        let _ = writeln!(
            out,
            "Percentiles                      least         5 %        50 %        95 %     largest  error"
        );
    }
    for c in lines {
        let _ = write!(out, "  {:<26}", c.column.name);
        for k in [0, 2, 3, 4, 6] {
            let _ = write!(out, " {:>11}", people(c.percentiles[k], &c.column.unit));
        }
        let _ = writeln!(out, "  {}", c.error.words(&c.column.unit));
    }
    let _ = writeln!(out, "{}", estimates(statistics));
    for (output, of) in indices.iter().filter(|(k, _)| report.contains(k)) {
        let name = &study.outputs[*output].name;
        let _ = writeln!(out, "Sobol indices of {name} ({} points): first order, total", of.points);
        let mut order: Vec<usize> = (0..of.total.len()).collect();
        order.sort_by(|a, b| of.total[*b].total_cmp(&of.total[*a]));
        for k in order.into_iter().take(TOLD_INDICES) {
            let _ = writeln!(
                out,
                "  {:<40} {:>7.3} {:>7.3}",
                study.plan.inputs[k].name, of.first[k], of.total[k]
            );
        }
    }
    out
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
