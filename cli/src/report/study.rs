//! Reports of studies.

use super::{Block, Drawing, Grid, Report, Section, Tone, words};
use crate::result::{Study, Verdict};

/// First letter as a capital.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}", letters.as_str())
}

/// A name as a file may have it.
pub(super) fn file_name(text: &str) -> String {
    let kept = text.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' });
    let name: String = kept.take(40).collect();
    let parts: Vec<&str> = name.split('-').filter(|p| !p.is_empty()).collect();
    if parts.is_empty() { "figure".into() } else { parts.join("-") }
}

/// The report of a study.
pub(super) fn report(study: &Study) -> Report {
    let (verdict, tone) = (study.verdict.map_or("answer", Verdict::word), Tone::of(study.verdict));
    let figures = study.figures.iter().map(|f| {
        let named = if f.figure.title.is_empty() { &study.kind } else { &f.figure.title };
        // The small print of a figure that stands alone has sections of its own here.
        let figure = crate::plot::Figure { notes: Vec::new(), ..f.figure.clone() };
        Block::Drawing(Drawing { name: file_name(named), caption: f.caption.clone(), figure })
    });
    let (first, rest) = study.tables.split_at(study.tables.len().min(1));
    let grids = |tables: &[crate::result::StudyTable]| -> Vec<Block> {
        let each = tables.iter().filter(|t| !t.sheet.rows.is_empty());
        each.flat_map(|t| Grid::of_sheet(&t.title, t.keys, &t.sheet)).map(Block::Grid).collect()
    };
    // What decides first, then the curves, then all numbers.
    let mut result = grids(first);
    result.extend(figures);
    let mut conditions: Vec<String> = study.conditions.clone();
    conditions.extend(words::ASSUMED.map(String::from));
    Report {
        kind: capital(&study.kind),
        title: study.title.clone(),
        question: String::new(),
        verdict: verdict.into(),
        tone,
        answers: study.answers.clone(),
        warnings: Vec::new(),
        sections: vec![
            Section::new("Result", result),
            Section::new("Numbers", grids(rest)),
            Section::new("How quantities are defined", terms(&study.definitions)),
            Section::new("Conditions and assumptions", vec![Block::List(conditions)]),
            words::record(&[("Command".into(), study.command.clone())]),
            words::cautions(),
            words::inputs(&study.inputs),
        ],
    }
    .numbered()
}

/// Terms, where there are any.
pub(super) fn terms(all: &[(String, String)]) -> Vec<Block> {
    if all.is_empty() { Vec::new() } else { vec![Block::Terms(all.to_vec())] }
}
