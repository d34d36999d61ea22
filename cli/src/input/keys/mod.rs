//! Files as typed ([`raw`]), joined with what they include, and checked against tables of keys ([`shape`]).

// How a table may look.
pub mod shape;
// The file as typed, and what it includes.
pub mod fields;
pub mod include;
pub mod merge;
pub mod raw;
pub mod table;
// Checked against the tables of keys.
pub mod conform;
pub mod renamed;
pub mod words;

use crate::diagnostic::Refusal;

/// Why a file is not accepted.
#[derive(Debug, thiserror::Error)]
pub enum InputError {
    /// The file itself cannot be opened.
    #[error("cannot read the file: {0}")]
    Unreadable(#[source] std::io::Error),
    /// It is wrong.
    #[error("{}", .0.text().trim_end())]
    Refused(Refusal),
}
