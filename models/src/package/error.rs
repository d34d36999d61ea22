//! What is wrong with a package, as data.

/// What of a package is meant, by its number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// The whole.
    Whole,
    /// A layer.
    Layer(usize),
    /// A via field of a layer.
    Via(usize, usize),
    /// A cooled face.
    Cooling(usize),
}

/// Something wrong with a package.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{found}; expected {expected}")]
pub struct PackageError {
    /// Where.
    pub subject: Subject,
    /// The key concerned; empty where none is.
    pub key: &'static str,
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
    /// What may have been intended.
    pub suggestion: Option<String>,
}

/// Without a suggestion.
pub(super) fn error(
    subject: Subject,
    key: &'static str,
    found: impl Into<String>,
    expected: impl Into<String>,
) -> PackageError {
    PackageError { subject, key, found: found.into(), expected: expected.into(), suggestion: None }
}
