//! A question: parameters checked, files read.

use std::any::Any;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use joulestep_models::devices::catalogue;
use joulestep_models::package::Package;
use joulestep_models::part::Part;

use super::inputs::{File, Input, LIMIT, What, parted, root_keys};
use super::{Entry, StudyError};
use crate::diagnostic::{Diagnostic, Sources, Span};
use crate::input::keys::InputError;
use crate::input::keys::conform::Conform;
use crate::input::keys::fields::{Content, Field, Fields, Named};
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::keys::shape::{Key, Kinds, Section};
use crate::input::parts::Loaded;
use crate::input::scenario::resolve::{Loaded as ScenarioFiles, check, meant};
use crate::input::scenario::resolved::Scenario;
use crate::output::written::is_new;

/// What is asked of a study.
#[derive(Clone, Debug)]
pub struct Question {
    /// The study.
    pub entry: &'static Entry,
    /// Its parameters as given.
    pub fields: Fields,
    /// The command line, for files that keep it.
    pub command: String,
    /// The files that went in.
    pub inputs: Sources,
    parts: BTreeMap<&'static str, Vec<Part>>,
    packages: BTreeMap<&'static str, Vec<(String, Package)>>,
    paths: BTreeMap<&'static str, Vec<PathBuf>>,
    limits: Vec<Fields>,
    points: BTreeMap<&'static str, Loaded>,
    texts: Arc<BTreeMap<&'static str, (String, Span)>>,
    /// Whether files that the study writes may replace others.
    pub force: bool,
    scenario: Option<Arc<Scenario>>,
    /// The tables that it was read from.
    checked: Option<Arc<Checked>>,
    /// What the computation as stated leaves for coarser ones.
    left: Arc<OnceLock<Arc<dyn Any + Send + Sync>>>,
}

/// What is asked, held against the tables of keys: variants of a question set their values in it.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The root table: the study's section, the files that it names, the tables of its scenario.
    pub fields: Fields,
    /// Texts that the study reads by itself, and where they stand.
    texts: Arc<BTreeMap<&'static str, (String, Span)>>,
    files: Option<Arc<ScenarioFiles>>,
    /// What is wrong with the section and its files, and with the scenario.
    wrong: [Vec<Diagnostic>; 2],
}

impl Checked {
    /// Of a root table, with what its scenario names.
    pub fn new(entry: &'static Entry, root: &RawTable, files: Option<Arc<ScenarioFiles>>) -> Self {
        let mut conform =
            Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics: Vec::new() };
        let (fields, of_scenario) = match &files {
            Some(loaded) if entry.circuit().is_some() => {
                let circuit = entry.circuit().unwrap_or_default();
                let (inner, own) = root.entries.iter().cloned().partition(|e| e.0 == circuit);
                let own = RawTable { span: root.span.clone(), entries: own };
                let empty = Fields::empty(&root.span, String::new(), String::new());
                let mut fields = conform.against(&own, &root_keys(entry), "the question", empty);
                let mut of_scenario = Vec::new();
                let inner: Vec<(String, Span, Node)> = inner;
                for (_, span, node) in inner {
                    let Raw::Table(tables) = node.value else { continue };
                    let (tables, wrong) = check(&tables, loaded);
                    let field = Field { span, content: Content::Table(tables) };
                    fields.values.insert(circuit, field);
                    of_scenario = wrong;
                }
                (fields, of_scenario)
            }
            Some(loaded) => {
                let (section, tables) = parted(entry, root);
                let own = conform.table(&section, entry.section, entry.section.name);
                let (mut fields, wrong) = check(&tables, loaded);
                // A table of the study's name is part of the scenario but for the study's own keys.
                match fields.values.get_mut(entry.section.name).map(|f| &mut f.content) {
                    Some(Content::Table(shared)) => shared.values.extend(own.values),
                    _ => {
                        let field = Field { span: own.span.clone(), content: Content::Table(own) };
                        fields.values.insert(entry.section.name, field);
                    }
                }
                (fields, wrong)
            }
            None => {
                let empty = Fields::empty(&root.span, String::new(), String::new());
                (conform.against(root, &root_keys(entry), "the question", empty), Vec::new())
            }
        };
        let text = |input: &Input| match (input.what, root.get(input.root)) {
            (What::File, Some(Node { span, value: Raw::Text(text) })) => {
                Some((input.key.name, (text.clone(), span.clone())))
            }
            _ => None,
        };
        let texts = Arc::new(entry.inputs.iter().filter_map(text).collect());
        Self { fields, texts, files, wrong: [conform.diagnostics, of_scenario] }
    }
}

impl Question {
    /// The question that checked tables ask.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub fn of(entry: &'static Entry, checked: &Checked) -> Result<Self, Vec<Diagnostic>> {
        let [mut diagnostics, of_scenario] = checked.wrong.clone();
        let [fields] = checked.fields.under(entry.section.name) else { return Err(diagnostics) };
        let mut question = Self::of_fields(entry, fields.clone());
        question.checked = Some(Arc::new(checked.clone()));
        let circuit = entry.circuit().and_then(|root| checked.fields.under(root).first());
        let tables = circuit.unwrap_or(&checked.fields);
        match checked.files.as_ref().map(|loaded| meant(tables, of_scenario, loaded)) {
            Some(Ok(scenario)) => question.scenario = Some(Arc::new(scenario)),
            Some(Err(InputError::Refused(refusal))) => diagnostics.extend(refusal.diagnostics),
            // Nothing is opened here.
            Some(Err(InputError::Unreadable(error))) => {
                diagnostics.push(Diagnostic::new(&fields.span, "", error.to_string(), ""));
            }
            None => {}
        }
        if !entry.takes_scenario() {
            question.files_of(checked, &mut diagnostics);
        }
        if diagnostics.is_empty() { Ok(question) } else { Err(diagnostics) }
    }

    fn of_fields(entry: &'static Entry, fields: Fields) -> Self {
        Self {
            entry,
            fields,
            command: String::new(),
            inputs: Sources::default(),
            parts: BTreeMap::new(),
            packages: BTreeMap::new(),
            paths: BTreeMap::new(),
            limits: Vec::new(),
            points: BTreeMap::new(),
            texts: Arc::default(),
            force: false,
            scenario: None,
            checked: None,
            left: Arc::default(),
        }
    }

    /// The scenario.
    ///
    /// # Errors
    /// Of a study that takes none.
    pub fn scenario(&self) -> Result<&Scenario, StudyError> {
        let none = || StudyError::Refused(format!("{} takes no scenario", self.entry.name));
        self.scenario.as_deref().ok_or_else(none)
    }

    /// The tables that it was read from; other values can be set in a copy.
    pub fn checked(&self) -> Option<Arc<Checked>> {
        self.checked.clone()
    }

    /// What it is called where nothing has a title: the name of its first file.
    pub fn name(&self) -> String {
        let first = self.inputs.files.first().and_then(|f| f.0.file_stem());
        first.map_or_else(|| self.entry.name.into(), |stem| stem.to_string_lossy().into_owned())
    }

    /// The scenario, where there is one.
    pub fn shared_scenario(&self) -> Option<Arc<Scenario>> {
        self.scenario.clone()
    }

    /// Leaves something for coarser computations of this question to begin from; the first counts.
    pub fn leave<T: Any + Send + Sync>(&self, what: T) {
        let _ = self.left.set(Arc::new(what));
    }

    /// What was left.
    pub fn left<T: Any + Send + Sync>(&self) -> Option<Arc<T>> {
        Arc::clone(self.left.get()?).downcast().ok()
    }

    /// What the files of the section hold.
    fn files_of(&mut self, checked: &Checked, diagnostics: &mut Vec<Diagnostic>) {
        self.limits = checked.fields.under(LIMIT.name).to_vec();
        self.texts = Arc::clone(&checked.texts);
        for input in self.entry.inputs {
            let names = self.files(input.key);
            let name = |k: usize| names.get(k).cloned().unwrap_or_default();
            let stem = |name: String| {
                PathBuf::from(name).file_stem().map_or(String::new(), |s| s.to_string_lossy().into_owned())
            };
            for (k, table) in checked.fields.under(input.root).iter().enumerate() {
                match input.what {
                    What::Part => {
                        let part = crate::input::parts::of_fields(table, &stem(name(k)), diagnostics);
                        self.parts.entry(input.key.name).or_default().extend(part);
                    }
                    What::Package => {
                        let package =
                            crate::input::package::of_fields(table, diagnostics).map(|p| (name(k), p));
                        self.packages.entry(input.key.name).or_default().extend(package);
                    }
                    What::Result => {
                        let path = File::read(table).map(|file| PathBuf::from(file.path.name));
                        self.paths.entry(input.key.name).or_default().extend(path);
                    }
                    What::Points => {
                        let points = crate::input::parts::points_of(table, &stem(name(k)), diagnostics);
                        self.points.extend(points.map(|p| (input.key.name, p)));
                    }
                    What::Scenario | What::Circuit | What::File => {}
                }
            }
        }
    }

    /// The parts under a key.
    pub(crate) fn parts(&self, key: Key) -> &[Part] {
        self.parts.get(key.name).map_or(&[], Vec::as_slice)
    }

    /// Number of its parts.
    pub(crate) fn all_parts(&self) -> usize {
        self.parts.values().map(Vec::len).sum()
    }

    /// The packages under a key, with the names by which they were asked for.
    pub(crate) fn packages(&self, key: Key) -> &[(String, Package)] {
        self.packages.get(key.name).map_or(&[], Vec::as_slice)
    }

    /// Paths of the files under a key.
    pub(crate) fn paths(&self, key: Key) -> &[PathBuf] {
        self.paths.get(key.name).map_or(&[], Vec::as_slice)
    }

    /// Limits that a plan sets.
    pub fn limits(&self) -> &[Fields] {
        &self.limits
    }

    /// The points under a key: a part without what they determine, where its curves stand, and values to start from.
    pub(crate) fn points(&self, key: Key) -> Option<&Loaded> {
        self.points.get(key.name)
    }

    /// The text of the file under a key, and where it stands.
    pub(crate) fn file(&self, key: Key) -> Option<(&str, &Span)> {
        self.texts.get(key.name).map(|(text, span)| (text.as_str(), span))
    }

    /// An error at a span in a file.
    pub fn wrong_at(
        &self,
        span: &Span,
        path: &str,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> StudyError {
        StudyError::Value(Box::new(Diagnostic::new(span, path, found, expected)))
    }

    /// Refuses a file that the study is to write where it exists and is not to be replaced, or was read.
    ///
    /// # Errors
    /// [`StudyError::Output`].
    pub fn writes(&self, path: &Path) -> Result<(), StudyError> {
        is_new(Some(path), self.force).map_err(|why| StudyError::Output(why.0))?;
        let same = |name: String| Some(path.canonicalize().ok()? == PathBuf::from(name).canonicalize().ok()?);
        let names = self.entry.inputs.iter().flat_map(|i| self.files(i.key));
        match names.into_iter().any(|name| same(name) == Some(true)) {
            true => Err(StudyError::Output(format!(
                "`{}` is read by this command; expected a new file",
                path.display()
            ))),
            false => Ok(()),
        }
    }

    /// Names under a key.
    pub fn files(&self, key: Key) -> Vec<String> {
        let names: Option<Vec<Named>> = self.fields.get(key);
        names.unwrap_or_default().into_iter().map(|n| n.name).collect()
    }

    /// What is asked, by the study's table of keys.
    ///
    /// # Errors
    /// Where something that it needs is missing.
    pub(crate) fn asked<T>(&self, read: fn(&Fields) -> Option<T>) -> Result<T, StudyError> {
        let lacks =
            || StudyError::Refused(format!("{}: something that is needed is missing", self.entry.name));
        read(&self.fields).ok_or_else(lacks)
    }

    /// An error at the span of a key.
    pub(crate) fn wrong(
        &self,
        key: Key,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> StudyError {
        StudyError::Value(Box::new(self.fields.wrong(key, found, expected)))
    }
}

/// The root section of a study, as paths of a batch are followed through it.
pub fn section(entry: &'static Entry) -> &'static Section {
    static MADE: Mutex<BTreeMap<&str, &Section>> = Mutex::new(BTreeMap::new());
    let mut made = MADE.lock().unwrap_or_else(PoisonError::into_inner);
    made.entry(entry.name).or_insert_with(|| {
        let keys = root_keys(entry);
        // Few, and kept: one for each study.
        Box::leak(Box::new(Section {
            name: "",
            help: entry.section.help,
            kinds: Kinds::None,
            keys: keys.leak(),
        }))
    })
}
