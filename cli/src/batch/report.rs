//! Reports of batches: from the plan where the file's text still makes the same one, else from the table alone.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use crate::batch::answer::{PERCENTILE, Told, ended};
use crate::batch::errors::{Errors, Estimate};
use crate::batch::indices::of_rows;
use crate::batch::picture::histogram;
use crate::batch::row::{Row, Status};
use crate::batch::statistics::{gather, percentile};
use crate::batch::variant::PlannedBatch;
use crate::diagnostic::capital;
use crate::judge::Uncertainty;
use crate::output::answer::{Study, StudyFigure, StudyTable};
use crate::output::plot::{Axis, Chart, Curve, Figure, Line, Marker, Panel};
use crate::output::report::{self, Report, ReportError, Tone, words};
use crate::output::result::{ReadColumn, ReadTable, Verdict, read_table};
use crate::output::table::{OF_ROW, Rows, UNIT};

/// Outputs that are drawn of a table without a plan: the first ones that vary.
const DRAWN: usize = 4;

/// What is known of the errors of each output, from the column beside it; `of` gives ± from that column.
fn known(table: &ReadTable, of: impl Fn(&[f64]) -> Option<f64>) -> Vec<Uncertainty> {
    let outputs = table.columns.iter().enumerate().filter(|(_, c)| !c.input && !c.error);
    let one = |(k, _): (usize, _)| match table.columns.get(k + 1).filter(|c| c.error) {
        Some(error) => {
            // A column without an error may hold rows that have their own.
            let plus_minus = of(&error.values);
            let own = error.kind == "not estimated" && plus_minus.is_some();
            Uncertainty::of_word(if own { "within" } else { &error.kind }, plus_minus, None)
        }
        None => Uncertainty::Bare,
    };
    outputs.map(one).collect()
}

/// The errors of a row.
fn estimated(table: &ReadTable, row: usize) -> Vec<Uncertainty> {
    known(table, |values| values.get(row).copied().filter(|x| !x.is_nan()))
}

/// The errors of the columns.
fn errors(table: &ReadTable) -> Errors {
    let largest = |values: &[f64]| values.iter().copied().filter(|x| !x.is_nan()).reduce(f64::max);
    Errors { columns: known(table, largest), variants: table.flags.get("estimated").map_or(0, Vec::len) }
}

/// The rows of the table.
fn rows(table: &ReadTable) -> BTreeMap<usize, Row> {
    let outputs: Vec<&Vec<f64>> =
        table.columns.iter().filter(|c| !c.input && !c.error).map(|c| &c.values).collect();
    let row = |(k, &variant): (usize, &usize)| {
        let word = |texts: &[String]| texts.get(k).cloned().unwrap_or_default();
        let flag = |name: &str| table.flags.get(name).is_some_and(|set| set.binary_search(&k).is_ok());
        let status = Status::of_word(&word(&table.status)).unwrap_or(Status::Broken);
        let outputs = outputs.iter().map(|values| values.get(k).copied().unwrap_or(f64::NAN)).collect();
        let row = Row {
            variant,
            verdict: Verdict::of_word(&word(&table.verdict)).unwrap_or(Verdict::NotJudged),
            doubts: word(&table.doubts),
            out_of_range: flag("out_of_range"),
            stalled: flag("stalled"),
            estimate: flag("estimated").then(|| Estimate::of(&estimated(table, k))),
            ..Row::new(status, word(&table.error), outputs)
        };
        (variant, row)
    };
    table.variants.iter().enumerate().map(row).collect()
}

/// The plan and scenario that the file's text makes, where they have the table's columns: another version of the
/// program might read them otherwise.
fn study(table: &ReadTable) -> Option<PlannedBatch> {
    let files: BTreeMap<PathBuf, String> = table.inputs.files.iter().cloned().collect();
    let varies = |text: &str| {
        text.parse::<toml::Table>().is_ok_and(|t| t.contains_key("vary") && t.contains_key("sampling"))
    };
    let plan = files.iter().find(|(_, text)| varies(text))?.0;
    let open = |path: &Path| files.get(path).cloned().ok_or_else(|| io::Error::from(io::ErrorKind::NotFound));
    let study = PlannedBatch::read(plan, &open).ok()?;
    let named = |input: bool| {
        table.columns.iter().filter(move |c| c.input == input && !c.error).map(|c| c.name.as_str())
    };
    let same = named(true).eq(study.plan.inputs.iter().map(|i| i.name.as_str()))
        && named(false).eq(study.outputs.iter().map(|o| o.name.as_str()))
        && table.variants.iter().all(|&v| v < study.count());
    same.then_some(study)
}

/// The verdict over all variants.
fn headline(rows: &BTreeMap<usize, Row>) -> (String, Tone) {
    let judged = rows.values().filter(|r| r.verdict != Verdict::NotJudged).count();
    let fails = rows.values().filter(|r| r.verdict == Verdict::Fails).count();
    let unproven = rows.values().filter(|r| r.verdict == Verdict::NotProven).count();
    match (judged, fails) {
        (0, _) => ("not judged".into(), Tone::Plain),
        (n, 0) if unproven > 0 => (format!("{unproven} of {n} not proven"), Tone::NotProven),
        (n, 0) if n == rows.len() => ("all pass".into(), Tone::Passes),
        (_, 0) => ("passes where judged".into(), Tone::Plain),
        (n, f) => (format!("{f} of {n} fail"), Tone::Fails),
    }
}

/// The document that a result file makes: of a batch, a run or a study.
///
/// # Errors
/// [`ReportError::File`].
pub fn read(path: &Path) -> Result<Report, ReportError> {
    match read_table(path)? {
        Some(table) => report(&table),
        None => report::read(path),
    }
}

/// The report of a batch.
fn report(table: &ReadTable) -> Result<Report, ReportError> {
    let rows = rows(table);
    let (mut answer, question) = match study(table) {
        Some(study) => {
            let statistics = gather(&study, &rows, &errors(table));
            let indices = of_rows(&study, &rows);
            let told = Told { study: &study, rows: &rows, statistics: &statistics, indices: &indices };
            (told.answer(true), told.asked())
        }
        None => (plain(table, &rows), format!("What do {} variants of a scenario do?", rows.len())),
    };
    answer.inputs = table.inputs.clone();
    answer.title = if table.title.is_empty() { "A batch of variants".into() } else { capital(&table.title) };
    let answers = std::mem::take(&mut answer.notes);
    let report = report::of(&answer)?;
    let mut warnings = report.warnings;
    if !table.complete {
        warnings.push("The table was not written to its end.".to_string());
    }
    let ill = rows.values().filter(|r| r.status != Status::Done).count();
    if ill > 0 {
        let text = format!(
            "{ill} of {} variants did not run to their end; they are in no number below.",
            rows.len()
        );
        warnings.push(text);
    }
    let facts = words::record(&[
        ("Computed by".to_string(), format!("joulestep {}", table.version)),
        ("Variants".to_string(), rows.len().to_string()),
        ("Digest of plan, scenario and program".to_string(), table.digest.clone()),
    ]);
    let mut sections = report.sections;
    let cautions = sections.iter().position(|s| s.title == words::cautions().title).unwrap_or(sections.len());
    sections.insert(cautions, facts);
    let (verdict, tone) = headline(&rows);
    Ok(Report { question, verdict, tone, answers, warnings, sections, ..report })
}

/// What the table says by itself.
fn plain(table: &ReadTable, rows: &BTreeMap<usize, Row>) -> Study {
    let done: Vec<bool> = table.status.iter().map(|s| s == Status::Done.word()).collect();
    let sorted = |column: &ReadColumn| {
        let kept = column.values.iter().zip(&done).filter(|(x, done)| x.is_finite() && **done);
        let mut values: Vec<f64> = kept.map(|(x, _)| *x).collect();
        values.sort_by(f64::total_cmp);
        values
    };
    let columns = table.columns.iter().filter(|c| !c.error).map(|c| (c, sorted(c)));
    let columns: Vec<(&ReadColumn, Vec<f64>)> = columns.filter(|(_, values)| !values.is_empty()).collect();
    let mut data = Rows::of(&columns)
        .text("column", |(c, _)| c.name.clone())
        .text("of", |(c, _)| if c.input { "varied" } else { "result" })
        .text(UNIT, |(c, _)| c.unit.clone());
    for (words, p) in [("least", 0.0), ("5 %", 0.05), ("50 %", 0.5), ("95 %", 0.95), ("largest", 1.0)] {
        data = data.number(words, words, OF_ROW, |(_, values)| percentile(values, p));
    }
    let varying = columns.iter().filter(|(c, values)| !c.input && values.first() < values.last());
    let figure = |(column, values): &(&ReadColumn, Vec<f64>)| {
        let chart = Chart {
            x: Axis::linear(&column.name, &column.unit),
            y: Axis::count("variants"),
            curves: vec![Curve::new("", steps(values)).lined(Line::Solid).marked(Marker::None)],
            ..Chart::default()
        };
        let caption = format!("{}: how often each value comes.", column.name);
        StudyFigure::new(&caption, Figure::new(&column.name, vec![Panel::Chart(chart)]))
    };
    let title = "Percentiles over variants that ran to their end";
    let mut tables = vec![StudyTable::new("percentiles", title, 1, data.table())];
    tables.extend(ended(rows));
    let fails = rows.values().filter(|r| r.verdict == Verdict::Fails).count();
    Study {
        kind: "batch".into(),
        notes: vec![format!("{fails} of {} variants exceed a limit that the scenario sets.", rows.len())],
        conditions: vec![
            "This version of the program does not read the plan in the file as the one that ran it: limits, yields and indices \
             are left out."
                .into(),
        ],
        definitions: vec![(PERCENTILE.0.into(), PERCENTILE.1.into())],
        tables,
        figures: varying.take(DRAWN).map(figure).collect(),
        ..Study::default()
    }
}

/// The outline of a histogram.
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
