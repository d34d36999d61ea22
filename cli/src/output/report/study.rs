//! Reports of studies.

use super::{Block, Drawing, Grid, Report, Section, Tone, words};
use crate::diagnostic::capital;
use crate::judge::Ruling;
use crate::output::answer::{Answer, Study};
use crate::output::result::Verdict;

/// A name as a file may have it.
pub(crate) fn file_name(text: &str) -> String {
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
        let figure = crate::output::plot::Figure { notes: Vec::new(), ..f.figure.clone() };
        Block::Drawing(Drawing { name: file_name(named), caption: f.caption.clone(), figure })
    });
    let (first, rest) = study.tables.split_at(study.tables.len().min(1));
    let grids = |tables: &[crate::output::answer::StudyTable]| -> Vec<Block> {
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
    Report {
        kind: capital(&study.kind),
        title: study.title.clone(),
        question: String::new(),
        verdict: verdict.into(),
        tone,
        answers: statements(study),
        warnings: study.doubts.clone(),
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

/// Most quantities that a report states in sentences before its tables.
const SENTENCES: usize = 6;

/// The sentences at the top: of the judged quantities, else of the first few.
fn statements(study: &Study) -> Vec<String> {
    let judged = study.answers.iter().filter(|a| !a.bounds.is_none());
    let mut chosen: Vec<&Answer> =
        if judged.clone().count() > 0 { judged.collect() } else { study.answers.iter().collect() };
    // What decides the verdict comes first.
    chosen.sort_by_key(|a| std::cmp::Reverse(a.ruling));
    let sentences = chosen.into_iter().take(SENTENCES).map(Answer::sentence);
    study.statements.iter().cloned().chain(sentences).collect()
}

/// Every quantity with its error, limit and ruling.
fn answers(study: &Study) -> Vec<Block> {
    let rows = study.rows();
    let marked = |ruling: Ruling| -> Vec<usize> {
        let of = |(k, a): (usize, &Answer)| (a.ruling == ruling).then_some(k);
        study.answers.iter().enumerate().filter_map(of).collect()
    };
    let (failed, marked) = (marked(Ruling::Fails), marked(Ruling::NotProven));
    let grid = Grid::new("Quantities", &["quantity", ">value", ">\u{b1}", "limit", "ruling", "remark"], rows);
    if study.answers.is_empty() { Vec::new() } else { vec![Block::Grid(Grid { failed, marked, ..grid })] }
}

/// Terms, where there are any.
pub(super) fn terms(all: &[(String, String)]) -> Vec<Block> {
    if all.is_empty() { Vec::new() } else { vec![Block::Terms(all.to_vec())] }
}
