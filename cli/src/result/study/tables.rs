//! `/tables` and `/said`.

use super::super::archive::Archive;
use super::super::error::ResultError;
use super::super::names::{self, Names};
use super::super::store::Store;
use super::{Study, StudyTable};
use crate::sheet::{Cell, Head, Sheet};

const SAID: [&str; 3] = ["kind", "term", "text"];

/// Numbers of the rows: the dimension scale of a group.
fn rows(store: &Store, group: &str, count: usize) -> Result<(), ResultError> {
    let numbers: Vec<f64> = (0..count).map(|k| k as f64).collect();
    store.reals(group, "row", &numbers, "1", "number of the row")?;
    store.scale(&format!("{group}/row"), "row")
}

pub(super) fn write_said(store: &Store, study: &Study) -> Result<(), ResultError> {
    let plain = |kind: &'static str| move |text: &String| [kind.to_string(), String::new(), text.clone()];
    let answers = study.answers.iter().map(plain("answer"));
    let conditions = study.conditions.iter().map(plain("condition"));
    let definition = |(term, text): &(String, String)| ["definition".to_string(), term.clone(), text.clone()];
    let all: Vec<[String; 3]> =
        answers.chain(conditions).chain(study.definitions.iter().map(definition)).collect();
    if all.is_empty() {
        return Ok(());
    }
    rows(store, "said", all.len())?;
    for (k, name) in SAID.iter().enumerate() {
        let column: Vec<String> = all.iter().map(|row| row[k].clone()).collect();
        store.texts("said", name, &column, name)?;
        store.attach(&format!("said/{name}"), 0, "said/row")?;
    }
    Ok(())
}

pub(super) fn read_said(archive: &Archive, study: &mut Study) -> Result<(), ResultError> {
    if !archive.has("said/row") {
        return Ok(());
    }
    let [kind, term, text] = SAID.map(|name| archive.texts(&format!("said/{name}")));
    for ((kind, term), text) in kind?.into_iter().zip(term?).zip(text?) {
        match kind.as_str() {
            "answer" => study.answers.push(text),
            "condition" => study.conditions.push(text),
            _ => study.definitions.push((term, text)),
        }
    }
    Ok(())
}

pub(super) fn write(store: &Store, tables: &[StudyTable]) -> Result<(), ResultError> {
    store.group("tables")?;
    let mut groups = Names::reserving(&[]);
    let names: Vec<String> = tables.iter().map(|t| groups.take(&t.name)).collect();
    // The order in which they are to be read: HDF5 need not keep one.
    store.group_text("tables", "order", &names.join("\n"))?;
    for (table, name) in tables.iter().zip(names) {
        let group = format!("tables/{name}");
        store.group(&group)?;
        store.group_text(&group, "title", &table.title)?;
        store.group_text(&group, "keys", &table.keys.to_string())?;
        let Sheet { heads, rows: lines } = &table.sheet.plain();
        rows(store, &group, lines.len())?;
        let mut taken = Names::reserving(&["row"]);
        let columns: Vec<String> = heads.iter().map(|h| taken.take(&h.name)).collect();
        store.group_text(&group, "columns", &columns.join("\n"))?;
        for ((k, head), dataset) in heads.iter().enumerate().zip(columns) {
            let path = format!("{group}/{dataset}");
            let words = head.name.replace('_', " ");
            if head.unit.is_empty() {
                let text = |row: &Vec<Cell>| match row.get(k) {
                    Some(Cell::Text(text)) => text.clone(),
                    Some(Cell::Number(x)) => format!("{x}"),
                    _ => String::new(),
                };
                if lines.is_empty() {
                    continue;
                }
                store.texts(&group, &dataset, &lines.iter().map(text).collect::<Vec<_>>(), &words)?;
            } else {
                let number = |row: &Vec<Cell>| match row.get(k) {
                    Some(Cell::Number(x)) => *x,
                    _ => f64::NAN,
                };
                let values: Vec<f64> = lines.iter().map(number).collect();
                store.reals(&group, &dataset, &values, names::unit(&head.unit), &words)?;
            }
            store.text_attribute(&path, "symbol", &head.symbol)?;
            store.text_attribute(&path, "original_name", &head.name)?;
            store.attach(&path, 0, &format!("{group}/row"))?;
        }
    }
    Ok(())
}

pub(super) fn read(archive: &Archive) -> Result<Vec<StudyTable>, ResultError> {
    let order = archive.group_text("tables", "order").unwrap_or_default();
    let mut tables = Vec::new();
    for name in order.lines() {
        let group = format!("tables/{name}");
        let text = |key: &str| archive.group_text(&group, key).unwrap_or_default();
        let mut sheet = Sheet::default();
        let count = archive.length(&format!("{group}/row"))?;
        sheet.rows = vec![Vec::new(); count];
        for dataset in text("columns").lines() {
            let path = format!("{group}/{dataset}");
            if !archive.has(&path) {
                continue;
            }
            let attribute = |key: &str| archive.text(&path, key).unwrap_or_default();
            let unit = attribute("units");
            if unit.is_empty() {
                let mut cells = archive.texts(&path)?;
                cells.resize(count, String::new());
                sheet.rows.iter_mut().zip(cells).for_each(|(row, text)| row.push(Cell::Text(text)));
            } else {
                let cells = archive.reals(&path, 0..count)?;
                sheet.rows.iter_mut().zip(cells).for_each(|(row, x)| row.push(x.into()));
            }
            let (name, symbol) = (attribute("original_name"), attribute("symbol"));
            sheet.heads.push(Head { name, symbol, unit });
        }
        let keys = text("keys").parse().unwrap_or(0);
        tables.push(StudyTable { name: name.into(), title: text("title"), keys, sheet });
    }
    Ok(tables)
}
