//! A checked table: values in SI units under the keys of its description.

use std::collections::BTreeMap;
use std::marker::PhantomData;

use joulestep_engine::units::{Quantity, UnitError, parse_quantity};
use joulestep_models::model::Range;

use crate::diagnostic::{Diagnostic, Span};
use crate::input::keys::shape::{Key, quantity, within};

/// A name with its span.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// The name.
    pub name: String,
    /// Where it stands.
    pub span: Span,
}

/// A quantity as typed (a string, or a bare number) with its span.
pub type TypedAt = (Span, Result<String, f64>);

/// A quantity whose unit is that of a signal, as typed.
#[derive(Clone, Debug)]
pub struct Typed {
    /// A string, or a bare number.
    text: Result<String, f64>,
    /// The value itself, where it is known already.
    value: Option<f64>,
    /// Where it stands.
    pub span: Span,
    /// The key as diagnostics call it.
    pub key: String,
}

impl Typed {
    /// The value in a unit.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(crate) fn quantity(&self, unit: &str, range: Range) -> Result<f64, Box<Diagnostic>> {
        let value = match self.value {
            Some(value) => within(value, || value.to_string(), unit, range),
            None => quantity(self.text.as_deref().map_err(|number| *number), unit, range),
        };
        value.map_err(|(found, expected, hint)| {
            Box::new(Diagnostic::new(&self.span, &self.key, found, expected).suggest(hint))
        })
    }
}

impl Typed {
    /// The value with its own dimension, in SI base units.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(crate) fn own(&self) -> Result<Quantity, UnitError> {
        let bare = |x: &f64| parse_quantity(&x.to_string());
        let typed = self.text.as_ref().map_or_else(bare, |text| parse_quantity(text))?;
        Ok(Quantity { value: self.value.unwrap_or(typed.value), ..typed })
    }
}

/// A signal's name as typed.
#[derive(Clone, Debug)]
pub struct Signal {
    /// The text.
    pub text: String,
    /// Where it stands.
    pub span: Span,
    /// The key as diagnostics call it.
    pub key: String,
}

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
    pub span: Span,
    /// The value.
    pub content: Content,
}

/// A checked table.
#[derive(Clone, Debug, PartialEq)]
pub struct Fields {
    /// Where it begins.
    pub span: Span,
    /// How it is called in diagnostics (`component.R1`).
    pub path: String,
    /// The word of its kind; empty where it has none.
    pub kind: String,
    /// Its values; a key that was wrong is missing here and told already.
    pub values: BTreeMap<&'static str, Field>,
}

impl Fields {
    /// An empty table.
    pub fn empty(span: &Span, path: String, kind: String) -> Self {
        Self { span: span.clone(), path, kind, values: BTreeMap::new() }
    }
    /// The value of a key; `None` where it is missing, or was wrong.
    pub(crate) fn get<T: Value>(&self, key: Key) -> Option<T> {
        T::of(self, key)
    }
    /// Tables under a name that a catalogue has given: one, or a list.
    pub fn under(&self, name: &str) -> &[Self] {
        match self.values.get(name).map(|f| &f.content) {
            Some(Content::Table(one)) => std::slice::from_ref(one),
            Some(Content::Tables(all)) => all,
            _ => &[],
        }
    }
    /// An error at the place of a key.
    pub fn wrong(
        &self,
        key: impl AsRef<str>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic::new(self.span_of(&key), self.key(&key), found, expected)
    }
    /// Whether the key is there (and right).
    pub fn has(&self, key: impl AsRef<str>) -> bool {
        self.values.contains_key(key.as_ref())
    }
    /// Place of a key's value, else of the table.
    pub fn span_of(&self, key: impl AsRef<str>) -> &Span {
        self.values.get(key.as_ref()).map_or(&self.span, |f| &f.span)
    }
    /// The key as diagnostics call it.
    pub fn key(&self, key: impl AsRef<str>) -> String {
        let key = key.as_ref();
        if self.path.is_empty() { key.to_string() } else { format!("{}.{key}", self.path) }
    }
}

/// What the value of a key is read as.
pub(crate) trait Value: Sized {
    /// The same where it may be missing.
    type Maybe;
    /// The value of a key; `None` where it is missing, or was wrong.
    fn of(fields: &Fields, key: Key) -> Option<Self>;
    /// What may be missing.
    fn maybe(value: Option<Self>) -> Self::Maybe;
}

/// A value that may have a default, which is a number.
pub(crate) trait Numeric: Value {
    /// The default.
    fn of_default(default: f64) -> Self;
}

/// A value that may be missing is an option; of a list, the empty one.
macro_rules! values {
    ($($kind:ident $type:ty: |$fields:ident, $key:ident| $pattern:pat => $value:expr;)*) => {
        $(impl Value for $type {
            values!(@$kind);
            fn of($fields: &Fields, $key: Key) -> Option<Self> {
                #[allow(irrefutable_let_patterns, reason = "any content is content")]
                let $pattern = &$fields.values.get($key.name)?.content else { return None };
                Some($value)
            }
        })*
    };
    (@one) => {
        type Maybe = Option<Self>;
        fn maybe(value: Option<Self>) -> Option<Self> {
            value
        }
    };
    (@all) => {
        type Maybe = Self;
        fn maybe(value: Option<Self>) -> Self {
            value.unwrap_or_default()
        }
    };
}
values! {
    one f64: |fields, key| Content::Number(x) => *x;
    one i64: |fields, key| Content::Whole(x) => *x;
    one bool: |fields, key| Content::Flag(x) => *x;
    one String: |fields, key| Content::Text(x) => x.clone();
    one Named: |fields, key| Content::Text(x) => Named { name: x.clone(), span: fields.span_of(key).clone() };
    one Signal: |fields, key| Content::Text(x) =>
        Signal { text: x.clone(), span: fields.span_of(key).clone(), key: fields.key(key) };
    one Content: |fields, key| x => x.clone();
    one Fields: |fields, key| Content::Table(x) => x.clone();
    all Vec<TypedAt>: |fields, key| Content::Measures(x) => x.clone();
    all Vec<Named>: |fields, key| Content::Texts(x) => x.clone();
    all Vec<Signal>: |fields, key| Content::Texts(x) =>
        x.iter().map(|n| Signal { text: n.name.clone(), span: n.span.clone(), key: fields.key(key) }).collect();
    all Vec<f64>: |fields, key| Content::Numbers(x) => x.clone();
    all Vec<[TypedAt; 2]>: |fields, key| Content::Rows(x) => x.clone();
    all Vec<Fields>: |fields, key| Content::Tables(x) => x.clone();
    all Vec<(Named, Fields)>: |fields, key| Content::Named(x) => x.clone();
}

/// In place of a value that is checked only, or read by other means.
pub type Unread = PhantomData<()>;
impl Value for Unread {
    type Maybe = Self;
    fn maybe(value: Option<Self>) -> Self {
        value.unwrap_or_default()
    }
    fn of(_: &Fields, _: Key) -> Option<Self> {
        Some(PhantomData)
    }
}

/// What is needed by the table, and without which the rest is still read.
impl<T: Value> Value for Option<T> {
    type Maybe = Self;
    fn maybe(value: Option<Self>) -> Self {
        value.flatten()
    }
    fn of(fields: &Fields, key: Key) -> Option<Self> {
        Some(T::of(fields, key))
    }
}

impl Value for Typed {
    values!(@one);
    fn of(fields: &Fields, key: Key) -> Option<Self> {
        let (text, value) = match &fields.values.get(key.name)?.content {
            Content::Measure(typed) => (typed.clone(), None),
            Content::Number(x) => (Err(*x), Some(*x)),
            _ => return None,
        };
        Some(Self { text, value, span: fields.span_of(key).clone(), key: fields.key(key) })
    }
}

impl Numeric for f64 {
    fn of_default(default: f64) -> Self {
        default
    }
}
impl Numeric for i64 {
    fn of_default(default: f64) -> Self {
        default as Self
    }
}
impl Numeric for Vec<f64> {
    fn of_default(default: f64) -> Self {
        vec![default]
    }
}
