//! The parts that a scenario names.

use std::collections::BTreeMap;

use joulestep_models::arrangement;
use joulestep_models::part::Part;

use crate::diagnostic::{Diagnostic, FileId, Sources, Span};
use crate::input::keys::include::Open;
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::keys::shape::Key;
use crate::input::parts::read_named;
use crate::input::scenario::sections::{Arrangement, Component, Root};

/// What a scenario names in files of their own, each read once: by the file that names it and the name it uses.
#[derive(Debug)]
pub(super) struct NamedFiles<T>(BTreeMap<(FileId, String), T>);

impl<T> NamedFiles<T> {
    /// Reads what stands at these nodes, each with how diagnostics call its key.
    pub(super) fn load(
        nodes: Vec<(&Node, String)>,
        mut read: impl FnMut(&str, (&Span, &str)) -> Option<T>,
    ) -> Self {
        let mut files = BTreeMap::new();
        for (node, path) in nodes {
            let Raw::Text(name) = &node.value else { continue };
            let key = (node.span.file, name.clone());
            if !files.contains_key(&key) {
                files.extend(read(name, (&node.span, &path)).map(|file| (key, file)));
            }
        }
        Self(files)
    }

    /// What a name of a file leads to.
    pub(super) fn of(&self, file: FileId, name: &str) -> Option<&T> {
        self.0.get(&(file, name.to_string()))
    }
}

/// The tables of a list in the root, or in a table of the root: `component`, `thermal.package`.
pub(super) fn tables<'a>(root: &'a RawTable, path: &[Key]) -> Vec<&'a RawTable> {
    let Some((first, rest)) = path.split_first() else { return Vec::new() };
    match (root.get(first.name).map(|n| &n.value), rest) {
        (Some(Raw::Table(inner)), [_, ..]) => tables(inner, rest),
        (Some(Raw::List(items)), []) => {
            let table = |n: &'a Node| if let Raw::Table(table) = &n.value { Some(table) } else { None };
            items.iter().filter_map(table).collect()
        }
        _ => Vec::new(),
    }
}

/// The parts that a scenario asks for.
pub(super) type Parts = NamedFiles<Part>;

impl Parts {
    /// Reads every part that a component or an arrangement names.
    pub(super) fn of_root(
        root: &RawTable,
        sources: &mut Sources,
        open: Open<'_>,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Self {
        let mut named: Vec<(&Node, String)> = Vec::new();
        if let Some(Raw::Table(table)) = root.get(Root::arrangement.name).map(|n| &n.value) {
            let places = match table.get(Arrangement::kind.name).map(|n| &n.value) {
                Some(Raw::Text(kind)) => arrangement::find(kind).map_or(&[][..], |a| a.places),
                _ => &[],
            };
            let keys = places.iter().chain(&[Arrangement::part.name]);
            named.extend(keys.filter_map(|key| Some((table.get(key)?, format!("arrangement.{key}")))));
        }
        let of_components = tables(root, &[Root::component]);
        let of_components = of_components.into_iter().filter_map(|table| table.get(Component::part.name));
        named.extend(of_components.map(|node| (node, "component.part".to_string())));
        Self::load(named, |name, at| read_named(name, at, sources, open, diagnostics))
    }

    /// Kind of a part.
    pub(super) fn kind(&self, file: FileId, name: &str) -> Option<String> {
        self.of(file, name).map(|p| p.kind.to_string())
    }
}
