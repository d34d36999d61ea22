//! One root table out of a scenario and what it includes: lists of tables are joined, tables are merged, and a key
//! given twice is an error.

use crate::diagnostic::{Diagnostic, Sources};
use crate::scenario::raw::{Node, Raw, RawTable};

/// Keys that each file may have for itself; the including file's counts.
const OWN: [&str; 3] = ["format", "title", "include"];

/// Joins the root tables, the including file last.
pub fn merge(
    sources: &Sources,
    tables: Vec<RawTable>,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<RawTable> {
    let mut tables = tables.into_iter().rev();
    let mut root = tables.next()?;
    // The lists keep the order of the files: included ones first.
    for table in tables {
        join(sources, &mut root, table, "", diagnostics);
    }
    Some(root)
}

fn join(
    sources: &Sources,
    into: &mut RawTable,
    from: RawTable,
    path: &str,
    diagnostics: &mut Vec<Diagnostic>,
) {
    for (key, place, node) in from.entries {
        let full = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
        let Some((_, first, existing)) = into.entries.iter_mut().find(|e| e.0 == key) else {
            into.entries.push((key, place, node));
            continue;
        };
        match (&mut existing.value, node.value) {
            (Raw::List(a), Raw::List(mut b)) if all_tables(a) && all_tables(&b) => {
                b.append(a);
                *a = b;
            }
            (Raw::Table(a), Raw::Table(b)) => join(sources, a, b, &full, diagnostics),
            _ if path.is_empty() && OWN.contains(&key.as_str()) => {}
            _ => {
                let found = format!("given twice, here and at {}", sources.show(first));
                diagnostics.push(Diagnostic::new(
                    &place,
                    full,
                    found,
                    "one value among a file and its includes",
                ));
            }
        }
    }
}

fn all_tables(list: &[Node]) -> bool {
    list.iter().all(|n| matches!(n.value, Raw::Table(_)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::raw;

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
