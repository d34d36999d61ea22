//! A question: parameters checked, files read.

use std::collections::BTreeMap;
use std::path::PathBuf;

use joulestep_models::devices::catalogue;
use joulestep_models::package::Package;
use joulestep_models::part::Part;

use super::inputs::{What, root_keys};
use super::{Entry, StudyError};
use crate::diagnostic::Diagnostic;
use crate::scenario::conform::Conform;
use crate::scenario::fields::{Content, Fields};
use crate::scenario::raw::RawTable;
use crate::scenario::shape::{Form, Kinds, Section};

/// What is asked of a study.
#[derive(Clone, Debug)]
pub struct Question {
    /// The study.
    pub entry: &'static Entry,
    /// Its parameters as given.
    pub fields: Fields,
    /// The command line, for files that keep it.
    pub command: String,
    /// Full text of the files.
    pub inputs: String,
    parts: BTreeMap<&'static str, Vec<Part>>,
    packages: BTreeMap<&'static str, Vec<(String, Package)>>,
    paths: BTreeMap<&'static str, Vec<PathBuf>>,
    limits: Vec<Fields>,
}

impl Question {
    /// Reads a root table: the study's section and the files that it names.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub fn read(entry: &'static Entry, root: &RawTable) -> Result<Self, Vec<Diagnostic>> {
        let keys = root_keys(entry);
        let mut conform =
            Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics: Vec::new() };
        let empty = Fields {
            place: root.place.clone(),
            path: String::new(),
            kind: String::new(),
            values: BTreeMap::new(),
        };
        let checked = conform.against(root, &keys, "the question", empty);
        let mut diagnostics = conform.diagnostics;
        let Some(fields) = checked.table(entry.section.name) else { return Err(diagnostics) };
        let mut question = Self {
            entry,
            fields: fields.clone(),
            command: String::new(),
            inputs: String::new(),
            parts: BTreeMap::new(),
            packages: BTreeMap::new(),
            paths: BTreeMap::new(),
            limits: checked.tables("limit").to_vec(),
        };
        for input in entry.inputs {
            let one = checked.table(input.root);
            let tables: Vec<&Fields> = one.into_iter().chain(checked.tables(input.root)).collect();
            let names = question.files(input.key);
            let name = |k: usize| names.get(k).cloned().unwrap_or_default();
            for (k, table) in tables.into_iter().enumerate() {
                match input.what {
                    What::Part => {
                        let stem =
                            PathBuf::from(name(k)).file_stem().map(|s| s.to_string_lossy().into_owned());
                        let part =
                            crate::parts::of_fields(table, &stem.unwrap_or_default(), &mut diagnostics);
                        question.parts.entry(input.key).or_default().extend(part);
                    }
                    What::Package => {
                        let package =
                            crate::package::of_fields(table, &mut diagnostics).map(|p| (name(k), p));
                        question.packages.entry(input.key).or_default().extend(package);
                    }
                    What::File => {
                        let path = table.text("path").map(PathBuf::from);
                        question.paths.entry(input.key).or_default().extend(path);
                    }
                }
            }
        }
        if diagnostics.is_empty() { Ok(question) } else { Err(diagnostics) }
    }

    /// The parts under a key.
    pub fn parts(&self, key: &str) -> &[Part] {
        self.parts.get(key).map_or(&[], Vec::as_slice)
    }

    /// The packages under a key, with the names by which they were asked for.
    pub fn packages(&self, key: &str) -> &[(String, Package)] {
        self.packages.get(key).map_or(&[], Vec::as_slice)
    }

    /// Paths of the files under a key.
    pub fn paths(&self, key: &str) -> &[PathBuf] {
        self.paths.get(key).map_or(&[], Vec::as_slice)
    }

    /// Limits that a plan sets.
    pub fn limits(&self) -> &[Fields] {
        &self.limits
    }

    /// Names under a key.
    pub fn files(&self, key: &str) -> Vec<String> {
        self.fields.texts(key).iter().map(|n| n.name.clone()).collect()
    }

    /// A number, in SI units (°C); the default where none is given, `None` where there is no default.
    pub fn maybe(&self, key: &str) -> Option<f64> {
        self.fields.number(key).or_else(|| self.default(key))
    }

    /// A number that has a default, or must be given; NaN would mean that it has neither.
    pub fn number(&self, key: &str) -> f64 {
        self.maybe(key).unwrap_or(f64::NAN)
    }

    /// The numbers of a list; the default alone where none is given.
    pub fn numbers(&self, key: &str) -> Vec<f64> {
        match self.fields.values.get(key).map(|f| &f.content) {
            Some(Content::Numbers(numbers)) => numbers.clone(),
            _ => self.default(key).into_iter().collect(),
        }
    }

    /// An integer that has a default.
    pub fn whole(&self, key: &str) -> usize {
        let given = self.maybe_whole(key);
        given.unwrap_or_else(|| self.default(key).map_or(0, |x| x as usize))
    }

    /// An integer as given.
    pub fn maybe_whole(&self, key: &str) -> Option<usize> {
        self.fields.whole(key).and_then(|n| usize::try_from(n).ok())
    }

    /// Whether a flag is set.
    pub fn flag(&self, key: &str) -> bool {
        self.fields.flag(key).unwrap_or(false)
    }

    /// A text as given.
    pub fn text(&self, key: &str) -> Option<&str> {
        self.fields.text(key)
    }

    /// One of a few words; the first where none is given.
    pub fn word(&self, key: &str) -> &str {
        let first = || match self.entry.section.keys.iter().find(|k| k.name == key).map(|k| k.form) {
            Some(Form::Word([first, ..])) => *first,
            _ => "",
        };
        self.text(key).unwrap_or_else(first)
    }

    /// An error at the place of a key.
    pub fn wrong(&self, key: &str, found: impl Into<String>, expected: impl Into<String>) -> StudyError {
        let place = self.fields.place_of(key);
        StudyError::Value(Box::new(Diagnostic::new(place, self.fields.key(key), found, expected)))
    }

    fn default(&self, key: &str) -> Option<f64> {
        self.entry.section.keys.iter().find(|k| k.name == key)?.default
    }
}

/// The root section of a study, as paths of a batch are followed through it.
pub fn section(entry: &'static Entry) -> &'static Section {
    let keys = root_keys(entry);
    // Few, and kept: one for each study that a plan varies.
    Box::leak(Box::new(Section { name: "", help: entry.section.help, kinds: Kinds::None, keys: keys.leak() }))
}
