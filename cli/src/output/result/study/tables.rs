//! `/tables` and `/statements`.

use super::super::archive::Archive;
use super::super::error::ResultError;
use super::super::names::{self, Names};
use super::super::store::Store;
use crate::output::answer::{Study, StudyTable};
use crate::output::table::{Cell, Head, OF_ROW, Table, UNIT};

const STATEMENTS: [&str; 3] = ["kind", "term", "text"];

/// Numbers of the rows: the dimension scale of a group.
fn rows(store: &Store, group: &str, count: usize) -> Result<(), ResultError> {
    let numbers: Vec<f64> = (0..count).map(|k| k as f64).collect();
    store.reals(group, "row", &numbers, "1", "number of the row")?;
    store.scale(&format!("{group}/row"), "row")
}

pub(super) fn write_statements(store: &Store, study: &Study) -> Result<(), ResultError> {
    let plain = |kind: &'static str| move |text: &String| [kind.to_string(), String::new(), text.clone()];
    let doubts = study.doubts.iter().map(plain("doubt"));
    let notes = study.notes.iter().map(plain("note"));
    let conditions = study.conditions.iter().map(plain("condition"));
    let definition = |(term, text): &(String, String)| ["definition".to_string(), term.clone(), text.clone()];
    let all: Vec<[String; 3]> =
        doubts.chain(notes).chain(conditions).chain(study.definitions.iter().map(definition)).collect();
    if all.is_empty() {
        return Ok(());
    }
    rows(store, "statements", all.len())?;
    for (k, name) in STATEMENTS.iter().enumerate() {
        let column: Vec<String> = all.iter().map(|row| row[k].clone()).collect();
        store.texts("statements", name, &column, name)?;
        store.attach(&format!("statements/{name}"), 0, "statements/row")?;
    }
    Ok(())
}

pub(super) fn read_statements(archive: &Archive, study: &mut Study) -> Result<(), ResultError> {
    if !archive.has("statements/row") {
        return Ok(());
    }
    let [kind, term, text] = STATEMENTS.map(|name| archive.texts(&format!("statements/{name}")));
    for ((kind, term), text) in kind?.into_iter().zip(term?).zip(text?) {
        match kind.as_str() {
            "doubt" => study.doubts.push(text),
            "note" => study.notes.push(text),
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
        columns(store, &group, &table.data.plain())?;
    }
    Ok(())
}

/// Writes the answers as a group of their own, where there are any.
pub(super) fn write_answers(store: &Store, data: &Table) -> Result<(), ResultError> {
    if data.rows.is_empty() {
        return Ok(());
    }
    store.group("answers")?;
    columns(store, "answers", data)
}

/// Writes rows as a dataset per column.
fn columns(store: &Store, group: &str, data: &Table) -> Result<(), ResultError> {
    let Table { heads, rows: lines } = data;
    rows(store, group, lines.len())?;
    let mut taken = Names::reserving(&["row"]);
    let columns: Vec<String> = heads.iter().map(|h| taken.take(&h.name)).collect();
    store.group_text(group, "columns", &columns.join("\n"))?;
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
            store.texts(group, &dataset, &lines.iter().map(text).collect::<Vec<_>>(), &words)?;
        } else {
            let number = |row: &Vec<Cell>| match row.get(k) {
                Some(Cell::Number(x)) => *x,
                _ => f64::NAN,
            };
            let values: Vec<f64> = lines.iter().map(number).collect();
            let unit = if head.unit == OF_ROW { "1" } else { &head.unit };
            store.reals(group, &dataset, &values, names::unit(unit), &words)?;
            if head.unit == OF_ROW {
                store.text_attribute(&path, "units_of_rows", UNIT)?;
            }
            store.number_attribute(&path, "digits", head.digits as f64)?;
        }
        store.text_attribute(&path, "symbol", &head.symbol)?;
        store.text_attribute(&path, "original_name", &head.name)?;
        store.attach(&path, 0, &format!("{group}/row"))?;
    }
    Ok(())
}

pub(super) fn read(archive: &Archive) -> Result<Vec<StudyTable>, ResultError> {
    let order = archive.group_text("tables", "order").unwrap_or_default();
    let mut tables = Vec::new();
    for name in order.lines() {
        let group = format!("tables/{name}");
        let text = |key: &str| archive.group_text(&group, key).unwrap_or_default();
        let keys = text("keys").parse().unwrap_or(0);
        tables.push(StudyTable::new(name, &text("title"), keys, rows_of(archive, &group)?));
    }
    Ok(tables)
}

/// The answers' table; empty where there are none.
pub(super) fn read_answers(archive: &Archive) -> Result<Table, ResultError> {
    if archive.has("answers/row") { rows_of(archive, "answers") } else { Ok(Table::default()) }
}

fn rows_of(archive: &Archive, group: &str) -> Result<Table, ResultError> {
    let mut data = Table::default();
    let count = archive.length(&format!("{group}/row"))?;
    data.rows = vec![Vec::new(); count];
    for dataset in archive.group_text(group, "columns").unwrap_or_default().lines() {
        let path = format!("{group}/{dataset}");
        if !archive.has(&path) {
            continue;
        }
        let attribute = |key: &str| archive.text(&path, key).unwrap_or_default();
        let unit =
            if archive.text(&path, "units_of_rows").is_some() { OF_ROW.into() } else { attribute("units") };
        let digits = archive.number(&path, "digits").map_or(3, |d| d as usize);
        if unit.is_empty() {
            let cells = archive.texts(&path)?;
            data.rows.iter_mut().zip(cells).for_each(|(row, text)| row.push(Cell::Text(text)));
        } else {
            let cells = archive.reals(&path, 0..count)?;
            let cell = |x: f64| if x.is_infinite() { Cell::Number(x) } else { x.into() };
            data.rows.iter_mut().zip(cells).for_each(|(row, x)| row.push(cell(x)));
        }
        let (name, symbol) = (attribute("original_name"), attribute("symbol"));
        data.heads.push(Head { name, symbol, unit, digits });
    }
    Ok(data)
}
