//! What a batch says, with its plan at hand.

use std::collections::BTreeMap;

use crate::judge::{Bounds, Limit};
use crate::output::report::people;

use super::Sections;
use crate::batch::errors::Errors;
use crate::batch::indices::of_rows;
use crate::batch::plan::Sampling;
use crate::batch::row::Row;
use crate::batch::statistics::{CONFIDENCE, ColumnSummary, PERCENTS, Share, Statistics, gather};
use crate::batch::summary::{estimates, main_outputs, others};
use crate::batch::variant::{Bound, PlannedBatch};
use crate::batch::{indices::Indices, picture};
use crate::output::plot::{Axis, Bars, Figure, Panel, Series};
use crate::output::report::study::file_name;
use crate::output::report::{Block, Drawing, Grid};

/// Outputs that are drawn.
const DRAWN: usize = 4;

/// Whether bounds of shares mean something, and the words beside them.
fn drawn_at_random(study: &PlannedBatch) -> Option<&'static str> {
    match study.plan.sampling {
        Sampling::MonteCarlo { .. } => Some(""),
        Sampling::LatinHypercube { .. } | Sampling::SobolSequence { .. } => {
            Some(", as if drawn independently")
        }
        _ => None,
    }
}

fn percent(x: f64) -> String {
    format!("{:.2} %", 100.0 * x)
}

fn share(study: &PlannedBatch, s: &Share) -> String {
    if s.of == 0 {
        return "none was judged".into();
    }
    let rate = percent(s.hits as f64 / s.of as f64);
    match drawn_at_random(study) {
        None => format!("{} of {} variants ({rate})", s.hits, s.of),
        Some(how) => format!(
            "{} of {} variants ({rate}; with {:.0} % confidence {} to {}{how})",
            s.hits,
            s.of,
            100.0 * CONFIDENCE,
            percent(s.lower),
            percent(s.upper)
        ),
    }
}

fn unit_of_margin(limit: &Limit) -> &str {
    if limit.unit == "degC" { "K" } else { &limit.unit }
}

fn inputs(study: &PlannedBatch, variant: usize) -> String {
    let one = |(input, x): (&crate::batch::plan::Input, &f64)| {
        format!("{} {}", input.name, people(*x, &input.parameter.unit))
    };
    study.plan.inputs.iter().zip(study.inputs(variant)).map(one).collect::<Vec<_>>().join(", ")
}

/// The errors of the extremes that a limit bounds.
fn errors_of(study: &PlannedBatch, statistics: &Statistics, limit: &Bound) -> String {
    let Bounds { lower, upper } = limit.limit.bounds;
    let sides = [(limit.columns.0, lower), (limit.columns.1, upper)];
    let report = sides.into_iter().filter(|(_, bound)| bound.is_finite()).filter_map(|(k, _)| {
        let column = statistics.columns.iter().find(|c| c.output == k)?;
        Some(column.error.words(&study.outputs[k].unit))
    });
    report.collect::<Vec<_>>().join(", ")
}

fn limits(study: &PlannedBatch, statistics: &Statistics) -> Option<Grid> {
    if statistics.limits.is_empty() {
        return None;
    }
    let rows: Vec<Vec<String>> = statistics
        .limits
        .iter()
        .map(|l| {
            let unit = unit_of_margin(&l.limit);
            let worst = l.worst.as_ref().filter(|w| w.margin.is_finite());
            let (margin, at) = worst.map_or((String::new(), String::new()), |w| {
                (people(w.margin, unit), format!("variant {}: {}", w.variant, inputs(study, w.variant)))
            });
            let error = study.limits.iter().find(|b| b.limit == l.limit);
            let error = error.map_or(String::new(), |b| errors_of(study, statistics, b));
            let count = |n: usize| n.to_string();
            vec![
                l.limit.name.clone(),
                share(study, &l.kept),
                count(l.fails),
                count(l.not_proven),
                error,
                margin,
                at,
            ]
        })
        .collect();
    let mut grid = Grid::new(
        "Limits and ratings over all variants",
        &["limit", "kept by", ">exceeded by", ">not proven", ">error", ">worst margin", "where"],
        rows,
    );
    let exceeded = |k: &usize| statistics.limits[*k].fails > 0;
    grid.marked = (0..statistics.limits.len()).filter(exceeded).collect();
    Some(grid)
}

fn percentiles(study: &PlannedBatch, columns: &[&ColumnSummary], caption: &str) -> Option<Grid> {
    let rows: Vec<Vec<String>> = columns
        .iter()
        .filter(|c| c.count > 0 && c.percentiles.iter().any(|x| *x != 0.0))
        .map(|c| {
            let output = &study.outputs[c.output];
            // A difference of temperatures is no temperature.
            let unit = if output.unit == "degC" { "K" } else { &output.unit };
            let mut row = vec![
                output.name.clone(),
                people(c.mean, &output.unit),
                crate::output::report::number(c.deviation, unit),
                c.error.words(&output.unit),
            ];
            row.extend(c.percentiles.iter().map(|x| people(*x, &output.unit)));
            row
        })
        .collect();
    let mut heads: Vec<String> = ["output", ">mean", ">deviation", ">error"].map(String::from).to_vec();
    heads.extend(PERCENTS.iter().map(|p| match p {
        0.0 => ">least".into(),
        100.0 => ">largest".into(),
        p => format!(">{p} %"),
    }));
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    (!rows.is_empty()).then(|| Grid::new(caption, &heads, rows))
}

/// Sobol indices of an output: table and bars.
fn indices(study: &PlannedBatch, output: usize, of: &Indices) -> [Block; 2] {
    let name = &study.outputs[output].name;
    let mut order: Vec<usize> = (0..of.total.len()).collect();
    order.sort_by(|a, b| of.total[*b].total_cmp(&of.total[*a]));
    let names: Vec<String> = order.iter().map(|&k| study.plan.inputs[k].name.clone()).collect();
    let row = |&k: &usize| {
        vec![study.plan.inputs[k].name.clone(), format!("{:.3}", of.first[k]), format!("{:.3}", of.total[k])]
    };
    let caption = format!("Sobol indices of {name}, {} base points", of.points);
    let grid = Grid::new(&caption, &["input", ">first order", ">total"], order.iter().map(row).collect());
    let series = |name: &str, of: &[f64]| Series {
        name: name.into(),
        values: order.iter().map(|&k| Some(of[k]).filter(|x| x.is_finite())).collect(),
    };
    let bars = Bars {
        y: Axis::linear("share of the variance", "1"),
        groups: names,
        series: vec![series("first order", &of.first), series("total", &of.total)],
        ..Bars::default()
    };
    let drawing = Drawing {
        name: format!("indices-{}", file_name(name)),
        caption: format!("Which input moves {name}: Sobol indices, alone and with all interactions."),
        figure: Figure::new("", vec![Panel::Bars(bars)]),
    };
    [Block::Grid(grid), Block::Drawing(drawing)]
}

/// Everything that the rows say.
pub(super) fn sections(study: &PlannedBatch, rows: &BTreeMap<usize, Row>, errors: &Errors) -> Sections {
    let statistics = gather(study, rows, errors);
    let main = {
        let mut seen = std::collections::BTreeSet::new();
        let mut main = main_outputs(study);
        main.retain(|k| seen.insert(*k));
        main
    };
    let column = |k: &usize| statistics.columns.iter().find(|c| c.output == *k);
    let mut answers = Vec::new();
    if let Some(passes) = &statistics.passes {
        let beside = [
            (statistics.fails, "fail"),
            (statistics.not_proven, "not proven"),
            (statistics.not_judged, "not judged"),
        ];
        answers.push(format!("The yield is {}{}.", share(study, passes), others(&beside)));
    }
    for l in statistics.limits.iter().filter(|l| l.fails > 0) {
        let worst = l.worst.as_ref().filter(|w| w.margin.is_finite()).map_or(String::new(), |w| {
            let by = people(-w.margin, unit_of_margin(&l.limit));
            format!("; the worst, variant {}, exceeds it by {by}", w.variant)
        });
        answers.push(format!("{} is kept by {}{worst}.", l.limit.name, share(study, &l.kept)));
    }
    if answers.len() < 2 {
        answers.extend(main.iter().filter_map(column).filter(|c| c.count > 0).take(2).map(|c| {
            let o = &study.outputs[c.output];
            let [least, median, largest] = [0, 3, 6].map(|k| people(c.percentiles[k], &o.unit));
            format!("{}: {least} to {largest}, half of the variants below {median}.", o.name)
        }));
    }
    let mut result: Vec<Block> = limits(study, &statistics).into_iter().map(Block::Grid).collect();
    let shown: Vec<&ColumnSummary> = main.iter().filter_map(column).collect();
    let caption = "Percentiles of the requested outputs, over variants that ran to their end";
    result.extend(percentiles(study, &shown, caption).map(Block::Grid));
    for (output, of) in of_rows(study, rows).iter().filter(|(k, _)| main.contains(k)).take(DRAWN) {
        result.extend(indices(study, *output, of));
    }
    let varying = |k: &&usize| column(k).is_some_and(|c| c.count > 1 && c.percentiles[0] < c.percentiles[6]);
    // A limit on a junction and its hottest are one thing under two names.
    let mut drawn: Vec<[f64; PERCENTS.len()]> = Vec::new();
    let fresh = |k: &&usize| {
        let percentiles = column(k).map(|c| c.percentiles);
        let new = percentiles.is_some_and(|p| !drawn.contains(&p));
        drawn.extend(percentiles);
        new
    };
    for &k in main.iter().filter(varying).filter(fresh).take(DRAWN) {
        let name = &study.outputs[k].name;
        let caption = format!(
            "{name}: how often each value comes (dotted: the limits), what each input does to it, and scatter against the \
             inputs that matter most."
        );
        let figure = Figure { title: String::new(), ..picture::figure(study, rows, k) };
        result.push(Block::Drawing(Drawing { name: file_name(name), caption, figure }));
    }
    let rest: Vec<&ColumnSummary> = statistics.columns.iter().filter(|c| !main.contains(&c.output)).collect();
    let caption = "Percentiles of all other outputs";
    let numbers = percentiles(study, &rest, caption).into_iter().map(Block::Grid).collect();
    let varied: Vec<&str> = study.plan.inputs.iter().map(|i| i.name.as_str()).collect();
    Sections {
        question: format!("What do {} variants of the scenario do, with {} varied?", study.count(), varied.join(", ")),
        answers,
        result,
        numbers,
        definitions: definitions(study),
        conditions: vec![format!("{}.", estimates(&statistics)), match drawn_at_random(study) {
            Some("") => "Variants are drawn independently from the stated distributions (Monte Carlo).".into(),
            Some(_) => "Variants fill the stated distributions evenly; confidence bounds are those of independent draws.".into(),
            None => "Variants are those that the plan names: shares among them are no probabilities.".to_string(),
        }],
    }
}

fn definitions(study: &PlannedBatch) -> Vec<(&'static str, &'static str)> {
    let mut out = vec![
        (
            "Percentile",
            "by a straight line between the two nearest values (definition 7 of Hyndman & Fan 1996)",
        ),
        (
            "Error",
            "numerical error of a number: the largest of the variants for which coarser runs estimated it",
        ),
        (
            "Yield",
            "variants that pass, of all; one passes if every limit and rating is kept by more than the error",
        ),
        ("Deviation", "standard deviation of the sample, divisor n − 1"),
        ("Margin", "distance between a limit and the extreme that it bounds; below zero it is exceeded"),
        (
            "Effect of an input",
            "mean of the output over the tenth of the variants with the least, and with the largest, values of the input, \
             less the mean over all",
        ),
    ];
    if drawn_at_random(study).is_some() {
        out.push(("Confidence bounds", "two-sided, of Clopper & Pearson (1934), at 95 %"));
    }
    if matches!(study.plan.sampling, Sampling::Sensitivity { .. }) {
        out.push((
            "Sobol indices",
            "share of the output's variance that goes with an input alone (first order), and that would remain if all others \
             were known (total); estimators of Saltelli et al. (2010) and Jansen (1999)",
        ));
    }
    out
}
