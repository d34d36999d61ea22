//! Part files: the parameters of a part, by name (shipped) or by relative path.

use std::collections::BTreeMap;
use std::path::Path;

use joulestep_models::devices::catalogue;
use joulestep_models::model::Value;

use super::components::given;
use crate::diagnostic::{Diagnostic, FileId, Place, Sources, nearest};
use crate::scenario::conform::{Conform, one_of};
use crate::scenario::fields::Fields;
use crate::scenario::include::{Open, reason};
use crate::scenario::raw::{self, Raw, Table};
use crate::scenario::sections::PART;
use crate::scenario::shape::Key;

/// A part's kind and what it gives.
#[derive(Debug)]
struct Part {
    kind: String,
    values: Vec<(&'static str, Value<f64>)>,
}

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
            if let Some(part) = read(name, &node.place, sources, open, diagnostics) {
                parts.parts.insert(key, part);
            }
        }
        parts
    }

    /// Kind of a part.
    pub(super) fn kind(&self, file: FileId, name: &str) -> Option<String> {
        self.parts.get(&(file, name.to_string())).map(|p| p.kind.clone())
    }

    /// What a part gives.
    pub(super) fn values(&self, file: FileId, name: &str) -> &[(&'static str, Value<f64>)] {
        self.parts.get(&(file, name.to_string())).map_or(&[], |p| &p.values)
    }
}

fn read(
    name: &str,
    place: &Place,
    sources: &mut Sources,
    open: Open<'_>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<Part> {
    let (path, text) = if name.ends_with(".toml") {
        let here = sources.files.get(place.file.0).map(|f| f.0.clone()).unwrap_or_default();
        let path = here.parent().unwrap_or(Path::new("")).join(name);
        match open(&path) {
            Ok(text) => (path, text),
            Err(error) => {
                let found = format!("cannot read `{}`: {}", path.display(), reason(&error));
                let expected = "the path of a part file, relative to this file";
                diagnostics.push(Diagnostic::new(place, "component.part", found, expected));
                return None;
            }
        }
    } else {
        let shipped = joulestep_models::parts::shipped();
        let Some((_, text)) = shipped.iter().find(|p| p.0 == name) else {
            let names: Vec<&str> = shipped.iter().map(|p| p.0).collect();
            let found = format!("no shipped part is named `{name}`");
            let expected = format!("{}, or the path of a part file ending in .toml", one_of(&names));
            let d = Diagnostic::new(place, "component.part", found, expected);
            diagnostics.push(d.suggest(nearest(name, names)));
            return None;
        };
        (Path::new("shipped").join(format!("{name}.toml")), (*text).to_string())
    };
    let file = match sources.files.iter().position(|f| f.0 == path) {
        Some(k) => FileId(k),
        None => sources.add(path, text),
    };
    let (table, errors) = raw::read(sources, file);
    if !errors.is_empty() {
        diagnostics.extend(errors);
        return None;
    }
    let mut conform = Conform { catalogue: catalogue(), kind_of_part: &|_, _| None, diagnostics: Vec::new() };
    let fields = |place: &Place, path: &str| Fields {
        place: place.clone(),
        path: path.to_string(),
        kind: String::new(),
        values: BTreeMap::new(),
    };
    let root = conform.against(&table, PART, "a part file", fields(&table.place, "part"));
    let part = params(&root, &table, &mut conform, fields);
    diagnostics.append(&mut conform.diagnostics);
    part
}

/// What stands under `params`, against the keys of the part's kind.
fn params(
    root: &Fields,
    table: &Table,
    conform: &mut Conform<'_>,
    fields: impl Fn(&Place, &str) -> Fields,
) -> Option<Part> {
    let kind = root.text("kind")?;
    let Some(entry) = catalogue::<f64>().iter().find(|e| e.kind == kind) else {
        let kinds: Vec<&str> = catalogue::<f64>().iter().map(|e| e.kind).collect();
        let found = format!("there is no kind `{kind}`");
        let d = Diagnostic::new(root.place_of("kind"), "part.kind", found, one_of(&kinds));
        conform.diagnostics.push(d.suggest(nearest(kind, kinds)));
        return None;
    };
    let Raw::Table(params) = &table.get("params")?.value else {
        let d =
            Diagnostic::new(root.place_of("params"), "part.params", "found no table", "the table [params]");
        conform.diagnostics.push(d);
        return None;
    };
    // What a part leaves out, the component that uses it must give.
    let keys: Vec<Key> = entry.params.iter().map(|p| Key::of_param(p, true)).collect();
    let of = format!("[params] of kind `{kind}`");
    let given_here = conform.against(params, &keys, &of, fields(&params.place, "part.params"));
    Some(Part { kind: kind.to_string(), values: given(&given_here, entry) })
}
