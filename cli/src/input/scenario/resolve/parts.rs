//! The parts that a scenario names.

use std::collections::BTreeMap;

use joulestep_models::arrangement;
use joulestep_models::model::Values;
use joulestep_models::part::Part;

use crate::diagnostic::{Diagnostic, FileId, Sources};
use crate::input::keys::include::Open;
use crate::input::keys::raw::{Node, Raw, RawTable};
use crate::input::parts::read_named;

/// The parts that a scenario asks for, by the file that asks and the name it uses.
#[derive(Debug, Default)]
pub(super) struct Parts {
    parts: BTreeMap<(FileId, String), Part>,
}

impl Parts {
    /// Reads every part that a component names.
    pub(super) fn load(
        root: &RawTable,
        sources: &mut Sources,
        open: Open<'_>,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Self {
        let mut parts = Self::default();
        let mut named: Vec<(&Node, String)> = Vec::new();
        if let Some(Raw::Table(table)) = root.get("arrangement").map(|n| &n.value) {
            let places = match table.get("kind").map(|n| &n.value) {
                Some(Raw::Text(kind)) => arrangement::find(kind).map_or(&[][..], |a| a.places),
                _ => &[],
            };
            let keys = places.iter().chain(&["part"]);
            named.extend(keys.filter_map(|key| Some((table.get(key)?, format!("arrangement.{key}")))));
        }
        if let Some(Raw::List(components)) = root.get("component").map(|n| &n.value) {
            for component in components {
                let Raw::Table(table) = &component.value else { continue };
                named.extend(table.get("part").map(|node| (node, "component.part".to_string())));
            }
        }
        for (node, path) in named {
            let Raw::Text(name) = &node.value else { continue };
            let key = (node.span.file, name.clone());
            if parts.parts.contains_key(&key) {
                continue;
            }
            if let Some(part) = read_named(name, (&node.span, &path), sources, open, diagnostics) {
                parts.parts.insert(key, part);
            }
        }
        parts
    }

    /// Kind of a part.
    pub(super) fn kind(&self, file: FileId, name: &str) -> Option<String> {
        self.parts.get(&(file, name.to_string())).map(|p| p.kind.to_string())
    }

    /// A part.
    pub(super) fn part(&self, file: FileId, name: &str) -> Option<&Part> {
        self.parts.get(&(file, name.to_string()))
    }

    /// What a part gives, and the defaults of what it leaves out.
    pub(super) fn values(&self, file: FileId, name: &str) -> Option<&Values> {
        self.parts.get(&(file, name.to_string())).map(|p| &p.values)
    }
}
