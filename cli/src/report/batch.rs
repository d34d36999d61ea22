//! Reports of batches.

use super::{Block, Report, Section, Tone};
use crate::result::ReadTable;
/// The report of a batch.
pub(super) fn report(_table: &ReadTable) -> Report {
    Report {
        kind: "Batch".into(),
        title: String::new(),
        question: String::new(),
        verdict: String::new(),
        tone: Tone::Plain,
        answers: vec![],
        warnings: vec![],
        facts: vec![],
        sections: vec![Section::new("", vec![Block::Text(String::new())])],
    }
}
