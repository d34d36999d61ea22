//! A result file as the viewer has it open.

use std::path::{Path, PathBuf};

use super::http::Response;
use super::series::{Group, Series};
use crate::output::result::{ResultError, ResultFile, StoredEvent, is_table};

/// A file that cannot be shown.
#[derive(Debug, thiserror::Error)]
pub enum SourceError {
    /// It cannot be read, or is no result file.
    #[error(transparent)]
    Unreadable(#[from] ResultError),
    /// It is the table of a batch.
    #[error(
        "{}: found the table of a batch, expected the result of a run; `joulestep report` shows tables, and \
         `joulestep run` gives the waveforms of a variant",
        .0.display()
    )]
    Table(PathBuf),
    /// Nothing was recorded.
    #[error("{}: found no recorded signal, expected waveforms; `[record]` in the scenario lists what is kept", .0.display())]
    Empty(PathBuf),
}

/// An open file.
pub(super) struct Source {
    pub path: PathBuf,
    pub file: ResultFile,
    pub waveforms: Series,
    pub thermal: Series,
    /// One for each measured channel.
    pub measured: Vec<Series>,
    /// Whether a run was writing it when it was opened.
    pub writing: bool,
    events: Option<Vec<StoredEvent>>,
}

/// Checks that the file can be shown.
///
/// # Errors
/// [`SourceError`].
pub(super) fn check(path: &Path) -> Result<(), SourceError> {
    if is_table(path) {
        return Err(SourceError::Table(path.to_owned()));
    }
    let source = Source::open(path)?;
    if source.file.channels().is_empty() && source.file.thermal_channels().is_empty() {
        return Err(SourceError::Empty(path.to_owned()));
    }
    Ok(())
}

/// A read error as a response.
pub(super) fn read_error(error: ResultError) -> Response {
    Response::error(500, error.to_string())
}

impl Source {
    /// Opens the file, also while a run writes it.
    ///
    /// # Errors
    /// The error of reading it.
    pub fn open(path: &Path) -> Result<Self, ResultError> {
        let writing = ResultFile::being_written(path);
        let file = ResultFile::open_beside_writer(path)?;
        let (waveforms, thermal) =
            (Series::new(&file, Group::Waveforms)?, Series::new(&file, Group::Thermal)?);
        let measured = (0..file.measured().count()).map(|k| Series::new(&file, Group::Measured(k)));
        let measured = measured.collect::<Result<_, _>>()?;
        Ok(Self { path: path.to_owned(), file, waveforms, thermal, measured, writing, events: None })
    }

    /// Whether there may be more in it later.
    pub fn grows(&self) -> bool {
        !self.file.complete()
    }

    /// The group that a request names: "w", "t" for the temperatures, or "m1" for the first measured channel.
    pub fn series(&mut self, name: &str) -> Result<(&ResultFile, &mut Series), Response> {
        let number = name.strip_prefix('m').and_then(|n| n.parse::<usize>().ok()?.checked_sub(1));
        let series = match (name, number) {
            ("w", _) => Some(&mut self.waveforms),
            ("t", _) => Some(&mut self.thermal),
            (_, Some(k)) => self.measured.get_mut(k),
            _ => None,
        };
        let none = || Response::error(400, format!("g: found {name:?}, expected w, t or m1, m2, ..."));
        series.map(|series| (&self.file, series)).ok_or_else(none)
    }

    /// Its events, read once.
    pub fn events(&mut self) -> Result<&[StoredEvent], Response> {
        let events = match self.events.take() {
            Some(events) => events,
            None => self.file.events().map_err(read_error)?,
        };
        Ok(self.events.insert(events))
    }
}
