//! The only file that knows the HDF5 library for writing: groups, growing columns, attributes, checkpoints.
//!
//! A killed process leaves what the last checkpoint held, because columns grow by whole chunks only (the library writes
//! those behind the end of the file as it stood) and a checkpoint closes the file and opens it again. A flush alone, or
//! an incomplete chunk before the end, leaves files that nothing can read.

use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::mem;
use std::path::{Path, PathBuf};

use hdf5::types::VarLenUnicode;
use hdf5::{H5Dataset, H5File, H5Group, H5Type, Hdf5Error};

use super::error::ResultError;
use super::names::no_nul;

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

/// A file open for writing.
pub(super) struct Store {
    path: PathBuf,
    file: Option<H5File>,
    /// Holds the file's lock over the moments of a checkpoint in which the library has it closed.
    _guard: File,
}

impl Store {
    /// Makes the file, replacing what was there.
    pub(super) fn create(path: &Path) -> Result<Self, ResultError> {
        let system = |source| ResultError::system(path, "create", source);
        let guard = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(path);
        let guard = guard.map_err(system)?;
        // A file system without locks is no reason not to run; where locks are not advisory (not on Unix) one of
        // our own would keep the library out.
        if cfg!(unix) && matches!(guard.try_lock(), Err(TryLockError::WouldBlock)) {
            return Err(ResultError::InUse { path: path.to_owned(), doing: "create" });
        }
        let made = H5File::options().no_locking().track_order(true).create(path);
        let file = made.map_err(|e| explain(path, "create", e))?;
        Ok(Self { path: path.to_owned(), file: Some(file), _guard: guard })
    }

    /// The file's path.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    fn done<T>(&self, outcome: Result<T, Hdf5Error>) -> Result<T, ResultError> {
        outcome.map_err(|e| explain(&self.path, "write", e))
    }

    fn file(&self) -> Result<&H5File, ResultError> {
        self.done(self.file.as_ref().ok_or_else(|| Hdf5Error::InvalidState("it is closed".into())))
    }

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

    fn dataset(&self, path: &str) -> Result<H5Dataset, ResultError> {
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
    pub(super) fn grow_reals(&self, form: Form, column: &Growing<'_>) -> Result<(), ResultError> {
        match form {
            Form::Double => self.grow::<f64>(column),
            Form::Single => self.grow::<f32>(column),
        }
    }

    /// Makes a growing column of whole numbers.
    pub(super) fn grow_integers(&self, column: &Growing<'_>) -> Result<(), ResultError> {
        self.grow::<i64>(column)
    }

    fn grow<T: H5Type>(&self, column: &Growing<'_>) -> Result<(), ResultError> {
        let mut builder = self.open_group(column.group)?.new_dataset::<T>();
        builder = match column.width {
            None => builder.shape([0usize]).chunk(&[column.chunk]).max_shape(&[None]),
            Some(width) => {
                builder.shape([0, width]).chunk(&[column.chunk, width]).max_shape(&[None, Some(width)])
            }
        };
        if column.deflate > 0 {
            builder = builder.shuffle_deflate(u32::from(column.deflate));
        }
        let dataset = self.done(builder.create(column.name))?;
        self.describe(&dataset, column.units, column.long_name)
    }

    /// Makes a growing column of texts (uncompressed: it holds references).
    pub(super) fn grow_texts(&self, column: &Growing<'_>) -> Result<(), ResultError> {
        let group = self.open_group(column.group)?;
        let dataset = self.done(group.create_appendable_vlen_dataset(column.name, column.chunk, None))?;
        self.describe(&dataset, column.units, column.long_name)
    }

    /// Appends to a growing column (row by row where it has two axes).
    pub(super) fn append<T: H5Type>(&self, path: &str, values: &[T]) -> Result<(), ResultError> {
        let dataset = self.dataset(path)?;
        self.done(dataset.append(values))
    }

    /// Appends to a growing column of texts.
    pub(super) fn append_texts(&self, path: &str, texts: &[&str]) -> Result<(), ResultError> {
        let clean: Vec<String> = texts.iter().map(|text| no_nul(text)).collect();
        let clean: Vec<&str> = clean.iter().map(String::as_str).collect();
        self.done(self.file()?.append_vlen_strings(path, &clean))
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

    /// Makes everything appended so far safe against the end of this process (not of the machine, unless `sync`).
    pub(super) fn checkpoint(&mut self, sync: bool) -> Result<(), ResultError> {
        self.close(sync)?;
        let opened = H5File::options().no_locking().open_rw(&self.path);
        self.file = Some(self.done(opened)?);
        Ok(())
    }

    /// Closes the file.
    pub(super) fn close(&mut self, sync: bool) -> Result<(), ResultError> {
        let Some(file) = self.file.take() else { return Ok(()) };
        self.done(if sync { file.close() } else { file.close_no_sync() })
    }

    /// Leaves the file as the last checkpoint left it.
    pub(super) fn abandon(&mut self) {
        // Dropping the library's handle would write the file's structure out once more, after a failed write. Its
        // buffers and its descriptor are lost instead, once in the life of a process that is about to give up.
        if let Some(file) = self.file.take() {
            mem::forget(file);
        }
    }
}

impl Drop for Store {
    fn drop(&mut self) {
        self.abandon();
    }
}

/// The library's error as ours, with the system's words where the system was the cause.
pub(super) fn explain(path: &Path, doing: &'static str, error: Hdf5Error) -> ResultError {
    let what = error.to_string();
    let source = match error {
        Hdf5Error::Io(source) => Some(source),
        // The library wraps most of the system's errors in a type that it does not show, so only the text is left.
        _ => what.rsplit_once("(os error ").and_then(|(_, rest)| {
            rest.split_once(')').and_then(|(code, _)| code.parse().ok()).map(io::Error::from_raw_os_error)
        }),
    };
    match source {
        Some(source) if source.kind() == io::ErrorKind::WouldBlock => {
            ResultError::InUse { path: path.to_owned(), doing }
        }
        Some(source) => ResultError::system(path, doing, source),
        None if what.contains("another process holds") => ResultError::InUse { path: path.to_owned(), doing },
        None => ResultError::Structure { path: path.to_owned(), doing, what },
    }
}
