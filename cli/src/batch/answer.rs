//! What a batch says, in the form of every answer: for people at the terminal, and with everything for a report.

use std::collections::{BTreeMap, BTreeSet};

use joulestep_engine::units::people;

use crate::batch::indices::Indices;
use crate::batch::picture;
use crate::batch::plan::{Input, Sampling};
use crate::batch::row::{Row, Status};
use crate::batch::statistics::{CONFIDENCE, ColumnSummary, LimitSummary, PERCENTS, Share, Statistics};
use crate::batch::summary::{estimates, main_outputs};
use crate::batch::variant::{Bound, PlannedBatch};
use crate::judge::{Bounds, Uncertainty, unit_of_difference};
use crate::output::answer::{Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Bars, Figure, Panel, Series};
use crate::output::table::{OF_ROW, Rows, UNIT};

/// Outputs that are drawn, and whose indices are.
const DRAWN: usize = 4;
/// Rows of variants that did not end well which are listed.
const MOST_FAILURES: usize = 20;

/// A batch with what is known of it.
pub struct Told<'a> {
    /// The batch.
    pub study: &'a PlannedBatch,
    /// Its rows.
    pub rows: &'a BTreeMap<usize, Row>,
    /// What they say together.
    pub statistics: &'a Statistics,
    /// Sobol indices by output.
    pub indices: &'a [(usize, Indices)],
}

/// How shares of variants are to be taken; `None`: they are no probabilities.
fn drawn_at_random(study: &PlannedBatch) -> Option<&'static str> {
    match study.plan.sampling {
        Sampling::MonteCarlo { .. } => Some(""),
        // The bounds are about chance, and exact for independent draws only.
        Sampling::LatinHypercube { .. } | Sampling::SobolSequence { .. } => {
            Some(", as if drawn independently")
        }
        _ => None,
    }
}

/// "; 3 fail, 1 not proven".
fn others(counts: &[(usize, &str)]) -> String {
    let report: Vec<String> =
        counts.iter().filter(|c| c.0 > 0).map(|(n, what)| format!("{n} {what}")).collect();
    if report.is_empty() { String::new() } else { format!("; {}", report.join(", ")) }
}

/// How the variants ended.
pub fn ended(rows: &BTreeMap<usize, Row>) -> Vec<StudyTable> {
    let count = |status: Status| rows.values().filter(|r| r.status == status).count();
    let all = Rows::of(Status::ALL.into_iter().filter(|s| count(*s) > 0))
        .text("ended", |s| s.word())
        .number("variants", "variants", "1", |s| count(*s) as f64)
        .table();
    let ill = Rows::of(rows.values().filter(|r| r.status != Status::Done).take(MOST_FAILURES))
        .number("variant", "variant", "1", |r| r.variant as f64)
        .text("ended", |r| r.status.word())
        .text("why", |r| r.error.clone())
        .table();
    let title = format!("Variants that did not end well, the first {MOST_FAILURES} at most");
    vec![
        StudyTable::new("ended", "How the variants ended", 1, all),
        StudyTable::new("not_done", &title, 1, ill),
    ]
}

impl Told<'_> {
    /// In a sentence.
    fn share(&self, s: &Share) -> String {
        let confidence = format!("with {:.0} % confidence ", 100.0 * CONFIDENCE);
        self.share_in(s, " variants", &confidence, drawn_at_random(self.study).unwrap_or_default())
    }

    /// `of`: what are counted; `before` and `how` stand around the bounds of confidence.
    fn share_in(&self, s: &Share, of: &str, before: &str, how: &str) -> String {
        let percent = |x: f64| format!("{:.2} %", 100.0 * x);
        if s.of == 0 {
            return "none was judged".into();
        }
        let rate = percent(s.hits as f64 / s.of as f64);
        let bounds = format!("; {before}{} to {}{how}", percent(s.lower), percent(s.upper));
        let chance = drawn_at_random(self.study).map_or(String::new(), |_| bounds);
        format!("{} of {}{of} ({rate}{chance})", s.hits, s.of)
    }

    fn bound(&self, limit: &LimitSummary) -> Option<&Bound> {
        self.study.limits.iter().find(|b| b.limit == limit.limit)
    }

    /// The unit of a limit's margin.
    fn unit(limit: &LimitSummary) -> String {
        unit_of_difference(&limit.limit.unit).into()
    }

    /// The errors of the extremes that a limit bounds.
    fn errors(&self, limit: &LimitSummary) -> String {
        let Some(bound) = self.bound(limit) else { return String::new() };
        let Bounds { lower, upper } = bound.limit.bounds;
        let sides = [(bound.columns.0, lower), (bound.columns.1, upper)];
        let told = sides
            .into_iter()
            .filter(|(_, bound)| bound.is_finite())
            .filter_map(|(k, _)| Some(self.column(k)?.error.words(&self.study.outputs[k].unit)));
        told.collect::<Vec<_>>().join(", ")
    }

    fn column(&self, output: usize) -> Option<&ColumnSummary> {
        self.statistics.columns.iter().find(|c| c.output == output)
    }

    fn inputs(&self, variant: usize) -> String {
        let one =
            |(input, x): (&Input, &f64)| format!("{} {}", input.name, people(*x, &input.parameter.unit));
        let values = self.study.plan.inputs.iter().zip(self.study.inputs(variant));
        values.map(one).collect::<Vec<_>>().join(", ")
    }

    fn limits(&self) -> StudyTable {
        let worst = |l: &LimitSummary| l.worst.clone().filter(|w| w.margin.is_finite());
        let place = |l: &LimitSummary| {
            let at = worst(l).map(|w| format!("variant {}: {}", w.variant, self.inputs(w.variant)));
            at.unwrap_or_default()
        };
        let data = Rows::of(&self.statistics.limits)
            .text("limit", |l| l.limit.name.clone())
            .text("kept_by", |l| self.share_in(&l.kept, "", "", ""))
            .number("exceeded_by", "exceeded by", "1", |l| l.fails as f64)
            .number("not_proven", "not proven", "1", |l| l.not_proven as f64)
            .text("error", |l| self.errors(l))
            .number("margin", "worst margin", OF_ROW, |l| worst(l).map(|w| w.margin))
            .text(UNIT, |l| Self::unit(l))
            .text("where", |l| place(l))
            .table();
        let chance = drawn_at_random(self.study).map_or(String::new(), |how| {
            format!("; shares with their bounds of {:.0} % confidence{how}", 100.0 * CONFIDENCE)
        });
        let title = format!("Limits and ratings over all variants{chance}");
        StudyTable::new("limits", &title, 1, data)
    }

    fn percentiles(&self, name: &str, title: &str, outputs: &[usize]) -> StudyTable {
        let told = outputs.iter().filter_map(|k| self.column(*k));
        let told = told.filter(|c| c.count > 0 && c.percentiles.iter().any(|x| *x != 0.0));
        let mut rows = Rows::of(told)
            .text("output", |c| c.column.name.clone())
            .text(UNIT, |c| c.column.unit.clone())
            .number("mean", "mean", OF_ROW, |c| c.mean)
            .number("deviation", "deviation", OF_ROW, |c| Uncertainty::within(c.deviation))
            .number("error", "error", OF_ROW, |c| c.error.clone());
        for (k, p) in PERCENTS.iter().enumerate() {
            let words = match p {
                0.0 => "least".into(),
                100.0 => "largest".into(),
                p => format!("{p} %"),
            };
            rows = rows.number(&format!("p{p}"), &words, OF_ROW, |c| c.percentiles[k]);
        }
        StudyTable::new(name, title, 1, rows.table())
    }

    /// Sobol indices of an output: table and bars.
    fn of_output(&self, output: usize, of: &Indices) -> (StudyTable, StudyFigure) {
        let name = &self.study.outputs[output].name;
        let mut order: Vec<usize> = (0..of.total.len()).collect();
        order.sort_by(|a, b| of.total[*b].total_cmp(&of.total[*a]));
        let input = |k: &usize| self.study.plan.inputs[*k].name.clone();
        let data = Rows::of(&order)
            .text("input", |k| input(k))
            .number("first", "first order", "1", |k| of.first[**k])
            .number("total", "total", "1", |k| of.total[**k])
            .table();
        let series = |name: &str, of: &[f64]| Series {
            name: name.into(),
            values: order.iter().map(|&k| Some(of[k]).filter(|x| x.is_finite())).collect(),
        };
        let bars = Bars {
            y: Axis::linear("share of the variance", "1"),
            groups: order.iter().map(input).collect(),
            series: vec![series("first order", &of.first), series("total", &of.total)],
            ..Bars::default()
        };
        let caption = format!("Which input moves {name}: Sobol indices, alone and with all interactions.");
        let title = format!("Sobol indices of {name}, {} base points", of.points);
        let figure = Figure::new(&format!("indices {name}"), vec![Panel::Bars(bars)]);
        (StudyTable::new(&format!("indices.{name}"), &title, 1, data), StudyFigure::new(&caption, figure))
    }

    /// How often values come, and what each input does to them.
    fn pictures(&self, main: &[usize]) -> Vec<StudyFigure> {
        // A limit on a junction and its hottest are one thing under two names.
        let mut drawn: Vec<[f64; PERCENTS.len()]> = Vec::new();
        let mut fresh = |k: &&usize| {
            let told = self.column(**k).filter(|c| c.count > 1 && c.percentiles[0] < c.percentiles[6]);
            let new = told.filter(|c| !drawn.contains(&c.percentiles)).map(|c| c.percentiles);
            drawn.extend(new);
            new.is_some()
        };
        let figure = |k: &usize| {
            let name = &self.study.outputs[*k].name;
            let caption = format!(
                "{name}: how often each value comes (dotted: the limits), what each input does to it, and scatter against \
                 the inputs that matter most."
            );
            StudyFigure::new(&caption, picture::figure(self.study, self.rows, *k))
        };
        main.iter().filter(|k| fresh(k)).take(DRAWN).map(figure).collect()
    }

    /// In sentences: the yield, what fails, else where the first outputs lie.
    fn sentences(&self, main: &[usize]) -> Vec<String> {
        let s = self.statistics;
        let mut out = Vec::new();
        if let Some(passes) = &s.passes {
            let beside = [(s.fails, "fail"), (s.not_proven, "not proven"), (s.not_judged, "not judged")];
            out.push(format!("The yield is {}{}.", self.share(passes), others(&beside)));
        }
        for l in s.limits.iter().filter(|l| l.fails > 0) {
            let worst = l.worst.as_ref().filter(|w| w.margin.is_finite()).map_or(String::new(), |w| {
                let by = people(-w.margin, &Self::unit(l));
                format!("; the worst, variant {}, exceeds it by {by}", w.variant)
            });
            out.push(format!("{} is kept by {}{worst}.", l.limit.name, self.share(&l.kept)));
        }
        if out.len() < 2 {
            let told = main.iter().filter_map(|k| self.column(*k)).filter(|c| c.count > 0).take(2);
            out.extend(told.map(|c| {
                let [least, median, largest] = [0, 3, 6].map(|k| people(c.percentiles[k], &c.column.unit));
                let name = &c.column.name;
                format!("{name}: {least} to {largest}, half of the variants below {median}.")
            }));
        }
        out
    }

    /// What is asked.
    pub fn asked(&self) -> String {
        let varied: Vec<&str> = self.study.plan.inputs.iter().map(|i| i.name.as_str()).collect();
        format!(
            "What do {} variants of the scenario do, with {} varied?",
            self.study.count(),
            varied.join(", ")
        )
    }

    /// The answer; `whole`: with pictures, definitions and all outputs.
    pub fn answer(&self, whole: bool) -> Study {
        let Self { study, statistics, indices, .. } = *self;
        let mut seen = BTreeSet::new();
        let mut main = main_outputs(study);
        main.retain(|k| seen.insert(*k));
        let mut doubts = study.doubts();
        doubts.extend(statistics.doubts.as_ref().map(|d| {
            format!(
                "of {} variants the numbers are not reliable; variant {}: {}",
                d.variants, d.first, d.text
            )
        }));
        let caption = "Percentiles of the requested outputs, over variants that ran to their end";
        let mut tables = vec![self.limits(), self.percentiles("percentiles", caption, &main)];
        let told = indices.iter().filter(|(k, _)| main.contains(k)).take(DRAWN);
        let (of_indices, mut figures): (Vec<_>, Vec<_>) = told.map(|(k, of)| self.of_output(*k, of)).unzip();
        tables.extend(of_indices);
        tables.extend(ended(self.rows));
        let mut conditions = vec![format!("{}.", estimates(statistics))];
        if whole {
            let rest: Vec<usize> = (0..study.outputs.len()).filter(|k| !main.contains(k)).collect();
            tables.push(self.percentiles("other_percentiles", "Percentiles of all other outputs", &rest));
            figures.extend(self.pictures(&main));
            conditions.push(match drawn_at_random(study) {
                Some("") => "Variants are drawn independently from the stated distributions (Monte Carlo).".into(),
                Some(_) => "Variants fill the stated distributions evenly; confidence bounds are those of independent draws.".into(),
                None => "Variants are those that the plan names: shares among them are no probabilities.".into(),
            });
        }
        Study {
            kind: "batch".into(),
            title: if study.plan.title.is_empty() { self.asked() } else { study.plan.title.clone() },
            inputs: study.inputs.clone(),
            doubts,
            notes: self.sentences(&main),
            conditions,
            definitions: if whole { definitions(study) } else { Vec::new() },
            tables,
            figures,
            ..Study::default()
        }
    }
}

/// Of a percentile.
pub const PERCENTILE: (&str, &str) =
    ("Percentile", "by a straight line between the two nearest values (definition 7 of Hyndman & Fan 1996)");

fn definitions(study: &PlannedBatch) -> Vec<(String, String)> {
    let mut out = vec![
        PERCENTILE,
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
    out.into_iter().map(|(a, b)| (a.to_string(), b.to_string())).collect()
}
