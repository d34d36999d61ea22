//! The parts of a file's structure as the library makes them: groups, columns, dimension scales, attributes.

use hdf5::types::VarLenUnicode;
use hdf5::{H5Dataset, H5Group, H5Type};
use joulestep_engine::recorder::Column;

use super::error::ResultError;
use super::names::{INTERPOLATION, holds, no_nul};
use super::store::{Shape, Store};
use super::text::Text;

/// How the numbers of a column are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    /// IEEE 754 binary64.
    Double,
    /// IEEE 754 binary32.
    Single,
}

/// A column to be made: a dataset that grows along its first axis.
pub(super) struct Growing<'a> {
    pub(super) group: &'a str,
    pub(super) name: &'a str,
    /// Length of the second axis; none for a vector.
    pub(super) width: Option<usize>,
    /// Length of a chunk along the first axis.
    pub(super) chunk: usize,
    /// Deflate level, 0 for none.
    pub(super) deflate: u8,
    pub(super) units: &'a str,
    pub(super) long_name: &'a str,
}

impl Store {
    /// Makes the group `path` ("a" or "a/b"; the parent must exist).
    pub(super) fn group(&self, path: &str) -> Result<(), ResultError> {
        let root = self.file()?.root_group();
        self.done(match path.rsplit_once('/') {
            None => root.create_group(path).map(drop),
            Some((parent, name)) => root.group(parent).and_then(|g| g.create_group(name)).map(drop),
        })
    }

    fn open_group(&self, path: &str) -> Result<H5Group, ResultError> {
        self.done(self.file()?.root_group().group(path))
    }

    pub(super) fn dataset(&self, path: &str) -> Result<H5Dataset, ResultError> {
        self.done(self.file()?.dataset_writer(path))
    }

    fn describe(&self, dataset: &H5Dataset, units: &str, long_name: &str) -> Result<(), ResultError> {
        for (name, text) in [("units", units), ("long_name", long_name)] {
            if !text.is_empty() {
                self.set_text(dataset, name, text)?;
            }
        }
        Ok(())
    }

    fn set_text(&self, dataset: &H5Dataset, name: &str, text: &str) -> Result<(), ResultError> {
        let attribute = dataset.new_attr::<VarLenUnicode>().shape(()).create(name);
        self.done(attribute.and_then(|a| a.write_string(&no_nul(text))))
    }

    /// Makes a growing column of real numbers.
    pub(super) fn grow_reals(&mut self, form: Form, column: &Growing<'_>) -> Result<(), ResultError> {
        match form {
            Form::Double => self.grow::<f64>(column),
            Form::Single => self.grow::<f32>(column),
        }
    }

    /// Makes a growing column of whole numbers.
    pub(super) fn grow_integers(&mut self, column: &Growing<'_>) -> Result<(), ResultError> {
        self.grow::<i64>(column)
    }

    fn grow<T: H5Type>(&mut self, column: &Growing<'_>) -> Result<(), ResultError> {
        let mut builder = self.open_group(column.group)?.new_dataset::<T>();
        builder = match column.width {
            None => builder.shape([0usize]).chunk(&[column.chunk]).max_shape(&[None]),
            Some(width) => {
                builder.shape([0, width]).chunk(&[column.chunk, width]).max_shape(&[None, Some(width)])
            }
        };
        let level = u32::from(column.deflate);
        if level > 0 {
            builder = builder.shuffle_deflate(level);
        }
        let dataset = self.done(builder.create(column.name))?;
        self.describe(&dataset, column.units, column.long_name)?;
        let shape = Shape { width: column.width, chunk: column.chunk, deflate: column.deflate };
        self.note(format!("{}/{}", column.group, column.name), shape);
        Ok(())
    }

    /// Makes a growing column of texts of up to `N` bytes.
    pub(super) fn grow_texts<const N: usize>(&mut self, column: &Growing<'_>) -> Result<(), ResultError> {
        self.grow::<Text<N>>(column)
    }

    /// Writes a column of known length.
    pub(super) fn reals(
        &self,
        group: &str,
        name: &str,
        values: &[f64],
        units: &str,
        long_name: &str,
    ) -> Result<(), ResultError> {
        let builder = self.open_group(group)?.new_dataset::<f64>().shape([values.len()]);
        let dataset = self.done(builder.create(name))?;
        if !values.is_empty() {
            self.done(dataset.write_raw(values))?;
        }
        self.describe(&dataset, units, long_name)
    }

    /// Writes a column of texts of known length.
    pub(super) fn texts(
        &self,
        group: &str,
        name: &str,
        texts: &[String],
        long_name: &str,
    ) -> Result<(), ResultError> {
        let clean: Vec<String> = texts.iter().map(|text| no_nul(text)).collect();
        let clean: Vec<&str> = clean.iter().map(String::as_str).collect();
        let group = self.open_group(group)?;
        let dataset = self.done(group.write_vlen_strings(name, &clean))?;
        self.describe(&dataset, "", long_name)
    }

    /// Writes a single number.
    pub(super) fn scalar(
        &self,
        group: &str,
        name: &str,
        value: f64,
        units: &str,
        long_name: &str,
    ) -> Result<(), ResultError> {
        let dataset = self.done(self.open_group(group)?.new_dataset::<f64>().scalar().create(name))?;
        self.done(dataset.write_raw(&[value]))?;
        self.describe(&dataset, units, long_name)
    }

    /// Makes a dataset a dimension scale called `name`.
    pub(super) fn scale(&self, path: &str, name: &str) -> Result<(), ResultError> {
        let dataset = self.dataset(path)?;
        self.done(dataset.set_scale(Some(name)))
    }

    /// Attaches the scale to an axis of the dataset.
    pub(super) fn attach(&self, path: &str, axis: usize, scale: &str) -> Result<(), ResultError> {
        let (dataset, scale) = (self.dataset(path)?, self.dataset(scale)?);
        self.done(dataset.attach_scale(axis, &scale))
    }

    /// Sets a text attribute of a dataset.
    pub(super) fn text_attribute(&self, path: &str, name: &str, text: &str) -> Result<(), ResultError> {
        self.set_text(&self.dataset(path)?, name, text)
    }

    /// Sets what a column of samples says beside its values: its own name where the dataset's differs, and whether its
    /// values hold.
    pub(super) fn column_attributes(&self, path: &str, column: &Column) -> Result<(), ResultError> {
        if path.rsplit('/').next() != Some(&column.name) {
            self.text_attribute(path, "original_name", &column.name)?;
        }
        let (name, previous) = INTERPOLATION;
        if holds(column) { self.text_attribute(path, name, previous) } else { Ok(()) }
    }

    /// Sets a number attribute of a dataset.
    pub(super) fn number_attribute(&self, path: &str, name: &str, value: f64) -> Result<(), ResultError> {
        let dataset = self.dataset(path)?;
        let attribute = dataset.new_attr::<f64>().shape(()).create(name);
        self.done(attribute.and_then(|a| a.write_numeric(&value)))
    }

    /// Sets a text attribute of a group ("/" for the root).
    pub(super) fn group_text(&self, group: &str, name: &str, text: &str) -> Result<(), ResultError> {
        let text = no_nul(text);
        match group {
            "/" => self.done(self.file()?.set_attr_string(name, &text)),
            _ => self.done(self.open_group(group)?.set_attr_string(name, &text)),
        }
    }

    /// Sets a number attribute of a group ("/" for the root).
    pub(super) fn group_number<T: H5Type>(
        &self,
        group: &str,
        name: &str,
        value: T,
    ) -> Result<(), ResultError> {
        match group {
            "/" => self.done(self.file()?.set_attr_numeric(name, &value)),
            _ => self.done(self.open_group(group)?.set_attr_numeric(name, &value)),
        }
    }
}
