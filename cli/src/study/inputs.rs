//! The files of a question: named under keys of the study's section, read into one root table, so that a batch finds
//! and sets any of their values.

use std::io;
use std::path::Path;
use std::sync::Arc;

use crate::diagnostic::{Diagnostic, FileId, Sources, Span};
use crate::input::keys::InputError;
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::include::{Open, reason};
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::keys::shape::{Form, Key, Section};
use crate::input::keys::table::keys;
use crate::input::package::sections::PACKAGE;
use crate::input::parts::sections::{PART, POINTS};
use crate::input::scenario::resolve::{Loaded, as_typed_beside};
use crate::input::scenario::sections::SCENARIO;

use super::Entry;

/// A file, or several, that a study takes.
#[derive(Clone, Copy, Debug)]
pub struct Input {
    /// Key of the section under which it is named.
    pub key: Key,
    /// Key of the root table under which its values stand.
    pub root: &'static str,
    /// What it is.
    pub what: What,
    /// How many there are.
    pub count: Count,
    /// Whether the command takes it as a positional argument, not as an option.
    pub positional: bool,
}

impl Input {
    /// The scenario of a study that takes one.
    pub const fn scenario(key: Key) -> Self {
        Self { key, root: "scenario", what: What::Scenario, count: Count::One, positional: true }
    }
    /// The parts of a study of parts.
    pub const fn parts(key: Key) -> Self {
        Self { key, root: "part", what: What::Part, count: Count::Many, positional: true }
    }
}

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A shipped part, or a part file.
    Part,
    /// A shipped package, or its file.
    Package,
    /// Points of a data sheet, from which a part is extracted.
    Points,
    /// A scenario: its tables are those of the root. A table of the study's name is part of it but for the study's own
    /// keys.
    Scenario,
    /// A text that the study reads by itself.
    File,
    /// A scenario as one of several ways to put the question: its tables stand under the input's root.
    Circuit,
    /// A result file of a run, which the study opens by itself.
    Result,
}

/// How many files there may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Count {
    /// One, or none where the key may be left out.
    One,
    /// Any number.
    Many,
}

/// Names under a key, each with its span.
fn named(fields: &Fields, key: Key) -> Vec<Named> {
    fields.get(key).unwrap_or_default()
}

/// What the files of a section hold.
#[derive(Debug, Default)]
pub struct Files {
    /// Entries of the root table.
    pub entries: Vec<(String, Span, Node)>,
    /// Files with the parts, packages and courses that a scenario names.
    pub loaded: Option<Arc<Loaded>>,
}

impl Files {
    /// Puts the entries into a root table; the table of a scenario that bears the study's name joins the study's.
    pub fn put_into(&self, root: &mut RawTable) {
        for (name, span, node) in self.entries.iter().cloned() {
            let own = root.entries.iter_mut().find(|e| e.0 == name);
            match (own.map(|e| &mut e.2.value), node.value) {
                (Some(Raw::Table(own)), Raw::Table(more)) => own.entries.extend(more.entries),
                (_, value) => root.entries.push((name, span, Node { value, ..node })),
            }
        }
    }
}

/// Reads the files that a section names. Errors are reported.
///
/// # Errors
/// When a scenario cannot be opened: its name, and why.
pub fn gather(
    entry: &Entry,
    fields: &Fields,
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Result<Files, (String, io::Error)> {
    let mut all = Files::default();
    for input in entry.inputs {
        let names = named(fields, input.key);
        if input.count == Count::One && names.len() > 1 {
            let found = format!("{} names", names.len());
            diagnostics.push(Diagnostic::new(&names[1].span, fields.key(input.key), found, "one"));
            continue;
        }
        if matches!(input.what, What::Scenario | What::Circuit) {
            for Named { name, span } in &names {
                scenario(name, span, (input, sources, open), diagnostics, &mut all)?;
            }
            continue;
        }
        let mut tables = Vec::new();
        for Named { name, span } in &names {
            let key = fields.key(input.key);
            let at = (span, key.as_str());
            let table = match input.what {
                What::Part => {
                    crate::input::parts::read_typed(name, at, sources, open, diagnostics).map(|t| t.0)
                }
                What::Package => {
                    crate::input::package::load_typed(name, at, sources, open, diagnostics).map(|t| t.0)
                }
                What::Points => text(name, at, sources, open, diagnostics)
                    .and_then(|file| crate::input::parts::read_points(file, sources, diagnostics)),
                What::File => {
                    tables.extend(
                        text(name, at, sources, open, diagnostics).map(|file| as_node(file, sources)),
                    );
                    None
                }
                What::Result => {
                    // Relative to the file that names it.
                    let folder = sources.files.get(span.file.0).and_then(|f| f.0.parent());
                    let path = folder.map(Path::to_path_buf).unwrap_or_default().join(name);
                    tables.push(path_node(path.display().to_string(), span));
                    None
                }
                What::Scenario | What::Circuit => None,
            };
            tables.extend(table.map(|t| Node { span: t.span.clone(), value: Raw::Table(t) }));
        }
        let node = match (input.count, tables.len()) {
            (_, 0) => continue,
            (Count::One, _) => tables.remove(0),
            (Count::Many, _) => Node { span: tables[0].span.clone(), value: Raw::List(tables) },
        };
        all.entries.push((input.root.to_string(), node.span.clone(), node));
    }
    Ok(all)
}

fn scenario(
    name: &str,
    span: &Span,
    (input, sources, open): (&Input, &mut Sources, Open<'_>),
    diagnostics: &mut Vec<Diagnostic>,
    into: &mut Files,
) -> Result<(), (String, io::Error)> {
    // Relative to the file that names it.
    let folder = sources.files.get(span.file.0).and_then(|f| f.0.parent()).map(Path::to_path_buf);
    match as_typed_beside(sources.clone(), &folder.unwrap_or_default().join(name), open) {
        Ok(typed) => {
            let loaded = typed.load(open);
            *sources = loaded.sources().clone();
            match input.what {
                What::Circuit => {
                    let span = typed.root.span.clone();
                    let node = Node { span: span.clone(), value: Raw::Table(typed.root) };
                    into.entries.push((input.root.to_string(), span, node));
                }
                _ => into.entries.extend(typed.root.entries),
            }
            into.loaded = Some(Arc::new(loaded));
        }
        Err(InputError::Unreadable(error)) => return Err((name.to_string(), error)),
        Err(InputError::Refused(refusal)) => {
            *sources = refusal.sources;
            diagnostics.extend(refusal.diagnostics);
        }
    }
    Ok(())
}

/// A root table cut in two: the study's section, and the scenario.
pub fn parted(entry: &Entry, root: &RawTable) -> (RawTable, RawTable) {
    let empty = RawTable { span: root.span.clone(), entries: Vec::new() };
    let (mut section, mut scenario) = (empty.clone(), empty);
    let shared = SCENARIO.keys.iter().any(|k| k.name == entry.section.name);
    for e in &root.entries {
        match &e.2.value {
            Raw::Table(table) if e.0 == entry.section.name => {
                let own = |key: &str| !shared || entry.section.keys.iter().any(|k| k.name == key);
                let (mine, rest): (Vec<_>, Vec<_>) = table.entries.iter().cloned().partition(|e| own(&e.0));
                section = RawTable { span: table.span.clone(), entries: mine };
                if !rest.is_empty() {
                    let span = rest[0].1.clone();
                    let value = Raw::Table(RawTable { span: span.clone(), entries: rest });
                    scenario.entries.push((e.0.clone(), e.1.clone(), Node { span, value }));
                }
            }
            _ => scenario.entries.push(e.clone()),
        }
    }
    (section, scenario)
}

/// Reads a text; errors are reported.
fn text(
    name: &str,
    (span, key): (&Span, &str),
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<FileId> {
    // Relative to the file that names it.
    let folder = sources.files.get(span.file.0).and_then(|f| f.0.parent()).map(Path::to_path_buf);
    let path = folder.unwrap_or_default().join(name);
    match open(&path) {
        Ok(text) => Some(sources.add(path, text)),
        Err(error) => {
            let found = format!("cannot read `{name}`: {}", reason(&error));
            diagnostics.push(Diagnostic::new(span, key, found, "the path of a file"));
            None
        }
    }
}

fn path_node(path: String, span: &Span) -> Node {
    let node = Node { span: span.clone(), value: Raw::Text(path) };
    let entries = vec![(File::path.name.to_string(), span.clone(), node)];
    Node { span: span.clone(), value: Raw::Table(RawTable { span: span.clone(), entries }) }
}

keys! {
    /// A file that a study opens by itself.
    pub(super) struct File in FILE = "file": "A file that the study reads";
    need path: Text, "its path";
}
/// A whole file as one text.
fn as_node(file: FileId, sources: &Sources) -> Node {
    let text = sources.files.get(file.0).map_or(String::new(), |f| f.1.clone());
    Node { span: Span { file, range: 0..text.len() }, value: Raw::Text(text) }
}

/// Keys of the root table: the files, the section, limits.
pub fn root_keys(entry: &'static Entry) -> Vec<Key> {
    let of = |input: &Input| {
        let section = match input.what {
            What::Part => &PART,
            What::Package => &PACKAGE,
            What::Result => &FILE,
            What::Circuit => &SCENARIO,
            What::Points => &POINTS,
            What::File => return Some(Key::may(input.root, Form::Any, "the file's text")),
            What::Scenario => return None,
        };
        let form = match input.count {
            Count::One => Form::Table(section),
            Count::Many => Form::Tables(section),
        };
        Some(Key::may(input.root, form, "the file's values"))
    };
    let mut keys: Vec<Key> = entry.inputs.iter().filter_map(of).collect();
    if entry.takes_scenario() {
        keys.extend(SCENARIO.keys);
    }
    let mut section = entry.section;
    if let Some(k) = keys.iter().position(|k| k.name == section.name) {
        let Key { form: Form::Table(more), .. } = keys.remove(k) else { return keys };
        let both = [section.keys, more.keys].concat();
        // Few, and kept: one for each study whose table a scenario has too.
        section = Box::leak(Box::new(Section { keys: both.leak(), ..*section }));
    }
    keys.push(Key::may(section.name, Form::Table(section), section.help));
    if !entry.takes_scenario() {
        keys.push(Key::may(LIMIT.name, Form::Tables(&LIMIT), "limits of the answers"));
    }
    keys
}

keys! {
    /// A limit that a plan sets on an answer.
    pub struct Limit in LIMIT = "limit": "Bounds of an answer; yields and verdicts are about them";
    need name: Name, "unique name";
    need output: Text, "name of the answer, as its column in the table";
    may min: Measure, "least value";
    may max: Measure, "largest value";
}

/// The root table of a section as typed, without its files.
pub fn root(section: RawTable, name: &str) -> RawTable {
    let span = section.span.clone();
    let node = Node { span: span.clone(), value: Raw::Table(section) };
    RawTable { span: span.clone(), entries: vec![(name.to_string(), span, node)] }
}
