//! What is shipped by name or read from a file: parts and packages are found in the same two ways.

use std::path::{Path, PathBuf};

use crate::diagnostic::{Diagnostic, FileId, Refusal, Sources, Span, nearest};
use crate::input::keys::InputError;
use crate::input::keys::include::{Open, reason};
use crate::input::keys::words::one_of;

/// One kind of thing that is shipped.
pub(crate) struct Library {
    /// What it is, in words ("part").
    pub(crate) what: &'static str,
    /// A file that holds one, in words ("part file").
    pub(crate) file: &'static str,
    /// What its path leads to, in words ("a part file").
    pub(crate) path: &'static str,
    /// Names and texts.
    pub(crate) shipped: fn() -> &'static [(&'static str, &'static str)],
}

impl Library {
    fn is_file(name: &str) -> bool {
        name.ends_with(".toml")
    }

    /// Path, as it is shown, of a shipped one.
    fn shown(name: &str) -> PathBuf {
        Path::new("shipped").join(format!("{name}.toml"))
    }

    /// Text of a shipped one, or what was found, what was expected, and a suggestion.
    fn text(&self, name: &str) -> Result<&'static str, (String, String, Option<String>)> {
        let shipped = (self.shipped)();
        shipped.iter().find(|p| p.0 == name).map(|p| p.1).ok_or_else(|| {
            let names: Vec<&str> = shipped.iter().map(|p| p.0).collect();
            let found = format!("no shipped {} is named `{name}`", self.what);
            let expected = format!("{}, or the path of a {} ending in .toml", one_of(&names), self.file);
            (found, expected, nearest(name, names))
        })
    }

    /// The one that a command line asks for.
    ///
    /// # Errors
    /// A file that cannot be opened; a name that nothing has.
    pub(crate) fn alone(&self, name: &str, open: Open<'_>) -> Result<(Sources, FileId), InputError> {
        let mut sources = Sources::default();
        let (path, text) = if Self::is_file(name) {
            (PathBuf::from(name), open(Path::new(name)).map_err(InputError::Unreadable)?)
        } else {
            match self.text(name) {
                Ok(text) => (Self::shown(name), text.to_string()),
                Err((found, expected, suggestion)) => {
                    let d = Diagnostic { span: None, key: String::new(), found, expected, suggestion };
                    return Err(InputError::Refused(Refusal { sources, diagnostics: vec![d] }));
                }
            }
        };
        let file = sources.add(path, text);
        Ok((sources, file))
    }

    /// The one that a file names at a span, under a key; paths are relative to that file. Errors are reported.
    pub(crate) fn beside(
        &self,
        name: &str,
        (span, key): (&Span, &str),
        sources: &mut Sources,
        open: Open<'_>,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Option<FileId> {
        let read = if Self::is_file(name) {
            let here = sources.files.get(span.file.0).map(|f| f.0.clone()).unwrap_or_default();
            let path = here.parent().unwrap_or(Path::new("")).join(name);
            match open(&path) {
                Ok(text) => Ok((path, text)),
                Err(error) => {
                    let found = format!("cannot read `{}`: {}", path.display(), reason(&error));
                    Err((found, format!("the path of {}, relative to this file", self.path), None))
                }
            }
        } else {
            self.text(name).map(|text| (Self::shown(name), text.to_string()))
        };
        match read {
            Ok((path, text)) => Some(match sources.files.iter().position(|f| f.0 == path) {
                Some(k) => FileId(k),
                None => sources.add(path, text),
            }),
            Err((found, expected, suggestion)) => {
                diagnostics.push(Diagnostic::new(span, key, found, expected).suggest(suggestion));
                None
            }
        }
    }
}
