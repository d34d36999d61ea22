//! Package stack files: read, checked against their key tables, as meant.

pub mod sections;

mod meant;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use joulestep_models::devices::catalogue;
use joulestep_models::package::{Package, shipped};

use crate::diagnostic::{Diagnostic, FileId, Place, Refusal, Sources, nearest};
use crate::scenario::conform::{Conform, one_of};
use crate::scenario::fields::Fields;
use crate::scenario::include::{Open, reason};
use crate::scenario::raw;
use crate::scenario::resolve::Trouble;

/// The stack that a command line asks for: a shipped one by name, or a file.
///
/// # Errors
/// A file that cannot be opened; everything that is wrong with it.
pub fn read(asked: &str, open: Open<'_>) -> Result<Package, Trouble> {
    let mut sources = Sources::default();
    let mut diagnostics = Vec::new();
    let text = if is_file(asked) {
        open(Path::new(asked)).map_err(Trouble::Unreadable)?
    } else {
        match text_of(asked) {
            Ok(text) => text.to_string(),
            Err((found, expected, suggestion)) => {
                let d = Diagnostic { place: None, key: String::new(), found, expected, suggestion };
                return Err(Trouble::Refused(Refusal { sources, diagnostics: vec![d] }));
            }
        }
    };
    let file = sources.add(path_of(asked, Path::new("")), text);
    let package = convert(file, &sources, &mut diagnostics);
    match package {
        Some(package) if diagnostics.is_empty() => Ok(package),
        _ => {
            diagnostics.sort_by_key(|d| d.place.as_ref().map(|p| (p.file, p.span.start)));
            Err(Trouble::Refused(Refusal { sources, diagnostics }))
        }
    }
}

/// The stack that a file names at a place; what is wrong is told.
pub(crate) fn load(
    asked: &str,
    place: &Place,
    key: &str,
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<Package> {
    let here = sources.files.get(place.file.0).map(|f| f.0.clone()).unwrap_or_default();
    let path = path_of(asked, here.parent().unwrap_or(Path::new("")));
    let text = if is_file(asked) {
        open(&path).map_err(|error| {
            let found = format!("cannot read `{}`: {}", path.display(), reason(&error));
            (found, "the path of a package stack, relative to this file".to_string(), None)
        })
    } else {
        text_of(asked).map(ToString::to_string)
    };
    match text {
        Ok(text) => {
            let file = match sources.files.iter().position(|f| f.0 == path) {
                Some(k) => FileId(k),
                None => sources.add(path, text),
            };
            convert(file, sources, diagnostics)
        }
        Err((found, expected, suggestion)) => {
            diagnostics.push(Diagnostic::new(place, key, found, expected).suggest(suggestion));
            None
        }
    }
}

fn is_file(asked: &str) -> bool {
    asked.ends_with(".toml")
}

fn path_of(asked: &str, folder: &Path) -> PathBuf {
    match is_file(asked) {
        true => folder.join(asked),
        false => Path::new("shipped").join(format!("{asked}.toml")),
    }
}

fn text_of(name: &str) -> Result<&'static str, (String, String, Option<String>)> {
    shipped().iter().find(|p| p.0 == name).map(|p| p.1).ok_or_else(|| {
        let names: Vec<&str> = shipped().iter().map(|p| p.0).collect();
        let found = format!("no shipped package stack is named `{name}`");
        let expected = format!("{}, or the path of a file ending in .toml", one_of(&names));
        (found, expected, nearest(name, names))
    })
}

fn convert(file: FileId, sources: &Sources, diagnostics: &mut Vec<Diagnostic>) -> Option<Package> {
    let (table, errors) = raw::read(sources, file);
    if !errors.is_empty() {
        diagnostics.extend(errors);
        return None;
    }
    let none = |_: &Place, _: &str| None;
    let mut conform = Conform { catalogue: catalogue(), kind_of_part: &none, diagnostics: Vec::new() };
    let empty = Fields {
        place: table.place.clone(),
        path: String::new(),
        kind: String::new(),
        values: BTreeMap::new(),
    };
    let root = conform.against(&table, sections::PACKAGE.keys, "a package stack", empty);
    if !conform.diagnostics.is_empty() {
        diagnostics.append(&mut conform.diagnostics);
        return None;
    }
    meant::package(&root, diagnostics)
}
