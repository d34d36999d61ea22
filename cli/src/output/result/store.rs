//! Writing through the HDF5 library: groups, growing columns, attributes, checkpoints. (`archive.rs` reads through it,
//! `header.rs` knows the few bytes that it gives no access to; nothing else sees it.)
//!
//! A file that a killed process leaves must be readable, by any HDF5 library. When this library closes a file, or
//! changes its structure, it writes many pieces over old ones; a process killed among them leaves a file that nothing
//! reads. So the whole structure is made in a file of another name, which takes the real one's place in one move.
//! From then on the library only appends chunks and notes them in the chunk indexes, where no reader looks beyond a
//! column's length; a checkpoint then sets, in small writes of their own, first the file's end and then every column's
//! length. Only the end of the run changes the structure once more, with all data in place.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::{io, mem, process};

use hdf5::{H5File, Hdf5Error};

use super::error::ResultError;
use super::header::{Field, Superblock};
use super::packer::Packer;
use super::text::{Stored, Text};

/// The root's attribute that refers to all growing columns.
const COLUMNS: &str = "columns";

/// A growing column of the file.
struct Grown {
    shape: Shape,
    /// Its length as the next checkpoint shall set it.
    length: usize,
    /// Whether it grew since the last.
    dirty: bool,
    /// Where its length stands in the file, once that has its own name.
    field: Option<Field>,
}

/// What a column is made of.
pub(super) struct Shape {
    /// Length of the second axis; none for a vector.
    pub(super) width: Option<usize>,
    /// Length of a chunk along the first axis.
    pub(super) chunk: usize,
    /// How hard a chunk is deflated; 0: not at all.
    pub(super) deflate: u8,
}

/// A file open for writing.
pub(super) struct Store {
    path: PathBuf,
    file: Option<H5File>,
    /// Where the file is made; none when it has its own name.
    workshop: Option<PathBuf>,
    /// By their paths.
    columns: BTreeMap<String, Grown>,
    superblock: Option<Superblock>,
    packer: Packer,
    /// The file opened once more: holds its lock, and makes the small writes of a checkpoint.
    plain: File,
}

impl Store {
    /// Begins the file; what was there stays until [`Store::publish`].
    pub(super) fn create(path: &Path) -> Result<Self, ResultError> {
        let system = |source| ResultError::system(path, "create", source);
        let in_use = || ResultError::InUse { path: path.to_owned(), doing: "create" };
        let mut options = OpenOptions::new();
        options.read(true).write(true);
        // A link stays a link to the new file.
        let path_now = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        match options.open(&path_now) {
            Ok(old) if !old.metadata().map_err(system)?.is_file() => {
                return Err(ResultError::content(path, "something that is no plain file", "a file"));
            }
            Ok(old) if written(&old) => return Err(in_use()),
            Ok(_) => {}
            Err(e) if e.kind() == io::ErrorKind::NotFound => {}
            Err(e) => return Err(system(e)),
        }
        let Some(name) = path_now.file_name() else { return Err(system(io::ErrorKind::IsADirectory.into())) };
        let mut hidden = OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}.part", process::id()));
        let workshop = path_now.with_file_name(hidden);
        let plain = options.create(true).truncate(false).open(&workshop).map_err(system)?;
        if locked(&plain) {
            return Err(in_use());
        }
        let made = H5File::options().no_locking().track_order(true).create(&workshop);
        let file = made.map_err(|e| {
            // A full disk leaves no empty file behind.
            let _ = fs::remove_file(&workshop);
            explain(path, "create", e)
        })?;
        Ok(Self {
            path: path_now,
            file: Some(file),
            workshop: Some(workshop),
            columns: BTreeMap::new(),
            superblock: None,
            packer: Packer::default(),
            plain,
        })
    }

    /// Gives the file its own name; its structure is made, and columns can grow.
    pub(super) fn publish(&mut self) -> Result<(), ResultError> {
        let Some(workshop) = self.workshop.clone() else { return Ok(()) };
        let paths: Vec<&str> = self.columns.keys().map(String::as_str).collect();
        let none_grows = paths.is_empty();
        if !none_grows {
            // The file's own list of where its columns are: the library gives it nowhere else.
            self.done(self.file()?.set_attr_object_references(COLUMNS, &paths))?;
        }
        self.close(false)?;
        let fields = if none_grows { Ok(Vec::new()) } else { self.fields() };
        let fields = fields.map_err(|e| ResultError::system(&self.path, "write", e))?;
        for (column, field) in self.columns.values_mut().zip(fields) {
            column.field = Some(field);
        }
        if File::open(&self.path).is_ok_and(|old| written(&old)) {
            return Err(ResultError::InUse { path: self.path.clone(), doing: "create" });
        }
        fs::rename(&workshop, &self.path).map_err(|e| ResultError::system(&self.path, "create", e))?;
        self.workshop = None;
        self.reopen()
    }

    /// Reads where the lengths of the columns stand.
    fn fields(&mut self) -> io::Result<Vec<Field>> {
        let plain = &self.plain;
        let superblock = Superblock::read(plain)?;
        let missing =
            || io::Error::new(io::ErrorKind::InvalidData, "a column's length is not where it belongs");
        let addresses = superblock.root(plain)?.attribute(COLUMNS).ok_or_else(missing)?;
        if addresses.len() != self.columns.len() {
            return Err(missing());
        }
        let field = |address| superblock.header(plain, address)?.length_field().ok_or_else(missing);
        let fields = addresses.into_iter().map(field).collect();
        self.superblock = Some(superblock);
        fields
    }

    fn reopen(&mut self) -> Result<(), ResultError> {
        let opened = H5File::options().no_locking().open_rw(&self.path);
        self.file = Some(self.done(opened)?);
        Ok(())
    }

    /// Notes a new column that grows.
    pub(super) fn note(&mut self, path: String, shape: Shape) {
        self.columns.insert(path, Grown { shape, length: 0, dirty: false, field: None });
    }

    /// The file's path.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn done<T>(&self, outcome: Result<T, Hdf5Error>) -> Result<T, ResultError> {
        outcome.map_err(|e| explain(&self.path, "write", e))
    }

    pub(super) fn file(&self) -> Result<&H5File, ResultError> {
        self.done(self.file.as_ref().ok_or_else(|| Hdf5Error::InvalidState("it is closed".into())))
    }

    /// Appends whole chunks to a growing column (row by row where it has two axes); less only at the very end.
    pub(super) fn append<T: Stored>(&mut self, path: &str, values: &[T]) -> Result<(), ResultError> {
        let dataset = self.dataset(path)?;
        let explained = |e| explain(&self.path, "write", e);
        let unknown = || explained(Hdf5Error::NotFound(path.to_owned()));
        let column = self.columns.get_mut(path).ok_or_else(unknown)?;
        let Shape { width, chunk, deflate } = column.shape;
        if column.length % chunk != 0 {
            return Err(explained(Hdf5Error::InvalidState(format!("{path} has come to its end"))));
        }
        let row = width.unwrap_or(1);
        let mut bytes = Vec::with_capacity(chunk * row * T::element_size());
        for part in values.chunks(chunk * row) {
            bytes.clear();
            part.iter().for_each(|value| value.put(&mut bytes));
            bytes.resize(chunk * row * T::element_size(), 0);
            let index = column.length / chunk;
            let written = match deflate {
                0 => dataset.write_chunk(index, &bytes),
                level => {
                    let packed = self.packer.pack(level, T::element_size(), &bytes).map_err(Hdf5Error::from);
                    packed.and_then(|packed| dataset.write_chunk_raw(index, packed, 0))
                }
            };
            written.map_err(explained)?;
            column.length += part.len() / row;
        }
        let extent: Vec<usize> = [column.length].into_iter().chain(width).collect();
        dataset.extend(&extent).map_err(explained)?;
        column.dirty = true;
        Ok(())
    }

    /// Appends to a growing column of texts, as [`Store::append`] does; what is longer than the column is wide is cut
    /// and ends in "…".
    pub(super) fn append_texts<const N: usize>(
        &mut self,
        path: &str,
        texts: &[&str],
    ) -> Result<(), ResultError> {
        let texts: Vec<Text<N>> = texts.iter().map(|text| Text::cut(text)).collect();
        self.append(path, &texts)
    }

    /// Makes everything appended so far (whole chunks) safe against the end of this process.
    pub(super) fn checkpoint(&mut self) -> Result<(), ResultError> {
        for (path, _) in self.columns.iter().filter(|(_, column)| column.dirty) {
            let dataset = self.dataset(path)?;
            self.done(dataset.flush())?;
        }
        self.set_lengths().map_err(|e| ResultError::system(&self.path, "write", e))
    }

    fn set_lengths(&mut self) -> io::Result<()> {
        let end = self.plain.metadata()?.len();
        if let Some(superblock) = &mut self.superblock {
            superblock.set_end(&self.plain, end)?;
        }
        for column in self.columns.values_mut().filter(|column| column.dirty) {
            if let Some(field) = &mut column.field {
                field.set(&self.plain, column.length as u64)?;
            }
            column.dirty = false;
        }
        Ok(())
    }

    /// Ends the growth of the columns; the structure can be changed again.
    pub(super) fn settle(&mut self) -> Result<(), ResultError> {
        self.close(false)?;
        self.reopen()
    }

    /// Closes the file, safe against the end of the machine too, and then sets `complete` where it is.
    pub(super) fn finish(&mut self, complete: bool) -> Result<(), ResultError> {
        self.close(true)?;
        if !complete {
            return Ok(());
        }
        let set = || {
            let root = Superblock::read(&self.plain)?.root(&self.plain)?;
            let missing = || io::Error::new(io::ErrorKind::InvalidData, "the attribute complete is missing");
            root.attribute_field("complete").ok_or_else(missing)?.set(&self.plain, 1)?;
            self.plain.sync_data()
        };
        set().map_err(|e| ResultError::system(&self.path, "write", e))
    }

    fn close(&mut self, sync: bool) -> Result<(), ResultError> {
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
        if let Some(workshop) = &self.workshop {
            // It has no use without its own name, and nobody waits for an answer.
            let _ = fs::remove_file(workshop);
        }
    }
}

/// Takes the file's lock for as long as it is open; true if another has it. A file system without locks is no reason
/// not to run, and where locks are not advisory (not on Unix) one of our own would keep the library out.
fn locked(file: &File) -> bool {
    cfg!(unix) && matches!(file.try_lock(), Err(TryLockError::WouldBlock))
}

/// Whether another writer has the file; readers do not matter, since they keep the old file when it is replaced.
pub(super) fn written(file: &File) -> bool {
    cfg!(unix) && matches!(file.try_lock_shared(), Err(TryLockError::WouldBlock))
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
