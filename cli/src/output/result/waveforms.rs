//! `/waveforms` and `/thermal`: columns along a time of their own.

use joulestep_engine::recorder::Column;

use super::error::ResultError;
use super::names::{self, Names};
use super::store::Store;
use super::structure::{Form, Growing};
use super::writer::WriterOptions;

/// Some rows of samples on their way to the file.
#[derive(Debug, Default)]
pub(super) struct Rows {
    /// s.
    pub(super) time: Vec<f64>,
    /// Row by row.
    pub(super) values: Vec<f64>,
}

/// A group of columns along one time.
pub(super) struct Waveforms {
    group: &'static str,
    /// Dataset names, legal and different.
    pub(super) datasets: Vec<String>,
    form: Form,
    column: Vec<f64>,
}

impl Waveforms {
    /// Makes `time` and the columns in `group`, which exists.
    pub(super) fn create(
        store: &mut Store,
        group: &'static str,
        columns: &[Column],
        form: Form,
        chunk: usize,
        options: &WriterOptions,
    ) -> Result<Self, ResultError> {
        let mut names = Names::reserving(&["time"]);
        let datasets: Vec<String> = columns.iter().map(|column| names.take(&column.name)).collect();
        let described = columns.iter().zip(&datasets);
        let words: Vec<String> = described.map(|(column, name)| names::description(column, name)).collect();
        let growing = |name, units, long_name| Growing {
            group,
            name,
            width: None,
            chunk,
            deflate: options.deflate,
            units,
            long_name,
        };
        store.grow_reals(Form::Double, &growing("time", "s", "time"))?;
        let time = format!("{group}/time");
        store.scale(&time, "time")?;
        for ((column, dataset), words) in columns.iter().zip(&datasets).zip(&words) {
            store.grow_reals(form, &growing(dataset, names::unit(&column.unit), words))?;
            let path = format!("{group}/{dataset}");
            store.column_attributes(&path, column)?;
            store.attach(&path, 0, &time)?;
        }
        Ok(Self { group, datasets, form, column: Vec::with_capacity(chunk) })
    }

    /// Appends the rows; all but the last call bring whole chunks.
    pub(super) fn append(&mut self, store: &mut Store, rows: &Rows) -> Result<(), ResultError> {
        if rows.time.is_empty() {
            return Ok(());
        }
        store.append(&format!("{}/time", self.group), &rows.time)?;
        let width = self.datasets.len();
        for (c, dataset) in self.datasets.iter().enumerate() {
            self.column.clear();
            self.column.extend(rows.values.iter().skip(c).step_by(width));
            append_reals(store, self.form, &format!("{}/{dataset}", self.group), &self.column)?;
        }
        Ok(())
    }
}

/// Appends in the form of the column.
pub(super) fn append_reals(
    store: &mut Store,
    form: Form,
    path: &str,
    values: &[f64],
) -> Result<(), ResultError> {
    match form {
        Form::Double => store.append(path, values),
        Form::Single => {
            let single: Vec<f32> = values.iter().map(|&value| value as f32).collect();
            store.append(path, &single)
        }
    }
}
