//! One root table out of a scenario and what it includes: lists of tables are joined, tables are merged, and a key
//! given twice is an error.

use std::collections::BTreeMap;

use crate::diagnostic::{Diagnostic, Sources, Span, worded};
use crate::input::keys::raw::{Node, Raw, RawTable};

/// Keys that each file may have for itself; the including file's counts.
const OWN: [&str; 3] = ["format", "title", "include"];

/// Joins the root tables, the including file last.
pub fn merge(
    sources: &Sources,
    tables: Vec<RawTable>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<RawTable> {
    let mut tables = tables.into_iter().rev();
    let mut root = Joined::of(tables.next()?);
    let mut report = Document { sources, diagnostics };
    for table in tables {
        root.join(table, "", &mut report);
    }
    Some(root.table())
}

/// Where to tell what is given twice.
struct Document<'a> {
    sources: &'a Sources,
    diagnostics: &'a mut Vec<Diagnostic>,
}

/// A table to which others are joined: its keys are found without a search through all of them, and lists stay apart
/// until the end.
struct Joined {
    span: Span,
    entries: Vec<(String, Span, Span, Value)>,
    by_key: BTreeMap<String, usize>,
}

enum Value {
    One(Raw),
    /// Lists of tables, the last file's first.
    Lists(Vec<Vec<Node>>),
    Table(Joined),
}

impl Joined {
    fn of(table: RawTable) -> Self {
        let mut out = Self { span: table.span, entries: Vec::new(), by_key: BTreeMap::new() };
        table.entries.into_iter().for_each(|entry| out.add(entry));
        out
    }

    fn add(&mut self, (key, span, node): (String, Span, Node)) {
        let value = match node.value {
            Raw::List(list) if all_tables(&list) => Value::Lists(vec![list]),
            Raw::Table(table) => Value::Table(Self::of(table)),
            other => Value::One(other),
        };
        self.by_key.insert(key.clone(), self.entries.len());
        self.entries.push((key, span, node.span, value));
    }

    fn join(&mut self, from: RawTable, path: &str, report: &mut Document<'_>) {
        for (key, span, node) in from.entries {
            let Some(&at) = self.by_key.get(&key) else {
                self.add((key, span, node));
                continue;
            };
            let full = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            let (_, first, _, existing) = &mut self.entries[at];
            match (existing, node.value) {
                (Value::Lists(lists), Raw::List(list)) if all_tables(&list) => lists.push(list),
                (Value::Table(a), Raw::Table(b)) => a.join(b, &full, report),
                _ if path.is_empty() && OWN.contains(&key.as_str()) => {}
                _ => {
                    let first = worded(report.diagnostics).then(|| report.sources.show(first));
                    let found = first
                        .map_or("given twice".into(), |first| format!("given twice, here and at {first}"));
                    let expected = "one value among a file and its includes";
                    report.diagnostics.push(Diagnostic::new(&span, full, found, expected));
                }
            }
        }
    }

    fn table(self) -> RawTable {
        let value = |value| match value {
            Value::One(raw) => raw,
            // In the order of the files: included ones first.
            Value::Lists(lists) => Raw::List(lists.into_iter().rev().flatten().collect()),
            Value::Table(joined) => Raw::Table(joined.table()),
        };
        let entry = |(key, span, at, held)| (key, span, Node { span: at, value: value(held) });
        RawTable { span: self.span, entries: self.entries.into_iter().map(entry).collect() }
    }
}

fn all_tables(list: &[Node]) -> bool {
    list.iter().all(|n| matches!(n.value, Raw::Table(_)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::keys::raw;

    #[test]
    fn lists_are_joined_and_single_values_are_not() {
        let mut sources = Sources::default();
        let a = sources.add("a.toml".into(), "[[x]]\nk = 1\n[s]\nu = 1\nv = 2\n".into());
        let b = sources.add("b.toml".into(), "title = \"b\"\n[[x]]\nk = 2\n[s]\nu = 3\n".into());
        let tables = vec![raw::read(&sources, a).0, raw::read(&sources, b).0];
        let mut diagnostics = Vec::new();
        let root = merge(&sources, tables, &mut diagnostics).unwrap();
        let Raw::List(x) = &root.get("x").unwrap().value else { panic!() };
        let k = |n: &Node| match &n.value {
            Raw::Table(t) => t.get("k").unwrap().value.clone(),
            _ => panic!(),
        };
        assert_eq!(x.iter().map(k).collect::<Vec<_>>(), [Raw::Whole(1), Raw::Whole(2)]);
        let Raw::Table(s) = &root.get("s").unwrap().value else { panic!() };
        assert_eq!(s.entries.len(), 2);
        assert_eq!(diagnostics.len(), 1);
        assert_eq!(
            diagnostics[0].line(),
            "s.u: given twice, here and at b.toml:5:1; expected one value among a file and its includes"
        );
    }
}
