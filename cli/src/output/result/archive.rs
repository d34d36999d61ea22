//! The only file that knows the HDF5 library for reading.

use std::fs::File;
use std::io::Read;
use std::ops::Range;
use std::path::{Path, PathBuf};

use hdf5::{H5Dataset, H5File, Hdf5Error};

use super::error::ResultError;
use super::header::Superblock;
use super::store::explain;

/// A file open for reading.
pub(super) struct Archive {
    path: PathBuf,
    file: H5File,
    /// Length of the file, bytes.
    bytes: u64,
}

/// Values for each byte of a file at most: deflate packs 1032 bytes into one at best (RFC 1951 allows no more than 258
/// bytes for two bits), and every value has a byte at least. A damaged file must not ask for more memory.
const DENSEST: u64 = 1032;

impl Archive {
    /// Opens the file; `beside_writer` also when a run still writes it.
    pub(super) fn open(path: &Path, beside_writer: bool) -> Result<Self, ResultError> {
        // Asked first, because the system's word on a missing file or a directory is clearer than the library's.
        let system = |source| ResultError::system(path, "open", source);
        let mut start = [0; 8];
        let mut plain = File::open(path).map_err(system)?;
        if plain.metadata().map_err(system)?.is_dir() {
            return Err(ResultError::content(path, "a directory", "a result file"));
        }
        let hdf5 = plain.read_exact(&mut start).is_ok() && start == *b"\x89HDF\r\n\x1a\n";
        if !hdf5 {
            return Err(ResultError::content(path, "a file that is not HDF5", "a result file"));
        }
        let options = if beside_writer { H5File::options().no_locking() } else { H5File::options() };
        let file = options.open(path).map_err(|e| explain(path, "open", e))?;
        let bytes = plain.metadata().map_err(system)?.len();
        Ok(Self { path: path.to_owned(), file, bytes })
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    fn done<T>(&self, outcome: Result<T, Hdf5Error>) -> Result<T, ResultError> {
        outcome.map_err(|e| explain(&self.path, "read", e))
    }

    fn dataset(&self, path: &str) -> Result<H5Dataset, ResultError> {
        self.done(self.file.dataset(path))
    }

    /// Whether there is a dataset of that path.
    pub(super) fn has(&self, path: &str) -> bool {
        self.file.dataset(path).is_ok()
    }

    /// Names of the datasets in the group; none where there is no such group.
    pub(super) fn datasets(&self, group: &str) -> Result<Vec<String>, ResultError> {
        match self.file.root_group().group(group) {
            Ok(group) => self.done(group.dataset_names()),
            Err(_) => Ok(Vec::new()),
        }
    }

    /// Shape of a dataset that the file can hold.
    fn shape(&self, path: &str, dataset: &H5Dataset) -> Result<Vec<usize>, ResultError> {
        let shape = dataset.shape();
        let count = shape.iter().try_fold(1_u64, |n, &axis| n.checked_mul(axis as u64));
        if count.is_none_or(|n| n > self.bytes.saturating_mul(DENSEST)) {
            let found = format!("{path} with more values than the file can hold");
            return Err(ResultError::content(&self.path, found, "an undamaged file"));
        }
        Ok(shape)
    }

    /// Values that were read, as many as were asked for.
    fn whole<T>(&self, path: &str, values: Vec<T>, count: usize) -> Result<Vec<T>, ResultError> {
        if values.len() == count {
            return Ok(values);
        }
        let found = format!("{} values of {path} instead of {count}", values.len());
        Err(ResultError::content(&self.path, found, "an undamaged file"))
    }

    /// Length of the dataset along its first axis.
    pub(super) fn length(&self, path: &str) -> Result<usize, ResultError> {
        let dataset = self.dataset(path)?;
        Ok(self.shape(path, &dataset)?.first().copied().unwrap_or(0))
    }

    /// Length of the shortest dataset: a run that was killed can leave one longer than the other.
    pub(super) fn shortest(&self, paths: &[String]) -> Result<usize, ResultError> {
        let mut shortest = None;
        for path in paths {
            let length = self.length(path)?;
            shortest = Some(shortest.map_or(length, |so_far: usize| so_far.min(length)));
        }
        Ok(shortest.unwrap_or(0))
    }

    /// Length of the shortest dataset in the group.
    pub(super) fn common_length(&self, group: &str) -> Result<usize, ResultError> {
        let names = self.datasets(group)?;
        self.shortest(&names.iter().map(|name| format!("{group}/{name}")).collect::<Vec<_>>())
    }

    fn checked(&self, path: &str, range: &Range<usize>) -> Result<H5Dataset, ResultError> {
        let dataset = self.dataset(path)?;
        let length = self.shape(path, &dataset)?.first().copied().unwrap_or(0);
        if range.start > range.end || range.end > length {
            let found = format!("a request for {}..{} of {path}", range.start, range.end);
            return Err(ResultError::content(&self.path, found, format!("a range within 0..{length}")));
        }
        Ok(dataset)
    }

    /// Values of a column.
    pub(super) fn reals(&self, path: &str, range: Range<usize>) -> Result<Vec<f64>, ResultError> {
        let dataset = self.checked(path, &range)?;
        if range.is_empty() {
            return Ok(Vec::new());
        }
        let values = self.done(dataset.read_numeric_slice_as(&[range.start], &[range.len()]))?;
        self.whole(path, values, range.len())
    }

    /// Values of a column of whole numbers.
    pub(super) fn integers(&self, path: &str, range: Range<usize>) -> Result<Vec<i64>, ResultError> {
        let dataset = self.checked(path, &range)?;
        if range.is_empty() {
            return Ok(Vec::new());
        }
        let values = self.done(dataset.read_numeric_slice_as(&[range.start], &[range.len()]))?;
        self.whole(path, values, range.len())
    }

    /// Rows of a dataset with a second axis of `width`, one after the other.
    pub(super) fn table(
        &self,
        path: &str,
        range: Range<usize>,
        width: usize,
    ) -> Result<Vec<f64>, ResultError> {
        let dataset = self.checked(path, &range)?;
        let wide = dataset.shape().get(1).copied().unwrap_or(0);
        if wide != width {
            let found = format!("rows of {wide} in {path}");
            return Err(ResultError::content(&self.path, found, format!("rows of {width}")));
        }
        if range.is_empty() || width == 0 {
            return Ok(Vec::new());
        }
        let values = self.done(dataset.read_numeric_slice_as(&[range.start, 0], &[range.len(), width]))?;
        self.whole(path, values, range.len() * width)
    }

    /// A single number.
    pub(super) fn scalar(&self, path: &str) -> Result<f64, ResultError> {
        let dataset = self.dataset(path)?;
        self.shape(path, &dataset)?;
        let values: Vec<f64> = self.done(dataset.read_numeric_as())?;
        let missing = || ResultError::content(&self.path, format!("nothing in {path}"), "a number");
        values.first().copied().ok_or_else(missing)
    }

    /// All texts of a column.
    pub(super) fn texts(&self, path: &str) -> Result<Vec<String>, ResultError> {
        let dataset = self.dataset(path)?;
        let count = self.shape(path, &dataset)?.first().copied().unwrap_or(0);
        if count == 0 {
            return Ok(Vec::new());
        }
        let texts = self.done(dataset.read_strings_lossy())?;
        self.whole(path, texts, count)
    }

    /// A text attribute of a dataset.
    pub(super) fn text(&self, path: &str, name: &str) -> Option<String> {
        self.file.dataset(path).ok()?.attr(name).ok()?.read_string().ok()
    }

    /// A number attribute of a dataset.
    pub(super) fn number(&self, path: &str, name: &str) -> Option<f64> {
        self.file.dataset(path).ok()?.attr(name).ok()?.read_numeric().ok()
    }

    /// The unit symbol of a dataset, empty for a plain number.
    pub(super) fn unit(&self, path: &str) -> String {
        self.text(path, "units").filter(|unit| unit != "1").unwrap_or_default()
    }

    /// A text attribute of a group ("/" for the root).
    pub(super) fn group_text(&self, group: &str, name: &str) -> Option<String> {
        match group {
            "/" => self.file.attr_string(name).ok(),
            _ => self.file.root_group().group(group).ok()?.attr_string(name).ok(),
        }
    }

    /// A whole-number attribute of the root; the library reads texts of groups, but no numbers.
    pub(super) fn root_number(&self, name: &str) -> Option<i64> {
        let file = File::open(&self.path).ok()?;
        let root = Superblock::read(&file).and_then(|superblock| superblock.root(&file)).ok()?;
        root.attribute(name)?.first().map(|&number| number as i64)
    }
}
