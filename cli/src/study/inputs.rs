//! The files of a question: named under keys of the study's section, read into one root table, so that a batch finds
//! and sets any of their values.

use std::path::Path;

use crate::diagnostic::{Diagnostic, Place, Sources};
use crate::package::sections::PACKAGE;
use crate::parts::sections::PART;
use crate::scenario::fields::Fields;
use crate::scenario::include::{Open, reason};
use crate::scenario::raw::{Node, Raw, RawTable};
use crate::scenario::shape::{Form, Key, Kinds, Section};

use super::Entry;

/// A file, or several, that a study takes.
#[derive(Clone, Copy, Debug)]
pub struct Input {
    /// Key of the section under which it is named.
    pub key: &'static str,
    /// Key of the root table under which its values stand.
    pub root: &'static str,
    /// What it is.
    pub what: What,
    /// How many there are.
    pub count: Count,
    /// Whether the command takes it as a positional argument, not as an option.
    pub positional: bool,
}

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A shipped part, or a part file.
    Part,
    /// A shipped package, or its file.
    Package,
    /// A file that the study reads by itself.
    File,
}

/// How many files there may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Count {
    /// One, or none where the key may be left out.
    One,
    /// Any number.
    Many,
}

impl What {
    /// The form of a key that names one.
    pub fn form(self) -> Form {
        Form::OneOrMore
    }
}

/// Names under a key, each with its place.
fn named<'a>(fields: &'a Fields, key: &'a str) -> Vec<(&'a str, &'a Place)> {
    fields.texts(key).iter().map(|n| (n.name.as_str(), &n.place)).collect()
}

/// Reads the files that a section names; entries of the root table. Errors are reported.
pub fn gather(
    entry: &Entry,
    fields: &Fields,
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<(String, Place, Node)> {
    let mut all = Vec::new();
    for input in entry.inputs {
        let names = named(fields, input.key);
        if input.count == Count::One && names.len() > 1 {
            let found = format!("{} names", names.len());
            diagnostics.push(Diagnostic::new(names[1].1, fields.key(input.key), found, "one"));
            continue;
        }
        let mut tables = Vec::new();
        for (name, place) in names {
            let key = fields.key(input.key);
            let at = (place, key.as_str());
            if input.what == What::File {
                tables.extend(path_of(name, place, &key, sources, open, diagnostics));
                continue;
            }
            let table = match input.what {
                What::Part => crate::parts::read_typed(name, at, sources, open, diagnostics).map(|t| t.0),
                What::Package => {
                    crate::package::load_typed(name, at, sources, open, diagnostics).map(|t| t.0)
                }
                What::File => None,
            };
            tables.extend(table.map(|t| Node { place: t.place.clone(), value: Raw::Table(t) }));
        }
        let node = match (input.count, tables.len()) {
            (_, 0) => continue,
            (Count::One, _) => tables.remove(0),
            (Count::Many, _) => Node { place: tables[0].place.clone(), value: Raw::List(tables) },
        };
        all.push((input.root.to_string(), node.place.clone(), node));
    }
    all
}

/// A file that a study reads by itself: its path, relative to the file that names it, once it can be opened.
fn path_of(
    name: &str,
    place: &Place,
    key: &str,
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<Node> {
    let folder = sources.files.get(place.file.0).and_then(|f| f.0.parent()).map(Path::to_path_buf);
    let path = folder.unwrap_or_default().join(name);
    match open(&path) {
        Ok(text) => {
            let shown = path.display().to_string();
            sources.add(path, text);
            let path = Node { place: place.clone(), value: Raw::Text(shown) };
            let entries = vec![("path".to_string(), place.clone(), path)];
            Some(Node { place: place.clone(), value: Raw::Table(RawTable { place: place.clone(), entries }) })
        }
        Err(error) => {
            let found = format!("cannot read `{}`: {}", path.display(), reason(&error));
            diagnostics.push(Diagnostic::new(place, key, found, "the path of a file"));
            None
        }
    }
}

/// A file that a study reads by itself.
static FILE: Section = Section {
    name: "file",
    help: "A file that the study reads",
    kinds: Kinds::None,
    keys: &[Key::need("path", Form::Text, "its path")],
};

/// Keys of the root table: the files, the section, limits.
pub fn root_keys(entry: &'static Entry) -> Vec<Key> {
    let of = |input: &Input| {
        let section = match input.what {
            What::Part => &PART,
            What::Package => &PACKAGE,
            What::File => &FILE,
        };
        let form = match input.count {
            Count::One => Form::Table(section),
            Count::Many => Form::Tables(section),
        };
        Key::may(input.root, form, "the file's values")
    };
    let mut keys: Vec<Key> = entry.inputs.iter().map(of).collect();
    keys.push(Key::may(entry.section.name, Form::Table(entry.section), entry.section.help));
    keys.push(Key::may("limit", Form::Tables(&LIMIT), "limits of the answers"));
    keys
}

/// A limit that a plan sets on an answer.
pub static LIMIT: Section = Section {
    name: "limit",
    help: "Bounds of an answer; yields and verdicts are about them",
    kinds: Kinds::None,
    keys: &[
        Key::need("name", Form::Name, "unique name"),
        Key::need("output", Form::Text, "name of the answer, as its column in the table"),
        Key::may("min", Form::Measure, "least value"),
        Key::may("max", Form::Measure, "largest value"),
    ],
};

/// The root table of a section as typed, without its files.
pub fn root(section: RawTable, name: &str) -> RawTable {
    let place = section.place.clone();
    let node = Node { place: place.clone(), value: Raw::Table(section) };
    RawTable { place: place.clone(), entries: vec![(name.to_string(), place, node)] }
}
