//! What can go wrong with a result file.

use std::io;
use std::path::{Path, PathBuf};

/// An error of a result file; every variant names the file.
#[derive(Debug, thiserror::Error)]
pub enum ResultError {
    /// The operating system refused.
    #[error("cannot {doing} {}: {source}", path.display())]
    System {
        /// The file.
        path: PathBuf,
        /// What was tried: "create", "write", …
        doing: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// Another program holds the file.
    #[error("cannot {doing} {}: another program is using it", path.display())]
    InUse {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
    },
    /// The file's structure cannot be read or written.
    #[error("cannot {doing} {}: {what}", path.display())]
    Structure {
        /// The file.
        path: PathBuf,
        /// What was tried.
        doing: &'static str,
        /// What the file library found.
        what: String,
    },
    /// The content is not what was expected.
    #[error("{}: found {found}, expected {expected}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
}

impl ResultError {
    /// True when the operating system refused or another program is in the way, false when the content is at fault.
    pub fn is_input_output(&self) -> bool {
        matches!(self, Self::System { .. } | Self::InUse { .. })
    }

    pub(super) fn system(path: &Path, doing: &'static str, source: io::Error) -> Self {
        Self::System { path: path.to_owned(), doing, source }
    }

    pub(super) fn content(path: &Path, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Self::Content { path: path.to_owned(), found: found.into(), expected: expected.into() }
    }
}
