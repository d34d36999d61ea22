//! A question: parameters checked, files read.

use std::any::Any;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use joulestep_models::devices::catalogue;
use joulestep_models::package::Package;
use joulestep_models::part::Part;

use super::inputs::{File, LIMIT, What, parted, root_keys};
use super::{Entry, StudyError};
use crate::diagnostic::{Diagnostic, Sources, Span};
use crate::input::keys::InputError;
use crate::input::keys::conform::Conform;
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::keys::shape::{Key, Kinds, Section};
use crate::input::parts::Loaded;
use crate::input::scenario::resolve::{Loaded as ScenarioFiles, resolve};
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
    texts: BTreeMap<&'static str, (String, Span)>,
    /// Whether files that the study writes may replace others.
    pub force: bool,
    scenario: Option<Arc<Scenario>>,
    /// The tables that a scenario was read from, and what it names.
    tables: Option<(Arc<RawTable>, Arc<ScenarioFiles>)>,
    /// What the computation as stated leaves for coarser ones.
    left: Arc<OnceLock<Arc<dyn Any + Send + Sync>>>,
}

impl Question {
    /// Reads a root table with a scenario: the study's section, and what the scenario's tables mean with its files.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub fn read_scenario(
        entry: &'static Entry,
        root: &RawTable,
        loaded: &Arc<ScenarioFiles>,
    ) -> Result<Self, Vec<Diagnostic>> {
        let (section, tables) = parted(entry, root);
        let mut conform =
            Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics: Vec::new() };
        let fields = conform.table(&section, entry.section, entry.section.name);
        let mut diagnostics = conform.diagnostics;
        match resolve(&tables, loaded) {
            Ok(scenario) if diagnostics.is_empty() => {
                let scenario = Some(Arc::new(scenario));
                let tables = Some((Arc::new(root.clone()), Arc::clone(loaded)));
                Ok(Self { scenario, tables, ..Self::of_fields(entry, fields) })
            }
            Ok(_) => Err(diagnostics),
            Err(InputError::Refused(refusal)) => {
                diagnostics.extend(refusal.diagnostics);
                Err(diagnostics)
            }
            // Nothing is opened here.
            Err(InputError::Unreadable(error)) => {
                Err(vec![Diagnostic::new(&root.span, "", error.to_string(), "")])
            }
        }
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
            texts: BTreeMap::new(),
            force: false,
            scenario: None,
            tables: None,
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

    /// The tables that the scenario was read from, under one root with the study's own, and what it names.
    pub fn tables(&self) -> Option<(Arc<RawTable>, Arc<ScenarioFiles>)> {
        self.tables.clone()
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

    /// Reads a root table: the study's section and the files that it names.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub fn read(entry: &'static Entry, root: &RawTable) -> Result<Self, Vec<Diagnostic>> {
        let keys = root_keys(entry);
        let mut conform =
            Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics: Vec::new() };
        let empty = Fields::empty(&root.span, String::new(), String::new());
        let checked = conform.against(root, &keys, "the question", empty);
        let mut diagnostics = conform.diagnostics;
        let [fields] = checked.under(entry.section.name) else { return Err(diagnostics) };
        let mut question = Self::of_fields(entry, fields.clone());
        question.limits = checked.under(LIMIT.name).to_vec();
        for input in entry.inputs {
            if let (What::File, Some(Node { span, value: Raw::Text(text) })) =
                (input.what, root.get(input.root))
            {
                question.texts.insert(input.key.name, (text.clone(), span.clone()));
            }
            let names = question.files(input.key);
            let name = |k: usize| names.get(k).cloned().unwrap_or_default();
            let stem = |name: String| {
                PathBuf::from(name).file_stem().map_or(String::new(), |s| s.to_string_lossy().into_owned())
            };
            for (k, table) in checked.under(input.root).iter().enumerate() {
                match input.what {
                    What::Part => {
                        let part = crate::input::parts::of_fields(table, &stem(name(k)), &mut diagnostics);
                        question.parts.entry(input.key.name).or_default().extend(part);
                    }
                    What::Package => {
                        let package =
                            crate::input::package::of_fields(table, &mut diagnostics).map(|p| (name(k), p));
                        question.packages.entry(input.key.name).or_default().extend(package);
                    }
                    What::Path | What::Result => {
                        let path = File::read(table).map(|file| PathBuf::from(file.path.name));
                        question.paths.entry(input.key.name).or_default().extend(path);
                    }
                    What::Points => {
                        let points = crate::input::parts::points_of(table, &stem(name(k)), &mut diagnostics);
                        question.points.extend(points.map(|p| (input.key.name, p)));
                    }
                    What::Scenario | What::File => {}
                }
            }
        }
        if diagnostics.is_empty() { Ok(question) } else { Err(diagnostics) }
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
