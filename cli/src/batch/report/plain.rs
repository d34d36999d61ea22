//! What the table of a batch says by itself.

use std::collections::BTreeMap;

use super::Sections;
use crate::batch::picture::histogram;
use crate::batch::row::{Row, Status};
use crate::batch::statistics::percentile;
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel};
use crate::output::report::study::file_name;
use crate::output::report::{Block, Drawing, Grid, number};
use crate::output::result::ReadTable;

/// Outputs that are drawn: the first ones that vary.
const DRAWN: usize = 4;

fn steps(values: &[f64]) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    for (from, to, count) in histogram(values) {
        if out.is_empty() {
            out.push((from, 0.0));
        }
        out.extend([(from, count as f64), (to, count as f64)]);
    }
    out.extend(out.last().map(|p: &(f64, f64)| (p.0, 0.0)));
    out
}

/// Everything that the table says.
pub(super) fn sections(table: &ReadTable, rows: &BTreeMap<usize, Row>) -> Sections {
    let done: Vec<bool> = table.status.iter().map(|s| s == Status::Done.word()).collect();
    let mut lines = Vec::new();
    let mut result = Vec::new();
    for column in table.columns.iter().filter(|c| !c.error) {
        let kept = column.values.iter().zip(&done).filter(|(x, done)| x.is_finite() && **done);
        let mut values: Vec<f64> = kept.map(|(x, _)| *x).collect();
        values.sort_by(f64::total_cmp);
        if values.is_empty() {
            continue;
        }
        let mut line = vec![column.name.clone(), if column.input { "varied" } else { "result" }.into()];
        line.extend([0.0, 0.05, 0.5, 0.95, 1.0].map(|p| number(percentile(&values, p), &column.unit)));
        lines.push(line);
        let varies = values.first() < values.last();
        if !column.input && varies && result.len() < DRAWN {
            let chart = Chart {
                x: Axis::linear(&column.name, &column.unit),
                y: Axis::linear("variants", "1"),
                curves: vec![Curve::new("", steps(&values)).lined(Line::Solid).marked(Marker::None)],
                ..Chart::default()
            };
            result.push(Block::Drawing(Drawing {
                name: file_name(&column.name),
                caption: format!("{}: how often each value comes.", column.name),
                figure: Figure::new("", vec![Panel::Chart(chart)]),
            }));
        }
    }
    let heads = ["column", "", ">least", ">5 %", ">50 %", ">95 %", ">largest"];
    let caption = "Percentiles over variants that ran to their end";
    let fails = rows.values().filter(|r| r.verdict == crate::output::result::Verdict::Fails).count();
    Sections {
        question: format!("What do {} variants of a scenario do?", rows.len()),
        answers: vec![format!("{fails} of {} variants exceed a limit that the scenario sets.", rows.len())],
        result,
        numbers: vec![Block::Grid(Grid::new(caption, &heads, lines))],
        definitions: vec![(
            "Percentile",
            "by a straight line between the two nearest values (definition 7 of Hyndman & Fan 1996)",
        )],
        conditions: vec![
            "This version of the program does not read the plan in the file as the one that ran it: limits, yields and indices \
             are left out."
                .into(),
        ],
    }
}
