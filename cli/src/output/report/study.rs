//! Reports of studies.

use super::run::Read;
use super::{Block, Drawing, Grid, Report, STAR, Section, Tone, judged, words};
use crate::diagnostic::capital;
use crate::judge::{Ruling, Uncertainty};
use crate::output::answer::{Answer, EVENTS, Outcome, Study, StudyTable, WAVEFORMS};
use crate::output::result::{ResultError, Verdict};

/// A name as a file may have it.
pub(crate) fn file_name(text: &str) -> String {
    let kept = text.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' });
    let name: String = kept.take(40).collect();
    let parts: Vec<&str> = name.split('-').filter(|p| !p.is_empty()).collect();
    if parts.is_empty() { "figure".into() } else { parts.join("-") }
}

/// The report of a study; `recorded`: what its file holds beside the answer.
///
/// # Errors
/// What cannot be read of the recorded.
pub(super) fn report(study: &Study, recorded: Option<&Read<'_>>) -> Result<Report, ResultError> {
    let (verdict, tone) = match study.outcome {
        Outcome::Done => (study.verdict.map_or("answer", Verdict::word), Tone::of(study.verdict)),
        _ if study.verdict == Some(Verdict::Fails) => (Verdict::Fails.word(), Tone::Fails),
        _ => ("incomplete", Tone::Plain),
    };
    let figures =
        study.figures.iter().filter(|f| recorded.is_none() || f.figure.title != WAVEFORMS).map(|f| {
            let named = if f.figure.title.is_empty() { &study.kind } else { &f.figure.title };
            // The small print of a figure that stands alone has sections of its own here.
            let figure = crate::output::plot::Figure { notes: Vec::new(), ..f.figure.clone() };
            Block::Drawing(Drawing { name: file_name(named), caption: f.caption.clone(), figure })
        });
    // Events of a recorded file have a section of their own.
    let tables: Vec<&StudyTable> =
        study.tables.iter().filter(|t| recorded.is_none() || t.name != EVENTS).collect();
    let (first, rest) = tables.split_at(tables.len().min(1));
    let grids = |tables: &[&StudyTable]| -> Vec<Block> {
        let each = tables.iter().filter(|t| !t.data.rows.is_empty());
        each.flat_map(|t| Grid::of_table(&t.title, t.keys, &t.data)).map(Block::Grid).collect()
    };
    // What decides first, then the curves, then all numbers.
    let mut result = grids(first);
    result.extend(figures);
    let mut result = [answers(study), result].concat();
    result.extend((!study.notes.is_empty()).then(|| Block::List(study.notes.clone())));
    let mut conditions: Vec<String> = study.conditions.clone();
    conditions.extend(words::ASSUMED.map(String::from));
    let mut sections = vec![Section::new("Result", result)];
    let mut facts = vec![("Command".to_string(), study.command.clone())];
    let mut sentences = judged::sentences(study);
    let mut warnings: Vec<String> = study.doubts.iter().map(|d| format!("Doubt: {d}")).collect();
    let waived =
        study.answers.iter().filter_map(|a| Some(format!("Waived: {}: {}", a.quantity, a.waived()?)));
    warnings.extend(waived);
    if let Some(read) = recorded {
        sections.extend(read.sections(&study.overlays)?);
        facts.extend(read.facts());
        sentences.extend(read.happened());
        warnings.splice(0..0, read.warnings());
    }
    sections.push(Section::new("Numbers", grids(rest)));
    let starred = |block: &Block| match block {
        Block::Grid(grid) => grid.rows.iter().flatten().any(|cell| cell.ends_with(STAR)),
        _ => false,
    };
    let star = sections.iter().flat_map(|s| &s.blocks).any(starred);
    let star = star.then(|| ("*".into(), "the computations for this error do not converge".into()));
    let definitions: Vec<_> = study.definitions.iter().cloned().chain(star).collect();
    sections.extend([
        Section::new("How quantities are defined", terms(&definitions)),
        Section::new("Conditions and assumptions", vec![Block::List(conditions)]),
        words::record(&facts),
        words::cautions(),
        words::inputs(&study.inputs),
    ]);
    let report = Report {
        kind: capital(&study.kind),
        title: study.title.clone(),
        question: judged::question(study),
        verdict: verdict.into(),
        tone,
        answers: sentences,
        warnings,
        sections,
    };
    Ok(report.numbered())
}

/// Every quantity with its error, limit and ruling.
fn answers(study: &Study) -> Vec<Block> {
    let row = |(row, a): (Vec<String>, &Answer)| {
        let [quantity, value, error, limit, ruling, remark] = <[String; 6]>::try_from(row).ok()?;
        // Here as in the other tables a sign.
        let error = if let Uncertainty::NotConverging { .. } = a.error {
            error.replace(&format!(" ({})", a.error.word()), STAR)
        } else {
            error
        };
        Some(vec![quantity, value, error, limit, a.margin_words(), ruling, remark])
    };
    let rows: Vec<Vec<String>> = study.rows().into_iter().zip(&study.answers).filter_map(row).collect();
    let marked = |ruling: Ruling| -> Vec<usize> {
        let of = |(k, a): (usize, &Answer)| (a.ruling == ruling).then_some(k);
        study.answers.iter().enumerate().filter_map(of).collect()
    };
    let (failed, marked) = (marked(Ruling::Fails), marked(Ruling::NotProven));
    let grid = Grid::new(
        "Quantities",
        &["quantity", ">value", ">\u{b1}", "limit", ">margin", "ruling", "remark"],
        rows,
    );
    if study.answers.is_empty() { Vec::new() } else { vec![Block::Grid(Grid { failed, marked, ..grid })] }
}

/// Terms, where there are any.
pub(super) fn terms(all: &[(String, String)]) -> Vec<Block> {
    if all.is_empty() { Vec::new() } else { vec![Block::Terms(all.to_vec())] }
}
