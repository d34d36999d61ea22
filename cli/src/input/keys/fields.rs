//! A checked table: values in SI units under the keys of its description.

use std::collections::BTreeMap;

use crate::diagnostic::{Diagnostic, Place};

/// A name with its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// The name.
    pub name: String,
    /// Where it stands.
    pub place: Place,
}

/// A quantity as typed (a string, or a bare number) with its place.
pub type TypedAt = (Place, Result<String, f64>);

/// A checked value.
#[derive(Clone, Debug, PartialEq)]
pub enum Content {
    /// SI units (°C for temperatures).
    Number(f64),
    /// A quantity as typed (a string, or a bare number), to be read once its unit is known.
    Measure(Result<String, f64>),
    /// Quantities as typed.
    Measures(Vec<TypedAt>),
    /// An integer.
    Whole(i64),
    /// true or false.
    Flag(bool),
    /// A text, word or name.
    Text(String),
    /// Texts or names.
    Texts(Vec<Named>),
    /// Numbers in SI units.
    Numbers(Vec<f64>),
    /// Pairs of numbers in SI units.
    Pairs(Vec<(f64, f64)>),
    /// Pairs of quantities as typed.
    Rows(Vec<[TypedAt; 2]>),
    /// Name to name.
    Map(Vec<(Named, Named)>),
    /// Tables with their names.
    Named(Vec<(Named, Fields)>),
    /// Anything; looked at elsewhere.
    Any,
    /// A table.
    Table(Fields),
    /// Tables.
    Tables(Vec<Fields>),
}

/// A value and where it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Where the value stands.
    pub place: Place,
    /// The value.
    pub content: Content,
}

/// A checked table.
#[derive(Clone, Debug, PartialEq)]
pub struct Fields {
    /// Where it begins.
    pub place: Place,
    /// How it is called in diagnostics (`component.R1`).
    pub path: String,
    /// The word of its kind; empty where it has none.
    pub kind: String,
    /// Its values; a key that was wrong is missing here and told already.
    pub values: BTreeMap<&'static str, Field>,
}

impl Fields {
    /// An error at the place of a key.
    pub fn wrong(&self, key: &str, found: impl Into<String>, expected: impl Into<String>) -> Diagnostic {
        Diagnostic::new(self.place_of(key), self.key(key), found, expected)
    }
    /// Whether the key is there (and right).
    pub fn has(&self, key: &str) -> bool {
        self.values.contains_key(key)
    }
    /// A number.
    pub fn number(&self, key: &str) -> Option<f64> {
        match self.values.get(key)?.content {
            Content::Number(x) => Some(x),
            _ => None,
        }
    }
    /// A quantity as typed.
    pub fn measure(&self, key: &str) -> Option<Result<&str, f64>> {
        match &self.values.get(key)?.content {
            Content::Measure(x) => Some(x.as_deref().map_err(|number| *number)),
            _ => None,
        }
    }
    /// Quantities as typed; empty where the key is missing.
    pub fn measures(&self, key: &str) -> &[TypedAt] {
        match self.values.get(key).map(|f| &f.content) {
            Some(Content::Measures(x)) => x,
            _ => &[],
        }
    }
    /// An integer.
    pub fn whole(&self, key: &str) -> Option<i64> {
        match self.values.get(key)?.content {
            Content::Whole(x) => Some(x),
            _ => None,
        }
    }
    /// true or false.
    pub fn flag(&self, key: &str) -> Option<bool> {
        match self.values.get(key)?.content {
            Content::Flag(x) => Some(x),
            _ => None,
        }
    }
    /// A text, word or name.
    pub fn text(&self, key: &str) -> Option<&str> {
        match &self.values.get(key)?.content {
            Content::Text(x) => Some(x),
            _ => None,
        }
    }
    /// A name with its place.
    pub fn named(&self, key: &str) -> Option<Named> {
        let name = self.text(key)?.to_string();
        Some(Named { name, place: self.values.get(key)?.place.clone() })
    }
    /// Texts or names; empty where the key is missing.
    pub fn texts(&self, key: &str) -> &[Named] {
        match self.values.get(key).map(|f| &f.content) {
            Some(Content::Texts(x)) => x,
            _ => &[],
        }
    }
    /// Numbers; empty where the key is missing.
    pub fn numbers(&self, key: &str) -> &[f64] {
        match self.values.get(key).map(|f| &f.content) {
            Some(Content::Numbers(x)) => x,
            _ => &[],
        }
    }
    /// Pairs; empty where the key is missing.
    pub fn pairs(&self, key: &str) -> &[(f64, f64)] {
        match self.values.get(key).map(|f| &f.content) {
            Some(Content::Pairs(x)) => x,
            _ => &[],
        }
    }
    /// Name to name; empty where the key is missing.
    pub fn map(&self, key: &str) -> &[(Named, Named)] {
        match self.values.get(key).map(|f| &f.content) {
            Some(Content::Map(x)) => x,
            _ => &[],
        }
    }
    /// A table.
    pub fn table(&self, key: &str) -> Option<&Fields> {
        match &self.values.get(key)?.content {
            Content::Table(x) => Some(x),
            _ => None,
        }
    }
    /// Tables; empty where the key is missing.
    pub fn tables(&self, key: &str) -> &[Fields] {
        match self.values.get(key).map(|f| &f.content) {
            Some(Content::Tables(x)) => x,
            _ => &[],
        }
    }
    /// Pairs of quantities as typed; empty where the key is missing.
    pub fn rows(&self, key: &str) -> &[[TypedAt; 2]] {
        match self.values.get(key).map(|f| &f.content) {
            Some(Content::Rows(x)) => x,
            _ => &[],
        }
    }
    /// Tables with their names; empty where the key is missing.
    pub fn by_name(&self, key: &str) -> &[(Named, Fields)] {
        match self.values.get(key).map(|f| &f.content) {
            Some(Content::Named(x)) => x,
            _ => &[],
        }
    }
    /// Place of a key's value, else of the table.
    pub fn place_of(&self, key: &str) -> &Place {
        self.values.get(key).map_or(&self.place, |f| &f.place)
    }
    /// The key as diagnostics call it.
    pub fn key(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_string() } else { format!("{}.{key}", self.path) }
    }
}
