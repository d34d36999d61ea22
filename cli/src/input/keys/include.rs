//! Opening a scenario and the files it includes.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::diagnostic::{Diagnostic, Sources, Span};
pub use crate::input::access::{read_plain as open, reason};
use crate::input::identity::Identity;
use crate::input::keys::raw::{self, Raw, RawTable};

/// Files of a scenario at most, in any depth.
const MOST: usize = 20_000;
/// Files of a circle of includes that are named.
const NAMED: usize = 8;

/// How files are opened; tests use one that reads from memory.
pub type Open<'a> = &'a dyn Fn(&Path) -> std::io::Result<String>;

/// A scenario's files: the included ones before those that include them.
#[derive(Debug, Default)]
pub struct Files {
    /// Their texts.
    pub sources: Sources,
    /// Their root tables.
    pub tables: Vec<RawTable>,
    /// What was wrong.
    pub diagnostics: Vec<Diagnostic>,
}

/// A file whose includes are being followed.
struct Level {
    path: PathBuf,
    identity: Identity,
    table: RawTable,
    /// What it includes, the last first.
    names: Vec<(String, Span)>,
}

/// Opens a scenario with everything it includes.
///
/// # Errors
/// When the scenario itself cannot be opened; an included file that cannot is a diagnostic.
pub fn load(path: &Path, open: Open<'_>) -> std::io::Result<Files> {
    load_beside(Sources::default(), path, open)
}

/// The same beside files that were read before.
///
/// # Errors
/// As [`load`].
pub fn load_beside(sources: Sources, path: &Path, open: Open<'_>) -> std::io::Result<Files> {
    let mut files = Files { sources, ..Files::default() };
    let text = open(path)?;
    files.follow(path, text, open);
    Ok(files)
}

/// A path without `.` and with `..` taken against what stands before it, so that one file has one path.
fn plain(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for part in path.components() {
        match part {
            std::path::Component::CurDir => {}
            std::path::Component::ParentDir if out.file_name().is_some() => {
                out.pop();
            }
            other => out.push(other),
        }
    }
    if out.as_os_str().is_empty() { PathBuf::from(".") } else { out }
}

/// By number where there is such a file, so that no chain of links makes one file into many.
fn identity(path: &Path) -> Identity {
    Identity::of(path).unwrap_or_else(|_| Identity::Path(path.to_path_buf()))
}

impl Files {
    /// In depth first, without recursion: a chain of includes may be long.
    fn follow(&mut self, path: &Path, text: String, open: Open<'_>) {
        let path = plain(path);
        let (mut seen, mut above) = (BTreeSet::new(), BTreeSet::new());
        let mut levels = vec![self.level(path, text)];
        seen.insert(levels[0].identity.clone());
        above.insert(levels[0].identity.clone());
        while let Some(level) = levels.last_mut() {
            let Some((name, span)) = level.names.pop() else {
                above.remove(&level.identity);
                self.tables.extend(levels.pop().map(|level| level.table));
                continue;
            };
            let target = plain(&level.path.parent().unwrap_or(Path::new("")).join(&name));
            let identity = identity(&target);
            if above.contains(&identity) {
                let found = circle(&levels, &identity, &target);
                let expected = "no file that includes this one";
                self.diagnostics.push(Diagnostic::new(&span, "include", found, expected));
                continue;
            }
            // A file that two others include counts once.
            if seen.contains(&identity) {
                continue;
            }
            if self.sources.files.len() >= MOST {
                let expected = format!("a scenario of at most {MOST} files");
                self.diagnostics.push(Diagnostic::new(&span, "include", "too many files", expected));
                levels.iter_mut().for_each(|level| level.names.clear());
                continue;
            }
            match open(&target) {
                Ok(text) => {
                    seen.insert(identity.clone());
                    above.insert(identity);
                    let next = self.level(target, text);
                    levels.push(next);
                }
                Err(error) => {
                    let found = format!("cannot read `{}`: {}", target.display(), reason(&error));
                    let expected = "the path of a scenario or part file, relative to this file";
                    self.diagnostics.push(Diagnostic::new(&span, "include", found, expected));
                }
            }
        }
    }

    /// Reads a file, without what it includes.
    fn level(&mut self, path: PathBuf, text: String) -> Level {
        let file = self.sources.add(path.clone(), text);
        let (table, errors) = raw::read(&self.sources, file);
        self.diagnostics.extend(errors);
        let mut names = self.names(&table);
        names.reverse();
        Level { identity: identity(&path), path, table, names }
    }

    /// The names in `include`; what is not a list of strings is reported when the table is checked.
    fn names(&self, table: &RawTable) -> Vec<(String, Span)> {
        let Some(Raw::List(items)) = table.get("include").map(|n| &n.value) else { return Vec::new() };
        let name = |n: &raw::Node| match &n.value {
            Raw::Text(s) => Some((s.clone(), n.span.clone())),
            _ => None,
        };
        items.iter().filter_map(name).collect()
    }
}

/// A circle of includes in words.
fn circle(levels: &[Level], again: &Identity, target: &Path) -> String {
    let from = levels.iter().position(|level| level.identity == *again).unwrap_or(0);
    let chain: Vec<String> = levels[from..].iter().map(|level| level.path.display().to_string()).collect();
    let (shown, dots) = if chain.len() > NAMED { (&chain[..NAMED], "... -> ") } else { (&chain[..], "") };
    format!("files include each other: {} -> {dots}{}", shown.join(" -> "), target.display())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn from_memory<'a>(files: &'a [(&'a str, &'a str)]) -> impl Fn(&Path) -> std::io::Result<String> + 'a {
        move |path| match files.iter().find(|f| Path::new(f.0) == path) {
            Some(f) => Ok(f.1.to_string()),
            None => Err(std::io::ErrorKind::NotFound.into()),
        }
    }

    #[test]
    fn included_files_come_first_and_once() {
        let files = [
            ("s/a.toml", "include = [\"p/b.toml\", \"./p/../p/c.toml\"]\n"),
            ("s/p/b.toml", "include = [\"c.toml\"]\n"),
            ("s/p/c.toml", "x = 1\n"),
        ];
        let loaded = load(Path::new("s/a.toml"), &from_memory(&files)).unwrap();
        assert!(loaded.diagnostics.is_empty());
        let order: Vec<_> =
            loaded.tables.iter().map(|t| loaded.sources.files[t.span.file.0].0.clone()).collect();
        assert_eq!(order, [Path::new("s/p/c.toml"), Path::new("s/p/b.toml"), Path::new("s/a.toml")]);
    }

    #[test]
    fn cycles_and_missing_files_are_reported() {
        let files =
            [("a.toml", "include = [\"b.toml\", \"no.toml\"]\n"), ("b.toml", "include = [\"a.toml\"]\n")];
        let loaded = load(Path::new("a.toml"), &from_memory(&files)).unwrap();
        let lines: Vec<_> = loaded.diagnostics.iter().map(Diagnostic::line).collect();
        assert_eq!(lines.len(), 2, "{lines:?}");
        assert!(lines[0].contains("a.toml -> b.toml -> a.toml"));
        assert!(lines[1].contains("`no.toml`: no such file"));
        assert!(load(Path::new("none.toml"), &from_memory(&files)).is_err());
    }
}
