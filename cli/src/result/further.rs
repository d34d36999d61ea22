//! Further tables of a study: a group each, its rows along one axis, written when the study is over.

use super::error::ResultError;
use super::names::{self, Names};
use super::store::Store;

/// A column of numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct FurtherColumn {
    /// Short name.
    pub name: String,
    /// In words.
    pub long_name: String,
    /// Unit symbol.
    pub unit: String,
    /// One number per row.
    pub values: Vec<f64>,
}

/// A table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Further {
    /// Name of its group.
    pub group: String,
    /// In words.
    pub long_name: String,
    /// Columns; the first is the axis of the rows.
    pub columns: Vec<FurtherColumn>,
    /// Columns of texts: name, in words, one per row.
    pub texts: Vec<(String, String, Vec<String>)>,
}

/// Makes the group and fills it. A table without rows is a group without columns.
pub(super) fn write(store: &Store, table: &Further) -> Result<(), ResultError> {
    store.group(&table.group)?;
    store.group_text(&table.group, "long_name", &table.long_name)?;
    let mut taken = Names::reserving(&[]);
    let mut axis: Option<String> = None;
    for column in table.columns.iter().filter(|c| !c.values.is_empty()) {
        let name = taken.take(&column.name);
        store.reals(&table.group, &name, &column.values, names::unit(&column.unit), &column.long_name)?;
        let path = format!("{}/{name}", table.group);
        if name != column.name {
            store.text_attribute(&path, "original_name", &column.name)?;
        }
        match &axis {
            None => {
                store.scale(&path, &name)?;
                axis = Some(path);
            }
            Some(axis) => store.attach(&path, 0, axis)?,
        }
    }
    for (name, long_name, texts) in table.texts.iter().filter(|t| !t.2.is_empty()) {
        let name = taken.take(name);
        store.texts(&table.group, &name, texts, long_name)?;
        if let Some(axis) = &axis {
            store.attach(&format!("{}/{name}", table.group), 0, axis)?;
        }
    }
    Ok(())
}
