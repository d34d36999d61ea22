//! Reports of batches: from the table alone, and from the plan where the file's text still makes the same one.

mod known;
mod plain;

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use crate::batch::errors::{Errors, Estimate};
use crate::batch::row::{Row, Status};
use crate::batch::variant::PlannedBatch;
use crate::diagnostic::capital;
use crate::judge::Uncertainty;
use crate::output::report::{self, Block, Grid, Report, ReportError, Section, Tone, words};
use crate::output::result::{ReadTable, Verdict, read_table};

/// Rows of variants that did not end well which are listed.
const MOST_FAILURES: usize = 20;

/// What a report says in its sections of results.
struct Sections {
    question: String,
    answers: Vec<String>,
    result: Vec<Block>,
    numbers: Vec<Block>,
    definitions: Vec<(&'static str, &'static str)>,
    conditions: Vec<String>,
}

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

fn ended(rows: &BTreeMap<usize, Row>) -> Vec<Block> {
    let count = |status| rows.values().filter(|r| r.status == status).count();
    let ended = Status::ALL.into_iter().map(|s| (s, count(s))).filter(|(_, n)| *n > 0);
    let lines = ended.map(|(s, n)| vec![s.word().to_string(), n.to_string()]).collect();
    let mut blocks = vec![Block::Grid(Grid::new("How the variants ended", &["ended", ">variants"], lines))];
    let errors: Vec<Vec<String>> = rows
        .values()
        .filter(|r| r.status != Status::Done)
        .take(MOST_FAILURES)
        .map(|r| vec![r.variant.to_string(), r.status.word().into(), r.error.clone()])
        .collect();
    if !errors.is_empty() {
        let caption = format!("Variants that did not end well, the first {MOST_FAILURES} at most");
        blocks.push(Block::Grid(Grid::new(&caption, &[">variant", "ended", "why"], errors)));
    }
    blocks
}

/// The document that a result file makes: of a batch, a run or a study.
///
/// # Errors
/// [`ReportError::File`].
pub fn read(path: &Path) -> Result<Report, ReportError> {
    match read_table(path)? {
        Some(table) => Ok(report(&table)),
        None => report::read(path),
    }
}

/// The report of a batch.
fn report(table: &ReadTable) -> Report {
    let rows = rows(table);
    let report = match study(table) {
        Some(study) => known::sections(&study, &rows, &errors(table)),
        None => plain::sections(table, &rows),
    };
    let (verdict, tone) = headline(&rows);
    let mut warnings = Vec::new();
    if rows.values().any(|r| !r.doubts.is_empty()) {
        let report = rows.values().filter(|r| !r.doubts.is_empty());
        let first =
            report.clone().next().map_or(String::new(), |r| format!("variant {}: {}", r.variant, r.doubts));
        warnings.push(format!("Of {} variants the numbers are not reliable; {first}.", report.count()));
    }
    if !table.complete {
        warnings.push("The table was not written to its end.".to_string());
    }
    let done = rows.values().filter(|r| r.status == Status::Done).count();
    if done < rows.len() {
        let text = format!(
            "{} of {} variants did not run to their end; they are in no number below.",
            rows.len() - done,
            rows.len()
        );
        warnings.push(text);
    }
    let mut conditions = report.conditions;
    conditions.extend(words::ASSUMED.map(String::from));
    let mut numbers = report.numbers;
    numbers.extend(ended(&rows));
    let definitions = report.definitions.iter().map(|(a, b)| (a.to_string(), b.to_string())).collect();
    let facts = [
        ("Computed by".to_string(), format!("joulestep {}", table.version)),
        ("Variants".to_string(), rows.len().to_string()),
        ("Digest of plan, scenario and program".to_string(), table.digest.clone()),
    ];
    Report {
        kind: "Batch".into(),
        title: if table.title.is_empty() { "A batch of variants".into() } else { capital(&table.title) },
        question: report.question,
        verdict,
        tone,
        answers: report.answers,
        warnings,
        sections: vec![
            Section::new("Result", report.result),
            Section::new("Numbers", numbers),
            Section::new("How quantities are defined", vec![Block::Terms(definitions)]),
            Section::new("Conditions and assumptions", vec![Block::List(conditions)]),
            words::record(&facts),
            words::cautions(),
            words::inputs(&table.inputs),
        ],
    }
    .numbered()
}
