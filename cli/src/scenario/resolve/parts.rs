//! The parts that a scenario names.

use std::collections::BTreeMap;

use joulestep_models::model::Values;
use joulestep_models::part::Part;

use crate::diagnostic::{Diagnostic, FileId, Sources};
use crate::parts::read_named;
use crate::scenario::include::Open;
use crate::scenario::raw::{Raw, Table};

/// The parts that a scenario asks for, by the file that asks and the name it uses.
#[derive(Debug, Default)]
pub(super) struct Parts {
    parts: BTreeMap<(FileId, String), Part>,
}

impl Parts {
    /// Reads every part that a component names.
    pub(super) fn load(
        root: &Table,
        sources: &mut Sources,
        open: Open<'_>,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Self {
        let mut parts = Self::default();
        let Some(Raw::List(components)) = root.get("component").map(|n| &n.value) else { return parts };
        for component in components {
            let Raw::Table(table) = &component.value else { continue };
            let Some(node) = table.get("part") else { continue };
            let Raw::Text(name) = &node.value else { continue };
            let key = (node.place.file, name.clone());
            if parts.parts.contains_key(&key) {
                continue;
            }
            if let Some(part) = read_named(name, &node.place, sources, open, diagnostics) {
                parts.parts.insert(key, part);
            }
        }
        parts
    }

    /// Kind of a part.
    pub(super) fn kind(&self, file: FileId, name: &str) -> Option<String> {
        self.parts.get(&(file, name.to_string())).map(|p| p.kind.to_string())
    }

    /// What a part gives, and the defaults of what it leaves out.
    pub(super) fn values(&self, file: FileId, name: &str) -> Option<&Values<f64>> {
        self.parts.get(&(file, name.to_string())).map(|p| &p.values)
    }
}
