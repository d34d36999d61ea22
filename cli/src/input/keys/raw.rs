//! The file as typed: tables, lists and values, each with its span.

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::diagnostic::{Diagnostic, FileId, Sources, Span};

/// A value as typed.
#[derive(Clone, Debug, PartialEq)]
pub enum Raw {
    /// A string.
    Text(String),
    /// An integer.
    Whole(i64),
    /// A number with a point or exponent, or an integer beyond 64 bits; may be NaN or infinite.
    Number(f64),
    /// true or false.
    Flag(bool),
    /// A date or time, which no key takes.
    Date,
    /// A list.
    List(Vec<Node>),
    /// A table.
    Table(RawTable),
}

impl Raw {
    /// What it is, with its article.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Text(_) => "a string",
            Self::Whole(_) => "an integer",
            Self::Number(_) => "a number",
            Self::Flag(_) => "true or false",
            Self::Date => "a date",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// A value and where it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// Where.
    pub span: Span,
    /// What.
    pub value: Raw,
}

/// A table: keys in the order of the file.
#[derive(Clone, Debug, PartialEq)]
pub struct RawTable {
    /// Where it begins.
    pub span: Span,
    /// Keys with their spans, and values.
    pub entries: Vec<(String, Span, Node)>,
}

impl RawTable {
    /// The value of a key.
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.entries.iter().find(|e| e.0 == key).map(|e| &e.2)
    }
}

/// Reads a file of [`Sources`]; with syntax errors, as much as could be read and the errors.
pub fn read(sources: &Sources, file: FileId) -> (RawTable, Vec<Diagnostic>) {
    let (table, errors) = DeTable::parse_recoverable(sources.text(file));
    let end = sources.text(file).len();
    let diagnostics = errors.into_iter().map(|e| {
        let span = Span { file, range: e.span().unwrap_or(end..end) };
        Diagnostic::new(&span, "", format!("TOML syntax: {}", one_line(e.message())), "")
    });
    let mut diagnostics: Vec<Diagnostic> = diagnostics.collect();
    diagnostics.sort_by_key(|d| d.span.as_ref().map(|p| p.range.start));
    (convert_table(file, table.span(), table.get_ref()), diagnostics)
}

/// The parser's message on one line.
fn one_line(message: &str) -> String {
    message.split('\n').map(str::trim).filter(|l| !l.is_empty()).collect::<Vec<_>>().join(", ")
}

fn convert_table(file: FileId, span: std::ops::Range<usize>, table: &DeTable<'_>) -> RawTable {
    let mut entries: Vec<(String, Span, Node)> = table
        .iter()
        .map(|(k, v)| (k.get_ref().to_string(), Span { file, range: k.span() }, convert(file, v)))
        .collect();
    entries.sort_by_key(|e| e.1.range.start);
    RawTable { span: Span { file, range: span }, entries }
}

fn convert(file: FileId, node: &Spanned<DeValue<'_>>) -> Node {
    let value = match node.get_ref() {
        DeValue::String(s) => Raw::Text(s.to_string()),
        DeValue::Integer(i) => match i64::from_str_radix(i.as_str(), i.radix()) {
            Ok(x) => Raw::Whole(x),
            Err(_) => Raw::Number(i.as_str().parse().unwrap_or(f64::NAN)),
        },
        DeValue::Float(x) => Raw::Number(x.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(x) => Raw::Flag(*x),
        DeValue::Datetime(_) => Raw::Date,
        DeValue::Array(items) => Raw::List(items.iter().map(|n| convert(file, n)).collect()),
        DeValue::Table(t) => Raw::Table(convert_table(file, node.span(), t)),
    };
    Node { span: Span { file, range: node.span() }, value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_and_value_has_its_place() {
        let mut sources = Sources::default();
        let text =
            "title = \"a\"\n\n[[component]]\nname = \"R1\"\nresistance = \"20 mohm\"\n[steps]\nend = 1e-3\n";
        let file = sources.add("x.toml".into(), text.into());
        let (table, errors) = read(&sources, file);
        assert!(errors.is_empty());
        let Raw::List(list) = &table.get("component").unwrap().value else { panic!() };
        assert_eq!(sources.line_and_column(&list[0].span), (3, 1));
        let Raw::Table(r1) = &list[0].value else { panic!() };
        assert_eq!(sources.line_and_column(&r1.entries[1].1), (5, 1));
        assert_eq!(sources.line_and_column(&r1.get("resistance").unwrap().span), (5, 14));
        let Raw::Table(steps) = &table.get("steps").unwrap().value else { panic!() };
        assert_eq!(sources.line_and_column(&steps.span), (6, 1));
    }

    #[test]
    fn all_syntax_errors_are_reported() {
        let mut sources = Sources::default();
        let file = sources.add("x.toml".into(), "a = \nb = 2\nd = =\n".into());
        let (_, errors) = read(&sources, file);
        let lines: Vec<_> =
            errors.iter().map(|e| sources.line_and_column(e.span.as_ref().unwrap()).0).collect();
        assert_eq!((lines.first(), lines.last()), (Some(&1), Some(&3)), "{errors:?}");
    }
}
