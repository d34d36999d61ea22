//! Opening a scenario and the files it includes.

use std::io::Read;
use std::path::{Path, PathBuf};

use crate::diagnostic::{Diagnostic, Place, Sources};
use crate::scenario::raw::{self, Raw, RawTable};

/// No scenario is longer than this many bytes: more is a mistaken file.
const LONGEST: u64 = 16 << 20;

/// How files are opened; tests use one that reads from memory.
pub type Open<'a> = &'a dyn Fn(&Path) -> std::io::Result<String>;

/// Reads a text file of at most 16 MiB.
///
/// # Errors
/// Those of the file system, and a file that is too long or not UTF-8.
pub fn open(path: &Path) -> std::io::Result<String> {
    let mut text = String::new();
    std::fs::File::open(path)?.take(LONGEST + 1).read_to_string(&mut text)?;
    if text.len() as u64 > LONGEST {
        return Err(std::io::Error::new(std::io::ErrorKind::InvalidData, "longer than 16 MiB"));
    }
    Ok(text)
}

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

/// Opens a scenario with everything it includes.
///
/// # Errors
/// When the scenario itself cannot be opened; an included file that cannot is a diagnostic.
pub fn load(path: &Path, open: Open<'_>) -> std::io::Result<Files> {
    let mut files = Files::default();
    let text = open(path)?;
    files.follow(path, text, open, &mut Vec::new());
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
    out
}

impl Files {
    fn follow(&mut self, path: &Path, text: String, open: Open<'_>, above: &mut Vec<PathBuf>) {
        let path = plain(path);
        let file = self.sources.add(path.clone(), text);
        let (table, errors) = raw::read(&self.sources, file);
        self.diagnostics.extend(errors);
        above.push(path.clone());
        for (name, place) in self.names(&table) {
            let target = plain(&path.parent().unwrap_or(Path::new("")).join(&name));
            if above.contains(&target) {
                let chain: Vec<String> =
                    above.iter().chain([&target]).map(|p| p.display().to_string()).collect();
                let found = format!("files include each other: {}", chain.join(" -> "));
                self.diagnostics.push(Diagnostic::new(
                    &place,
                    "include",
                    found,
                    "no file that includes this one",
                ));
                continue;
            }
            // A file that two others include counts once.
            if self.sources.files.iter().any(|f| f.0 == target) {
                continue;
            }
            match open(&target) {
                Ok(text) => self.follow(&target, text, open, above),
                Err(error) => {
                    let found = format!("cannot read `{}`: {}", target.display(), reason(&error));
                    let expected = "the path of a scenario or part file, relative to this file";
                    self.diagnostics.push(Diagnostic::new(&place, "include", found, expected));
                }
            }
        }
        above.pop();
        self.tables.push(table);
    }

    /// The names in `include`; what is not a list of strings is reported when the table is checked.
    fn names(&self, table: &RawTable) -> Vec<(String, Place)> {
        let Some(Raw::List(items)) = table.get("include").map(|n| &n.value) else { return Vec::new() };
        let name = |n: &raw::Node| match &n.value {
            Raw::Text(s) => Some((s.clone(), n.place.clone())),
            _ => None,
        };
        items.iter().filter_map(name).collect()
    }
}

/// A file system's error in plain words, the same on every machine.
pub fn reason(error: &std::io::Error) -> String {
    use std::io::ErrorKind as K;
    match error.kind() {
        K::NotFound => "no such file".into(),
        K::PermissionDenied => "not permitted".into(),
        K::IsADirectory => "it is a directory".into(),
        K::NotADirectory => "a part of the path is not a directory".into(),
        K::AlreadyExists => "it exists already".into(),
        K::StorageFull => "no space left".into(),
        K::ReadOnlyFilesystem => "the file system is read-only".into(),
        K::InvalidData => format!("not a text file ({error})"),
        _ => error.to_string(),
    }
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
            loaded.tables.iter().map(|t| loaded.sources.files[t.place.file.0].0.clone()).collect();
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
