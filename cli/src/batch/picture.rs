//! Charts of a batch: histogram of an output, what each input does to it, scatter against the strongest inputs.

use std::collections::BTreeMap;

use crate::batch::row::{Row, Status};
use crate::batch::variant::PlannedBatch;
use crate::judge::{Bounds, unit_of_difference};
use crate::output::plot::{
    Axis, Bars, Chart, Curve, Figure, Line, Mark, Marker, Panel, PlotError, Series, svg,
};

/// Scatters drawn: against the inputs with the largest effect.
const SCATTERS: usize = 3;
/// Share of the variants at either end of an input between which its effect is taken.
const END: f64 = 0.1;

/// The effect of an input on an output: mean of the output over the tenth of the variants with the least, and with the
/// largest, values of the input (all of those whose input equals the last one taken), less the mean over all.
pub fn effect(pairs: &[(f64, f64)]) -> (f64, f64) {
    let mut sorted = pairs.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n = sorted.len();
    if n == 0 {
        return (f64::NAN, f64::NAN);
    }
    let taken = ((n as f64 * END).ceil() as usize).clamp(1, n);
    let mean = |points: &mut dyn Iterator<Item = &(f64, f64)>| {
        let (sum, count) = points.fold((0.0, 0u32), |(sum, count), p| (sum + p.1, count + 1));
        sum / f64::from(count)
    };
    let all = mean(&mut sorted.iter());
    let (low, high) = (sorted[taken - 1].0, sorted[n - taken].0);
    (
        mean(&mut sorted.iter().filter(|p| p.0 <= low)) - all,
        mean(&mut sorted.iter().filter(|p| p.0 >= high)) - all,
    )
}

/// Edges and counts of a histogram, by the rule of Freedman & Diaconis (1981) with at most 100 classes.
pub fn histogram(values: &[f64]) -> Vec<(f64, f64, usize)> {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let (Some(&least), Some(&largest)) = (sorted.first(), sorted.last()) else { return Vec::new() };
    let percentile = |p| crate::batch::statistics::percentile(&sorted, p);
    let wanted = 2.0 * (percentile(0.75) - percentile(0.25)) / (sorted.len() as f64).cbrt();
    let classes =
        if wanted > 0.0 { ((largest - least) / wanted).ceil().clamp(1.0, 100.0) as usize } else { 1 };
    let width = if largest > least { (largest - least) / classes as f64 } else { 1.0 };
    let mut counts = vec![0usize; classes];
    for x in &sorted {
        counts[(((x - least) / width) as usize).min(classes - 1)] += 1;
    }
    let edge = |k: usize| least + k as f64 * width;
    counts.into_iter().enumerate().map(|(k, n)| (edge(k), edge(k + 1), n)).collect()
}

/// Draws an output.
///
/// # Errors
/// Nothing to draw, or the drawing library's.
pub fn picture(
    study: &PlannedBatch,
    rows: &BTreeMap<usize, Row>,
    output: usize,
) -> Result<String, PlotError> {
    svg(&figure(study, rows, output))
}

/// The figure of an output.
pub fn figure(study: &PlannedBatch, rows: &BTreeMap<usize, Row>, output: usize) -> Figure {
    let column = &study.outputs[output];
    let done: Vec<&Row> =
        rows.values().filter(|r| r.status == Status::Done && r.outputs[output].is_finite()).collect();
    let values: Vec<f64> = done.iter().map(|r| r.outputs[output]).collect();
    let mut steps = Vec::new();
    for (from, to, count) in histogram(&values) {
        if steps.is_empty() {
            steps.push((from, 0.0));
        }
        steps.extend([(from, count as f64), (to, count as f64)]);
    }
    if let Some(last) = steps.last().copied() {
        steps.push((last.0, 0.0));
    }
    let mut marks = Vec::new();
    for limit in &study.limits {
        let Bounds { lower, upper } = limit.limit.bounds;
        let bounds = [(limit.columns.0, lower), (limit.columns.1, upper)];
        let own = bounds.into_iter().filter(|(k, at)| *k == output && at.is_finite());
        marks.extend(own.map(|(_, at)| Mark { at, label: limit.limit.name.clone() }));
    }
    let mut panels = vec![Panel::Chart(Chart {
        title: "Histogram".into(),
        x: Axis::linear(&column.name, &column.unit),
        y: Axis::count("variants"),
        curves: vec![Curve::new("", steps).lined(Line::Solid).marked(Marker::None)],
        marks,
        ..Chart::default()
    })];
    let mut effects: Vec<(usize, f64, f64)> = Vec::new();
    for k in 0..study.plan.inputs.len() {
        let pairs: Vec<(f64, f64)> =
            done.iter().map(|r| (study.inputs(r.variant)[k], r.outputs[output])).collect();
        let (low, high) = effect(&pairs);
        effects.push((k, low, high));
    }
    effects.sort_by(|a, b| (b.2 - b.1).abs().total_cmp(&(a.2 - a.1).abs()));
    let series = |name: &str, of: fn(&(usize, f64, f64)) -> f64| Series {
        name: name.into(),
        values: effects.iter().map(|e| Some(of(e)).filter(|x| x.is_finite())).collect(),
    };
    let unit = unit_of_difference(&column.unit);
    panels.push(Panel::Bars(Bars {
        title: "Tornado: inputs by their effect".into(),
        y: Axis::linear("change of the mean", unit),
        groups: effects.iter().map(|e| study.plan.inputs[e.0].name.clone()).collect(),
        series: vec![
            series("input in its lowest tenth", |e| e.1),
            series("input in its highest tenth", |e| e.2),
        ],
        reference: None,
        height: 0.0,
    }));
    for (k, _, _) in effects.iter().take(SCATTERS) {
        let input = &study.plan.inputs[*k];
        let points = done.iter().map(|r| (study.inputs(r.variant)[*k], r.outputs[output])).collect();
        panels.push(Panel::Chart(Chart {
            x: Axis::linear(&input.name, &input.parameter.unit),
            y: Axis::linear(&column.name, &column.unit),
            curves: vec![Curve::scatter("", points).marked(Marker::Disc)],
            ..Chart::default()
        }));
    }
    let notes = vec![format!("{} variants run to their end, of {}", done.len(), study.count())];
    let title = if study.plan.title.is_empty() { column.name.clone() } else { study.plan.title.clone() };
    Figure::new(&title, panels).noted(notes)
}
