//! From checked tables to the scenario as resolved: names are distinguished, defaults filled in, and what one table
//! says is held against the others. Every error of the scenario is collected before it is refused.

mod arrangement;
mod components;
mod control;
mod cycle;
mod limit;
mod lines;
mod mission;
mod own_heat;
mod parts;
mod thermal;
mod timing;

pub(crate) use lines::set_lines;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use joulestep_models::devices::catalogue;

use self::own_heat::Owners;
use crate::diagnostic::{Diagnostic, Refusal, Sources, Span, nearest, worded};
use crate::input::keys::InputError;
use crate::input::keys::conform::{Conform, one_of};
use crate::input::keys::fields::{Fields, Named};
use crate::input::keys::include::{self, Open};
use crate::input::keys::merge::merge;
use crate::input::keys::raw::RawTable;
use crate::input::keys::shape::{GROUND, Key, zero_as_ground};
use crate::input::scenario::resolved::{Drive, Record, Scenario};
use crate::input::scenario::sections::{Repeat, Root, SCENARIO};

/// A scenario as typed: its files, and their tables as one.
#[derive(Clone, Debug)]
pub struct AsTyped {
    /// The files.
    pub sources: Sources,
    /// The root table.
    pub root: RawTable,
    /// What was wrong so far.
    diagnostics: Vec<Diagnostic>,
}

/// Opens a scenario with all it includes.
///
/// # Errors
/// [`InputError`]: no file, or no TOML.
pub fn as_typed(path: &Path, open: Open<'_>) -> Result<AsTyped, InputError> {
    as_typed_beside(Sources::default(), path, open)
}

/// The same beside files that were read before.
///
/// # Errors
/// As [`as_typed`].
pub fn as_typed_beside(sources: Sources, path: &Path, open: Open<'_>) -> Result<AsTyped, InputError> {
    let mut files = include::load_beside(sources, path, open).map_err(InputError::Unreadable)?;
    // A key lost to a syntax error would be missed a second time, so nothing more is checked.
    if files.diagnostics.iter().any(|d| d.key.is_empty()) {
        return Err(refuse(files.sources, files.diagnostics));
    }
    let mut diagnostics = std::mem::take(&mut files.diagnostics);
    match merge(&files.sources, files.tables, &mut diagnostics) {
        Some(root) => Ok(AsTyped { sources: files.sources, root, diagnostics }),
        None => Err(refuse(files.sources, diagnostics)),
    }
}

/// Reads a scenario with all it includes.
///
/// # Errors
/// [`InputError`]; all errors that can be reported at once.
pub fn read(path: &Path, open: Open<'_>) -> Result<Scenario, InputError> {
    understand(as_typed(path, open)?, open)
}

/// What the tables mean; opens the parts and packages that they name.
///
/// # Errors
/// [`InputError`]; all errors that can be reported at once.
pub fn understand(typed: AsTyped, open: Open<'_>) -> Result<Scenario, InputError> {
    let loaded = typed.load(open);
    let (fields, diagnostics) = check(&typed.root, &loaded);
    meant(&fields, diagnostics, &loaded)
}

/// Files with the parts, packages and segments that a scenario names: the same for all scenarios that differ in
/// numbers.
#[derive(Debug)]
pub struct Loaded {
    sources: Sources,
    parts: parts::Parts,
    packages: thermal::Packages,
    segments: mission::SegmentFiles,
    diagnostics: Vec<Diagnostic>,
}

impl Loaded {
    /// All files.
    pub fn sources(&self) -> &Sources {
        &self.sources
    }
}

impl AsTyped {
    /// Opens the parts and packages that are named.
    pub fn load(&self, open: Open<'_>) -> Loaded {
        let (root, mut sources, mut diagnostics) =
            (&self.root, self.sources.clone(), self.diagnostics.clone());
        let parts = parts::Parts::of_root(root, &mut sources, open, &mut diagnostics);
        let packages = thermal::Packages::of_root(root, &mut sources, open, &mut diagnostics);
        let segments = mission::SegmentFiles::load(root, &mut sources, open, &mut diagnostics);
        Loaded { sources, parts, packages, segments, diagnostics }
    }
}

/// Holds the tables against their keys: what is right of them, and all that is wrong so far.
pub fn check(root: &RawTable, loaded: &Loaded) -> (Fields, Vec<Diagnostic>) {
    let Loaded { parts, diagnostics, .. } = loaded;
    let diagnostics = diagnostics.clone();
    let kind_of_part = |span: &Span, name: &str| parts.kind(span.file, name);
    let mut conform = Conform { catalogue: catalogue(), kind_of_part: &kind_of_part, diagnostics };
    let fields = conform.table(root, &SCENARIO, "");
    let mut diagnostics = conform.diagnostics;
    if [Root::component, Root::arrangement].iter().all(|key| root.get(key.name).is_none()) {
        let expected = "tables [[component]] (what is connected), or an [arrangement]";
        diagnostics.push(Diagnostic::new(&root.span, "component", "missing", expected));
    }
    (fields, diagnostics)
}

/// What checked tables mean, of which something may be wrong already.
///
/// # Errors
/// [`InputError`]; all errors that can be reported at once.
pub fn meant(fields: &Fields, diagnostics: Vec<Diagnostic>, loaded: &Loaded) -> Result<Scenario, InputError> {
    let Loaded { sources, parts, packages, segments, .. } = loaded;
    let mut resolve = Resolve { sources, diagnostics };
    let resolved = resolve.scenario(fields, parts, packages, segments);
    let diagnostics = resolve.diagnostics;
    match resolved {
        Some(mut scenario) if diagnostics.is_empty() => {
            scenario.sources = sources.clone();
            Ok(scenario)
        }
        _ => Err(refuse(sources.clone(), diagnostics)),
    }
}

/// In the order of the files, so that they are met from top to bottom.
fn refuse(sources: Sources, diagnostics: Vec<Diagnostic>) -> InputError {
    let mut refusal = Refusal::sorted(sources, diagnostics);
    refusal.diagnostics.dedup();
    InputError::Refused(refusal)
}

struct Resolve<'a> {
    sources: &'a Sources,
    diagnostics: Vec<Diagnostic>,
}

impl Resolve<'_> {
    fn report(
        &mut self,
        span: &Span,
        key: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        self.diagnostics.push(Diagnostic::new(span, key, found, expected));
    }

    /// An error at the value of a key.
    fn wrong(&mut self, f: &Fields, key: Key, found: impl Into<String>, expected: impl Into<String>) {
        self.diagnostics.push(f.wrong(key, found, expected));
    }

    /// A name that should be one of `known`.
    fn unknown<'n>(
        &mut self,
        named: &Named,
        key: String,
        what: &str,
        known: impl IntoIterator<Item = &'n str> + Clone,
    ) {
        let found = format!("there is no {what} `{}`", named.name);
        if !worded(&self.diagnostics) {
            return self.report(&named.span, key, found, "");
        }
        let expected = one_of(&known.clone().into_iter().collect::<Vec<_>>());
        let d = Diagnostic::new(&named.span, key, found, expected);
        self.diagnostics.push(d.suggest(nearest(&named.name, known)));
    }

    /// Tells names that are used twice.
    fn unique<'n>(&mut self, what: &str, names: impl IntoIterator<Item = &'n Named>) {
        let mut seen: BTreeMap<&str, &Span> = BTreeMap::new();
        for named in names {
            if let Some(first) = seen.get(named.name.as_str()) {
                let first = worded(&self.diagnostics).then(|| self.sources.show(first));
                let first = first.map_or(String::new(), |first| format!(", here and at {first}"));
                let found = format!("two {what} are named `{}`{first}", named.name);
                self.report(&named.span, "name", found, "a name used once");
            } else {
                seen.insert(&named.name, &named.span);
            }
        }
    }

    fn scenario(
        &mut self,
        fields: &Fields,
        parts: &parts::Parts,
        packages: &thermal::Packages,
        files: &mission::SegmentFiles,
    ) -> Option<Scenario> {
        let root = Root::read(fields)?;
        let arrangement = root.arrangement.as_ref().and_then(|f| self.arrangement(f, parts));
        let mut components: Vec<_> = root.component.iter().map(|f| self.component(f, parts)).collect();
        let drives: Vec<_> = root.drive.iter().filter_map(|f| self.drive(f)).collect();
        let protections: Vec<_> = root.protection.iter().filter_map(|f| self.protection(f)).collect();
        let controllers: Vec<_> = root.controller.iter().filter_map(|f| self.controller(f)).collect();
        let events: Vec<_> = root.event.iter().filter_map(|f| self.event(f)).collect();
        let owners = Owners::new(&root.component, parts, arrangement.as_ref());
        let thermal = root.thermal.as_ref();
        let thermal = thermal.and_then(|f| self.thermal(f, packages, &owners, &mut components));
        let thermal = thermal.unwrap_or_default();
        let steps = root.steps.as_ref().and_then(|f| self.steps(f));
        let end = steps.as_ref().map_or(f64::INFINITY, |s| s.end);
        let limits = root.limit.iter().filter_map(|f| self.limit(f, end)).collect();
        let waivers: Vec<_> = root.waiver.iter().filter_map(|f| self.waiver(f)).collect();
        // Its name is that of a study, whose own keys may stand alone in it.
        let stated = |f: &&Fields| Repeat::KEYS.iter().any(|key| f.has(key));
        let cycle = root.cycle.as_ref().filter(stated);
        let repeats = cycle.is_some();
        let cycle = cycle.and_then(|f| self.cycle(f, arrangement.as_ref(), &components, &controllers));
        let mission = root.mission.as_ref();
        let mission = mission.and_then(|f| {
            let movable =
                mission::Movable { arrangement: arrangement.as_ref(), components: &components, repeats };
            self.mission(f, movable, &thermal, files)
        });
        let record = root.record.as_ref().and_then(Record::read).unwrap_or_default();

        self.unique("components", components.iter().flatten().map(|c| &c.name));
        let named = drives.iter().map(|d| &d.name).chain(protections.iter().map(|g| &g.name));
        self.unique("waivers", waivers.iter().map(|w| &w.rating));
        self.unique("drives, protections or controllers", named.chain(controllers.iter().map(|c| &c.name)));
        if fields.has(Root::component) && root.component.is_empty() {
            self.wrong(fields, Root::component, "nothing is connected", "at least one [[component]]");
        }
        let complete = components.iter().all(Option::is_some);
        let scenario = Scenario {
            sources: Sources::default(),
            arrangement,
            title: root.title.map_or(String::new(), |title| title.name),
            components: components.into_iter().flatten().collect(),
            drives,
            protections,
            controllers,
            events,
            thermal,
            record,
            limits,
            waivers,
            cycle,
            mission,
            steps: steps?,
        };
        self.lines(&scenario);
        self.heat_inputs(&scenario);
        // Nodes of components that were refused would be missed here.
        if complete && scenario.arrangement.is_none() {
            self.gate_nodes(&scenario);
        }
        Some(scenario)
    }

    fn heat_inputs(&mut self, scenario: &Scenario) {
        let inputs: Vec<&str> = scenario.thermal.input_names();
        let known: BTreeSet<&str> = inputs.iter().copied().collect();
        for component in &scenario.components {
            for (_, input) in &component.heat {
                if !known.contains(input.name.as_str()) {
                    let key = format!("component.{}.heat", component.name.name);
                    self.unknown(input, key, "heat input", inputs.iter().copied());
                }
            }
        }
    }

    /// A gate drive connects to nodes that components have.
    fn gate_nodes(&mut self, scenario: &Scenario) {
        let nodes: BTreeSet<&str> =
            scenario.components.iter().flat_map(|c| &c.nodes).map(|n| n.name.as_str()).collect();
        for drive in &scenario.drives {
            let first = [(Drive::gate, &drive.gate), (Drive::r#return, &drive.r#return)];
            let second = [
                (Drive::complement_gate, &drive.complement_gate),
                (Drive::complement_return, &drive.complement_return),
            ];
            let second = second.into_iter().filter_map(|(key, node)| Some((key, node.as_ref()?)));
            for (key, node) in first.into_iter().chain(second) {
                let key = format!("drive.{}.{}", drive.name.name, key.name);
                if let Some(found) = zero_as_ground(&node.name) {
                    self.report(&node.span, key, found, format!("`{GROUND}`"));
                } else if !nodes.contains(node.name.as_str()) && node.name != GROUND {
                    self.unknown(node, key, "node", nodes.iter().copied());
                }
            }
        }
    }
}
