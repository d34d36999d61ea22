//! Reports of batches: from the table alone, and from the plan where the file's text still makes the same one.

mod known;
mod plain;

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use super::study::capital;
use super::{Block, Grid, Report, Section, Tone, words};
use crate::batch::row::{Row, Status};
use crate::batch::variant::Study;
use crate::diagnostic::Sources;
use crate::result::{ReadTable, Verdict};

/// Rows of variants that did not end well which are listed.
const TROUBLES: usize = 20;

/// What a report says in its sections of results.
struct Told {
    question: String,
    answers: Vec<String>,
    result: Vec<Block>,
    numbers: Vec<Block>,
    definitions: Vec<(&'static str, &'static str)>,
    conditions: Vec<String>,
}

/// The rows of the table.
fn rows(table: &ReadTable) -> BTreeMap<usize, Row> {
    let outputs: Vec<&Vec<f64>> = table.columns.iter().filter(|c| !c.input).map(|c| &c.values).collect();
    let row = |(k, &variant): (usize, &usize)| {
        let word = |texts: &[String]| texts.get(k).cloned().unwrap_or_default();
        let row = Row {
            variant,
            status: Status::of_word(&word(&table.status)).unwrap_or(Status::Broken),
            verdict: Verdict::of_word(&word(&table.verdict)).unwrap_or(Verdict::NotJudged),
            error: word(&table.error),
            outputs: outputs.iter().map(|values| values.get(k).copied().unwrap_or(f64::NAN)).collect(),
        };
        (variant, row)
    };
    table.variants.iter().enumerate().map(row).collect()
}

/// The plan and scenario that the file's text makes, where they have the table's columns: another version of the program
/// might read them otherwise.
fn study(table: &ReadTable) -> Option<Study> {
    let files: BTreeMap<PathBuf, String> = Sources::of_full_text(&table.text).files.into_iter().collect();
    let varies = |text: &str| {
        text.parse::<toml::Table>().is_ok_and(|t| t.contains_key("vary") && t.contains_key("sampling"))
    };
    let plan = files.iter().find(|(_, text)| varies(text))?.0;
    let open = |path: &Path| files.get(path).cloned().ok_or_else(|| io::Error::from(io::ErrorKind::NotFound));
    let study = Study::read(plan, &open).ok()?;
    let named = |input: bool| table.columns.iter().filter(move |c| c.input == input).map(|c| c.name.as_str());
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
    let troubles: Vec<Vec<String>> = rows
        .values()
        .filter(|r| r.status != Status::Done)
        .take(TROUBLES)
        .map(|r| vec![r.variant.to_string(), r.status.word().into(), r.error.clone()])
        .collect();
    if !troubles.is_empty() {
        let caption = format!("Variants that did not end well, the first {TROUBLES} at most");
        blocks.push(Block::Grid(Grid::new(&caption, &[">variant", "ended", "why"], troubles)));
    }
    blocks
}

/// The report of a batch.
pub(super) fn report(table: &ReadTable) -> Report {
    let rows = rows(table);
    let told = match study(table) {
        Some(study) => known::told(&study, &rows),
        None => plain::told(table, &rows),
    };
    let (verdict, tone) = headline(&rows);
    let mut warnings = Vec::new();
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
    let mut conditions = told.conditions;
    conditions.extend(words::ASSUMED.map(String::from));
    let mut numbers = told.numbers;
    numbers.extend(ended(&rows));
    let definitions = told.definitions.iter().map(|(a, b)| (a.to_string(), b.to_string())).collect();
    let facts = [
        ("Computed by".to_string(), format!("joulestep {}", table.version)),
        ("Variants".to_string(), rows.len().to_string()),
        ("Digest of plan, scenario and program".to_string(), table.digest.clone()),
    ];
    Report {
        kind: "Batch".into(),
        title: if table.title.is_empty() { "A batch of variants".into() } else { capital(&table.title) },
        question: told.question,
        verdict,
        tone,
        answers: told.answers,
        warnings,
        sections: vec![
            Section::new("Result", told.result),
            Section::new("Numbers", numbers),
            Section::new("How quantities are defined", vec![Block::Terms(definitions)]),
            Section::new("Conditions and assumptions", vec![Block::List(conditions)]),
            words::record(&facts),
            words::cautions(),
            words::inputs(&table.text),
        ],
    }
    .numbered()
}
